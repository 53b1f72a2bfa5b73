"""Turns inside a walk: a few steps in a row that are smaller and slower than the walk before and the walk after.

In: the size and the stride time of each swing of a walk. Out: which swings turn. Ours: no published rule finds a
turn from knee curves alone; turns must be found because they raise stride-time variability when they are left in
(PMC6348278: in 5.8 % of healthy elderly people). What is compared is both flanks, so that a change of the way of
walking is no turn. Each swing says by how much it is more likely in a usual turn than outside, given how much this
knee's size and time vary in this walk: a stiff knee, whose size varies, says little, the other one more. The run of
swings that says most is a turn.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from ..signal.hampel import MAD_TO_SD

__all__ = ["turning"]

FloatArray = NDArray[np.float64]
BoolArray = NDArray[np.bool_]
IntArray = NDArray[np.intp]

NEAR, FAR = 4, 12
"""Swings of the same side that a swing is compared with: from so many before it to so many, and the same after it."""
USUAL_SMALLER, USUAL_SLOWER = 0.2, 0.08
"""Log ratios by which a swing of a usual turn is smaller and slower. Chosen on three simulated cohorts (202 turns);
half to four times as much in the turns of three recorded men."""
LEAST_SMALLER, LEAST_SLOWER = 0.09, 0.027
"""Robust standard deviations of size and time that every walk is given, however regular."""
CLIPPED = 3.0
"""One wild swing counts as so many standard deviations."""
EVIDENCE = {2: 6.0, 1: 3.0}
"""Log likelihood ratio of a turn, by the number of knees: from 3 to 7 the simulated cohorts lose nothing, from 4 on no
recorded straight walk has one. One knee has half of it; chosen on the walks to and fro of three men (8 of 13 turns)."""
SMALLER, SLOWER = 0.10, {2: 0.02, 1: 0.04}
"""A turn is smaller and slower than the walk by at least these parts; slower where one knee has to say it alone.
Recorded straight walks, one person's steps a little slower for a while, reach 0.08."""
FLANK = 2
"""Swings of each knee before the first and after the last turning one; else it is a start or a stop."""
SHORTEST = 2
"""Swings in one turn at least, of both knees together."""
LONGEST = 5
"""Swings of each knee in one turn at most; more is another way of walking."""
USUAL_SWINGS = 2
"""Swings of each knee in a usual turn, which lasts 2 to 3 s."""


