"""What every reader gives: channels as float arrays with what the file says about their time."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

import numpy as np
import numpy.typing as npt

__all__ = ["Peek", "RawChannel", "RawFile", "ReadError", "named_like_time", "plain", "shown", "whole_numbers"]


_EXACT = 2**53
"""Whole numbers up to here are exact as floats (IEEE 754, double)."""
_EXACT_SPAN = 2**62
"""Differences up to here do not overflow 64 bits."""
_MOST_LETTERS = 2000
"""Letters of a foreign text that a message holds (ours)."""
_UNSEEN = "\N{WHITE SQUARE}"


def plain(text: str) -> str:
    """Bring text that may quote a damaged file to one line without control characters, and to a length to read."""
    letters = (c if c.isprintable() else " " if c.isspace() else _UNSEEN for c in text)
    clean = re.sub(f"{_UNSEEN}+", _UNSEEN, "".join(letters))
    return clean if len(clean) <= _MOST_LETTERS else f"{clean[:_MOST_LETTERS]} …"


def shown(text: str, most: int = 40) -> str:
    """Quote a cell or a name of a file, cut where it is long."""
    return repr(text) if len(text) <= most else f"{text[:most]!r}…"


class ReadError(Exception):
    """A raw file cannot be read.

    Parameters
    ----------
    reason : str
        What is wrong and what to do, as a clause for the person who made the file.
    """

    def __init__(self, reason: str) -> None:
        self.reason = plain(reason)
        super().__init__(self.reason)


@dataclass(frozen=True)
class RawChannel:
    """One channel or column of a raw file.

    Parameters
    ----------
    values : array, shape (n,)
        As stored; NaN where the file has no value. Clock times are in seconds from the first of them.
    sampling_frequency : float or None
        Hz, if the file says so.
    start_s : float
        Time of the first sample, in seconds from the first stored sample of the file.
    units : str or None
        As the file says.
    clock : bool
        The column holds dates or times of day.
    origin : int
        What was subtracted from whole numbers that are too large for a float, such as nanoseconds since 1970.
    """

    values: npt.NDArray[np.float64]
    sampling_frequency: float | None = None
    start_s: float = 0.0
    units: str | None = None
    clock: bool = False
    origin: int = 0

    @property
    def absolute(self) -> npt.NDArray[np.float64]:
        """The values with their origin, to the resolution of a float."""
        return self.values + float(self.origin) if self.origin else self.values


def whole_numbers(values: npt.NDArray[Any], known: npt.NDArray[np.bool_] | None = None) -> RawChannel:
    """Make a channel of whole numbers; those beyond 2^53, which a float rounds, are counted from the first.

    Parameters
    ----------
    values : integer array, shape (n,)
    known : bool array, shape (n,), optional
        Where there is a value; everywhere if not given.
    """
    there = values if known is None else values[known]
    origin = 0
    if there.size and max(abs(int(there.min())), abs(int(there.max()))) > _EXACT:
        low, high, first = int(there.min()), int(there.max()), int(there[0])
        if high - low <= _EXACT_SPAN and first <= _EXACT_SPAN:
            origin, values = first, values.astype(np.int64) - first
    out = values.astype(np.float64)
    if known is not None:
        out[~known] = np.nan
    return RawChannel(out, origin=origin)


@dataclass(frozen=True)
class RawFile:
    """A raw file as read.

    Parameters
    ----------
    layout : str
        Format and variant, for the table of recordings.
    names : tuple of str
        Every channel or column of the file, read or not.
    channels : mapping of str to RawChannel
        Those asked for and there.
    started : str or None
        Date and time of the first sample, ISO 8601, if the file says so.
    faults : tuple of str
        What was left out or taken as missing, in words.
    """

    layout: str
    names: tuple[str, ...]
    channels: Mapping[str, RawChannel]
    started: str | None = None
    faults: tuple[str, ...] = field(default=())


@dataclass(frozen=True)
class Peek:
    """What the head of a raw file tells, without its samples.

    Parameters
    ----------
    names : tuple of str
        Every channel or column that can be asked for, as `RawFile` has them.
    rate : float or None
        Hz, the file's own, of its fastest channel; ``None`` if the format knows none.
    samples : int or None
        Of the longest channel; ``None`` where that cannot be told without reading on.
    units : mapping of str to str
        By name, as the file says; names without a unit are left out.
    time_like : tuple of str
        Columns of dates, times of day or time stamps, and those whose name says time.
    """

    names: tuple[str, ...]
    rate: float | None
    samples: int | None
    units: Mapping[str, str]
    time_like: tuple[str, ...]


_TIME_NAME = re.compile(
    r"t|(?:.*[^a-z])?(?:time|times|timestamps?|stamps?|clock|seconds|epoch|date(?:time)?)", re.IGNORECASE
)
_UNIT_TAIL = re.compile(r"[\s_.\-]*[\[(]?(?:m|u|µ|μ|n)?s(?:ec|econds?)?[\])]?$", re.IGNORECASE)


def named_like_time(name: str) -> bool:
    """Say whether a column's name, its unit left out, says that it holds times (``t``, ``time_ms``, ``Time [s]``)."""
    return any(_TIME_NAME.fullmatch(text.strip()) for text in (name, _UNIT_TAIL.sub("", name)))
