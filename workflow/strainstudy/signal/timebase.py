"""Time stamps to a uniform grid: the rate, what is wrong with the stamps, and the samples in their places.

In: the stamps of a recording as its file has them. Out: a `TimeBase` that lays any column of the file out on a
uniform grid, time counted from the first stored sample (as BIDS does) and NaN where nothing was stored.

Stamps that agree with a grid within their own resolution put the samples there unchanged. Others are honoured: the
grid's values are interpolated linearly between neighbouring samples, never across a gap. The two-step order (robust
step, then mean step over unbroken stretches) keeps the rate free of both gaps and rounding.
"""

from __future__ import annotations

import re
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

__all__ = ["StampUnit", "TimeBase", "TimeBaseError", "stamp_unit", "time_base", "uniform_base"]

Array = npt.NDArray[np.float64]

_UNITS = {
    "s": 1.0, "sec": 1.0, "second": 1.0, "seconds": 1.0,
    "ms": 1e-3, "msec": 1e-3, "millis": 1e-3, "millisecond": 1e-3, "milliseconds": 1e-3,
    "us": 1e-6, "µs": 1e-6, "μs": 1e-6, "usec": 1e-6, "micros": 1e-6, "microseconds": 1e-6,
    "ns": 1e-9, "nanoseconds": 1e-9, "min": 60.0, "minutes": 60.0,
}  # fmt: skip
"""Seconds of the units that a header may name."""
_UNIT_WORDS = {1.0: "seconds", 1e-3: "milliseconds", 1e-6: "microseconds", 1e-9: "nanoseconds", 60.0: "minutes"}
"""Units in words, by their seconds."""
_SLOWEST_HZ = 5.0
"""A rate below this is taken as a sign that unnamed stamps are not seconds: no movement could be seen with it."""
_FASTEST_HZ = 1e6
"""A rate above this is a sign of the same: no amplifier of strain samples so fast."""
_EARLIEST_S, _LATEST_S = 631152000.0, 4102444800.0
"""The years 1990 to 2100 in seconds since 1970: a thousand times more or less is far outside, so the unit is told."""
_PACKETS = 0.2
"""Share of repeated stamps beyond which they are a coarse clock or packets, not repeated samples."""
_REGULAR = 0.02
"""Largest distance from a grid point, in samples, that a place on the grid may have; about the rounding of stamps."""
_JITTER_SDS = 6.0
"""A late sample is no gap: steps may be longer by so many SDs of their jitter (ours)."""
_LONGEST_LATE = 1.9
"""Steps from which it is one all the same: nearly two (ours)."""
_NEAR_NOMINAL = 0.02
"""Share by which a rate may miss the nominal one that it is then taken for (ours)."""
_ROUND_RATE = 0.002
"""Share by which it may miss a round number that it is then taken for (ours)."""
_MOST_GRID = 20
"""More samples of the grid for each stored one than this are a sign of wrong stamps, not of gaps."""


class TimeBaseError(ValueError):
    """No time can be made of the stamps; the text says why, as a clause."""


@dataclass(frozen=True)
class StampUnit:
    """What time stamps count.

    Parameters
    ----------
    seconds : float
        Seconds per count.
    words : str
        How that is known.
    since_1970 : bool
        They lie where counts since 1970 of the last decades and the next do.
    """

    seconds: float
    words: str
    since_1970: bool = False


