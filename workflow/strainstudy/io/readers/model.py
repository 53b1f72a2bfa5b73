"""What every reader gives: channels as float arrays with what the file says about their time."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np
import numpy.typing as npt

__all__ = ["RawChannel", "RawFile", "ReadError"]


class ReadError(Exception):
    """A raw file cannot be read.

    Parameters
    ----------
    reason : str
        What is wrong and what to do, as a clause for the person who made the file.
    """

    def __init__(self, reason: str) -> None:
        self.reason = reason
        super().__init__(reason)


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
    """

    values: npt.NDArray[np.float64]
    sampling_frequency: float | None = None
    start_s: float = 0.0
    units: str | None = None
    clock: bool = False


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
