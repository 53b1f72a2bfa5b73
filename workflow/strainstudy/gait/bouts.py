"""Walks and the rests between them, from the swings of both knees.

In: the swings found on each knee and the curves they were found on. Out: which walk each swing belongs to, the
span of each walk, and where the knees rest. A walk is a chain of swings without a pause; it lasts from its first
toe-off to its last contact. A pause is time between a contact and the next toe-off beyond what this walk usually
leaves there, so that a slow stance of one knee is no rest and a second of standing is.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import maximum_filter1d, median_filter, minimum_filter1d

from .prepare import ANALYSIS_RATE_HZ, KneeCurve
from .strides import Swings

__all__ = ["Span", "find_walks", "moving", "reach_edges"]

FloatArray = NDArray[np.float64]
BoolArray = NDArray[np.bool_]
IntArray = NDArray[np.intp]

LONGEST_STRIDE = 1.6
"""Two swings of a walk are at most this many local strides apart."""
STANCE_PART = 0.62
"""Contact to toe-off of one leg in strides, until the walk itself tells (Perry & Burnfield 2010; from memory)."""
IN_PHASE = 0.8
"""Correlation of the rates of change of the knees, over a stride either way, from which they move together. Squats and
jumping jacks have 0.97 and more, recorded walks at most 0.43, the stiffest simulated stroke walks 0.62."""
MOVES = 1e-4
"""Share of a knee's usual power of movement below which it does not move (ours)."""
ALTERNATING = 0.25
"""A swing of the other knee at least this part of a stride away alternates."""
STEP_SHARE = 0.40
"""A swing wave lasts less than this part of its stride at half its height (recorded: 0.22 to 0.35; a sine has 0.5)."""
STEP_ALONE_S = {True: 0.65, False: 0.5}
"""And so long at most, of one knee alone, where a walk is expected and where it is not. Recorded walks have 0.25 to
0.45 s, also through sensors; a knee that bends and stretches within 1.5 s has 0.6 s and more."""
STEP_IN_TURN_S = {True: 0.95, False: 0.68}
"""The same where the other knee swings in between (strides of 2.5 s: 0.6 s, simulated limps up to 0.9 s)."""
STEP_LOADED_S = 0.95
"""And of one knee alone that bends under load after its swing."""
LOADED = 0.08
"""It does if it bends by this share of the swing, five swings in a row (walks: 0.07 to 0.4; the median of bends: 0)."""
BEND_MIN_S = 1.5
"""Cycles at least this long may be bends, and so may any where no walk is expected (ours)."""
STEP_FIT = 0.8
"""Then the knee that walks best fits the pattern so well (a sine has 0.75, recorded stiff knees alone 0.85)."""
LEAD_MARGIN = 0.1
"""A knee that fits the pattern less than the other by more than this follows it: its landmarks break up no walk."""
CLEAR = 1.0
"""Fit to the pattern plus autocorrelation at the stride time that a walk must reach (noise: 0.6; an aimless wander:
0.9; the stiffest recorded knee alone: 1.5)."""
HEARD = 0.75
"""And that five swings in a row of one knee must reach to be heard (a loose sensor's noise has 0.5 to 0.65)."""
SWINGS_MIN = 3
"""Swings of a walk, of both knees together; of one knee alone one less."""
LARGE = 0.3
"""Movement of this part of a swing within a second is no rest."""
MOVEMENT_WINDOW_S = 1.0
"""The second in which it is looked for (ours)."""


@dataclass(frozen=True)
class Span:
    """One walk, in seconds."""

    start: float
    stop: float


def _breaks(
    peak: FloatArray, toe_off: FloatArray, contact: FloatArray, side: IntArray, stride: FloatArray, rest: float
) -> BoolArray:
    """Whether a walk ends between each swing and the next; the swings of all knees in order."""
    gap = toe_off[1:] - np.maximum.accumulate(contact)[:-1]
    near = np.diff(peak) <= LONGEST_STRIDE * stride[:-1]
    same = side[1:] == side[:-1]
    usual = np.where(same, STANCE_PART, STANCE_PART - 0.5) * stride[:-1]
    for kind in (same, ~same):
        chosen = kind & near
        if np.count_nonzero(chosen) >= 3:
            usual[kind] = np.median(gap[chosen])
    broken: BoolArray = ~near | (gap - usual > rest)
    return broken


def _near(own: Swings, other: Swings) -> IntArray:
    """Position of the other knee's swing that is nearest to each."""
    after = np.clip(np.searchsorted(other.peak, own.peak), 1, max(other.peak.size - 1, 1))
    before = np.clip(after - 1, 0, other.peak.size - 1)
    after = np.clip(after, 0, other.peak.size - 1)
    nearer: IntArray = np.where(own.peak - other.peak[before] < other.peak[after] - own.peak, before, after)
    return nearer