@dataclass(frozen=True)
class TimeBase:
    """Where the samples of a file lie on a uniform grid.

    Parameters
    ----------
    sampling_frequency : float
        Hz, of the grid.
    n : int
        Samples of the grid.
    rate : float
        Hz, as the stamps have it.
    used : int array or None
        Which samples of the file are used; all if ``None``.
    place : int array or None
        Grid index of each used sample; in order if ``None``.
    seconds : array or None
        Times of the used samples where they must be interpolated.
    gaps : array, shape (k, 2)
        Start and end of the stretches without samples, in s.
    missing_stamps, repeated_stamps, backward_stamps : int
        Samples without a stamp, with the stamp of the one before, with an earlier one.
    left_out : int
        Samples that have no place because of their stamps.
    jitter : float
        SD of the steps within unbroken stretches, s.
    packets : bool
        Stamps came in packets or from a coarse clock; samples were spread evenly.
    """

    sampling_frequency: float
    n: int
    rate: float
    used: npt.NDArray[np.intp] | None
    place: npt.NDArray[np.intp] | None
    seconds: Array | None
    gaps: Array
    missing_stamps: int = 0
    repeated_stamps: int = 0
    backward_stamps: int = 0
    left_out: int = 0
    jitter: float = 0.0
    packets: bool = False

    @property
    def duration(self) -> float:
        """Seconds covered by the grid."""
        return self.n / self.sampling_frequency

    def onto_grid(self, values: npt.ArrayLike) -> Array:
        """Lay a column of the file out on the grid.

        Parameters
        ----------
        values : array_like
            As long as the stamps were.

        Returns
        -------
        array, shape (n,)
            NaN where there is no sample.
        """
        column = np.asarray(values, dtype=np.float64)
        if self.used is not None:
            column = column[self.used]
        if self.seconds is not None:
            grid = np.arange(self.n) / self.sampling_frequency
            out: Array = np.interp(grid, self.seconds, column)
            half = 0.5 / self.sampling_frequency
            for start, end in self.gaps:
                first, last = np.searchsorted(grid, (start + half, end - half))
                out[first:last] = np.nan
            return out
        if self.place is None:
            return column
        out = np.full(self.n, np.nan)
        out[self.place] = column
        return out


def uniform_base(n: int, sampling_frequency: float) -> TimeBase:
    """Make the time base of ``n`` samples without stamps."""
    return TimeBase(sampling_frequency, n, sampling_frequency, None, None, None, np.empty((0, 2)))


def _named_unit(name: str, units: str | None) -> float | None:
    """Find a unit of time in the units row or, last word first, in the column's name."""
    if units is not None and units.strip().lower() in _UNITS:
        return _UNITS[units.strip().lower()]
    words = [word for word in re.split(r"[^a-zµμ]+", name.lower()) if word]
    return next((_UNITS[word] for word in reversed(words) if word in _UNITS), None)


def _since_1970(head: Array, origin: float, nominal: float | None) -> float | None:
    """Find the unit in which stamps count from 1970 to our days, if the rate that it gives can be one."""
    span = float(head.max() - head.min())
    for factor in (1.0, 1e-3, 1e-6, 1e-9):
        if span > 0 and _EARLIEST_S <= (float(head[-1]) + origin) * factor <= _LATEST_S:
            rate = (len(head) - 1) / (span * factor)
            if _SLOWEST_HZ <= rate <= _FASTEST_HZ and (nominal is None or 0.5 < rate / nominal < 2.0):
                return factor
    return None


def stamp_unit(stamps: Array, name: str, units: str | None, nominal: float | None, origin: float = 0.0) -> StampUnit:
    """Tell what the numbers of a time column count.

    Parameters
    ----------
    stamps : array, shape (n,)
        As in the file.
    name : str
        Name of the column, in which a unit may stand (``time_ms``, ``t [s]``).
    units : str or None
        Unit as the file says.
    nominal : float or None
        Rate in Hz as the sheet says.
    origin : float
        What was subtracted from all stamps.

    Returns
    -------
    StampUnit
        The named unit, unless it leads beyond the year 2100 and another does not; else the one in which they count
        from 1970 to our days; else the one that agrees with
        the sheet's rate (a count of samples included); else seconds, unless those would give a rate below 5 Hz
        and milliseconds would not.
    """
    head = stamps[np.isfinite(stamps)][:10000]
    named = _named_unit(name, units)
    last = (float(head[-1]) + origin) * (named or 0.0) if head.size else 0.0
    if named is not None and last <= _LATEST_S:
        return StampUnit(named, f"stamps in {_UNIT_WORDS[named]}", last >= _EARLIEST_S)
    epoch = _since_1970(head, origin, nominal) if head.size else None
    if named is not None and epoch is None:
        return StampUnit(named, f"stamps in {_UNIT_WORDS[named]}")
    if epoch is not None:
        return StampUnit(epoch, f"stamps in {_UNIT_WORDS[epoch]} since 1970", True)
    steps = np.diff(head)
    steps = steps[steps > 0]
    if steps.size == 0:
        return StampUnit(1.0, "stamps in seconds")
    step = float(np.median(steps))
    if nominal is not None:
        for factor in (1.0, 1e-3, 1e-6, 1e-9):
            if abs(1.0 / (step * factor) / nominal - 1.0) < 0.2:
                return StampUnit(factor, f"stamps in {_UNIT_WORDS[factor]}, as the sheet's rate tells")
        if step == 1.0 and np.all(head == np.rint(head)):
            return StampUnit(1.0 / nominal, "stamps count samples")
    if 1.0 / step < _SLOWEST_HZ and 1.0 / (step * 1e-3) >= _SLOWEST_HZ:
        return StampUnit(1e-3, "stamps taken as milliseconds: as seconds they would give less than 5 Hz")
    return StampUnit(1.0, "stamps in seconds")


