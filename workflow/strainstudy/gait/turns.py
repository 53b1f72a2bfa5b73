"""Turns inside a walk: a few steps in a row that are smaller and slower than the walk before and the walk after.

In: the size and the stride time of each swing of a walk. Out: which swings turn. Ours: no published rule finds a
turn from knee curves alone; turns must be found because they raise stride-time variability when they are left in
(PMC6348278: in 5.8 % of healthy elderly people). What is compared is both flanks, so that a change of the way of
walking is no turn. A walk that varies a lot (a limp, an irregular gait) hides its turns: the rule then finds none
rather than cutting the walk.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import uniform_filter1d

from ..signal.hampel import MAD_TO_SD

__all__ = ["turning"]

FloatArray = NDArray[np.float64]
BoolArray = NDArray[np.bool_]
IntArray = NDArray[np.intp]

NEAR, FAR = 4, 12
"""Swings of the same side that a swing is compared with: from so many before it to so many, and the same after it."""
RUN = 2
"""Swings of each knee that are averaged."""
SPREADS = 1.6
"""Robust standard deviations by which size and time together depart in a turn, on average over the run."""
LEAST_SMALLER, LEAST_SLOWER = 0.2, 0.06
"""Departures that count as 2.2 such deviations at least, however regular the walk."""
REGULAR = 2.2
"""Deviations that the departures of `LEAST_SMALLER` and `LEAST_SLOWER` stand for (chosen as the other numbers of
turns)."""
SMALLER, SLOWER = 0.08, 0.03
"""A turn is smaller and slower than the walk by at least these parts."""
FLANK = 2
"""Swings of each knee before the first and after the last turning one; else it is a start or a stop."""
LONGEST = 6
"""Swings of each knee in one turn at most; more is another way of walking."""


def _flanks(logs: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Medians of the values some places before and some places after each; where one is missing, the other."""
    padded = np.pad(logs, FAR, constant_values=np.nan)
    windows = np.lib.stride_tricks.sliding_window_view(padded, FAR - NEAR + 1)
    n = logs.size
    few = np.full(n, float(np.median(logs)))
    sides = []
    rows = np.arange(n)
    for part in (windows[:n], windows[FAR + NEAR : FAR + NEAR + n]):
        ordered = np.sort(part, axis=1)  # NaN sort last
        count = np.count_nonzero(np.isfinite(part), axis=1)
        middle = 0.5 * (ordered[rows, np.maximum(count - 1, 0) // 2] + ordered[rows, count // 2])
        sides.append(np.where(count >= 2, middle, np.nan))
    before, after = sides
    before, after = np.where(np.isnan(before), after, before), np.where(np.isnan(after), before, after)
    return np.where(np.isnan(before), few, before), np.where(np.isnan(after), few, after)


def _departures(size: FloatArray, stride: FloatArray) -> tuple[FloatArray, FloatArray]:
    """By how much (log ratio) each swing of a knee is smaller, and slower, than both flanks."""
    sizes, times = (np.log(np.maximum(x, np.finfo(float).tiny)) for x in (size, stride))
    return np.minimum(*_flanks(sizes)) - sizes, times - np.maximum(*_flanks(times))


def _spread(departure: FloatArray, least: float) -> float:
    """Robust standard deviation of the departures of a knee, not below what a regular walk is given."""
    return max(MAD_TO_SD * float(np.median(np.abs(departure - np.median(departure)))), least / REGULAR)


def _grown(values: FloatArray, limit: float) -> BoolArray:
    """Mark the runs above half the limit that somewhere reach it."""
    outer = values > 0.5 * limit
    number = np.cumsum(np.diff(np.concatenate([[0], outer.astype(np.int8)])) == 1) * outer
    reached = np.unique(number[values > limit])
    grown: BoolArray = outer & np.isin(number, reached)
    return grown


def turning(peak: FloatArray, side: IntArray, size: FloatArray, stride: FloatArray) -> tuple[BoolArray, bool]:
    """Mark the turning swings of one walk.

    Parameters
    ----------
    peak : ndarray, shape (k,)
        Peak of each swing in seconds, all knees in order.
    side : ndarray of int, shape (k,)
        Knee of each swing.
    size : ndarray, shape (k,)
        Rise of each swing, unit as given.
    stride : ndarray, shape (k,)
        Time from peak to peak of the same knee around each swing, in seconds.

    Returns
    -------
    turned : ndarray of bool, shape (k,)
    shown : bool
        Whether a turn could be told from the other steps. False where one knee alone was recorded (the outer leg may
        turn unchanged), the walk is too short to have a walk before and after a turn, or its steps vary so much that a
        turn of usual size is lost among them.
    """
    k, knees = peak.size, np.unique(side)
    flank, longest = FLANK * knees.size, LONGEST * knees.size
    if k < 2 * flank + 2:
        return np.zeros(k, dtype=bool), False
    usual = 0.0
    smaller, slower, score = np.zeros(k), np.zeros(k), np.zeros(k)
    for one in knees:
        members = np.flatnonzero(side == one)
        smaller[members], slower[members] = _departures(size[members], stride[members])
        for departure, least in ((smaller[members], LEAST_SMALLER), (slower[members], LEAST_SLOWER)):
            spread = _spread(departure, least)
            usual += least / spread / knees.size
            # one wild swing is no turn
            score[members] += np.clip(departure / spread, -2.0 * SPREADS, 2.0 * SPREADS)
    score /= np.sqrt(2.0)
    turned = _grown(uniform_filter1d(score, RUN * knees.size, mode="nearest"), SPREADS)
    edges = np.diff(np.concatenate([[0], turned.astype(np.int8), [0]]))
    for first, last in zip(np.flatnonzero(edges == 1), np.flatnonzero(edges == -1), strict=True):
        # averaging over a run reaches beyond the turn at both ends
        own = first + np.flatnonzero(score[first:last] > 0.5 * SPREADS)
        if not own.size:
            turned[first:last] = False
            continue
        turned[first : own[0]] = turned[own[-1] + 1 : last] = False
        first, last = own[0], own[-1] + 1
        part = slice(first, last)
        lasting = 2 <= last - first <= longest and first >= flank and k - last >= flank
        if not lasting or slower[part].mean() < SLOWER or smaller[part].mean() < SMALLER:
            turned[part] = False
    return turned, bool(knees.size > 1 and usual / np.sqrt(2.0) > SPREADS)