def _median(values: FloatArray) -> FloatArray:
    """Median of each row of finite values, which numpy's own takes ten times as long to find in a few."""
    ordered = np.sort(values, axis=-1)
    n = values.shape[-1]
    middle: FloatArray = 0.5 * (ordered[..., (n - 1) // 2] + ordered[..., n // 2])
    return middle


def _flanks(logs: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Medians of the values some places before and some places after each; where one is missing, the other.

    Parameters
    ----------
    logs : ndarray, shape (k, n)
        One measure of the swings of a knee in each row.
    """
    k, n = logs.shape
    padded = np.full((k, n + 2 * FAR), np.nan)
    padded[:, FAR : FAR + n] = logs
    windows = np.lib.stride_tricks.sliding_window_view(padded, FAR - NEAR + 1, axis=1)
    few = _median(logs)[:, None]
    # NaN sort last; how many lie within the walk is the same for each measure
    place = np.arange(n)
    sides = []
    for first in (0, FAR + NEAR):
        ordered = np.sort(windows[:, first : first + n], axis=2)
        inside = np.clip(place + first + FAR - NEAR + 1, FAR, FAR + n) - np.clip(place + first, FAR, FAR + n)
        middle = 0.5 * (ordered[:, place, np.maximum(inside - 1, 0) // 2] + ordered[:, place, inside // 2])
        sides.append(np.where(inside >= 2, middle, np.nan))
    before, after = sides
    before, after = np.where(np.isnan(before), after, before), np.where(np.isnan(after), before, after)
    return np.where(np.isnan(before), few, before), np.where(np.isnan(after), few, after)


def _departures(size: FloatArray, stride: FloatArray) -> tuple[FloatArray, FloatArray]:
    """By how much (log ratio) each swing of a knee is smaller, and slower, than both flanks."""
    sizes, times = logs = np.log(np.maximum(np.stack([size, stride]), np.finfo(float).tiny))
    before, after = _flanks(logs)
    return np.minimum(before[0], after[0]) - sizes, times - np.maximum(before[1], after[1])


def _spread(departure: FloatArray, middle: float, least: float) -> float:
    """Robust standard deviation of the departures of a knee, not below what a regular walk is given."""
    return max(MAD_TO_SD * float(_median(np.abs(departure - middle))), least)


def _evidence(departure: FloatArray, middle: float, usual: float, spread: float) -> FloatArray:
    """Log likelihood ratio of each swing: normal about the usual departure of a turn, against about the walk's own."""
    # the nearer of two flanks lies above the middle more often than below
    own = departure - min(middle, 0.0)
    reach = CLIPPED * spread + usual
    evidence: FloatArray = usual * (np.minimum(np.maximum(own, -reach), reach) - usual / 2.0) / spread**2
    return evidence


def _runs(evidence: FloatArray, enough: BoolArray, first: IntArray, last: IntArray, apart: int) -> BoolArray:
    """Mark the runs that say most, none within so many swings of another."""
    marked = np.zeros(evidence.size, dtype=bool)
    order = np.lexsort((first, -(evidence[last] - evidence[first])))
    for k in order[enough[order]]:
        if not marked[max(0, first[k] - apart) : last[k] + apart].any():
            marked[first[k] : last[k]] = True
    return marked[:-1]


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
        Whether any turn could be told from the other steps. False where one knee alone was recorded (the outer leg may
        turn unchanged), the walk is too short to have a walk before and after a turn, or its steps vary so much that a
        turn of usual size is lost among them.
    """
    k, knees = peak.size, np.unique(side)
    flank, longest = FLANK * knees.size, LONGEST * knees.size
    if k < 2 * flank + SHORTEST:
        return np.zeros(k, dtype=bool), False
    usual = 0.0
    smaller, slower, evidence = np.zeros(k), np.zeros(k), np.zeros(k)
    for one in knees:
        members = np.flatnonzero(side == one)
        smaller[members], slower[members] = _departures(size[members], stride[members])
        for departure, turn, least in (
            (smaller[members], USUAL_SMALLER, LEAST_SMALLER),
            (slower[members], USUAL_SLOWER, LEAST_SLOWER),
        ):
            middle = float(_median(departure))
            spread = _spread(departure, middle, least)
            evidence[members] += _evidence(departure, middle, turn, spread)
            usual += USUAL_SWINGS * turn**2 / (2.0 * spread**2)
    sums = [np.concatenate([[0.0], np.cumsum(x)]) for x in (evidence, smaller, slower)]
    lengths = np.arange(SHORTEST, min(longest, k) + 1)
    first = np.concatenate([np.arange(k - n + 1) for n in lengths])
    last = first + np.repeat(lengths, k - lengths + 1)
    said, small, slow = (x[last] - x[first] for x in sums)
    count = last - first
    enough = (said > EVIDENCE[knees.size]) & (small > SMALLER * count) & (slow > SLOWER[knees.size] * count)
    # one wild swing is no turn
    enough &= (evidence[first] > 0.0) & (evidence[last - 1] > 0.0)
    turned = _runs(sums[0], enough, first, last, knees.size)
    edges = np.diff(np.concatenate([[0], turned.astype(np.int8), [0]]))
    for start, stop in zip(np.flatnonzero(edges == 1), np.flatnonzero(edges == -1), strict=True):
        if start < flank or k - stop < flank:
            turned[start:stop] = False
    # a sum of log likelihood ratios has twice its mean for a variance
    return turned, bool(knees.size > 1 and usual - np.sqrt(2.0 * usual) > EVIDENCE[2])
