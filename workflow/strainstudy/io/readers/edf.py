"""EDF+ and BDF+ (Kemp & Olivan 2003): signals at their own rates, with the gaps of interrupted files.

In: a file. Out: its ordinary signals in physical units. In a discontinuous file (EDF+D, BDF+D) the first annotation of
every data record gives its start, and what lies between two records is NaN.
"""

from __future__ import annotations

import re
import warnings
from collections.abc import Sequence
from pathlib import Path

import edfio
import numpy as np
import numpy.typing as npt

from .edf_header import read_header
from .model import Peek, RawChannel, RawFile, ReadError, named_like_time

__all__ = ["peek", "read"]

_ONSET = re.compile(rb"([+-]\d+(?:\.\d*)?)\x14")
_BYTES = {".edf": 2, ".bdf": 3}


def _record_onsets(content: bytes, width: int) -> npt.NDArray[np.float64] | None:
    """Read the start of each data record from its first time-stamped annotation, in seconds."""
    signals = int(content[252:256])
    labels = [content[256 + 16 * i : 272 + 16 * i].strip() for i in range(signals)]
    at = 256 + 216 * signals
    lengths = [width * int(content[at + 8 * i : at + 8 * i + 8]) for i in range(signals)]
    places = [i for i, label in enumerate(labels) if label in (b"EDF Annotations", b"BDF Annotations")]
    if not places:
        return None
    size, begin = sum(lengths), sum(lengths[: places[0]])
    head = 256 * (signals + 1)
    records = (len(content) - head) // size
    onsets = []
    for i in range(records):
        start = head + i * size + begin
        match = _ONSET.match(content[start : start + lengths[places[0]]])
        if match is None:
            raise ReadError(f"data record {i + 1} does not say when it starts; export the file again")
        onsets.append(float(match[1]))
    return np.array(onsets)


def _spread(values: npt.NDArray[np.float64], onsets: npt.NDArray[np.float64], rate: float) -> npt.NDArray[np.float64]:
    """Lay data records out in time, NaN between them."""
    blocks = values.reshape(len(onsets), -1)
    places = np.rint((onsets - onsets[0]) * rate).astype(int)
    if np.any(np.diff(places) < blocks.shape[1]):
        raise ReadError("data records overlap in time; export the file again")
    out = np.full(places[-1] + blocks.shape[1], np.nan)
    for place, block in zip(places, blocks, strict=True):
        out[place : place + len(block)] = block
    return out


def _started(file: edfio.Edf | edfio.Bdf) -> str:
    """Give date and time of the start, or the time alone where the date was made anonymous."""
    try:
        return file.startdatetime.isoformat()
    except ValueError:
        return file.starttime.isoformat()


def read(path: Path, columns: Sequence[str] | None) -> RawFile:
    """Read an EDF, EDF+, BDF or BDF+ file; see `strainstudy.io.readers.read_raw`."""
    suffix = path.suffix.lower()
    content = path.read_bytes()
    faults = []
    try:
        with warnings.catch_warnings(record=True) as caught:
            warnings.simplefilter("always")
            file = (edfio.read_edf if suffix == ".edf" else edfio.read_bdf)(content, header_encoding="latin-1")
            labels = [signal.label for signal in file.signals]
            started = _started(file)
        if any("truncated" in str(w.message) or "header indicates" in str(w.message) for w in caught):
            faults.append("the file ends early: fewer data records than its header says")
        interrupted = file.reserved[3:5] == "+D"
        onsets = _record_onsets(content, _BYTES[suffix]) if interrupted else None
        twice = sorted({label for label in labels if labels.count(label) > 1 and label in (columns or labels)})
        if twice:
            raise ReadError(f"channel {twice[0]!r} is there twice; give every channel a label of its own")
        channels = {}
        for signal in file.signals:
            if columns is None or signal.label in columns:
                values = np.asarray(signal.data, dtype=np.float64)
                rate = float(signal.sampling_frequency)
                if onsets is not None and len(onsets):
                    values = _spread(values, onsets, rate)
                channels[signal.label] = RawChannel(values, rate, units=signal.physical_dimension or None)
    except ReadError:
        raise
    except Exception as error:  # whatever a damaged header makes the library stumble over
        raise ReadError(
            f"not a whole {suffix[1:].upper()} file ({type(error).__name__}: {error}); export or copy it again"
        ) from None
    layout = f"{suffix[1:]}{'+D' if interrupted else ''}"
    return RawFile(layout, tuple(labels), channels, started, tuple(faults))


def peek(path: Path, _columns: Sequence[str]) -> Peek:
    """Read the header of an EDF or BDF file; see `strainstudy.io.readers.peek`."""
    header = read_header(path)
    signals = [signal for signal in header.signals if signal.ordinary]
    rates = [rate for signal in signals if (rate := header.rate(signal))]
    return Peek(
        tuple(signal.label for signal in signals),
        max(rates, default=None),
        header.records * max((signal.samples for signal in signals), default=0),
        {signal.label: signal.units for signal in signals if signal.units},
        tuple(signal.label for signal in signals if named_like_time(signal.label)),
    )
