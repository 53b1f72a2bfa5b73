"""Differences between two independent groups of people.

In: one value per person. Out: the difference of means with Welch's interval, and Hedges' g with the interval
of the noncentral t distribution. Welch BL 1947 Biometrika 34:28-35; Hedges LV 1981 J Educ Stat 6:107-128;
Steiger JH, Fouladi RT 1997 in What If There Were No Significance Tests?, 221-257.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import scipy  # its parts are loaded where they are used: who only reads a result needs none
from numpy.typing import ArrayLike, NDArray
from scipy import special

from .intervals import Interval, no_interval

__all__ = ["Difference", "group_difference"]

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class Difference:
    """First minus second group.

    Parameters
    ----------
    difference : float
        Difference of means, in the unit of the values.
    interval : Interval
        Of the difference (Welch).
    hedges_g : float
        Difference in pooled standard deviations, corrected for small groups.
    g_interval : Interval
        Of Hedges' g (noncentral t).
    """

    difference: float
    interval: Interval
    hedges_g: float
    g_interval: Interval


def _noncentrality(t: float, freedom: int, share: float) -> float:
    """Noncentrality at which a noncentral t falls below ``t`` with probability ``share``."""

    def gap(centre: float) -> float:
        below = float(scipy.stats.nct.cdf(t, freedom, centre))
        if math.isnan(below):
            # The library's series gives up far out in a tail, where the probability is 0 or 1 to all digits.
            below = 0.0 if centre > t else 1.0
        return below - share

    direction = 1.0 if gap(t) > 0 else -1.0
    step = 1.0 + abs(t) / math.sqrt(freedom)
    far = t + direction * step
    while gap(far) * direction > 0:
        step *= 2
        far = t + direction * step
    return float(scipy.optimize.brentq(gap, min(t, far), max(t, far), xtol=1e-10))


def group_difference(first: ArrayLike, second: ArrayLike, *, level: float = 0.95) -> Difference:
    """Compare two groups of people.

    Parameters
    ----------
    first, second : array_like, shape (n,) and (m,)
        One value per person; NaN is left out.
    level : float
        Confidence level.

    Returns
    -------
    Difference
        Without intervals (and with the reason) where a group has fewer than 2 people or nobody differs.
    """
    x, y = np.asarray(first, dtype=np.float64), np.asarray(second, dtype=np.float64)
    x, y = x[np.isfinite(x)], y[np.isfinite(y)]
    difference = float(x.mean() - y.mean()) if len(x) and len(y) else math.nan
    if len(x) < 2 or len(y) < 2:
        nothing = no_interval("fewer than 2 participants in a group")
        return Difference(difference, nothing, math.nan, nothing)
    vx, vy = float(x.var(ddof=1)), float(y.var(ddof=1))
    freedom = len(x) + len(y) - 2
    pooled = math.sqrt(((len(x) - 1) * vx + (len(y) - 1) * vy) / freedom)
    if pooled == 0:
        nothing = no_interval("no spread within the groups")
        return Difference(difference, nothing, math.nan, nothing)
    ex, ey = vx / len(x), vy / len(y)
    welch = (ex + ey) ** 2 / (ex**2 / (len(x) - 1) + ey**2 / (len(y) - 1))
    half = float(special.stdtrit(welch, 0.5 + level / 2)) * math.sqrt(ex + ey)
    correction = 1 - 3 / (4 * freedom - 1)
    scale = math.sqrt(1 / len(x) + 1 / len(y))
    t = difference / (pooled * scale)
    tail = (1 - level) / 2
    low, high = (correction * scale * _noncentrality(t, freedom, share) for share in (1 - tail, tail))
    return Difference(
        difference,
        Interval(difference - half, difference + half, "Welch t"),
        correction * difference / pooled,
        Interval(low, high, "noncentral t"),
    )
