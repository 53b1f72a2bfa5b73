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

__all__ = ["Grid", "NoTimeError", "make_grid", "without_clock_jump"]

Array = npt.NDArray[np.float64]
_MOST_LEFT_OUT = 0.05
"""Share of samples left out, but for repeated and missing stamps, from which a recording has no time (ours)."""
_DAY_S, _HOUR_S = 86400.0, 3600.0
"""A clock that leaps by more than a day was set; one that also falls back by more than an hour is left alone (ours)."""
_MOST_GRID = 20
"""More samples of the grid for each stored one than this are a sign of wrong starts or rates, not of gaps."""


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
    started : str or None
        Date and time of the first sample, ISO 8601, if its stamp counts from 1970.
    """

    base: TimeBase
    source: str
    channels: Mapping[str, Array]
    faults: tuple[str, ...] = field(default=())
    started: str | None = None


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


def without_clock_jump(t: Array, column: str) -> tuple[Array, str | None]:
    """Let what follows a clock that was set during the recording go on without a pause, and say so.

    A recorder that starts at 1970 or 2000 and learns the date later leaves one step of days or years.
    """
    finite = np.flatnonzero(np.isfinite(t))
    d = np.diff(t[finite])
    jumps = np.flatnonzero(d > _DAY_S)
    if len(jumps) != 1 or len(d) < 3 or float(d.min()) < -_HOUR_S:
        return t, None
    last = int(jumps[0])
    usual = float(np.median(d))
    out = t.copy()
    out[finite[last + 1] :] -= float(d[last]) - usual
    return out, (
        f"the clock of {column!r} jumps by {d[last] / _DAY_S:.4g} days after {t[finite[last]] - t[finite[0]]:.6g} s, as"
        " when it is set during a recording: what follows was taken to go on without a pause"
    )


def _from_stamps(raw: RawFile, column: str, recording: Recording, parameters: IngestParameters) -> Grid:
    stamps = raw.channels[column]
    sheet = recording.sampling_frequency
    factor, words, started = 1.0, "clock times", None
    # from the first: seconds since 1970 in a float would keep only a quarter of a microsecond
    first = next(iter(stamps.values[np.isfinite(stamps.values)]), 0.0)
    if not stamps.clock:
        unit = stamp_unit(stamps.values, column, stamps.units, sheet, float(stamps.origin))
        factor, words = unit.seconds, unit.words
        if unit.since_1970:
            started = str(np.datetime64(round((first + float(stamps.origin)) * factor * 1e6), "us"))
    seconds, jump = without_clock_jump((stamps.values - first) * factor, column)
    odd = [name for name, channel in raw.channels.items() if len(channel.values) != len(stamps.values)]
    if odd:
        raise NoTimeError(
            f"column {odd[0]!r} has {len(raw.channels[odd[0]].values)} samples and the time column {column!r} has"
            f" {len(stamps.values)}; name the time column that belongs to the channels"
        )
    try:
        base = time_base(seconds, sheet, gap_steps=parameters.gap_steps)
    except TimeBaseError as error:
        raise NoTimeError(f"time column {column!r}: {error}; correct it, or leave time_column empty") from None
    if base.left_out - base.repeated_stamps - base.missing_stamps > _MOST_LEFT_OUT * (base.n + base.left_out):
        raise NoTimeError(
            f"time stamps of {column!r} run backwards at {base.backward_stamps} places and {base.left_out} samples"
            " have no place; split the file where the recorder was started again"
        )
    faults = [*([jump] if jump else []), *_stamp_faults(base, column)]
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
    channels = {name: base.onto_grid(c.absolute) for name, c in raw.channels.items() if name != column}
    return Grid(base, f"column {column} ({words})", channels, tuple(faults), started)


def _resample(channel: RawChannel, rate: float, fastest: float, n: int) -> Array:
    """Bring a channel to the grid of the fastest, NaN before its start and after its end."""
    values = channel.absolute
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
    spans = {n: (c.start_s + (len(c.values) - 1) / rates[n]) * fastest for n, c in raw.channels.items()}
    if not all(np.isfinite(span) and abs(span) < 2.0**62 for span in spans.values()):
        raise NoTimeError("starts and rates of the file are out of all range; correct them in the recorder")
    lengths = {name: int(np.floor(span + 1e-6)) + 1 for name, span in spans.items()}
    n = max(lengths.values())
    most = max(len(c.values) for c in raw.channels.values())
    if n > _MOST_GRID * most + 1e5:
        late = max(
            raw.channels, key=lambda name: raw.channels[name].start_s + len(raw.channels[name].values) / rates[name]
        )
        raise NoTimeError(
            f"channel {late!r} ends {n / fastest:.6g} s after the first begins, with samples for"
            f" {most / fastest:.6g} s only at {_hertz(fastest)}; correct starts and rates in the recorder"
        )
    if len({c.start_s for c in raw.channels.values()}) == 1 and len(set(lengths.values())) == 1 == len(
        set(rates.values())
    ):
        channels = {name: c.absolute for name, c in raw.channels.items()}
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
    if not any(len(channel.values) for channel in raw.channels.values()):
        raise NoTimeError("the channels have no samples; copy the file again from the recorder")
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
