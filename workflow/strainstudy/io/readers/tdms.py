"""TDMS: waveform channels with their own rate and start, or plain columns.

In: a file. Out: its channels, named ``channel`` or, where two groups have the same, ``group/channel``. Channels of one
file may start at different absolute times (``wf_start_time`` plus ``wf_start_offset``): they are aligned by them.
"""

from __future__ import annotations

import logging
from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
from nptdms import TdmsFile
from nptdms.log import log_manager

from .model import Peek, RawChannel, RawFile, ReadError, named_like_time, whole_numbers
from .room import Room

__all__ = ["peek", "read"]

_EARLIEST, _LATEST = np.datetime64("1904-01-01", "us"), np.datetime64("2200-01-01", "us")
_LONGEST_OFFSET_S = 1e8
"""Seconds from the start of a file to that of a channel; more, three years, is damage (ours)."""
log_manager.set_level(logging.CRITICAL)  # what it says of damaged files is said in words by this module


def _named(file: TdmsFile) -> tuple[dict[str, Any], dict[str, Any]]:
    """Name the channels that hold something; give also their names with the group where the bare name is enough."""
    found = [channel for group in file.groups() for channel in group.channels()]
    counts = Counter(channel.name for channel in found)
    named = {c.name if counts[c.name] == 1 else f"{c.group_name}/{c.name}": c for c in found if len(c) > 0}
    aliases = {f"{c.group_name}/{c.name}": c for c in found if counts[c.name] == 1 and len(c) > 0}
    return named, aliases


def _start(channel: Any) -> np.datetime64 | None:
    """Give the time of the first sample; nothing if there is none, or none that a clock can have."""
    start = channel.properties.get("wf_start_time")
    if start is None or not _EARLIEST <= np.datetime64(start) <= _LATEST:
        return None
    offset = float(channel.properties.get("wf_start_offset", 0.0))
    if not abs(offset) <= _LONGEST_OFFSET_S:
        return None
    first: np.datetime64 = np.datetime64(start).astype("datetime64[ns]") + np.timedelta64(round(offset * 1e9), "ns")
    return first


def _channel(channel: Any, name: str) -> tuple[RawChannel, np.datetime64 | None]:
    """Read a channel; give also the first of its time stamps, if it holds such."""
    units = channel.properties.get("unit_string")
    units = str(units) if units else None
    raw = np.asarray(channel[:])
    if np.issubdtype(raw.dtype, np.datetime64):
        stamps = raw.astype("datetime64[us]")
        known = ~np.isnat(stamps)
        seconds = np.full(len(stamps), np.nan)
        if not known.any():
            return RawChannel(seconds, units=units, clock=True), None
        if stamps[known].min() < _EARLIEST or stamps[known].max() > _LATEST:
            raise ReadError(f"the time stamps of channel {name!r} are out of all range; correct the recorder's clock")
        first = stamps[known][0]
        seconds[known] = (stamps[known] - first) / np.timedelta64(1, "s")
        return RawChannel(seconds, units=units, clock=True), first
    if np.issubdtype(raw.dtype, np.integer):
        return replace(whole_numbers(raw), units=units), None
    if not (np.issubdtype(raw.dtype, np.floating) or np.issubdtype(raw.dtype, np.bool_)):
        raise ReadError(f"channel {name!r} holds text, not numbers; name the channel of the signal")
    return RawChannel(np.asarray(raw, dtype=np.float64), units=units), None


def _check_sizes(channels: Mapping[str, Any], size: int, room: Room) -> None:
    """Refuse channels that say they are longer than the file can hold, or than there is room for."""
    for name, channel in channels.items():
        if len(channel) > size:
            raise ReadError(
                f"not a whole TDMS file (channel {name!r} says it has {len(channel)} samples, more than {size} bytes"
                " can hold); export or copy it again"
            )
    room.refuse(max(size, 8 * sum(len(channel) for channel in channels.values())), 3.0)


def _rate(channel: Any) -> float | None:
    step = channel.properties.get("wf_increment")
    return 1.0 / float(step) if step else None


def read(path: Path, columns: Sequence[str] | None, room: Room) -> RawFile:
    """Read a TDMS file; see `strainstudy.io.readers.read_raw`."""
    faults: list[str] = []
    size = path.stat().st_size
    room.refuse(size, 1.0)
    try:
        # the stream, not the path: an index file beside it may be an old one
        with path.open("rb") as stream, TdmsFile.open(stream) as file:
            if getattr(file, "file_status", None) is not None and file.file_status.incomplete_final_segment:
                faults.append("the file ends early: its last segment is incomplete")
            named, aliases = _named(file)
            wanted = {n: c for n, c in {**named, **aliases}.items() if n in (columns if columns is not None else named)}
            _check_sizes(wanted, size, room)
            starts = {name: _start(channel) for name, channel in wanted.items()}
            for name, start in starts.items():
                if start is None and wanted[name].properties.get("wf_start_time") is not None:
                    faults.append(f"the start of channel {name!r} is out of all range and was left out")
            known = [start for start in starts.values() if start is not None]
            earliest = min(known) if known else None
            channels, started = {}, None if earliest is None else str(earliest)[:26]
            for name, channel in wanted.items():
                made, first = _channel(channel, name)
                start = starts[name]
                late = 0.0 if start is None or earliest is None else (start - earliest) / np.timedelta64(1, "s")
                rate = None if made.clock else _rate(channel)
                channels[name] = replace(made, sampling_frequency=rate, start_s=float(late))
                started = started or (None if first is None else str(first)[:26])
    except (ReadError, MemoryError):
        raise
    except Exception as error:  # whatever a damaged file makes the library stumble over
        raise ReadError(f"not a whole TDMS file ({type(error).__name__}: {error}); export or copy it again") from error
    return RawFile("tdms", tuple(named), channels, started, tuple(faults))


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
