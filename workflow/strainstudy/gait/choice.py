"""Choose flexion direction and one swing per stride for every knee; the clearer knee helps the other.

In: how well every point of the stride grid suits as a swing, either way up, for each knee. Out: `Chosen` per knee.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from .polarity import Polarity, infer_polarity
from .swings import POINTS, SwingFit, chain

__all__ = ["Chosen", "choose_swings"]

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.intp]

WAY = {1: 0, -1: 1}
"""Place of a sign in the pairs of fits."""
SMALL = 0.15
"""A swing smaller than this part of the knee's usual swing is no swing."""
SMALL_IN_TURN = 0.05
"""Nor is one of this part, where the other knee's swings lie before and after it: a knee may be stiff for a while."""
IN_TURN = 0.5
"""How well a swing lies between those of the other knee to count as in turn with them."""
FULL = 0.3
"""A swing of this part of the usual one counts in full: first steps are small."""
ALTERNATION_WEIGHT = 0.4
"""Worth of swinging in turn with the clearer knee, in units of fit."""


@dataclass(frozen=True)
class Chosen:
    """The swings of one knee.

    Parameters
    ----------
    polarity : Polarity
        Flexion direction.
    usual : float
        Usual size of a swing, unit as given.
    points : ndarray of int, shape (k,)
        Points of the stride grid, one per swing.
    fit, worth : ndarray, shape (k,)
        Correlation with the pattern, and the same weighed down where the swing is small.
    """

    polarity: Polarity
    usual: float
    points: IntArray
    fit: FloatArray
    worth: FloatArray


@dataclass(frozen=True)
class _Rough:
    """One swing per stride before the usual size is known; a stride counts by its size, so that rest does not."""

    points: IntArray
    size: FloatArray
    usual: float
    fit: float


def _rough(fit: SwingFit) -> _Rough:
    points, _ = chain(np.clip(fit.fit, 0.0, 1.0))
    size = fit.size[points]
    total = size.sum()
    if total <= 0.0:
        return _Rough(points, size, np.finfo(float).tiny, 0.0)
    return _Rough(points, size, float((size**2).sum() / total), float((fit.fit[points] * size).sum() / total))


def _alternation(one: _Rough, other: _Rough, count: int) -> float:
    """How much two knees swing in turn: 1 when each swings half-way between the other's swings, -1 together."""
    lead, follow = (one, other) if one.fit >= other.fit else (other, one)
    if lead.points.size < 2 or follow.size.sum() <= 0.0:
        return 0.0
    return float((_in_turn(lead.points, count)[follow.points] * follow.size).sum() / follow.size.sum())


def _worth(fit: SwingFit, usual: float) -> FloatArray:
    worth: FloatArray = np.clip(fit.fit, 0.0, 1.0) * np.minimum(fit.size / (FULL * usual), 1.0)
    return worth


def _in_turn(points: IntArray, count: int) -> FloatArray:
    """How well each point of the grid lies half-way between swings of the other knee, -1 to 1; 0 where it rests."""
    if points.size < 2:
        return np.zeros(count)
    grid = np.arange(count)
    cycle = np.interp(grid, points, np.arange(points.size))
    prior = -np.cos(2.0 * np.pi * cycle)
    before = np.clip(np.searchsorted(points, grid, side="right") - 1, 0, points.size - 2)
    walked = (np.diff(points)[before] < 2 * POINTS) & (grid >= points[0]) & (grid <= points[-1])
    return np.where(walked, prior, 0.0)


def choose_swings(fits: Mapping[str, tuple[SwingFit, SwingFit]]) -> dict[str, Chosen]:
    """Choose directions and swings.

    Parameters
    ----------
    fits : mapping of side to (upright, inverted)
        From `swings.fit_swings`.

    Returns
    -------
    dict of side to Chosen
    """
    rough = {side: (_rough(pair[0]), _rough(pair[1])) for side, pair in fits.items()}
    between = None
    if len(fits) == 2:
        (one, two), count = list(rough.values()), next(iter(fits.values()))[0].fit.size
        between = {(a, b): _alternation(one[WAY[a]], two[WAY[b]], count) for a in (1, -1) for b in (1, -1)}
    polarity = infer_polarity({side: (pair[0].fit, pair[1].fit) for side, pair in rough.items()}, between)
    way = {side: WAY[polarity[side].sign] for side in fits}
    usual = {side: rough[side][way[side]].usual for side in fits}
    worth = {side: _worth(fits[side][way[side]], usual[side]) for side in fits}
    points = {side: chain(worth[side])[0] for side in fits}
    if len(fits) == 2:
        clearer, other = sorted(fits, key=lambda side: -rough[side][way[side]].fit)
        prior = _in_turn(points[clearer], worth[other].size)
        helped = worth[other] + ALTERNATION_WEIGHT * prior * np.minimum(2.0 * worth[other], 1.0)
        points[other] = chain(helped)[0]
    chosen = {}
    for side in fits:
        fit, size = fits[side][way[side]], usual[side]
        share = fit.size[points[side]] / size
        least = np.full(share.size, SMALL)
        for other in fits:
            if other != side and (share < SMALL).any():
                turns = _in_turn(points[other], worth[side].size)[points[side]] > IN_TURN
                least[turns] = SMALL_IN_TURN
        kept = points[side][share >= least]
        chosen[side] = Chosen(polarity[side], size, kept, np.clip(fit.fit[kept], 0.0, 1.0), worth[side][kept])
    return chosen
