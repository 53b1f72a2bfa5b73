"""Landmarks of each swing: flexion peak, toe-off, initial contact.

In: a knee curve with flexion upwards and one instant near each swing peak. Out: the peak, the fastest flexion
before it (toe-off) and the end of the extension after it (initial contact), between the samples. The knee is at
its straightest around initial contact and flexes fastest around toe-off (mean curve of Schwartz et al. 2008,
doi 10.1016/j.jbiomech.2008.03.015: 98 % and 61 % of the cycle); no loading wave is needed.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from .prepare import ANALYSIS_RATE_HZ, KneeCurve

__all__ = ["Landmarks", "find_landmarks", "half_widths", "loading_waves"]

FloatArray = NDArray[np.float64]

PEAK_REACH = 0.18
"""The peak lies within this part of a stride of where the pattern fits best."""
RISE_REACH = 0.40
"""Toe-off and peak are at most this part of a stride apart; likewise peak and fastest extension."""
CONTACT_REACH = 0.60
"""The peak and initial contact are at most this part of a stride apart."""
STILL = 0.05
"""Extension has ended when it is this part of its fastest; not zero, so that a drift of the sensor cannot hide it."""
TOP = 0.75
"""Toe-off is the middle of the spell in which flexion is faster than this part of its
fastest; the flat top itself has no place."""
SLOWED = 0.4
"""Extension that has slowed to this part of its fastest may be over: a knee that goes on straightening through stance
never comes to rest at contact."""
SLOWING_COST = 0.1
"""What a mere slowing is worth less than an end, in parts of the way down."""
STRAIGHTEST_REACH = 0.5
"""How far down the knee has come is measured against its straightest in this part of a stride after the peak."""
USUAL_TERMINAL_SWING = 0.28
"""Swing peak to contact, in strides (72 and 100 % of the cycle: Schwartz et al. 2008)."""
TERMINAL_SWING_WIDTH = 0.15
"""How far from there a contact is expected, in strides (ours: about half of terminal swing)."""
AROUND_STRIDES, AROUND_S = 0.6, 1.0
"""How far before and after its peak a wave's foot is looked for: this part of a stride, and as many seconds."""
FOOT = 0.1
"""A wave rises from the level below which the knee is this part of the time around it."""
LOADING = (0.20, 0.28, 0.55)
"""Between which parts of a stride after the swing peak the knee is straightest, and up to which it bends under load:
the mean curve is straightest at 98 % and bends until 12 % of the next cycle, 0.26 and 0.40 after the peak."""
STEPS = 200
"""Points per stride at which the curve around a swing is read."""


@dataclass(frozen=True)
class Landmarks:
    """Landmarks of swings, in samples of the analysis grid; one entry per swing."""

    peak: FloatArray
    toe_off: FloatArray
    contact: FloatArray


def _refine(values: FloatArray, best: NDArray[np.intp]) -> FloatArray:
    """Place of an extremum between the points, by a parabola through three of them."""
    rows = np.arange(values.shape[0])
    inner = np.clip(best, 1, values.shape[1] - 2)
    before, at, after = values[rows, inner - 1], values[rows, inner], values[rows, inner + 1]
    bend = before - 2.0 * at + after
    shift = np.where(bend == 0.0, 0.0, 0.5 * (before - after) / np.where(bend == 0.0, 1.0, bend))
    return np.where(best == inner, inner + np.clip(shift, -0.5, 0.5), best.astype(float))


def _middle_above(values: FloatArray, part: float) -> FloatArray:
    """Middle of the spell around each row's maximum in which it stays above a part of it."""
    rows = np.arange(values.shape[0])
    steps = np.arange(values.shape[1])
    top = values.argmax(axis=1)
    level = part * values[rows, top]
    below = values < level[:, None]
    before = np.where(below & (steps < top[:, None]), steps, -1).max(axis=1)
    after = np.where(below & (steps > top[:, None]), steps, values.shape[1]).min(axis=1)

    def crossing(outer: NDArray[np.intp], inner: NDArray[np.intp]) -> FloatArray:
        low = values[rows, np.clip(outer, 0, steps[-1])]
        high = values[rows, inner]
        part_way = np.where(high > low, (level - low) / np.where(high > low, high - low, 1.0), 1.0)
        at: FloatArray = outer + (inner - outer) * np.clip(part_way, 0.0, 1.0)
        return at

    middle: FloatArray = 0.5 * (crossing(before, before + 1) + crossing(after, after - 1))
    return middle


