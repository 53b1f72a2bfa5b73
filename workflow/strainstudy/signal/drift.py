"""Slow drift told apart from movement.

In: a uniformly sampled signal that keeps returning to a resting level which itself wanders (warming, creep and
tiring of a soft sensor). Out: that wandering level as a curve of its own, so that signal minus drift rests at zero.

A high-pass filter cannot do this: it takes a held bend for drift and hides it. Here the level is read in windows and
smoothed by penalised least squares (Whittaker ET 1923, Proc Edinburgh Math Soc 41:63-75; Eilers PHC 2003, Anal
Chem 75:3631-3636), and windows that lie beyond the resting end of the signal hardly count (asymmetric weights:
Eilers PHC 2003). Drift of any constant rate is free; what is penalised is its bending.

Two readings of the resting level must not be mixed up: a still window rests at the level itself, while a window of
rhythmic movement (walking) comes back only to its own low end, which may lie a little off. That offset is estimated
along with the curve, held by a weak prior where the recording has no rest to learn it from.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from functools import lru_cache
from typing import Final, Literal

import numpy as np
import numpy.typing as npt
from scipy.linalg import solveh_banded

from .gaps import runs

__all__ = ["Drift", "central_drift", "resting_drift"]

Array = npt.NDArray[np.float64]
End = Literal[-1, 1]

_WORKING_HZ: Final = 20.0
"""Rate that the signal is reduced to first: far above the drift that is sought (ours, for speed)."""
_NODE_S: Final = 1.0
"""Seconds between the nodes of the curve (ours)."""
_STILL_S: Final = 1.5
"""Seconds of the window that is looked at for stillness (ours)."""
_MOVING_S: Final = 3.0
"""Must hold a whole stride: the slowest considered takes 2.5 s."""
_END_QUANTILE: Final = 0.05
"""Share of a window beyond its low and its high end, so that a few odd samples move neither (ours)."""
_STILL_SHARE: Final = 0.15
"""A window is still if its signal spans less than this share of what movement spans in this recording."""
_SUSTAINED: Final = 5
"""Windows in a row without a still one that make sustained movement; a single way from level to level takes fewer."""
_ON_THE_WAY: Final = 1e-3
"""Weight of windows on a single way from level to level, which are no rest but may bridge a gap (ours)."""
_NEAR_SHARE: Final = 0.15
"""A level within this share of the movement's span above the curve counts as resting."""
_HELD: Final = 1e-8
"""Weight of what does not rest."""
_MISSED: Final = 1e-2
"""Weight of windows of sustained movement that stay above the curve: they may have missed the low end (ours)."""
_LASTING_SHARE: Final = 0.1
"""Share of the resting time that a height must hold to count as where the signal rests (ours)."""
_FLATNESS: Final = 1e-2
"""Penalty of a slope: holds the curve level where nothing rests (ours)."""
_OFFSET_PRIOR_SHARE: Final = 0.06
"""Walking comes back to about 4 of 60 degrees, not to straight (Schwartz MH et al. 2008, J Biomech 41:1639-1650)."""
_OFFSET_PRIOR_WEIGHT: Final = 1.0
"""Weight of that prior, where a window that rests has 1 (ours)."""
_LEAN_NEEDED: Final = 0.08
"""Lean of the median within the span that decides the resting end without a second fit (ours)."""
_DOUBT: Final = 0.05
"""Least gain in misfit for which movement is taken to go down rather than up (ours)."""
_NEAR_ROUNDS: Final = 4
"""Rounds in which windows that do not rest are found and weighted down (ours)."""


@dataclass(frozen=True)
class Drift:
    """A drift curve and what was learned with it.

    Parameters
    ----------
    curve : array, shape (n,)
        Drift in the unit of the signal, without gaps.
    end : {1, -1, 0}
        Direction of excursions from rest: 1 upwards, -1 downwards, 0 both. Found from the time that walking spends
        near its resting end, else from the level at which the recording begins, else taken to be 1.
    span : float
        What movement spans within a few seconds, in the unit of the signal.
    """

    curve: Array
    end: int
    span: float


