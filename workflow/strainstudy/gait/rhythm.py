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
    path = _best_path(_rises(together, fair, lags * rate) * weight[:, None])
    centre = starts + width / 2.0
    grid = np.arange(size_out) / thin
    windows_at = np.arange(starts.size)
    return Rhythm(
        stride_time=np.exp(np.interp(grid, centre, np.log(lags[path]))),
        strengths=tuple(np.interp(grid, centre, _rises(acf, fair, lags * rate)[windows_at, path]) for acf in each),
    )


def _rises(acf: FloatArray, fair: FloatArray, place: FloatArray) -> FloatArray:
    """Autocorrelation at each lag above the trough before it: a slow movement still resembles itself a little later.

    Half-way between the biased and the unbiased estimate: a multiple of the stride must not win by chance.
    """
    low = place.astype(int)
    part = place - low
    scaled = acf / (np.maximum(acf[:, :1], np.finfo(float).tiny) * np.sqrt(fair))
    table = scaled[:, low] * (1 - part) + scaled[:, low + 1] * part
    trough = np.column_stack([scaled[:, (at + 1) // 2 : at + 1].min(axis=1) for at in low])
    rises: FloatArray = table - np.maximum(trough, 0.0)
    return rises


def _best_path(table: FloatArray) -> NDArray[np.intp]:
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