def _round_rate(rate: float) -> float:
    """Give the nearest number of two significant digits or of whole hertz, if it is near enough."""
    digits = 1 - int(np.floor(np.log10(rate)))
    for candidate in (round(rate, digits), float(round(rate))):
        if candidate > 0 and abs(candidate / rate - 1.0) < _ROUND_RATE:
            return candidate
    return rate


def _resolution(t: Array) -> float:
    """Find the coarsest power of ten, in s, that the stamps are multiples of; 0 if finer than a microsecond."""
    head = t[:2000]
    for power in range(7):
        scaled = head * 10.0**power
        if np.all(np.abs(scaled - np.rint(scaled)) < 1e-3):
            return float(10.0**-power)
    return 0.0


def _increasing(t: Array, step: float) -> tuple[npt.NDArray[np.intp], int, int]:
    """Choose samples whose stamps increase; count repeats and places where stamps run backwards."""
    d = np.diff(t)
    repeated, backward = int(np.count_nonzero(d == 0)), int(np.count_nonzero(d < 0))
    keep = np.ones(len(t), dtype=bool)
    back = np.flatnonzero(d < 0)
    inner = back[back > 0]
    # one stamp too late among good ones, a gap behind it or none: that one goes, not all that follow it
    keep[inner[(t[inner] - t[inner - 1] > 2 * step) & (t[inner + 1] > t[inner - 1])]] = False
    kept = np.flatnonzero(keep)
    highest = np.maximum.accumulate(t[kept])
    rising = np.concatenate([[True], t[kept][1:] > highest[:-1]])
    return kept[rising], repeated, backward


def _spread_packets(t: Array, nominal: float | None) -> Array:
    """Spread samples that share a stamp evenly, stretch by stretch."""
    first = np.concatenate([[0], np.flatnonzero(np.diff(t)) + 1])
    size = np.diff(np.append(first, len(t)))
    step = np.diff(t[first])
    if step.size == 0:
        raise TimeBaseError("all time stamps are equal")
    usual = float(np.median(step))
    whole = step <= 1.5 * usual
    if np.count_nonzero(whole) > 2:
        whole[0] = False  # the recording may have begun within the first
    rate = float(size[:-1][whole].sum() / step[whole].sum())
    if nominal is not None and abs(rate / nominal - 1.0) < _NEAR_NOMINAL:
        rate = nominal
    broken = np.flatnonzero(step > 1.5 * size[:-1] / rate + usual) + 1
    starts = first[np.concatenate([[0], broken])]
    lengths = np.diff(np.append(starts, len(t)))
    within = np.arange(len(t)) - np.repeat(starts, lengths)
    spread: Array = np.repeat(t[starts], lengths) + within / rate
    return spread


def _broken_rate(d: Array, step: float, gap_steps: float) -> tuple[float, float, npt.NDArray[np.intp]]:
    """Find rate, jitter and gaps where some steps are long: the mean of the steps that are no gap gives the rate."""
    # 1.4826: MAD to SD of normal jitter (Hampel FR 1974, J Am Stat Assoc 69:383-393)
    spread = 1.4826 * float(np.median(np.abs(d - step))) / step
    longest = min(max(gap_steps, 1 + _JITTER_SDS * spread), max(gap_steps, _LONGEST_LATE))
    within = d <= longest * step
    steps = d[within]
    return float(len(steps) / steps.sum()), float(np.std(steps)), np.flatnonzero(~within)