def _reduced(values: Array, fs: float) -> tuple[Array, float]:
    """Means of blocks of about 1/20 s; NaN where a block has no sample."""
    block = max(1, round(fs / _WORKING_HZ))
    n = len(values) // block
    if n == 0:
        return values[:0], fs
    blocks = values[: n * block].reshape(n, block)
    finite = np.isfinite(blocks)
    if finite.all():
        return blocks.mean(axis=1), fs / block
    count = finite.sum(axis=1)
    total = np.where(finite, blocks, 0.0).sum(axis=1)
    return np.where(count > 0, total / np.maximum(count, 1), np.nan), fs / block


def _windows(values: Array, centres: npt.NDArray[np.intp], width: int) -> Array:
    """Windows around centres, sorted along axis 1 with NaN last; shape (len(centres), width)."""
    half = width // 2
    padded = np.concatenate([np.full(half, np.nan), values, np.full(width, np.nan)])
    view = np.lib.stride_tricks.sliding_window_view(padded, width)
    sorted_windows: Array = np.sort(view[centres], axis=1)
    return sorted_windows


def _quantiles(ordered: Array, *shares: float) -> Iterator[Array]:
    """Nearest-rank quantiles of each row of sorted windows; NaN for an empty row."""
    last, rows = np.isfinite(ordered).sum(axis=1) - 1, np.arange(len(ordered))
    for share in shares:
        yield ordered[rows, np.clip(np.round(share * last).astype(int), 0, None)]


@lru_cache(maxsize=64)
def _penalty(n: int, bending: float) -> Array:
    """Upper bands of the penalty of bending and slope, shape (3, n); the same for every fit of one length."""
    second = np.array([1.0, -2.0, 1.0])
    bands = np.zeros((3, n))
    for i in range(3):
        for j in range(i, 3):
            bands[2 - (j - i), j : n - 2 + j] += bending * second[i] * second[j]
    bands[2, :-1] += _FLATNESS
    bands[2, 1:] += _FLATNESS
    bands[1, 1:] -= _FLATNESS
    return bands


def _smooth(level: Array, weight: Array, bending: float, moving: Array, prior: float) -> tuple[Array, float]:
    """Penalised least squares of ``level = curve + offset * moving``; gives curve and offset."""
    n = len(level)
    if n < 3:
        return np.full(n, np.average(level, weights=weight)), 0.0
    bands = _penalty(n, bending).copy()
    bands[2] += weight
    right = np.column_stack([weight * level, weight * moving])
    by_level, by_moving = solveh_banded(bands, right, overwrite_ab=True, overwrite_b=True, check_finite=False).T
    # The offset's normal equation once the curve is eliminated, with its prior as one more observation.
    pull = weight * moving
    denominator = pull @ (moving - by_moving) + _OFFSET_PRIOR_WEIGHT
    offset = (pull @ (level - by_level) + _OFFSET_PRIOR_WEIGHT * prior) / denominator
    return by_level - offset * by_moving, float(offset)


def _bending(shortest_period_s: float) -> float:
    """Penalty at which an oscillation of this period passes with half its size (n nodes a second apart)."""
    return float((shortest_period_s / (2 * np.pi * _NODE_S)) ** 4)


@dataclass(frozen=True)
class _Nodes:
    """What the windows of one pass say, one value a second.

    ``moving`` is 1 in sustained movement and 0 elsewhere; ``trust`` is 1, less where the signal is on its way.
    """

    centres: npt.NDArray[np.intp]
    level: Array
    moving: Array
    trust: Array
    still: npt.NDArray[np.bool_]
    known: npt.NDArray[np.bool_]
    span: float
    position: float


