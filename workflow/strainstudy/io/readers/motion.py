"""``*_motion.tsv`` of BIDS: columns without a header, whose names and units stand in ``*_channels.tsv``.

In: a file. Out: its columns as numbers; the rate is that of ``*_motion.json``. A file of such a name that has no
``channels.tsv`` is read as any other text.
"""

from __future__ import annotations

import io
from collections.abc import Sequence
from pathlib import Path

import pandas as pd

from ...vocabulary import MISSING
from ..bids import merged_json, sidecars
from ..sheets import read_sheet
from . import text
from .model import Peek, RawChannel, RawFile, ReadError
from .room import Room

__all__ = ["peek", "read"]

_COPIES = 3.0
"""The file is in memory about so often while it is read (ours)."""


def _channels(path: Path) -> pd.DataFrame | None:
    """Read the nearest list of channels; None if there is none."""
    found = sidecars(path, "channels.tsv")
    if not found:
        return None
    sheet, problems = read_sheet(found[-1], found[-1].name, ("name", "type", "units"))
    if sheet is None or problems:
        raise ReadError(f"its list of channels cannot be read: {problems[0]}")
    missing = [name for name in ("name", "type", "units") if name not in sheet.frame.columns]
    if missing:
        raise ReadError(f"{found[-1].name} has no column {missing[0]!r}; add it")
    return sheet.frame


def _rate(path: Path) -> float | None:
    try:
        rate = merged_json(sidecars(path, "motion.json")).get("SamplingFrequency")
    except ValueError as error:
        raise ReadError(f"{error}; correct it") from None
    known = isinstance(rate, int | float) and not isinstance(rate, bool) and rate > 0
    return float(rate) if known and rate is not None else None


def _names(channels: pd.DataFrame, content: bytes) -> tuple[str, ...]:
    """Give the names of the columns, if every line has as many."""
    names = tuple(str(name) for name in channels["name"])
    lines = content.count(b"\n") + (not content.endswith(b"\n"))
    if content.count(b"\t") != lines * (len(names) - 1):
        odd = next((k for k, line in enumerate(content.split(b"\n")) if line.count(b"\t") + 1 != len(names)), 0)
        columns = content.split(b"\n")[odd].count(b"\t") + 1
        raise ReadError(
            f"line {odd + 1} has {columns} columns and its channels.tsv names {len(names)}; correct one of them"
        )
    return names


def peek(path: Path, columns: Sequence[str]) -> Peek:
    """Tell columns, rate and length without reading the samples."""
    channels = _channels(path)
    if channels is None:
        return text.peek(path, columns)
    content = path.read_bytes()
    names = _names(channels, content)
    samples = content.count(b"\n") + (not content.endswith(b"\n"))
    units = {name: unit for name, unit in zip(names, channels["units"], strict=True) if unit is not None}
    times = tuple(n for n, kind in zip(names, channels["type"], strict=True) if str(kind).upper() == "LATENCY")
    return Peek(names, _rate(path), samples, units, times)


def read(path: Path, columns: Sequence[str] | None, room: Room) -> RawFile:
    """Read the wanted columns; the rate is that of the sidecar."""
    channels = _channels(path)
    if channels is None:
        return text.read(path, columns, room)
    room.refuse(path.stat().st_size, _COPIES)
    content = path.read_bytes()
    names, rate = _names(channels, content), _rate(path)
    wanted = [name for name in names if columns is None or name in columns]
    try:
        frame = pd.read_csv(
            io.BytesIO(content),
            sep="\t",
            header=None,
            names=list(names),
            usecols=wanted,
            dtype="float64",
            na_values=[MISSING],
            keep_default_na=False,
            skip_blank_lines=False,
            float_precision="round_trip",
        )
    except ValueError as error:
        raise ReadError(f"a cell that is no number ({error}); write {MISSING} where there is no value") from None
    units = dict(zip(names, channels["units"], strict=True))
    read_in = {n: RawChannel(frame[n].to_numpy(), sampling_frequency=rate, units=units[n]) for n in wanted}
    return RawFile("BIDS motion", names, read_in)
