"""The samples of one recording as Motion-BIDS has them: one row a sample, no header, time from the first.

In: a recording of a checked study. Out: its channels as they were stored, at one rate; times without a date. Channels
of different rates or starts are brought to the fastest, as the pipeline itself does, for a motion file has one rate.
"""

from __future__ import annotations

import io
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import pandas as pd

from ..ingest.parameters import IngestParameters
from ..ingest.timing import NoTimeError, make_grid, without_clock_jump
from ..io.readers import RawFile, ReadError, read_raw
from ..records import Channel, Recording
from ..signal.timebase import stamp_unit
from ..vocabulary import MISSING

__all__ = ["Samples", "UnreadableError", "read_samples"]

Array = npt.NDArray[np.float64]


class UnreadableError(Exception):
    """The recording has no samples or no time; the text says why."""


@dataclass(frozen=True)
class Samples:
    """What was recorded.

    Parameters
    ----------
    channels : tuple of Channel
        Those of the sheet that the file has, in the order of the columns.
    columns : tuple of array, each shape (n,)
        Their values in their units, NaN where missing.
    times_s : array, shape (n,), or None
        Seconds from the first stamp, where the file has stamps.
    in_seconds : bool
        Whether the file's own stamps were seconds.
    sampling_frequency : float
        Hz: as the sheet says, else as the file, else of the stamps.
    effective : float
        Hz: of the stamps or of the grid.
    """

    channels: tuple[Channel, ...]
    columns: tuple[Array, ...]
    times_s: Array | None
    in_seconds: bool
    sampling_frequency: float
    effective: float

    @property
    def text(self) -> str:
        """The samples as tab-separated text, each number in the fewest digits that give it back."""
        columns = [*(() if self.times_s is None else (self.times_s,)), *self.columns]
        out = io.StringIO()
        frame = pd.DataFrame(dict(enumerate(columns)))
        frame.to_csv(out, sep="\t", header=False, index=False, na_rep=MISSING, lineterminator="\n")
        return out.getvalue()

    @property
    def duration_s(self) -> float:
        """Seconds from the first sample to the end of the last."""
        return (len(self.columns[0]) if self.columns else 0) / self.effective


def _seconds(raw: RawFile, recording: Recording) -> tuple[Array, bool] | None:
    """Turn the time column into seconds from its first stamp; None where the file has none."""
    column = recording.time_column
    if column is None or column not in raw.channels:
        return None
    stamps = raw.channels[column]
    first = next(iter(stamps.values[np.isfinite(stamps.values)]), 0.0)
    seconds = 1.0
    if not stamps.clock:
        sheet = recording.sampling_frequency
        seconds = stamp_unit(stamps.values, column, stamps.units, sheet, float(stamps.origin)).seconds
    # A clock that was set during the recording would tell the date by the length of its step.
    return without_clock_jump((stamps.values - first) * seconds, column)[0], seconds == 1.0 and not stamps.clock


def read_samples(recording: Recording, parameters: IngestParameters) -> Samples:
    """Read a recording as it was stored.

    Raises
    ------
    UnreadableError
        If the file cannot be read, has none of the channels, or nothing gives the time of its samples.
    """
    names = [channel.name for channel in recording.channels]
    wanted = names if recording.time_column is None else [*names, recording.time_column]
    try:
        raw = read_raw(recording.path, wanted, round(parameters.largest_unpacked_gb * 1e9))
        there = [channel for channel in recording.channels if channel.name in raw.channels]
        used = {channel.name for channel in there if channel.status != "bad"}
        if not used:
            raise UnreadableError("the file has none of the channels of the sheet")
        kept = {name: raw.channels[name] for name in raw.channels if name in used or name == recording.time_column}
        grid = make_grid(RawFile(raw.layout, raw.names, kept, raw.started), recording, parameters)
    except ReadError as error:
        raise UnreadableError(error.reason) from error
    except NoTimeError as error:
        raise UnreadableError(str(error)) from error
    stamps = _seconds(raw, recording)
    length = grid.base.n if stamps is None else len(stamps[0])
    # A channel that is marked bad is not looked at: it goes along where it fits.
    there = [c for c in there if c.name in used or len(raw.channels[c.name].values) == length]
    stored = {channel.name: raw.channels[channel.name].absolute for channel in there}
    if stamps is None:
        stored |= grid.channels
    return Samples(
        tuple(there),
        tuple(stored[channel.name] for channel in there),
        None if stamps is None else stamps[0],
        stamps is not None and stamps[1],
        recording.sampling_frequency or grid.base.sampling_frequency,
        grid.base.rate,
    )