def _read_nodes(reduced: Array, rate: float) -> _Nodes:
    centres = np.arange(0, len(reduced), max(1, round(_NODE_S * rate)))
    wide = _windows(reduced, centres, max(3, round(_MOVING_S * rate)))
    narrow = _windows(reduced, centres, max(3, round(_STILL_S * rate)))
    ends = _END_QUANTILE, 0.5, 1 - _END_QUANTILE
    low, middle, high = _quantiles(wide, *ends)
    lower, centre, upper = _quantiles(narrow, *ends)
    known = np.isfinite(middle) & np.isfinite(centre)
    if not known.any():
        nothing = np.zeros(len(centres))
        return _Nodes(centres, nothing, nothing, nothing, known, known, 0.0, 0.5)
    ranked = np.sort((high - low)[known])
    span = float(ranked[-min(len(ranked), max(2, len(ranked) // 200))])
    still = (upper - lower) < _STILL_SHARE * span
    level = np.where(known, np.where(still, centre, low), 0.0)
    moving, trust = np.zeros(len(level)), np.where(known, 1.0, 0.0)
    for start, stop in runs(known & ~still):
        if stop - start >= _SUSTAINED:
            moving[start:stop] = 1.0
        else:
            trust[start:stop] = _ON_THE_WAY
    rhythmic = (moving > 0) & (high - low > 0.5 * span)
    place = (middle - low)[rhythmic] / (high - low)[rhythmic]
    position = float(place.mean()) if len(place) else 0.5
    return _Nodes(centres, level, moving, trust, known & still, known, span, position)


def _slope(level: Array) -> float:
    """Least-squares slope per node; 0 for fewer than three."""
    n = len(level)
    if n < 3:
        return 0.0
    index = np.arange(n) - (n - 1) / 2
    return float(index @ level / (index @ index))


def _heights(nodes: _Nodes, units: npt.NDArray[np.intp]) -> Array:
    """Height of each unit over the first, from the steps between them: drift within a unit drops out.

    Drift on the way from one unit to the next is taken off at the mean slope of the two.
    """
    level = nodes.level
    slopes = [_slope(level[start:stop]) for start, stop in units.tolist()]
    heights = np.zeros(len(units))
    bounds = units.tolist()
    for k in range(1, len(bounds)):
        # The last two windows of one unit and the first two of the next.
        last, first = bounds[k - 1][1] - 1, bounds[k][0]
        earlier, later = max(bounds[k - 1][0], last - 1), min(bounds[k][1] - 1, first + 1)
        step = (level[first] + level[later] - level[last] - level[earlier]) / 2
        way = (first + later - last - earlier) / 2
        heights[k] = heights[k - 1] + step - 0.5 * (slopes[k - 1] + slopes[k]) * way
    return heights


def _lowest_lasting(heights: Array, seconds: Array, tolerance: float) -> float:
    """Lowest height about which a fair share of the time is spent: a passing dip is no resting level."""
    for height in np.sort(heights):
        near = np.abs(heights - height) <= tolerance
        if seconds[near].sum() >= _LASTING_SHARE * seconds.sum():
            return float(np.average(heights[near], weights=seconds[near]))
    return float(heights.min())


def _rest_curve(nodes: _Nodes, bending: float) -> tuple[Array, float]:
    """Give the curve for a signal that rests at its low end, and how ill that choice of end fits.

    It fits ill if the recording begins (and, by half, ends) away from rest, or spends time beneath it.

    A level cannot leave rest without a movement, so what is still without interruption rests, or is held, as one.
    """
    level, moving = nodes.level, nodes.moving
    units = np.array(sorted([*runs(nodes.still).tolist(), *runs(moving > 0).tolist()]), dtype=np.intp)
    if not len(units):
        curve, _ = _smooth(level, nodes.trust, bending, moving, 0.0)
        return curve, 0.0
    tolerance = _NEAR_SHARE * nodes.span
    heights = _heights(nodes, units)
    seconds = (units[:, 1] - units[:, 0]).astype(float)
    above = heights - _lowest_lasting(heights, seconds, tolerance)
    weight = np.zeros(len(level))
    for (start, stop), height in zip(units, above, strict=True):
        weight[start:stop] = 1.0 if abs(height) <= tolerance else _HELD
    weight[weight == 0] = _HELD
    curve, offset = _smooth(level, weight * nodes.trust + _HELD, bending, moving, _OFFSET_PRIOR_SHARE * nodes.span)
    for _ in range(_NEAR_ROUNDS):
        # Within sustained movement single windows may miss the low end: those count little.
        missed = (moving > 0) & (level - curve - offset * moving > tolerance)
        curve, offset = _smooth(
            level,
            np.where(missed, _MISSED * weight, weight) * nodes.trust + _HELD,
            bending,
            moving,
            _OFFSET_PRIOR_SHARE * nodes.span,
        )
    beneath = float(seconds[above < -tolerance].sum() / seconds.sum())
    return curve, float(above[0] + 0.5 * above[-1]) + beneath * nodes.span


@dataclass(frozen=True)
class _Fit:
    """Curve at the working rate for one choice of the resting end, in the sign of the signal."""

    sign: End
    curve: Array
    nodes: _Nodes
    misfit: float


def _fit(reduced: Array, rate: float, bending: float, sign: End) -> _Fit:
    """Fit the curve of a signal whose excursions go to ``sign``.

    A second pass reads the windows with the first curve taken off, so that drift within a window drops out.
    """
    index = np.arange(len(reduced))
    nodes = _read_nodes(sign * reduced, rate)
    total = np.interp(index, nodes.centres, _rest_curve(nodes, bending)[0])
    again = _read_nodes(sign * reduced - total, rate)
    rest, misfit = _rest_curve(again, bending)
    total += np.interp(index, again.centres, rest)
    return _Fit(sign, sign * total, again, misfit / again.span if again.span > 0 else 0.0)


def _best_fit(reduced: Array, rate: float, bending: float, end: End | None) -> _Fit:
    """Choose the resting end.

    Where the signal moves for seconds on end it walks, and walking spends most of its time near the resting end.
    Else the end that fits better is taken (see `_rest_curve`).
    """
    if end is not None:
        return _fit(reduced, rate, bending, end)
    up = _fit(reduced, rate, bending, 1)
    lean = 0.5 - up.nodes.position
    if lean >= _LEAN_NEEDED:
        return up
    down = _fit(reduced, rate, bending, -1)
    if lean <= -_LEAN_NEEDED:
        return down
    gain = up.misfit - down.misfit
    return down if gain > _DOUBT else up


def _at_full_rate(curve: Array, n: int, fs: float, rate: float) -> Array:
    if not len(curve):
        return np.zeros(n)
    block = round(fs / rate)
    return np.interp(np.arange(n), np.arange(len(curve)) * block + (block - 1) / 2, curve)


def resting_drift(values: npt.ArrayLike, fs: float, *, shortest_period_s: float, end: End | None = None) -> Drift:
    """Drift of the level to which a signal with one-sided excursions returns (a knee: the extended level).

    Parameters
    ----------
    values : array, shape (n,)
        Despiked, free of noise above some 10 Hz; NaN = no data.
    fs : float
        Hz.
    shortest_period_s : float
        Oscillations of the level slower than this are drift; those faster are left in the signal.
    end : {1, -1}, optional
        Excursions go upwards (1) or downwards (-1). Not given: see `Drift.end`.

    Returns
    -------
    Drift
    """
    x = np.asarray(values, dtype=np.float64)
    reduced, rate = _reduced(x, fs)
    if not np.isfinite(reduced).any():
        return Drift(np.zeros(len(x)), end or 1, 0.0)
    fit = _best_fit(reduced, rate, _bending(shortest_period_s), end)
    return Drift(_at_full_rate(fit.curve, len(x), fs, rate), fit.sign, fit.nodes.span)


def central_drift(values: npt.ArrayLike, fs: float, *, shortest_period_s: float) -> Drift:
    """Drift of the middle level of a signal whose bursts go both ways (a throat sensor).

    Parameters
    ----------
    values : array, shape (n,)
    fs : float
        Hz.
    shortest_period_s : float
        Oscillations of the level slower than this are drift.

    Returns
    -------
    Drift
        With ``end`` 0.
    """
    x = np.asarray(values, dtype=np.float64)
    reduced, rate = _reduced(x, fs)
    if not np.isfinite(reduced).any():
        return Drift(np.zeros(len(x)), 0, 0.0)
    centres = np.arange(0, len(reduced), max(1, round(_NODE_S * rate)))
    windows = _windows(reduced, centres, max(3, round(_MOVING_S * rate)))
    low, level, high = _quantiles(windows, 0.05, 0.5, 0.95)
    known = np.isfinite(level)
    level = np.where(known, level, 0.0)
    weight = known.astype(float)
    nothing = np.zeros(len(level))
    bending = _bending(shortest_period_s)
    for _ in range(_NEAR_ROUNDS):
        curve, _ = _smooth(level, weight, bending, nothing, 0.0)
        distance = np.abs(level - curve)
        scale = float(np.median(distance[known])) or 1.0
        # Cauchy weights: a level that jumps away for a while counts little.
        weight = known.astype(float) / (1 + (distance / (3 * scale)) ** 2)
    span = float(np.max(high[known] - low[known]))
    at_rate = np.interp(np.arange(len(reduced)), centres, curve)
    return Drift(_at_full_rate(at_rate, len(x), fs, rate), 0, span)