def _in_phase(own: Swings, curves: Sequence[KneeCurve]) -> BoolArray:
    """Whether the knees move together in the stride before and after each swing."""
    one, two = (curve.speed for curve in curves)
    sums = [np.concatenate([[0.0], np.cumsum(x)]) for x in (one, two, one * one, two * two, one * two)]
    first, last = (
        np.clip(np.round((own.peak + part * own.stride_time) * ANALYSIS_RATE_HZ), 0, one.size).astype(np.intp)
        for part in (-1.0, 1.0)
    )
    count = np.maximum(last - first, 1)
    a, b, aa, bb, ab = ((total[last] - total[first]) / count for total in sums)
    # a knee that was not seen moves along a straight line, and rounding must not move it together with the other
    own_spread, other_spread = (
        np.maximum(mean - MOVES * float(np.mean(speed * speed)), 0.0)
        for mean, speed in ((aa - a * a, one), (bb - b * b, two))
    )
    spread = np.sqrt(own_spread * other_spread)
    return np.asarray((spread > 0.0) & ((ab - a * b) > IN_PHASE * spread))


def _steps(swings: Mapping[str, Swings], curves: Mapping[str, KneeCurve], expected: bool) -> dict[str, BoolArray]:
    """Tell swings of a walk from bends: by how long the wave lasts, and by the knees taking turns.

    One knee that walks is enough: the other may be so stiff that its wave has no shape, or bend most in stance.
    """
    heard = {side: median_filter(one.clear, 5, mode="nearest") >= HEARD for side, one in swings.items()}
    sides = [side for side in swings if heard[side].any()]
    if len(sides) < 2:
        found = {}
        for side, one in swings.items():
            loaded = median_filter(one.loading, 5, mode="nearest") > LOADED
            longest = np.where(loaded, STEP_LOADED_S, STEP_ALONE_S[expected])
            found[side] = heard[side] & _brief(one, longest, expected)
        return found
    brief = {}
    nearest = {}
    for side, other in (sides, sides[::-1]):
        own, beside = swings[side], swings[other]
        nearest[side] = _near(own, beside)
        away = np.abs(own.peak - beside.peak[nearest[side]]) / own.stride_time
        turns = (away > ALTERNATING) & (away < 1.0) & heard[other][nearest[side]]
        brief[side] = heard[side] & _brief(
            own, np.where(turns, STEP_IN_TURN_S[expected], STEP_ALONE_S[expected]), expected
        )
    found = {}
    for side, other in (sides, sides[::-1]):
        own = swings[side]
        near = np.abs(own.peak - swings[other].peak[nearest[side]]) <= own.stride_time
        together = median_filter(_in_phase(own, [curves[name] for name in sides]), 3, mode="nearest")
        found[side] = heard[side] & (brief[side] | (near & brief[other][nearest[side]])) & ~together
    return found


def _brief(own: Swings, longest: FloatArray | float, expected: bool) -> BoolArray:
    """Whether waves are as short as those of steps, each with its neighbours."""
    short = (own.width < longest) & (own.width < STEP_SHARE * own.stride_time)
    steps = median_filter(short, 3, mode="nearest")
    # the first step of a walk may be a slow one, and the last
    return np.asarray(maximum_filter1d(steps.astype(np.int8), 3).astype(bool) if expected else steps)


