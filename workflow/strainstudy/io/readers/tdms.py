"""TDMS: waveform channels with their own rate and start, or plain columns.

In: a file. Out: its channels, named ``channel`` or, where two groups have the same, ``group/channel``. Channels of one
file may start at different absolute times (``wf_start_time`` plus ``wf_start_offset``): they are aligned by them.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import numpy as np
from nptdms import TdmsFile

from .model import Peek, RawChannel, RawFile, ReadError, named_like_time

__all__ = ["peek", "read"]


def _named(file: TdmsFile) -> tuple[dict[str, Any], dict[str, Any]]:
    """Name the channels that hold something; give also their names with the group where the bare name is enough."""
    found = [channel for group in file.groups() for channel in group.channels()]
    counts = Counter(channel.name for channel in found)
    named = {c.name if counts[c.name] == 1 else f"{c.group_name}/{c.name}": c for c in found if len(c) > 0}
    aliases = {f"{c.group_name}/{c.name}": c for c in found if counts[c.name] == 1 and len(c) > 0}
    return named, aliases


def _start(channel: Any) -> np.datetime64 | None:
    start = channel.properties.get("wf_start_time")
    if start is None:
        return None
    offset = float(channel.properties.get("wf_start_offset", 0.0))
    first: np.datetime64 = np.datetime64(start).astype("datetime64[ns]") + np.timedelta64(round(offset * 1e9), "ns")
    return first


def _values(channel: Any, name: str) -> tuple[np.ndarray[Any, np.dtype[np.float64]], bool, np.datetime64 | None]:
    raw = channel[:]
    if np.issubdtype(raw.dtype, np.datetime64):
        stamps = raw.astype("datetime64[ns]")
        first = stamps[0] if len(stamps) else None
        return (stamps - first) / np.timedelta64(1, "s") if len(stamps) else np.empty(0), True, first
    try:
        return np.asarray(raw, dtype=np.float64), False, None
    except (TypeError, ValueError):
        raise ReadError(f"channel {name!r} holds text, not numbers; name the channel of the signal") from None


def _rate(channel: Any) -> float | None:
    step = channel.properties.get("wf_increment")
    return 1.0 / float(step) if step else None


def read(path: Path, columns: Sequence[str] | None) -> RawFile:
    """Read a TDMS file; see `strainstudy.io.readers.read_raw`."""
    faults: tuple[str, ...] = ()
    try:
        with TdmsFile.open(path) as file:
            if getattr(file, "file_status", None) is not None and file.file_status.incomplete_final_segment:
                faults = ("the file ends early: its last segment is incomplete",)
            named, aliases = _named(file)
            wanted = {n: c for n, c in {**named, **aliases}.items() if n in (columns if columns is not None else named)}
            starts = {name: _start(channel) for name, channel in wanted.items()}
            known = [start for start in starts.values() if start is not None]
            earliest = min(known) if known else None
            channels, started = {}, None if earliest is None else str(earliest)[:26]
            for name, channel in wanted.items():
                values, clock, first = _values(channel, name)
                rate = None if clock else _rate(channel)
                start = starts[name]
                late = 0.0 if start is None or earliest is None else (start - earliest) / np.timedelta64(1, "s")
                units = channel.properties.get("unit_string") or None
                channels[name] = RawChannel(values, rate, float(late), units, clock)
                started = started or (None if first is None else str(first)[:26])
    except ReadError:
        raise
    except Exception as error:  # whatever a damaged file makes the library stumble over
        raise ReadError(f"not a whole TDMS file ({type(error).__name__}: {error}); export or copy it again") from None
    return RawFile("tdms", tuple(named), channels, started, faults)


def peek(path: Path, _columns: Sequence[str]) -> Peek:
    """Read the metadata of a TDMS file; see `strainstudy.io.readers.peek`."""
    try:
        with path.open("rb") as stream:
            named, aliases = _named(TdmsFile.read_metadata(stream))
        clocks = [n for n, c in named.items() if np.issubdtype(c.dtype, np.datetime64) or named_like_time(n)]
        rates = [rate for name, c in named.items() if name not in clocks and (rate := _rate(c)) is not None]
        units = {n: str(unit) for n, c in {**named, **aliases}.items() if (unit := c.properties.get("unit_string"))}
        samples = max((len(c) for c in named.values()), default=0)
    except Exception as error:  # whatever a damaged file makes the library stumble over
        raise ReadError(f"not a whole TDMS file ({type(error).__name__}: {error}); export or copy it again") from None
    return Peek((*named, *aliases), max(rates, default=None), samples, units, tuple(clocks))
