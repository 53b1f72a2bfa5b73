"""Agreement of two methods on a continuous scale: limits of agreement, concordance.

In: paired readings, with the person they come from where there are several per person. Out: bias, limits and
their intervals. Bland JM, Altman DG 1986 Lancet 327:307-310 (single readings); 1999 Stat Methods Med Res
8:135-160 and 2007 J Biopharm Stat 17:571-582 (repeated readings per person); intervals for repeated readings:
Zou GY 2013 Stat Methods Med Res 22:630-642; concordance: Lin LI-K 1989 Biometrics 45:255-268.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy import special

from .intervals import Interval, no_interval
from .normal import NORMAL_95

__all__ = [
    "BlandAltman",
    "Concordance",
    "bland_altman",
    "bland_altman_repeated",
    "concordance",
    "within_person_sd",
]

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class BlandAltman:
    """Bias and limits of agreement of first minus second.

    Parameters
    ----------
    n : int
        Pairs.
    people : int
        People they come from.
    bias, sd : float
        Mean and standard deviation of the differences.
    sd_within, sd_between : float
        Parts of ``sd``: within a person and between people; NaN where each person has one pair.
    low, high : float
        Limits of agreement, bias -/+ multiplier x sd.
    bias_interval, low_interval, high_interval : Interval
        Confidence intervals of the three.
    """

    n: int
    people: int
    bias: float
    sd: float
    sd_within: float
    sd_between: float
    low: float
    high: float
    bias_interval: Interval
    low_interval: Interval
    high_interval: Interval


def _paired(first: ArrayLike, second: ArrayLike) -> tuple[Floats, Floats]:
    x, y = np.asarray(first, dtype=np.float64), np.asarray(second, dtype=np.float64)
    if x.shape != y.shape or x.ndim != 1:
        raise ValueError("the two methods must give flat lists of the same length")
    both = np.isfinite(x) & np.isfinite(y)
    return x[both], y[both]


def _without_spread(n: int, people: int, bias: float) -> BlandAltman:
    nothing = no_interval("fewer than 2 pairs")
    nan = math.nan
    return BlandAltman(n, people, bias, nan, nan, nan, nan, nan, nothing, nothing, nothing)


def bland_altman(
    first: ArrayLike, second: ArrayLike, *, multiplier: float = NORMAL_95, level: float = 0.95
) -> BlandAltman:
    """Limits of agreement of single, independent pairs (Bland & Altman 1986).

    Parameters
    ----------
    first, second : array_like, shape (n,)
        Readings; pairs with NaN are left out.
    multiplier : float
        1.96, or 2 as the paper prints it.
    level : float
        Confidence level of the intervals: Student t with the paper's standard errors, s/sqrt(n) for the bias
        and sqrt(3 s^2/n) for a limit.

    Returns
    -------
    BlandAltman
    """
    x, y = _paired(first, second)
    d = x - y
    n = len(d)
    if n < 2:
        return _without_spread(n, n, float(d.mean()) if n else math.nan)
    bias, sd = float(d.mean()), float(d.std(ddof=1))
    t = float(special.stdtrit(n - 1, 0.5 + level / 2))
    half_bias, half_limit = t * sd / math.sqrt(n), t * sd * math.sqrt(3 / n)
    low, high = bias - multiplier * sd, bias + multiplier * sd
    return BlandAltman(
        n=n,
        people=n,
        bias=bias,
        sd=sd,
        sd_within=math.nan,
        sd_between=math.nan,
        low=low,
        high=high,
        bias_interval=Interval(bias - half_bias, bias + half_bias, "Student t"),
        low_interval=Interval(low - half_limit, low + half_limit, "Bland-Altman 1986"),
        high_interval=Interval(high - half_limit, high + half_limit, "Bland-Altman 1986"),
    )


def _mover(
    bias: float,
    sd: float,
    parts: tuple[tuple[float, int], ...],
    se: float,
    people: int,
    reach: float,
    level: float,
) -> tuple[Interval, Interval]:
    """Intervals of both limits from the intervals of the mean and of the variance parts (Zou 2013).

    ``parts`` holds each variance part with its degrees of freedom. The mean's margin takes Student's t where
    Zou takes the normal quantile, so that few people widen it.
    """
    tail = (1 - level) / 2
    down = up = 0.0
    for variance, freedom in parts:
        if freedom > 0:
            down += (variance * (1 - freedom / float(special.chdtri(freedom, tail)))) ** 2
            up += (variance * (freedom / float(special.chdtri(freedom, 1 - tail)) - 1)) ** 2
    smallest = math.sqrt(max(sd**2 - math.sqrt(down), 0.0))
    largest = math.sqrt(sd**2 + math.sqrt(up))
    mean_margin = float(special.stdtrit(people - 1, 1 - tail)) * se
    outer = math.hypot(mean_margin, reach * (largest - sd))
    inner = math.hypot(mean_margin, reach * (sd - smallest))
    low, high = bias - reach * sd, bias + reach * sd
    name = "variance recovery (Zou 2013)"
    return Interval(low - outer, low + inner, name), Interval(high - inner, high + outer, name)


def bland_altman_repeated(
    first: ArrayLike,
    second: ArrayLike,
    person: ArrayLike,
    *,
    multiplier: float = NORMAL_95,
    level: float = 0.95,
) -> BlandAltman:
    """Limits of agreement with several pairs per person, the true value varying between pairs.

    The differences are split by a one-way analysis of variance: within people ``MSW``, between people
    ``(MSB - MSW) / m0`` (not below 0) with ``m0 = ((sum m)^2 - sum m^2) / ((k - 1) sum m)``; the limits use
    the square root of their sum (Bland & Altman 1999, section 5.3; 2007, section 3). With one pair per person
    this is the plain standard deviation. The bias is the mean of all differences.

    Parameters
    ----------
    first, second : array_like, shape (n,)
        Paired readings; pairs with NaN are left out.
    person : array_like, shape (n,)
        Who each pair comes from.
    multiplier, level : float
        As in `bland_altman`.

    Returns
    -------
    BlandAltman
        For one person the spread is that person's, and the intervals take the pairs as independent; they are
        those of `bland_altman`.
    """
    x, y = np.asarray(first, dtype=np.float64), np.asarray(second, dtype=np.float64)
    both = np.isfinite(x) & np.isfinite(y)
    d = x[both] - y[both]
    _, who = np.unique(np.asarray(person)[both], return_inverse=True)
    m = np.bincount(who).astype(np.float64)
    n, k = len(d), len(m)
    if n < 2:
        return _without_spread(n, k, float(d.mean()) if n else math.nan)
    if k == 1:
        single = bland_altman(d, np.zeros(n), multiplier=multiplier, level=level)
        return BlandAltman(**{**vars(single), "people": 1, "sd_within": single.sd, "sd_between": math.nan})
    bias = float(d.mean())
    totals = np.bincount(who, weights=d)
    means = totals / m
    if n == k:
        within = math.nan
        variance, between = float(d.var(ddof=1)), math.nan
        parts: tuple[tuple[float, int], ...] = ((variance, k - 1),)
    else:
        within = float(((d - means[who]) ** 2).sum() / (n - k))
        spread = float((m * (means - bias) ** 2).sum() / (k - 1))
        m0 = float((n**2 - (m**2).sum()) / ((k - 1) * n))
        between = max((spread - within) / m0, 0.0)
        variance = between + within
        # Zou's two independent parts: variance of a person's mean, and the share of MSW that a mean does not
        # hold.
        share = 1 - float(np.mean(1 / m))
        parts = ((variance - share * within, k - 1), (share * within, n - k))
    sd = math.sqrt(variance)
    se = math.sqrt(
        float((m**2).sum()) / n**2 * (0.0 if math.isnan(between) else between)
        + (variance if math.isnan(within) else within) / n
    )
    half = float(special.stdtrit(k - 1, 0.5 + level / 2)) * se
    low_interval, high_interval = _mover(bias, sd, parts, se, k, multiplier, level)
    return BlandAltman(
        n=n,
        people=k,
        bias=bias,
        sd=sd,
        sd_within=math.sqrt(within) if math.isfinite(within) else math.nan,
        sd_between=math.sqrt(between) if math.isfinite(between) else math.nan,
        low=bias - multiplier * sd,
        high=bias + multiplier * sd,
        bias_interval=Interval(bias - half, bias + half, "Student t over participants"),
        low_interval=low_interval,
        high_interval=high_interval,
    )


def within_person_sd(values: ArrayLike, person: ArrayLike) -> tuple[float, int]:
    """Pool the standard deviation of repeats within people over all people.

    Parameters
    ----------
    values : array_like, shape (n,)
        Readings; NaN is left out.
    person : array_like, shape (n,)
        Who (or which set of repeats) each comes from.

    Returns
    -------
    sd : float
        Square root of the mean square within; NaN without repeats.
    freedom : int
        Its degrees of freedom.
    """
    x = np.asarray(values, dtype=np.float64)
    good = np.isfinite(x)
    x = x[good]
    if len(x) == 0:
        return math.nan, 0
    _, who = np.unique(np.asarray(person)[good], return_inverse=True)
    m = np.bincount(who)
    freedom = int(len(x) - len(m))
    if freedom == 0:
        return math.nan, 0
    means = np.bincount(who, weights=x) / m
    return math.sqrt(float(((x - means[who]) ** 2).sum()) / freedom), freedom


@dataclass(frozen=True)
class Concordance:
    """Lin's concordance correlation coefficient with its interval."""

    n: int
    value: float
    interval: Interval