def _on_grid(t: Array, rate: float, tolerance: float) -> npt.NDArray[np.intp] | None:
    """Give the grid index of each stamp if all lie near enough to grid points of their own."""
    x = t * rate
    k = np.rint(x)
    x -= k
    if max(float(x.max()), -float(x.min())) > tolerance:
        return None
    place = k.astype(np.intp)
    return place if bool(np.all(np.diff(place) >= 1)) else None


def time_base(seconds: npt.ArrayLike, nominal: float | None, *, gap_steps: float) -> TimeBase:
    """Make the time base of a column of stamps.

    Parameters
    ----------
    seconds : array_like, shape (n,)
        Stamps in seconds, from any origin; NaN where missing.
    nominal : float or None
        Rate in Hz as file or sheet say; the grid takes it if the stamps agree with it within 2 %.
    gap_steps : float
        A step longer than this many sample intervals is a gap; where stamps jitter, one longer than six SDs of that.

    Returns
    -------
    TimeBase

    Raises
    ------
    TimeBaseError
        If fewer than three stamps increase, or they span far more time than there are samples.
    """
    t = np.asarray(seconds, dtype=np.float64)
    used: npt.NDArray[np.intp] | None = None
    finite = np.isfinite(t)
    missing = int(len(t) - np.count_nonzero(finite))
    if missing:
        used = np.flatnonzero(finite)
        t = t[used]
    if len(t) < 3:
        raise TimeBaseError("there are fewer than three time stamps")
    t = t - t[0]
    d = np.diff(t)
    repeated = backward = 0
    packets = False
    if float(d.min()) <= 0:
        if np.count_nonzero(d == 0) > _PACKETS * len(d):
            packets = True
            t = _spread_packets(np.maximum.accumulate(t), nominal)
        else:
            rising = d[d > 0]
            if rising.size == 0:
                raise TimeBaseError("the time stamps never increase")
            kept, repeated, backward = _increasing(t, float(np.median(rising)))
            used = kept if used is None else used[kept]
            t = t[kept]
        if len(t) < 3:
            raise TimeBaseError("the time stamps never increase")
        d = np.diff(t)
    step = float(np.median(d))
    if not step > 0 or not np.isfinite(t[-1]):
        raise TimeBaseError("the time stamps do not increase steadily")
    if float(d.max()) <= gap_steps * step:
        rate, jitter, broken = len(d) / float(t[-1]), float(np.std(d)), np.empty(0, dtype=np.intp)
    else:
        rate, jitter, broken = _broken_rate(d, step, gap_steps)
    gaps = np.column_stack([t[broken], t[broken + 1]])
    if t[-1] * rate > _MOST_GRID * len(t) + 1e5:
        raise TimeBaseError(
            f"the time stamps span {t[-1]:.0f} s with samples for {len(t) / rate:.0f} s only; correct the stamps"
        )
    counts = {
        "missing_stamps": missing,
        "repeated_stamps": repeated,
        "backward_stamps": backward,
        "left_out": len(np.asarray(seconds)) - len(t),
    }
    tolerance = min(max(_REGULAR, 0.55 * _resolution(t) * rate), 0.3)
    near = nominal if nominal is not None and abs(rate / nominal - 1.0) < _NEAR_NOMINAL else None
    for candidate in dict.fromkeys(c for c in (near, _round_rate(rate), rate) if c is not None):
        place = _on_grid(t, candidate, tolerance)
        if place is not None:
            n = int(place[-1]) + 1
            in_order = n == len(place)
            return TimeBase(
                candidate,
                n,
                rate,
                used,
                None if in_order else place,
                None,
                gaps,
                **counts,
                jitter=jitter,
                packets=packets,
            )
    grid_rate = near if near is not None else _round_rate(rate)
    n = int(np.floor(t[-1] * grid_rate + 1e-6)) + 1
    return TimeBase(grid_rate, n, rate, used, None, t, gaps, **counts, jitter=jitter, packets=packets)