def _contact(speed: FloatArray, value: FloatArray, fastest: FloatArray) -> FloatArray:
    """Choose the end of swing extension, in steps after the peak.

    Parameters
    ----------
    speed, value : ndarray, shape (k, m)
        The curve from each peak on.
    fastest : ndarray, shape (k,)
        Fastest extension (negative).
    """
    rows = np.arange(fastest.size)
    steps = np.arange(speed.shape[1])
    level = STILL * fastest[:, None]
    ends = np.zeros(speed.shape, dtype=bool)
    ends[:, 1:] = (speed[:, 1:] >= level) & (speed[:, :-1] < level)
    slowings = np.zeros(speed.shape, dtype=bool)
    slow = SLOWED * fastest[:, None]
    slowings[:, 1:] = (speed[:, 1:] >= slow) & (speed[:, :-1] < slow)
    lowest = value[:, : int(STRAIGHTEST_REACH * STEPS)].min(axis=1)
    drop = (value[:, 0] - lowest)[:, None]
    depth = np.clip((value[:, :1] - value) / np.where(drop > 0.0, drop, 1.0), 0.0, 1.0)
    away = (steps / STEPS - USUAL_TERMINAL_SWING) / TERMINAL_SWING_WIDTH
    worth = np.where(ends | slowings, depth - 0.5 * away**2 - SLOWING_COST * slowings, -np.inf)
    # a second look around what this knee usually does: noise makes ends that are not
    usual = float(np.median(worth.argmax(axis=1))) / STEPS if fastest.size else USUAL_TERMINAL_SWING
    away = (steps / STEPS - usual) / TERMINAL_SWING_WIDTH
    worth = np.where(ends | slowings, depth - 0.5 * away**2 - SLOWING_COST * slowings, -np.inf)
    best = worth.argmax(axis=1)
    found = np.isfinite(worth[rows, best])
    best = np.where(found, best, int(usual * STEPS))
    level = np.where(ends[rows, best], level[:, 0], slow[:, 0])
    before = np.maximum(best - 1, 0)
    left, right = speed[rows, before], speed[rows, before + 1]
    part = np.where(right > left, (level - left) / np.where(right > left, right - left, 1.0), 1.0)
    contact: FloatArray = before + np.where(found, np.clip(part, 0.0, 1.0), 1.0)
    return contact


def find_landmarks(curve: KneeCurve, near: FloatArray, stride_time: FloatArray) -> Landmarks:
    """Find the landmarks of swings.

    Parameters
    ----------
    curve : KneeCurve
        One knee, flexion upwards.
    near : ndarray, shape (k,)
        Instants near the swing peaks, in samples of the analysis grid.
    stride_time : ndarray, shape (k,)
        Local stride time in seconds.

    Returns
    -------
    Landmarks
    """
    grid = np.arange(curve.value.size)
    length = stride_time[:, None] * ANALYSIS_RATE_HZ

    def read(values: FloatArray, start: FloatArray, parts: FloatArray) -> FloatArray:
        taken: FloatArray = np.interp(start[:, None] + parts[None, :] * length, grid, values)
        return taken

    around = np.arange(-int(PEAK_REACH * STEPS), int(PEAK_REACH * STEPS) + 1) / STEPS
    value = read(curve.value, near, around)
    # the highest local maximum; on a slope without one, the place of best fit
    inner = value[:, 1:-1]
    crest = (inner >= value[:, :-2]) & (inner > value[:, 2:])
    ranked = np.where(crest, inner, -np.inf)
    best = np.where(crest.any(axis=1), ranked.argmax(axis=1) + 1, around.size // 2)
    peak = near + (_refine(value, best) - around.size // 2) / STEPS * length[:, 0]

    before = np.arange(-int(RISE_REACH * STEPS), 1) / STEPS
    rise = read(curve.speed, peak, before)
    toe_off = peak + (_middle_above(rise, TOP) - before.size + 1) / STEPS * length[:, 0]

    after = np.arange(0, int(CONTACT_REACH * STEPS) + 1) / STEPS
    fall = read(curve.speed, peak, after)
    fastest = fall[:, : int(RISE_REACH * STEPS)].min(axis=1)
    contact = peak + _contact(fall, read(curve.value, peak, after), fastest) / STEPS * length[:, 0]
    return Landmarks(peak=peak, toe_off=toe_off, contact=contact)


def _nearest(curve: KneeCurve, at: FloatArray) -> FloatArray:
    """Values of a curve at the nearest samples: near enough for widths and heights."""
    values: FloatArray = curve.value[np.clip(np.rint(at).astype(np.intp), 0, curve.value.size - 1)]
    return values


def half_widths(curve: KneeCurve, peak: FloatArray, stride_time: FloatArray) -> FloatArray:
    """Measure for how long a wave stays above half its height.

    Parameters
    ----------
    curve : KneeCurve
        One knee, flexion upwards.
    peak : ndarray, shape (k,)
        Peaks of waves, in samples of the analysis grid.
    stride_time : ndarray, shape (k,)
        Local stride time in seconds.

    Returns
    -------
    ndarray, shape (k,)
        Seconds; at most what is looked at.
    """
    reach = np.maximum(AROUND_STRIDES * stride_time, AROUND_S)
    half = STEPS // 4
    steps = np.arange(-half, half + 1)
    value = _nearest(curve, peak[:, None] + steps / half * reach[:, None] * ANALYSIS_RATE_HZ)
    low = int(FOOT * steps.size)
    foot = np.partition(value, low, axis=1)[:, low]
    below = value < 0.5 * (foot + value[:, half])[:, None]
    before = np.where(below & (steps < 0), steps, -half).max(axis=1)
    after = np.where(below & (steps > 0), steps, half).min(axis=1)
    width: FloatArray = (after - before - 1) / half * reach
    return width


def loading_waves(curve: KneeCurve, peak: FloatArray, stride_time: FloatArray, size: FloatArray) -> FloatArray:
    """Measure how far the knee bends under load after each swing, as a share of the swing.

    Parameters
    ----------
    curve : KneeCurve
        One knee, flexion upwards.
    peak, stride_time : ndarray, shape (k,)
        As for `half_widths`.
    size : ndarray, shape (k,)
        Size of each swing.

    Returns
    -------
    ndarray, shape (k,)
    """
    first, straight, last = LOADING
    parts = np.arange(first, last, 2.0 / STEPS)
    value = _nearest(curve, peak[:, None] + parts * stride_time[:, None] * ANALYSIS_RATE_HZ)
    rise = (value - np.minimum.accumulate(value, axis=1))[:, parts >= straight].max(axis=1)
    share: FloatArray = rise / np.maximum(np.abs(size), np.finfo(float).tiny)
    return share
