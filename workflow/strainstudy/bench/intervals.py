"""95 % intervals for bench figures whose unit is the cycle, the hold or the tap, not the sample.

In: one number per cycle. Out: value, low, high. Samples of a cycle share its noise, drift and state, so counting
samples would give intervals far too short; cycles are close to independent once the sensor has settled.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from scipy import stats

from ..io.store import FloatArray

__all__ = ["Estimate", "absolute", "effective_dof", "mean", "ratio_of_means", "repeated", "slope", "spread"]


class Estimate(NamedTuple):
    """A value and its 95 % limits; NaN limits where fewer than three numbers speak."""

    value: float = float("nan")
    low: float = float("nan")
    high: float = float("nan")


def _clean(values: FloatArray) -> FloatArray:
    flat = np.asarray(values, dtype=float).ravel()
    kept: FloatArray = flat[np.isfinite(flat)]
    return kept


def _t(dof: float, level: float) -> float:
    return float(stats.t.ppf(0.5 + level / 2.0, dof))


def mean(values: FloatArray, level: float = 0.95) -> Estimate:
    """Mean and Student's t interval."""
    x = _clean(values)
    if x.size == 0:
        return Estimate()
    centre = float(x.mean())
    if x.size < 3:
        return Estimate(centre)
    half = _t(x.size - 1, level) * float(x.std(ddof=1)) / np.sqrt(x.size)
    return Estimate(centre, centre - half, centre + half)


def repeated(values: FloatArray, errors: FloatArray, level: float = 0.95) -> Estimate:
    """Mean of a few repeats that bring standard errors of their own.

    Parameters
    ----------
    values, errors : array, shape (n,)
    level : float
        Confidence level.

    Returns
    -------
    Estimate
        From three values on, Student's t interval of their scatter; with one or two, the normal interval of their own
        errors, which knows nothing of the scatter between repeats.
    """
    good = np.isfinite(values)
    x, se = np.asarray(values, dtype=float)[good], np.asarray(errors, dtype=float)[good]
    if x.size == 0 or x.size >= 3 or not np.isfinite(se).all():
        return mean(x, level)
    half = float(stats.norm.ppf(0.5 + level / 2.0) * np.sqrt(np.sum(se**2)) / x.size)
    return Estimate(float(x.mean()), float(x.mean()) - half, float(x.mean()) + half)


def absolute(signed: Estimate) -> Estimate:
    """Interval of the size of a signed number: the sizes of all numbers in its interval.

    Covers at least as often as the signed interval, and reaches zero when that includes zero.
    """
    value, low, high = signed
    ends = sorted((abs(low), abs(high)))
    inside = low <= 0.0 <= high
    return Estimate(abs(value), 0.0 if inside else ends[0], ends[1])


def ratio_of_means(above: FloatArray, below: FloatArray, level: float = 0.95) -> Estimate:
    """Ratio of two means of positive numbers; limits from the logarithm with Welch-Satterthwaite freedom."""
    a, b = _clean(above), _clean(below)
    if a.size == 0 or b.size == 0 or a.mean() <= 0 or b.mean() <= 0:
        return Estimate()
    ratio = float(a.mean() / b.mean())
    if a.size < 3 or b.size < 3:
        return Estimate(ratio)
    va, vb = (float(x.var(ddof=1) / x.size / x.mean() ** 2) for x in (a, b))
    if va + vb == 0.0:
        return Estimate(ratio, ratio, ratio)
    dof = (va + vb) ** 2 / (va**2 / (a.size - 1) + vb**2 / (b.size - 1))
    half = _t(dof, level) * np.sqrt(va + vb)
    return Estimate(ratio, float(ratio * np.exp(-half)), float(ratio * np.exp(half)))


def slope(x: FloatArray, y: FloatArray, runs: int = 1, level: float = 0.95) -> Estimate:
    """Least-squares slope over successive cycles, its error widened for autocorrelated residuals.

    Cycles of several ``runs`` come with the mean of their run taken out of both x and y.
    The variance is multiplied by (1 + r) / (1 - r), r the lag-1 autocorrelation of the residuals at least 0
    (Bayley & Hammersley 1946, first-order case), r corrected for its bias towards negative values in few cycles.
    """
    good = np.isfinite(x) & np.isfinite(y)
    x, y = np.asarray(x, dtype=float)[good], np.asarray(y, dtype=float)[good]
    n = x.size
    if n < 2 or np.ptp(x) == 0.0:
        return Estimate()
    centred = x - x.mean()
    sxx = float(centred @ centred)
    b = float(centred @ y / sxx)
    if n < runs + 4:
        return Estimate(b)
    residual = y - y.mean() - b * centred
    ss = float(residual @ residual)
    if ss == 0.0:
        return Estimate(b, b, b)
    r = float(residual[1:] @ residual[:-1] / ss)
    r = min(max((r * n + 2.0) / max(n - 4.0, 1.0), 0.0), 0.9)
    inflation = (1.0 + r) / (1.0 - r)
    half = _t(max(n / inflation - runs - 1.0, 1.0), level) * np.sqrt(ss / (n - runs - 1) / sxx * inflation)
    return Estimate(b, b - half, b + half)


def effective_dof(deviations: FloatArray) -> float:
    """Degrees of freedom of the mean of correlated variances (Satterthwaite).

    Parameters
    ----------
    deviations : array, shape (units, points)
        Deviations from the mean (or line) over units; units are independent, points are not.

    Returns
    -------
    float
        m (tr C)^2 / tr(C^2), m = units - 1, both by their unbiased estimators for few units (Srivastava 2005); then the
        geometric mean with m, the fewest there can be, because the estimate is itself uncertain (ours: without it the
        intervals of 6 to 10 cycles hold the truth in 85-90 % only).
    """
    m = deviations.shape[0] - 1
    covariance = deviations.T @ deviations / m
    trace, square = float(np.trace(covariance)), float(np.sum(covariance**2))
    if trace == 0.0 or m < 2:
        return float(max(m, 1))
    unbiased = m**2 / ((m - 1) * (m + 2)) * (square - trace**2 / m)
    squared_trace = trace**2 - 2.0 * unbiased / m
    freedom = np.clip(m * squared_trace / max(unbiased, 1e-300), m, m * deviations.shape[1])
    return float(np.sqrt(m * freedom))


def spread(variance: float, dof: float, level: float = 0.95) -> Estimate:
    """Give the standard deviation and its chi-squared interval."""
    if not np.isfinite(variance) or dof <= 0:
        return Estimate()
    low, high = (float(stats.chi2.ppf(0.5 + sign * level / 2.0, dof)) for sign in (-1.0, 1.0))
    return Estimate(
        float(np.sqrt(variance)), float(np.sqrt(variance * dof / high)), float(np.sqrt(variance * dof / low))
    )
