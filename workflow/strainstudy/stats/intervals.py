"""Confidence intervals: of a proportion, of a rate, of a mean, and of any statistic over people.

In: counts, or sums per person. Out: `Interval` with the name of its method, or with the reason why there is
none. Wilson EB 1927 J Am Stat Assoc 22:209-212 (method 3 of Newcombe RG 1998 Stat Med 17:857-872); Garwood F
1936 Biometrika 28:437-442; bootstrap of whole clusters: Davison AC, Hinkley DV 1997 Bootstrap Methods and
their Application, ch. 3.8, with the bias-corrected and accelerated limits of Efron B 1987 J Am Stat Assoc
82:171-185, expanded for few people as in Hesterberg TC 2015 Am Stat 69:371-386.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import lru_cache
from typing import Final, Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy import special

__all__ = [
    "MINIMUM_CLUSTERS",
    "NOBODY_DIFFERS",
    "Interval",
    "cluster_bootstrap",
    "no_interval",
    "rate_interval",
    "t_interval",
    "wider",
    "wilson",
]

Floats = NDArray[np.float64]

MINIMUM_CLUSTERS: Final = 3
"""Fewer people than this say nothing about the spread between people (ours)."""
NOBODY_DIFFERS: Final = "no participant differs, so that resampling shows no spread"
SAME: Final = 1e-12
"""Relative spread of resamples that is rounding."""
DEFINED_SHARE: Final = 0.9
"""Share of resamples in which the statistic must exist (ours)."""


@dataclass(frozen=True)
class Interval:
    """Limits and how they were found.

    Parameters
    ----------
    low, high : float
        Limits; NaN where there is no interval.
    method : str
        Name of the method, or ``"none: "`` and the reason.
    """

    low: float
    high: float
    method: str


def no_interval(reason: str) -> Interval:
    """Return an interval without limits that says why."""
    return Interval(math.nan, math.nan, f"none: {reason}")


def wilson(successes: float, n: float, level: float = 0.95) -> Interval:
    """Wilson score interval of a proportion of independent trials.

    Parameters
    ----------
    successes, n : float
        Counts, ``0 <= successes <= n``.
    level : float
        Confidence level.

    Returns
    -------
    Interval
        None where ``n`` is 0.
    """
    if not 0 <= successes <= n:
        raise ValueError("successes must lie between 0 and n")
    if n == 0:
        return no_interval("nothing was counted")
    z = float(special.ndtri(0.5 + level / 2))
    p = successes / n
    centre = (p + z * z / (2 * n)) / (1 + z * z / n)
    half = z / (1 + z * z / n) * math.sqrt(p * (1 - p) / n + z * z / (4 * n * n))
    # At 0 and n the limit is exact; rounding would leave 1e-17 there.
    low = 0.0 if successes == 0 else centre - half
    high = 1.0 if successes == n else centre + half
    return Interval(low, high, "Wilson")


def rate_interval(count: int, exposure: float, level: float = 0.95) -> Interval:
    """Exact Poisson interval of a rate (Garwood 1936).

    Parameters
    ----------
    count : int
        Events.
    exposure : float
        Time (or another measure) they were counted over; limits are per unit of it.
    level : float
        Confidence level.

    Returns
    -------
    Interval
        None where there was no exposure.
    """
    if exposure <= 0:
        return no_interval("no time was observed")
    tail = (1 - level) / 2
    low = float(special.chdtri(2 * count, 1 - tail)) / 2 if count > 0 else 0.0
    high = float(special.chdtri(2 * count + 2, tail)) / 2
    return Interval(low / exposure, high / exposure, "exact Poisson")


def wider(counted: Interval, spread: Interval) -> Interval:
    """Take the wider of two intervals of one value, and say that it was.

    Counts of few events vary by chance even where no person differs, and people differ beyond that: resampling people
    knows little of the first where few have an event, exact limits know nothing of the second (our rule; no source).

    Parameters
    ----------
    counted : Interval
        From the count alone.
    spread : Interval
        From resampling people; without limits where no person differs.

    Returns
    -------
    Interval
        ``counted`` where ``spread`` has no limits.
    """
    if math.isnan(spread.low):
        return counted
    broad, narrow = (counted, spread) if counted.high - counted.low >= spread.high - spread.low else (spread, counted)
    return Interval(broad.low, broad.high, f"{broad.method}, wider than {narrow.method}")


def t_interval(values: ArrayLike, level: float = 0.95) -> Interval:
    """Student t interval of the mean of independent values.

    Parameters
    ----------
    values : array_like, shape (n,)
        NaN is left out.
    level : float
        Confidence level.

    Returns
    -------
    Interval
        None for fewer than two values.
    """
    x = np.asarray(values, dtype=np.float64)
    x = x[np.isfinite(x)]
    if len(x) < 2:
        return no_interval("fewer than 2 values")
    half = float(special.stdtrit(len(x) - 1, 0.5 + level / 2) * x.std(ddof=1) / math.sqrt(len(x)))
    return Interval(float(x.mean()) - half, float(x.mean()) + half, "Student t")


@lru_cache(maxsize=32)
def _weights(clusters: int, draws: int, seed: tuple[int, ...]) -> Floats:
    """How often each cluster is in each resample, (draws, clusters); the same for all statistics."""
    generator = np.random.Generator(np.random.PCG64(np.random.SeedSequence(seed)))
    weights = generator.multinomial(clusters, np.full(clusters, 1 / clusters), size=draws).astype(np.float64)
    weights.flags.writeable = False
    return weights


@lru_cache(maxsize=1024)
def _upper(clusters: int, level: float, expand: bool) -> float:
    """Count the standard errors to the upper limit: the normal quantile, or what stands for it with few people."""
    if expand:
        return float(special.stdtrit(clusters - 1, 0.5 + level / 2)) * math.sqrt(clusters / (clusters - 1))
    return float(special.ndtri(0.5 + level / 2))


def _percentiles(values: Floats, levels: Floats) -> tuple[float, ...]:
    """Give what `numpy.quantile` gives of finite values, bit for bit, in a third of its time."""
    places = [(len(values) - 1) * level for level in levels.tolist()]
    below = [min(max(math.floor(place), 0), len(values) - 1) for place in places]
    above = [min(low + 1, len(values) - 1) for low in below]
    # the same places as there, the first and the last among them: 0 and -0 are equal, and each stands somewhere
    ordered = np.partition(values, sorted({0, len(values) - 1, *below, *above}))
    found = []
    for place, low, high in zip(places, below, above, strict=True):
        first, last, share = float(ordered[low]), float(ordered[high]), place - low
        step = last - first
        # from the nearer of the two, as there
        found.append(last - step * (1 - share) if share >= 0.5 else first + step * share)
    return tuple(found)


def _bca_levels(drawn: Floats, estimate: float, left_out: Floats, reach: Floats) -> Floats | None:
    """Percentiles to read off, or None where the correction does not exist (Efron 1987)."""
    below = np.count_nonzero(drawn < estimate) / drawn.size + 0.5 * (np.count_nonzero(drawn == estimate) / drawn.size)
    spread = left_out.mean() - left_out
    scale = float((spread**2).sum()) ** 1.5
    if not (0 < below < 1) or not np.isfinite(left_out).all() or scale <= 1e-300:
        return None
    bias = float(special.ndtri(below))
    acceleration = float((spread**3).sum()) / (6 * scale)
    z = bias + reach
    levels: Floats = special.ndtr(bias + z / (1 - acceleration * z))
    return levels


def cluster_bootstrap(
    sums: ArrayLike,
    statistic: Callable[[Floats], Floats],
    *,
    draws: int,
    seed: int | Sequence[int],
    level: float = 0.95,
    method: Literal["percentile", "bca"] = "bca",
    expand: bool = True,
) -> Interval:
    """Interval of a statistic by resampling whole clusters (people) with replacement.

    Every statistic here is a function of sums over people (counts, sums of squares, seconds), so that one
    matrix product makes all resamples.

    Parameters
    ----------
    sums : array_like, shape (clusters, q)
        What each person contributes to each sum.
    statistic : callable
        Maps sums of shape (k, q) to values of shape (k,); NaN where it does not exist.
    draws : int
        Number of resamples.
    seed : int or sequence of int
        Seed of PCG64; the same seed and number of people give the same resamples for every statistic, so that
        differences of statistics are paired.
    level : float
        Confidence level.
    method : {"percentile", "bca"}
        Limits from the percentiles of the resampled values as they are, or bias-corrected and accelerated;
        where the correction does not exist (all resamples on one side) the percentiles are used and the
        method's name says so.
    expand : bool
        Widen the percentiles for few people: the normal quantile gives way to Student's t with n - 1 degrees of freedom
        times sqrt(n / (n - 1)) (Hesterberg 2015). Plain percentiles of four people hold in three of four cases only.

    Returns
    -------
    Interval
        None for fewer than `MINIMUM_CLUSTERS` people, where the statistic fails in over a tenth of the
        resamples, or where all resamples give the same value: what does not vary between these people may still vary
        in others.
    """
    table = np.asarray(sums, dtype=np.float64)
    if len(table) < MINIMUM_CLUSTERS:
        return no_interval(f"fewer than {MINIMUM_CLUSTERS} participants")
    key = (int(seed),) if isinstance(seed, int) else tuple(int(s) for s in seed)
    with np.errstate(divide="ignore", invalid="ignore"):
        drawn = statistic(_weights(len(table), draws, key) @ table)
        estimate = float(statistic(table.sum(axis=0)[None, :])[0])
        left_out = statistic(table.sum(axis=0) - table)
    exists = np.isfinite(drawn)
    finite = drawn if exists.all() else drawn[exists]
    if not math.isfinite(estimate) or len(finite) < DEFINED_SHARE * draws:
        return no_interval("the value does not exist in enough resamples")
    if float(finite.max() - finite.min()) <= SAME * max(1.0, abs(estimate)):
        return no_interval(NOBODY_DIFFERS)
    upper = _upper(len(table), level, expand)
    reach = np.array([-upper, upper])
    corrected = _bca_levels(finite, estimate, left_out, reach) if method == "bca" else None
    low, high = _percentiles(finite, special.ndtr(reach) if corrected is None else corrected)
    return Interval(
        low,
        high,
        f"bootstrap over participants ({'percentile' if corrected is None else 'BCa'})",
    )