def find_walks(
    swings: Mapping[str, Swings], curves: Mapping[str, KneeCurve], rest_min: float, *, expected: bool
) -> tuple[dict[str, IntArray], list[Span]]:
    """Chain swings into walks.

    Parameters
    ----------
    swings : mapping of side to Swings
        Swings of each knee.
    curves : mapping of side to KneeCurve
        The knees, flexion upwards.
    rest_min : float
        Shortest pause, in seconds, that ends a walk.
    expected : bool
        Whether a walk is expected; if not, swings must be more like those of a step.

    Returns
    -------
    numbers : dict of side to ndarray of int
        Walk of each swing, -1 for none.
    spans : list of Span
        First toe-off to last contact of each walk.
    """
    sides = list(swings)
    numbers = {side: np.full(swings[side].peak.size, -1, dtype=np.intp) for side in sides}
    side = np.concatenate([np.full(swings[name].peak.size, place) for place, name in enumerate(sides)])
    if side.size < 2:
        return numbers, []
    peak = np.concatenate([swings[name].peak for name in sides])
    order = np.argsort(peak, kind="stable")

    def merged(values: Sequence[NDArray[Any]]) -> NDArray[Any]:
        together: NDArray[Any] = np.concatenate(list(values))[order]
        return together

    peak, side = peak[order], side[order]
    toe_off = merged([swings[name].toe_off for name in sides])
    contact = merged([swings[name].contact for name in sides])
    stride = merged([swings[name].stride_time for name in sides])
    clear = merged([swings[name].clear for name in sides])
    # a knee whose sensor has come loose must not break up, or add to, the walk that the other knee sees
    steps = _steps(swings, curves, expected)
    heard = merged([steps[name] for name in sides])
    fit = merged([swings[name].fit for name in sides])
    own = np.concatenate([np.arange(swings[name].peak.size) for name in sides])[order]
    peak, side, toe_off, contact, stride, fit, clear, own = (
        values[heard] for values in (peak, side, toe_off, contact, stride, fit, clear, own)
    )
    if peak.size < 2:
        return numbers, []
    leads = np.isin(side, _leading(side, fit))
    group = np.full(peak.size, -1)
    group[leads] = np.concatenate(
        [[0], np.cumsum(_breaks(peak[leads], toe_off[leads], contact[leads], side[leads], stride[leads], rest_min))]
    )
    _follow(group, peak, stride, leads)
    spans: list[Span] = []
    for number in range(int(group.max(initial=-1)) + 1):
        part = np.flatnonzero(group == number)
        counts = np.bincount(side[part], minlength=len(sides))
        if counts.max() < 2 or counts.sum() < (SWINGS_MIN if counts.min() and len(sides) > 1 else 2):
            continue
        # the knee that walks best speaks for the walk
        each = [part[side[part] == place] for place in range(len(sides)) if counts[place] >= 2]
        if max(np.median(clear[own_part]) for own_part in each) < CLEAR:
            continue
        slow = np.median(stride[part]) >= BEND_MIN_S
        if (slow or not expected) and max(np.median(fit[own_part]) for own_part in each) < STEP_FIT:
            continue
        for place, name in enumerate(sides):
            numbers[name][own[part][side[part] == place]] = len(spans)
        edge = part[leads[part]]
        spans.append(Span(float(toe_off[edge].min()), float(contact[edge].max())))
    return numbers, spans


def _leading(side: IntArray, fit: FloatArray) -> list[int]:
    """Choose the knees that say where a walk breaks off: the one most like walking, and the other if hardly less so."""
    places = [int(place) for place in np.unique(side)]
    fits = [float(np.median(fit[side == place])) for place in places]
    return [place for place, own in zip(places, fits, strict=True) if own >= max(fits) - LEAD_MARGIN]


def _follow(group: IntArray, peak: FloatArray, stride: FloatArray, leads: BoolArray) -> None:
    """Give the swings of a knee that does not lead to the walk of the nearest swing that does, if one is in reach."""
    lead = np.flatnonzero(leads)
    for at in np.flatnonzero(~leads):
        nearest = lead[np.argmin(np.abs(peak[lead] - peak[at]))]
        if abs(peak[nearest] - peak[at]) <= stride[at]:
            group[at] = group[nearest]


def reach_edges(spans: Sequence[Span], busy: BoolArray, stride_time: FloatArray) -> list[Span]:
    """Let a walk that was under way when the recording began or ended reach the edge.

    Parameters
    ----------
    spans : sequence of Span
        Walks.
    busy : ndarray of bool, shape (n,)
        From `moving`, on the analysis grid.
    stride_time : ndarray, shape (n,)
        Local stride time.
    """
    n = busy.size
    reached = []
    for span in spans:
        first = int(np.clip(span.start * ANALYSIS_RATE_HZ, 0, n))
        last = int(np.clip(span.stop * ANALYSIS_RATE_HZ, 0, n))
        start, stop = span.start, span.stop
        if 0 < first < stride_time[0] * ANALYSIS_RATE_HZ and busy[:first].all():
            start = 0.0
        if 0 < n - last < stride_time[-1] * ANALYSIS_RATE_HZ and busy[last:].all():
            stop = n / ANALYSIS_RATE_HZ
        reached.append(Span(max(start, 0.0), min(stop, n / ANALYSIS_RATE_HZ)))
    return reached


def moving(curves: Sequence[KneeCurve], usual: Sequence[float]) -> BoolArray:
    """Where a knee moves by a good part of a swing within a second, or where nothing is known of any knee.

    Parameters
    ----------
    curves : sequence of KneeCurve
        All knees there are.
    usual : sequence of float
        Usual size of a swing of each.

    Returns
    -------
    ndarray of bool, shape (n,)
    """
    width = int(MOVEMENT_WINDOW_S * ANALYSIS_RATE_HZ)
    any_of: BoolArray = ~np.logical_or.reduce([curve.measured for curve in curves])
    for curve, size in zip(curves, usual, strict=True):
        span = maximum_filter1d(curve.value, width) - minimum_filter1d(curve.value, width)
        # what moves lies in the middle of the windows that see it move
        any_of |= minimum_filter1d((span > LARGE * size).astype(np.int8), width, mode="nearest").astype(bool)
    return any_of
