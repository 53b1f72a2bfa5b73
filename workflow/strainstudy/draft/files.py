"""What each raw file of a folder holds: columns, time, rate, length.

In: a folder. Out: one `Seen` for each file that a reader takes, in order of its path, with the reason where it cannot
be read to its end.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Final

import numpy as np
import numpy.typing as npt

from ..ingest.parameters import IngestParameters
from ..intake.contributors import CONTRIBUTORS
from ..intake.files import LABELS
from ..intake.rules import SHEETS
from ..io.labels import LABEL_SUFFIX
from ..io.readers import RawFile, ReadError, peek, read_raw
from ..io.readers.suffixes import file_format
from ..signal.timebase import TimeBaseError, stamp_unit, time_base

__all__ = ["Seen", "look_at", "raw_files_in"]

FloatArray = npt.NDArray[np.float64]
_WHOLE: Final = 2e-3
"""Share within which a rate is taken as one of whole hertz (ours)."""
_NO_RECORDINGS: Final = {*(kind.file for kind in (*SHEETS.values(), CONTRIBUTORS)), "readme.txt"}


@dataclass(frozen=True)
class Seen:
    """One raw file.

    Parameters
    ----------
    file : str
        Path relative to the folder, with forward slashes.
    names : tuple of str
        Columns without that of time.
    units : mapping of str to str
        As the file says.
    time_column : str or None
        Its column of time stamps.
    own_rate : bool
        The file itself knows its rate.
    rate, length_s : float or None
        Hz and s, where they could be found.
    values : mapping of str to array, each shape (n,)
        The samples by column; empty where the file could not be read.
    fault : str or None
        Why it could not be read, in words.
    """

    file: str
    names: tuple[str, ...] = ()
    units: Mapping[str, str] = field(default_factory=dict)
    time_column: str | None = None
    own_rate: bool = False
    rate: float | None = None
    length_s: float | None = None
    values: Mapping[str, FloatArray] = field(default_factory=dict)
    fault: str | None = None


def raw_files_in(folder: Path) -> list[str]:
    """List the files that may be recordings: those of a format that is read, but no sheets, labels or hidden files.

    Parameters
    ----------
    folder : Path

    Returns
    -------
    list of str
        Paths relative to it, sorted, with forward slashes.
    """
    found = []
    for path in folder.rglob("*"):
        inside = path.relative_to(folder)
        parts = inside.parts
        if any(part.startswith(".") for part in parts) or parts[0] == LABELS or not path.is_file():
            continue
        name = parts[-1].lower()
        if file_format(path) is not None and name not in _NO_RECORDINGS and not name.endswith(LABEL_SUFFIX):
            found.append(inside.as_posix())
    return sorted(found)


def _by_stamps(raw: RawFile, column: str, units: str | None) -> tuple[float | None, float | None]:
    """Find rate and length by time stamps."""
    channel = raw.channels.get(column)
    if channel is None:
        return None, None
    stamps = channel.values
    try:
        unit = stamp_unit(stamps, column, "s" if channel.clock else units, None, channel.origin)
        base = time_base(stamps * unit.seconds, None, gap_steps=IngestParameters().gap_steps)
    except TimeBaseError:
        return None, None
    near = float(round(base.rate))
    rate = near if abs(near - base.rate) < _WHOLE * base.rate else base.rate
    return rate, base.n / base.sampling_frequency


def look_at(folder: Path, file: str) -> Seen:
    """Open one file.

    Parameters
    ----------
    folder : Path
    file : str
        Relative to it.

    Returns
    -------
    Seen
    """
    path = folder / file
    try:
        head = peek(path)
    except ReadError as error:
        return Seen(file, fault=error.reason)
    time_column = head.time_like[0] if head.time_like and head.rate is None else None
    # a channel of a group has a short name as well where there is only one of that name
    longer = {name for name in head.names if "/" in name and name.rpartition("/")[2] in head.names}
    names = tuple(name for name in head.names if name not in head.time_like and name not in longer)
    own = head.rate is not None
    try:
        raw = read_raw(path)
    except ReadError as error:
        return Seen(file, names, head.units, time_column, own, head.rate, fault=error.reason)
    values = {name: raw.channels[name].values for name in names if name in raw.channels}
    samples = max((len(one) for one in values.values()), default=0)
    rate, length = head.rate, None if head.rate is None else samples / head.rate
    if time_column is not None:
        rate, length = _by_stamps(raw, time_column, head.units.get(time_column))
    return Seen(file, names, head.units, time_column, own, rate, length, values, "; ".join(raw.faults) or None)
