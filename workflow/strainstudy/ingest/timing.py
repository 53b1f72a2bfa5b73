"""When the samples of a raw file were taken: from its time column, else its own rate, else the sheet's.

In: a raw file as read and what the sheet says. Out: one `Grid` for all channels of the recording, and in words every
disagreement between the sources.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np
import numpy.typing as npt

from ..io.readers.model import RawChannel, RawFile
from ..records import Recording
from ..signal.timebase import TimeBase, TimeBaseError, stamp_unit, time_base, uniform_base
from .parameters import IngestParameters

__all__ = ["Grid", "NoTimeError", "make_grid"]

Array = npt.NDArray[np.float64]
_MOST_LEFT_OUT = 0.05


class NoTimeError(Exception):
    """The samples have no time; the text says why and what to do."""


@dataclass(frozen=True)
class Grid:
    """The common time grid of a recording.

    Parameters
    ----------
    base : TimeBase
        Of the stamps, or of the fastest channel.
    source : str
        Where the time comes from, for the table of recordings.
    channels : mapping of str to array, each shape (n,)
        The channels on the grid, NaN where there is nothing.
    faults : tuple of str
        What is wrong, in words.
    """

    base: TimeBase
    source: str
    channels: Mapping[str, Array]
    faults: tuple[str, ...] = field(default=())


def _count(n: int, noun: str) -> str:
    return f"{n} {noun}{'' if n == 1 else 's'}"


def _hertz(rate: float) -> str:
    return f"{rate:.6g} Hz"


def _disagree(first: float, second: float | None, tolerance: float) -> bool:
    return second is not None and abs(first / second - 1.0) > tolerance


def _stamp_faults(base: TimeBase, column: str) -> list[str]:
    faults = []
    for count, what in (
        (base.missing_stamps, "without a time stamp"),
        (base.repeated_stamps, "with the time stamp of the one before"),
    ):
        if count:
            faults.append(f"{_count(count, 'sample')} {what} left out")
    if base.backward_stamps:
        places = _count(base.backward_stamps, "place")
        rest = max(base.left_out - base.missing_stamps - base.repeated_stamps, 0)
        faults.append(f"time stamps of {column!r} run backwards at {places} ({_count(rest, 'sample')} left out)")
    if base.packets:
        faults.append(f"time stamps of {column!r} repeat in packets: samples were spread evenly between them")
    return faults


def _from_stamps(raw: RawFile, column: str, recording: Recording, parameters: IngestParameters) -> Grid:
    stamps = raw.channels[column]
    sheet = recording.sampling_frequency
    if stamps.clock:
        factor, words = 1.0, "clock times"
    else:
        unit = stamp_unit(stamps.values, column, stamps.units, sheet)
        factor, words = unit.seconds, unit.words
    odd = [name for name, channel in raw.channels.items() if len(channel.values) != len(stamps.values)]
    if odd:
        raise NoTimeError(
            f"column {odd[0]!r} has {len(raw.channels[odd[0]].values)} samples and the time column {column!r} has"
            f" {len(stamps.values)}; name the time column that belongs to the channels"
        )
    try:
        base = time_base(stamps.values * factor, sheet, gap_steps=parameters.gap_steps)
    except TimeBaseError as error:
        raise NoTimeError(f"time column {column!r}: {error}; correct it, or leave time_column empty") from None
    if base.left_out - base.repeated_stamps - base.missing_stamps > _MOST_LEFT_OUT * (base.n + base.left_out):
        raise NoTimeError(
            f"time stamps of {column!r} run backwards at {base.backward_stamps} places and {base.left_out} samples"
            " have no place; split the file where the recorder was started again"
        )
    faults = _stamp_faults(base, column)
    if _disagree(base.rate, sheet, parameters.rate_tolerance):
        assert sheet is not None
        if not 0.5 < base.rate / sheet < 2.0:
            raise NoTimeError(
                f"time stamps of {column!r} ({words}) give {_hertz(base.rate)}, the sheet says {_hertz(sheet)};"
                " name the unit in the column's name (time_ms) or correct sampling_frequency"
            )
        faults.append(
            f"time stamps of {column!r} give {_hertz(base.rate)}, the sheet says {_hertz(sheet)}:"
            " the stamps were followed"
        )
    told = {c.sampling_frequency for c in raw.channels.values() if c.sampling_frequency is not None}
    if any(_disagree(base.rate, rate, parameters.rate_tolerance) for rate in told):
        rates = " and ".join(_hertz(rate) for rate in sorted(told))
        faults.append(
            f"time stamps of {column!r} give {_hertz(base.rate)}, the file says {rates}: the stamps were followed"
        )
    channels = {name: base.onto_grid(c.values) for name, c in raw.channels.items() if name != column}
    return Grid(base, f"column {column} ({words})", channels, tuple(faults))


def _resample(channel: RawChannel, rate: float, fastest: float, n: int) -> Array:
    """Bring a channel to the grid of the fastest, NaN before its start and after its end."""
    values = channel.values
    shift = channel.start_s * fastest
    if rate == fastest and abs(shift - round(shift)) < 1e-3:
        out = np.full(n, np.nan)
        first = round(shift)
        part = values[: max(n - first, 0)]
        out[first : first + len(part)] = part
        return out
    own = channel.start_s + np.arange(len(values)) / rate
    out = np.interp(np.arange(n) / fastest, own, values, left=np.nan, right=np.nan)
    return np.asarray(out, dtype=np.float64)


def _from_rates(raw: RawFile, recording: Recording, parameters: IngestParameters, before: list[str]) -> Grid:
    sheet = recording.sampling_frequency
    faults, rates = list(before), {}
    sources = set()
    for name, channel in raw.channels.items():
        rate = channel.sampling_frequency
        if rate is None or not np.isfinite(rate) or rate <= 0:
            if sheet is None:
                raise NoTimeError(
                    f"nothing gives the time of {name!r}; give sampling_frequency in the sheet, or the time_column"
                )
            rate = sheet
            sources.add("sheet")
        else:
            sources.add("file")
        rates[name] = float(rate)
    fastest = max(rates.values())
    if "file" in sources and _disagree(fastest, sheet, parameters.rate_tolerance):
        assert sheet is not None
        faults.append(f"the file says {_hertz(fastest)}, the sheet says {_hertz(sheet)}: the file was followed")
    lengths = {
        name: int(np.floor((c.start_s + (len(c.values) - 1) / rates[name]) * fastest + 1e-6)) + 1
        for name, c in raw.channels.items()
    }
    n = max(lengths.values())
    if len({c.start_s for c in raw.channels.values()}) == 1 and len(set(lengths.values())) == 1 == len(
        set(rates.values())
    ):
        channels = {name: c.values for name, c in raw.channels.items()}
    else:
        channels = {name: _resample(c, rates[name], fastest, n) for name, c in raw.channels.items()}
    return Grid(uniform_base(n, fastest), " and ".join(sorted(sources)), channels, tuple(faults))


def make_grid(raw: RawFile, recording: Recording, parameters: IngestParameters) -> Grid:
    """Bring the channels of a raw file to one uniform time grid.

    Parameters
    ----------
    raw : RawFile
        The channels in use and, if there is one, the time column.
    recording : Recording
        What the sheet says.
    parameters : IngestParameters
        Settings.

    Returns
    -------
    Grid
        The time column is followed before the file's own rate, and that before the sheet's. Channels of
        different rates are brought to the fastest; those that start later are NaN until they do.

    Raises
    ------
    NoTimeError
        If the samples have no time.
    """
    column = recording.time_column
    if column is None:
        return _from_rates(raw, recording, parameters, [])
    if column in raw.channels:
        return _from_stamps(raw, column, recording, parameters)
    reason = f"the time column {column!r} is not in the file"
    rated = recording.sampling_frequency is not None or all(
        c.sampling_frequency is not None for c in raw.channels.values()
    )
    if not rated:
        raise NoTimeError(
            f"{reason}, which has {', '.join(raw.names)}; correct time_column, or give sampling_frequency"
        )
    source = "sheet" if any(c.sampling_frequency is None for c in raw.channels.values()) else "file"
    faults = [f"{reason}: the sampling rate of the {source} was used instead"]
    return _from_rates(raw, recording, parameters, faults)
