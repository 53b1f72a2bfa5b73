"""Turns inside a walk: a few steps in a row that are smaller and slower than the walk around them.

In: the size and the stride time of each swing of a walk. Out: which swings turn. Ours: no published rule finds a
turn from knee curves alone; turns must be found because they raise stride-time variability when they are left in
(PMC6348278: in 5.8 % of healthy elderly people). A walk that varies a lot (a limp, an irregular gait) hides its
turns: the rule then finds none rather than cutting the walk.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import median_filter, uniform_filter1d

__all__ = ["turning"]

FloatArray = NDArray[np.float64]
BoolArray = NDArray[np.bool_]
IntArray = NDArray[np.intp]

NEIGHBOURS = 10
"""Swings of the same side before and after that a swing is compared with."""
RUN = 4
"""Swings of both knees that are averaged."""
SPREADS = 2.2
"""Robust standard deviations by which size and time together depart in a turn, on average over the run."""
LEAST_SMALLER, LEAST_SLOWER = 0.2, 0.06
"""Departures that count as so many at least, however regular the walk."""
SMALLER, SLOWER = 0.08, 0.03
"""A turn is smaller and slower than the walk by at least these parts."""
FLANK = 4
"""Swings of both knees before the first and after the last turning one; else it is a start or a stop."""
LONGEST = 12
"""Swings of both knees in one turn at most; more is another way of walking."""


def _against_neighbours(values: FloatArray) -> FloatArray:
    """Log ratio of each value to the median of those around it."""
    logs = np.log(np.maximum(values, np.finfo(float).tiny))
    ratio: FloatArray = logs - median_filter(logs, 2 * NEIGHBOURS + 1, mode="mirror")
    return ratio


def _grown(values: FloatArray, limit: float) -> BoolArray:
    """Mark the runs above half the limit that somewhere reach it."""
    outer = values > 0.5 * limit
    number = np.cumsum(np.diff(np.concatenate([[0], outer.astype(np.int8)])) == 1) * outer
    reached = np.unique(number[values > limit])
    grown: BoolArray = outer & np.isin(number, reached)
    return grown


def turning(peak: FloatArray, side: IntArray, size: FloatArray, stride: FloatArray) -> BoolArray:
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
    ndarray of bool, shape (k,)
    """
    k = peak.size
    if k < 2 * FLANK + 2:
        return np.zeros(k, dtype=bool)
    smaller, slower, score = np.zeros(k), np.zeros(k), np.zeros(k)
    for one in np.unique(side):
        members = np.flatnonzero(side == one)
        smaller[members] = -_against_neighbours(size[members])
        slower[members] = _against_neighbours(stride[members])
        for departure, least in ((smaller[members], LEAST_SMALLER), (slower[members], LEAST_SLOWER)):
            spread = 1.4826 * np.median(np.abs(departure - np.median(departure)))
            # one wild swing is no turn
            score[members] += np.minimum(departure / max(spread, least / SPREADS), 2.0 * SPREADS)
    score /= np.sqrt(2.0)
    turned = _grown(uniform_filter1d(score, RUN, mode="nearest"), SPREADS)
    edges = np.diff(np.concatenate([[0], turned.astype(np.int8), [0]]))
    for first, last in zip(np.flatnonzero(edges == 1), np.flatnonzero(edges == -1), strict=True):
        # averaging over a run reaches beyond the turn at both ends
        own = first + np.flatnonzero(score[first:last] > 0.5 * SPREADS)
        turned[first : own[0]] = turned[own[-1] + 1 : last] = False
        first, last = own[0], own[-1] + 1
        part = slice(first, last)
        lasting = 2 <= last - first <= LONGEST and first >= FLANK and k - last >= FLANK
        if not lasting or slower[part].mean() < SLOWER or smaller[part].mean() < SMALLER:
            turned[part] = False
    found: BoolArray = turned
    return found
