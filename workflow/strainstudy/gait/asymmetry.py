"""Left against right: the published asymmetry measures, with their signs and their behaviour at zero.

In: the value of a quantity on each side. Out: one number. Here and in every table and feature a comparison of the
sides is right minus left, or right over left: signed measures are positive when the right side is the larger. When
both sides are 0 they are equal, and the measures say so; where a formula divides by zero otherwise the result is NaN.
None of them may be applied point by point to a curve that crosses zero (BMC Sports Sci Med Rehabil 2021, doi
10.1186/s13102-021-00355-4), only to amounts.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

__all__ = [
    "log_ratio",
    "symmetry_angle",
    "symmetry_index",
    "symmetry_ratio",
]

FloatArray = NDArray[np.float64]


def _both(left: ArrayLike, right: ArrayLike) -> tuple[FloatArray, FloatArray]:
    one, two = np.broadcast_arrays(np.asarray(left, dtype=float), np.asarray(right, dtype=float))
    return one, two


def _quotient(above: FloatArray, below: FloatArray, *, equal_zero: float) -> FloatArray:
    """``above / below``; ``equal_zero`` where both are 0, NaN where only ``below`` is."""
    safe = np.where(below == 0.0, 1.0, below)
    only = np.where(above == 0.0, equal_zero, np.nan)
    result: FloatArray = np.where(below == 0.0, only, above / safe)
    return result


def symmetry_index(left: ArrayLike, right: ArrayLike) -> FloatArray:
    """Difference as a part of the mean of both sides, in percent.

    ``(right - left) / (0.5 * (right + left)) * 100``: Robinson, Herzog & Nigg 1987, J Manipulative Physiol Ther
    10:172; Herzog et al. 1989, Med Sci Sports Exerc 21:110. Positive when the right is larger; -200 or 200 when one
    side is 0; 0 when both are; NaN when the sides cancel (right = -left).

    Parameters
    ----------
    left, right : array_like
        The same quantity on each side, same unit.

    Returns
    -------
    ndarray
        Percent.
    """
    one, two = _both(left, right)
    return 100.0 * _quotient(two - one, 0.5 * (two + one), equal_zero=0.0)


def symmetry_angle(left: ArrayLike, right: ArrayLike) -> FloatArray:
    """Angle between the point (right, left) and the line of equality, in percent of a right angle.

    ``(45 - arctan(left / right)) / 90 * 100`` with ``45 - arctan(left / right) - 180`` where the first term exceeds 90
    degrees: Zifchock et al. 2008, Gait Posture 27:622, doi 10.1016/j.gaitpost.2007.08.006 (the branch from memory).
    Positive when the right is larger; 50 when the left is 0 and -50 when the right is 0 (both sides of like sign);
    0 when both are 0.

    Parameters
    ----------
    left, right : array_like
        The same quantity on each side, same unit.

    Returns
    -------
    ndarray
        Percent, from -100 to 100.
    """
    one, two = _both(left, right)
    infinite = np.where(one == 0.0, 1.0, np.copysign(np.inf, one))
    quotient = np.where(two == 0.0, infinite, one / np.where(two == 0.0, 1.0, two))
    angle = 45.0 - np.degrees(np.arctan(quotient))
    result: FloatArray = np.where(angle > 90.0, angle - 180.0, angle) / 90.0 * 100.0
    return result


def symmetry_ratio(left: ArrayLike, right: ArrayLike) -> FloatArray:
    """Right over left.

    Patterson et al. 2010, Gait Posture 31:241, doi 10.1016/j.gaitpost.2009.10.014 (from memory). 1 when the sides are
    equal (also when both are 0); NaN when only the left is 0.

    Parameters
    ----------
    left, right : array_like
        The same quantity on each side, same unit.

    Returns
    -------
    ndarray
        Ratio.
    """
    one, two = _both(left, right)
    return _quotient(two, one, equal_zero=1.0)


def log_ratio(left: ArrayLike, right: ArrayLike) -> FloatArray:
    """Logarithm of right over left, times 100.

    Its size is the gait asymmetry ``100 * |ln(shorter / longer)|`` of Plotnik et al. 2005, Ann Neurol 57:656 (there of
    swing times; from memory). 0 when the sides are equal (also when both are 0); NaN when only one side is 0 or the
    sides differ in sign.

    Parameters
    ----------
    left, right : array_like
        The same quantity on each side, same unit.

    Returns
    -------
    ndarray
        Percent-like number.
    """
    ratio = symmetry_ratio(left, right)
    positive = ratio > 0.0
    result: FloatArray = np.where(positive, 100.0 * np.log(np.where(positive, ratio, 1.0)), np.nan)
    return result
