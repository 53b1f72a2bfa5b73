"""How far one knee's curve wanders when nobody bends it, against how far it ever goes: sway, noise, drift, creep.

In: the smoothed curve of one knee. Out: a share. Movement goes far from rest, seldom or regularly; noise and sway are
spread evenly about their own middle, and do not repeat. Rest is the densest quarter of the values, once as they are and
once with the wander of a quarter of a minute taken off; a knee that never rests but does the same again and again is
known by how far one cycle differs from the next. The least of the three holds.
"""

from __future__ import annotations

from typing import Final

import numpy as np
import numpy.typing as npt
from scipy.fft import irfft, next_fast_len, rfft
from scipy.ndimage import median_filter

__all__ = ["rest_share", "way_from_rest"]

Array = npt.NDArray[np.float64]

_QUARTER: Final = 0.25
"""Share of the values that is taken for rest (ours)."""
_QUARTER_SDS: Final = 0.6373
"""Width of the densest quarter of a normal distribution, in standard deviations: twice its quantile at 0.625."""
_FARTHEST: Final = 0.002
"""Share of the values at either end that are too few to go by."""
_WANDER_S: Final = 15.0
"""Window of the median that follows the wander (ours)."""
_WANDER_HZ: Final = 4.0
"""Rate at which the wander is followed."""
_CYCLE_S: Final = (0.7, 10.0)
"""Shortest and longest cycle of a movement that repeats (ours)."""
_AT_REST_S: Final = 2.0
"""A knee that is still for so long where a recording starts or ends, rests. Of 87 recordings under a sleeve or a
goniometer two are told wrongly with 1.5 s, none with 2 s, and with 2.5 s twice as many stay untold (chosen on all)."""
_STILL: Final = 0.1
"""Part of the whole range within which a still knee stays."""
_FROM_EDGE_S: Final = 2.0
"""Rest begins so soon after the start, and ends so soon before the end, or it is none to go by."""
_FIRST_MOVE_S: Final = 6.0
"""Longest first movement from rest (chosen with `_AT_REST_S`)."""
_MOVED: Final = 0.3
"""Part of the whole range that it has within that time."""
_ONE_WAY: Final = 2.0
"""It goes so many times farther one way than the other."""


def rest_share(curve: Array, rate: float) -> float:
    """Estimate the spread of a knee's curve at rest as a share of its farthest excursion from rest.

    Parameters
    ----------
    curve : array, shape (n,)
        Smoothed, finite; any unit and sign.
    rate : float
        Hz.

    Returns
    -------
    float
        Normal noise of any colour has about 0.3; bends have 0.02 to 0.13. 1 where nothing moves.
    """
    thin = max(1, int(rate / _WANDER_HZ))
    coarse = median_filter(curve[::thin], int(_WANDER_S * rate / thin) | 1, mode="nearest")
    wander = np.interp(np.arange(len(curve)), np.arange(len(coarse)) * thin, coarse)
    return min(_share(curve, rate), _share(curve - wander, rate))


def _share(curve: Array, rate: float) -> float:
    ordered = np.sort(curve)
    count = max(1, int(np.ceil(_QUARTER * len(ordered))))
    widths = ordered[count - 1 :] - ordered[: len(ordered) - count + 1]
    densest = int(widths.argmin())
    middle = ordered[densest + count // 2]
    low, high = np.quantile(ordered, [_FARTHEST, 1 - _FARTHEST])
    farthest = float(max(high - middle, middle - low))
    if farthest <= 0:
        return 1.0
    resting = float(widths[densest]) / _QUARTER_SDS
    repeating = float(np.std(curve)) * float(np.sqrt(max(1.0 - _repetition(curve, rate), 0.0)))
    return min(resting, repeating) / farthest


def _repetition(curve: Array, rate: float) -> float:
    """Highest autocorrelation at a lag of one cycle above the trough before it; a slow wander has no trough."""
    n = len(curve)
    first, last = int(_CYCLE_S[0] * rate), min(int(_CYCLE_S[1] * rate), n // 3)
    centred = curve - curve.mean()
    if last <= first or not centred.any():
        return 0.0
    size = next_fast_len(2 * n, real=True)
    products = irfft(np.abs(rfft(centred, size)) ** 2, size)[: last + 1]
    correlation = products / products[0] * n / (n - np.arange(last + 1))
    troughs = np.minimum.accumulate(correlation)
    return float((correlation - np.maximum(troughs, 0.0))[first:].max())


def way_from_rest(curve: Array, rate: float) -> tuple[float, float]:
    """Tell which way a knee goes from the rest that a recording starts with, or ends with.

    Parameters
    ----------
    curve : array, shape (n,)
        Smoothed, finite; any unit and sign.
    rate : float
        Hz.

    Returns
    -------
    way : float
        1 where the curve rises from rest, -1 where it falls; 0 where neither end is at rest, or the two disagree.
    level : float
        Of the rest, that of the start first; NaN where ``way`` is 0.
    """
    low, high = np.quantile(curve, [0.01, 0.99])
    told = [_first_way(end, rate, float(high - low)) for end in (curve, curve[::-1])]
    told = [(way, level) for way, level in told if way]
    return told[0] if len({way for way, _ in told}) == 1 else (0.0, float("nan"))


def _first_way(curve: Array, rate: float, whole: float) -> tuple[float, float]:
    """Which way the curve goes from the rest near its start, and that; 0 where it does not rest, or goes both ways."""
    length = int(_AT_REST_S * rate)
    for start in range(0, int(_FROM_EDGE_S * rate) + 1, 2):
        rest = curve[start : start + length]
        after = curve[start + length : start + length + int(_FIRST_MOVE_S * rate)]
        if len(rest) < length or not len(after):
            break
        if np.ptp(rest) < _STILL * whole:
            level = float(np.median(rest))
            up, down = float(after.max()) - level, level - float(after.min())
            more, less = max(up, down), min(up, down)
            return (float(np.sign(up - down)) if more > _MOVED * whole and more > _ONE_WAY * less else 0.0), level
    return 0.0, float("nan")
