"""The header of EDF+ and BDF+ files (Kemp & Olivan 2003): what signals there are, their rates, ranges and lengths.

In: the first bytes of a file. Out: an `EdfHeader`. The fields are ASCII of fixed widths; what a damaged one holds is a
`ReadError` that names the field.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from pathlib import Path

from .model import ReadError

__all__ = ["SAMPLE_BYTES", "EdfHeader", "EdfSignalHeader", "read_header"]

SAMPLE_BYTES = {".edf": 2, ".bdf": 3}
"""Bytes of a sample (EDF: Kemp et al. 1992; BDF: its 24-bit form)."""
_FIXED = 256
"""Bytes of the header before those of the signals (Kemp et al. 1992)."""
_WIDTHS = {
    "label": 16, "transducer": 80, "physical dimension": 8, "physical minimum": 8, "physical maximum": 8,
    "digital minimum": 8, "digital maximum": 8, "prefiltering": 80, "samples per record": 8, "reserved": 32,
}  # fmt: skip
"""Bytes of each field of a signal's header (EDF: Kemp et al. 1992)."""
_OTHER_VERSION = {"EDF": (b"\xffBIOSEMI",), "BDF": (b"0",)}
_ANNOTATIONS = ("EDF Annotations", "BDF Annotations")


@dataclass(frozen=True)
class EdfSignalHeader:
    """One signal as the header has it.

    Parameters
    ----------
    label, units : str
    physical, digital : tuple of str
        Minimum and maximum, as written.
    samples : int
        In a data record.
    """

    label: str
    units: str
    physical: tuple[str, str]
    digital: tuple[str, str]
    samples: int

    @property
    def ordinary(self) -> bool:
        """Whether it holds samples and not annotations."""
        return self.label not in _ANNOTATIONS


@dataclass(frozen=True)
class EdfHeader:
    """Header of an EDF or BDF file.

    Parameters
    ----------
    kind : str
        ``EDF`` or ``BDF``.
    interrupted : bool
        Data records have gaps between them (EDF+D, BDF+D).
    declared_records : int
        Number of data records as the header says; -1 if it was not known.
    record_s : float
        Duration of a data record in seconds.
    signals : tuple of EdfSignalHeader
        In the order of the file, annotations included.
    size : int
        Bytes of the file.
    """

    kind: str
    interrupted: bool
    declared_records: int
    record_s: float
    signals: tuple[EdfSignalHeader, ...]
    size: int

    @property
    def left_over(self) -> int:
        """Bytes after the last whole data record."""
        return max(self.size - self.head_bytes - self.records * self.record_bytes, 0)

    @property
    def head_bytes(self) -> int:
        """Bytes before the first data record."""
        return _FIXED * (1 + len(self.signals))

    @property
    def record_bytes(self) -> int:
        """Bytes of a data record."""
        return SAMPLE_BYTES[f".{self.kind.lower()}"] * sum(signal.samples for signal in self.signals)

    @property
    def records(self) -> int:
        """Number of whole data records that are there."""
        return max(self.size - self.head_bytes, 0) // self.record_bytes if self.record_bytes else 0

    def rate(self, signal: EdfSignalHeader) -> float | None:
        """Give the sampling rate of a signal in Hz; ``None`` if data records have no duration."""
        return signal.samples / self.record_s if self.record_s > 0 else None


def _number(text: str, field: str, kind: str) -> float:
    try:
        value = float(text)
    except ValueError:
        value = math.nan
    if not math.isfinite(value):
        raise ReadError(f"not a whole {kind} file (its {field} is {text!r}); export or copy it again")
    return value


def _count(text: str, field: str, kind: str) -> int:
    value = _number(text, field, kind)
    if value != int(value):
        raise ReadError(f"not a whole {kind} file (its {field} is {text!r}); export or copy it again")
    return int(value)


def read_header(path: Path) -> EdfHeader:
    """Read the header of an EDF, EDF+, BDF or BDF+ file.

    Parameters
    ----------
    path : Path

    Returns
    -------
    EdfHeader

    Raises
    ------
    ReadError
        If the header is cut off, or a field that its data need is no number.
    """
    kind = path.suffix[1:].upper()
    with path.open("rb") as file:
        head = file.read(_FIXED)
        signals = _count(head[252:256].decode("latin-1").strip(), "number of signals", kind)
        size = path.stat().st_size
        if head[:8].strip() in _OTHER_VERSION[kind]:
            other = "BDF" if kind == "EDF" else "EDF"
            raise ReadError(f"not a whole {kind} file (it begins as a {other} file); name it .{other.lower()}")
        if signals < 1 or len(head) + _FIXED * signals > size:
            raise ReadError(
                f"not a whole {kind} file (its header of {signals} signals is not there); export or copy it again"
            )
        declared = _count(head[184:192].decode("latin-1").strip(), "size of its header", kind)
        if declared != _FIXED * (1 + signals):
            raise ReadError(
                f"not a whole {kind} file (its header is {declared} bytes long and {signals} signals need"
                f" {_FIXED * (1 + signals)}); export or copy it again"
            )
        rest = file.read(_FIXED * signals)
    columns, place = {}, 0
    for field, width in _WIDTHS.items():
        cells = [rest[place + width * i : place + width * (i + 1)] for i in range(signals)]
        columns[field] = [cell.decode("latin-1").strip() for cell in cells]
        place += width * signals
    found = []
    for i in range(signals):
        samples = _count(columns["samples per record"][i], "number of samples in a data record", kind)
        if samples < 0:
            raise ReadError(f"not a whole {kind} file (a data record of {samples} samples); export or copy it again")
        found.append(
            EdfSignalHeader(
                columns["label"][i],
                columns["physical dimension"][i],
                (columns["physical minimum"][i], columns["physical maximum"][i]),
                (columns["digital minimum"][i], columns["digital maximum"][i]),
                samples,
            )
        )
    return EdfHeader(
        kind,
        head[195:197] == b"+D",
        _count(head[236:244].decode("latin-1").strip(), "number of data records", kind),
        _number(head[244:252].decode("latin-1").strip(), "duration of a data record", kind),
        tuple(found),
        size,
    )
