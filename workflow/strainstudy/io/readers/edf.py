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

from .edf_header import EdfHeader, EdfSignalHeader, read_header
from .model import Peek, RawChannel, RawFile, ReadError, named_like_time
from .room import Room

__all__ = ["peek", "read"]

_ONSET = re.compile(rb"([+-]\d+(?:\.\d*)?)\x14")
_COPIES = 6.0
"""A file is in memory about so often while it is read: BDF is unpacked to whole numbers of 4 bytes on the way."""
_MOST_SPAN = 20
"""More places in time for each stored sample than this are a sign of wrong starts, not of gaps (ours)."""


def _record_onsets(content: bytes, header: EdfHeader) -> npt.NDArray[np.float64] | None:
    """Read the start of each data record from its first time-stamped annotation, in seconds."""
    places = [i for i, signal in enumerate(header.signals) if not signal.ordinary]
    if not places:
        return None
    lengths = [header.record_bytes // sum(s.samples for s in header.signals) * s.samples for s in header.signals]
    begin = sum(lengths[: places[0]])
    onsets = []
    for i in range(header.records):
        start = header.head_bytes + i * header.record_bytes + begin
        match = _ONSET.match(content[start : start + lengths[places[0]]])
        if match is None:
            raise ReadError(f"data record {i + 1} does not say when it starts; export the file again")
        onsets.append(float(match[1]))
    return np.array(onsets)


def _spread(values: npt.NDArray[np.float64], onsets: npt.NDArray[np.float64], rate: float) -> npt.NDArray[np.float64]:
    """Lay data records out in time, NaN between them."""
    blocks = values.reshape(len(onsets), -1)
    places = np.rint((onsets - onsets[0]) * rate)
    if np.any(np.diff(places) < blocks.shape[1]):
        raise ReadError("data records overlap in time; export the file again")
    if places[-1] > _MOST_SPAN * values.size + 1e5:
        raise ReadError(
            f"its data records span {onsets[-1] - onsets[0]:.6g} s with samples for {values.size / rate:.6g} s only;"
            " export the file again"
        )
    out = np.full(int(places[-1]) + blocks.shape[1], np.nan)
    for place, block in zip(places.astype(int), blocks, strict=True):
        out[place : place + len(block)] = block
    return out


def _limits(text: tuple[str, str]) -> tuple[float, float]:
    try:
        return float(text[0]), float(text[1])
    except ValueError:
        return np.nan, np.nan


def _check_limits(signal: EdfSignalHeader) -> None:
    """Refuse a signal whose counts cannot be brought to its units."""
    for what, texts in (("physical", signal.physical), ("digital", signal.digital)):
        low, high = _limits(texts)
        if not np.isfinite(high - low) or low == high:
            raise ReadError(
                f"the {what} limits of channel {signal.label!r} are {texts[0]!r} and {texts[1]!r}, so its counts"
                " cannot be brought to its units; export the file with the limits of the recorder"
            )


def _length_faults(header: EdfHeader) -> list[str]:
    """Say where the file is longer or shorter than its header says."""
    declared, there = header.declared_records, header.records
    if declared < 0:  # the recorder did not know it yet (EDF, 1992)
        return ["the file ends early: its last data record is cut off"] if header.left_over else []
    counts = f"it has {there} data record{'' if there == 1 else 's'} and its header says {declared}"
    if there < declared:
        return ["the file ends early: fewer data records than its header says"]
    if there > declared:
        return [f"the file is longer than its header says: {counts}; all were read"]
    return [f"{header.left_over} bytes after the last data record were left out"] if header.left_over else []


def _started(file: edfio.Edf | edfio.Bdf) -> str:
    """Give date and time of the start, or the time alone where the date was made anonymous."""
    try:
        return file.startdatetime.isoformat()
    except ValueError:
        return file.starttime.isoformat()


def read(path: Path, columns: Sequence[str] | None, room: Room) -> RawFile:
    """Read an EDF, EDF+, BDF or BDF+ file; see `strainstudy.io.readers.read_raw`."""
    header = read_header(path)
    labels = [signal.label for signal in header.signals if signal.ordinary]
    wanted = [s for s in header.signals if s.ordinary and (columns is None or s.label in columns)]
    twice = sorted({signal.label for signal in wanted if labels.count(signal.label) > 1})
    if twice:
        raise ReadError(f"channel {twice[0]!r} is there twice; give every channel a label of its own")
    if header.records == 0:
        raise ReadError("there is no whole data record after the header; copy it again from the recorder")
    for signal in wanted:
        _check_limits(signal)
    room.refuse(header.size + 8 * header.records * sum(s.samples for s in wanted), 2.0)
    room.refuse(header.size, _COPIES)
    content = path.read_bytes()
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")  # what they say of the length is said by `_length_faults`
            file = (edfio.read_edf if header.kind == "EDF" else edfio.read_bdf)(content, header_encoding="latin-1")
            started = _started(file)
            onsets = _record_onsets(content, header) if header.interrupted else None
            channels = {}
            kept = {signal.label for signal in wanted}
            for one in file.signals:
                label = one.label.strip()
                if label in kept:
                    values = np.asarray(one.data, dtype=np.float64)
                    rate = float(one.sampling_frequency)
                    if onsets is not None and len(onsets):
                        values = _spread(values, onsets, rate)
                    channels[label] = RawChannel(values, rate, units=one.physical_dimension or None)
    except (ReadError, MemoryError):
        raise
    except Exception as error:  # whatever a damaged header makes the library stumble over
        raise ReadError(
            f"not a whole {header.kind} file ({type(error).__name__}: {error}); export or copy it again"
        ) from error
    layout = f"{header.kind.lower()}{'+D' if header.interrupted else ''}"
    return RawFile(layout, tuple(labels), channels, started, tuple(_length_faults(header)))


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
