"""How long a stride is, second by second, from the rate of change of the knees.

In: the rate of change of one or both knees at the analysis rate. Out: local stride time, and how strongly the
movement repeats. Autocorrelation in overlapping windows (Moe-Nilssen & Helbostad 2004, doi
10.1016/S0021-9290(03)00233-1, use it for the regularity of walking), joined over time by the best path
(Viterbi 1967), so that one odd window does not halve or double the stride.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.fft import irfft, next_fast_len, rfft

from .prepare import ANALYSIS_RATE_HZ

__all__ = ["Rhythm", "local_rhythm"]

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.intp]

RATE_HZ = 50.0
"""Enough for movement below 6 Hz, at half the work."""
HOP_S = 1.0
"""Seconds from window to window (ours)."""
WINDOW_STRIDES = 2.7
"""A window holds this many of the longest strides looked for."""
STEPS_PER_OCTAVE = 24
"""Lags tried for each doubling of the stride time: 3 % apart (ours)."""
PATH_COST = 1.0
"""Correlation that a change of the stride time by an octave within one hop must gain to be believed."""


@dataclass(frozen=True)
class Rhythm:
    """Local stride time on the analysis grid.

    Parameters
    ----------
    stride_time : ndarray, shape (n,)
        Seconds.
    strengths : tuple of ndarray, each shape (n,)
        For each knee, its autocorrelation at that lag above the trough before it (above 0 where the trough is below),
        at most 1.
    """

    stride_time: FloatArray
    strengths: tuple[FloatArray, ...]


def local_rhythm(speeds: list[FloatArray], shortest: float, longest: float) -> Rhythm:
    """Estimate the local stride time from all knees together.

    Parameters
    ----------
    speeds : list of ndarray, shape (n,)
        Rate of change of each knee, any unit.
    shortest, longest : float
        Limits of the stride time in seconds.

    Returns
    -------
    Rhythm
    """
    size_out = speeds[0].size
    thin = int(ANALYSIS_RATE_HZ / RATE_HZ)
    speeds = [speed[::thin] for speed in speeds]
    n = speeds[0].size
    rate = RATE_HZ
    width = int(min(WINDOW_STRIDES * longest * rate, max(n, 2)))
    hop = int(HOP_S * rate)
    starts = np.arange(0, max(n - width, 0) + 1, hop)
    taper = np.hanning(width + 2)[1:-1]
    size = next_fast_len(2 * width, real=True)
    taper_acf = irfft(np.abs(rfft(taper, size)) ** 2, size)[:width]
    each = []
    for speed in speeds:
        scale = np.quantile(np.abs(speed), 0.9) + np.finfo(float).tiny
        clipped = np.clip(speed / scale, -3.0, 3.0)
        windows = np.lib.stride_tricks.sliding_window_view(clipped, width)[starts] * taper
        each.append(irfft(np.abs(rfft(windows, size, axis=1)) ** 2, size, axis=1)[:, :width])
    lags = shortest * 2.0 ** np.arange(0.0, np.log2(longest / shortest) + 1e-9, 1.0 / STEPS_PER_OCTAVE)
    lags = lags[lags * rate < 0.75 * width]
    fair = taper_acf / taper_acf[0]
    together = np.sum(each, axis=0)
    power = together[:, 0]
    weight = np.minimum(power / (np.median(power[power > 0.1 * power.max()]) + np.finfo(float).tiny), 1.0)
    places = lags * rate
    path = _best_path(_rises(together, fair, places) * weight[:, None])
    centre = starts + width / 2.0
    grid = np.arange(size_out) / thin
    strengths = (_along(_Likeness.of(acf, fair, int(places[-1])), places, path) for acf in each)
    return Rhythm(
        stride_time=np.exp(np.interp(grid, centre, np.log(lags[path]))),
        strengths=tuple(np.interp(grid, centre, strength) for strength in strengths),
    )


def _rises(acf: FloatArray, fair: FloatArray, places: FloatArray) -> FloatArray:
    """Read the rises of all windows at all lags, shape (windows, lags)."""
    likeness = _Likeness.of(acf, fair, int(places[-1]))
    return np.column_stack([likeness.rise(place) for place in places.tolist()])


def _along(likeness: _Likeness, places: FloatArray, path: IntArray) -> FloatArray:
    """Read for each window the rise at its own lag."""
    found = np.empty(path.size)
    for lag in np.unique(path).tolist():
        own = np.flatnonzero(path == lag)
        found[own] = likeness.rise(float(places[lag]), own)
    return found


@dataclass(frozen=True)
class _Likeness:
    """Autocorrelation of windows, to be read at lags between its columns.

    Half-way between the biased and the unbiased estimate: a multiple of the stride must not win by chance.

    Parameters
    ----------
    scaled : ndarray, shape (lags, windows)
        Lags first, so that what is done to one lag of all windows runs through memory in order.
    least : tuple of ndarray
        Least of 1, 2, 4, ... neighbouring lags from each on, each shape (fewer lags, windows).
    """

    scaled: FloatArray
    least: tuple[FloatArray, ...]

    @classmethod
    def of(cls, acf: FloatArray, fair: FloatArray, longest: int) -> _Likeness:
        """Scale autocorrelations of shape (windows, lags), of which lags up to ``longest`` are read."""
        kept = slice(0, longest + 2)
        scale = np.maximum(acf[:, :1], np.finfo(float).tiny) * np.sqrt(fair[kept])
        scaled = np.ascontiguousarray((acf[:, kept] / scale).T)
        least = [scaled]
        # the longest trough covers half the lags
        while 2 ** len(least) <= longest // 2 + 1:
            half = 2 ** (len(least) - 1)
            least.append(np.minimum(least[-1][:-half], least[-1][half:]))
        return cls(scaled, tuple(least))

    def rise(self, place: float, windows: IntArray | slice = slice(None)) -> FloatArray:
        """Give it at a lag above the trough before it: a slow movement still resembles itself a little later."""
        low = int(place)
        part = place - low
        value = self.scaled[low, windows] * (1 - part) + self.scaled[low + 1, windows] * part
        first, last = (low + 1) // 2, low + 1
        level = (last - first).bit_length() - 1
        spans = self.least[level]
        trough = np.minimum(spans[first, windows], spans[last - 2**level, windows])
        rise: FloatArray = value - np.maximum(trough, 0.0)
        return rise


def _best_path(table: FloatArray) -> IntArray:
    steps, lags = table.shape
    index = np.arange(lags)
    cost = PATH_COST * np.abs(index[:, None] - index[None, :]) / STEPS_PER_OCTAVE
    best = table[0].copy()
    back = np.zeros((steps, lags), dtype=np.intp)
    for step in range(1, steps):
        reach = best[None, :] - cost
        back[step] = reach.argmax(axis=1)
        best = reach[index, back[step]] + table[step]
    path = np.zeros(steps, dtype=np.intp)
    path[-1] = best.argmax()
    for step in range(steps - 1, 0, -1):
        path[step - 1] = back[step, path[step]]
    return path