def concordance(first: ArrayLike, second: ArrayLike, *, level: float = 0.95) -> Concordance:
    """Lin's concordance correlation coefficient, with variances and covariance divided by n as in his paper.

    Parameters
    ----------
    first, second : array_like, shape (n,)
        Paired readings; pairs with NaN are left out.
    level : float
        Confidence level; limits by Fisher's z with the variance of Lin 1989 (corrected in Biometrics
        2000 56:324-325).

    Returns
    -------
    Concordance
    """
    x, y = _paired(first, second)
    n = len(x)
    if n < 3:
        return Concordance(n, math.nan, no_interval("fewer than 3 pairs"))
    sx, sy = float(x.var()), float(y.var())
    sxy = float(((x - x.mean()) * (y - y.mean())).sum()) / n
    shift = float(x.mean() - y.mean())
    whole = sx + sy + shift**2
    if sx == 0 or sy == 0:
        return Concordance(n, math.nan, no_interval("a method gives the same value throughout"))
    value = 2 * sxy / whole
    r = sxy / math.sqrt(sx * sy)
    if abs(r) >= 1 - 1e-12 or abs(value) >= 1 - 1e-12 or r == 0:
        return Concordance(n, value, no_interval("the readings lie on a line"))
    u2 = shift**2 / math.sqrt(sx * sy)
    c2 = value**2
    z_variance = (
        (1 - r**2) * c2 / ((1 - c2) * r**2)
        + 2 * value**3 * (1 - value) * u2 / (r * (1 - c2) ** 2)
        - value**4 * u2**2 / (2 * r**2 * (1 - c2) ** 2)
    ) / (n - 2)
    half = float(special.ndtri(0.5 + level / 2)) * math.sqrt(z_variance)
    z = math.atanh(value)
    return Concordance(n, value, Interval(math.tanh(z - half), math.tanh(z + half), "Fisher z (Lin 1989)"))
