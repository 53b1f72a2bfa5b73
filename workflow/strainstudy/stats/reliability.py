"""Reliability of repeated or rated measurements: intraclass correlations, standard error, detectable change.

In: a matrix of targets (people) by ratings (raters, sessions). Out: the coefficients ICC(2,1) and ICC(3,1) of
Shrout PE, Fleiss JL 1979 Psychol Bull 86:420-428 with the F-based intervals of McGraw KO, Wong SP 1996 Psychol Methods
1:30-46;
standard error of measurement and minimal detectable change as in Weir JP 2005 J Strength Cond Res 19:231-240
(formulas from memory, 98 % sure).
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy import special

from .intervals import Interval, no_interval
from .normal import NORMAL_95

__all__ = ["Icc", "MeanSquares", "icc", "mean_squares", "minimal_detectable_change"]

Floats = NDArray[np.float64]
Kind = Literal["2,1", "3,1"]


@dataclass(frozen=True)
class MeanSquares:
    """Mean squares of a targets by ratings table.

    Parameters
    ----------
    n, k : int
        Targets and ratings of each.
    between, within, raters, error : float
        BMS, WMS, JMS and EMS of Shrout & Fleiss 1979.
    """

    n: int
    k: int
    between: float
    within: float
    raters: float
    error: float

    @property
    def standard_error(self) -> float:
        """Standard error of measurement, sqrt(EMS): a shift between ratings is not counted as error."""
        return math.sqrt(max(self.error, 0.0))


@dataclass(frozen=True)
class Icc:
    """One intraclass correlation with its interval."""

    kind: Kind
    value: float
    interval: Interval


def _complete(ratings: ArrayLike) -> Floats:
    table = np.asarray(ratings, dtype=np.float64)
    if table.ndim != 2 or table.shape[1] < 2:
        raise ValueError("ratings must be a table of targets by two or more ratings")
    complete: Floats = table[np.isfinite(table).all(axis=1)]
    return complete


def mean_squares(ratings: ArrayLike) -> MeanSquares:
    """Two-way analysis of variance of a table of targets by ratings.

    Parameters
    ----------
    ratings : array_like, shape (n, k)
        Rows with a NaN are left out.

    Returns
    -------
    MeanSquares
        All NaN for fewer than 2 complete rows.
    """
    table = _complete(ratings)
    n, k = table.shape
    if n < 2:
        return MeanSquares(n, k, math.nan, math.nan, math.nan, math.nan)
    grand = table.mean()
    rows, columns = table.mean(axis=1), table.mean(axis=0)
    between = k * float(((rows - grand) ** 2).sum())
    raters = n * float(((columns - grand) ** 2).sum())
    within = float(((table - rows[:, None]) ** 2).sum())
    error = float(((table - rows[:, None] - columns[None, :] + grand) ** 2).sum())
    return MeanSquares(n, k, between / (n - 1), within / (n * (k - 1)), raters / (k - 1), error / ((n - 1) * (k - 1)))


def _consistency(ms: MeanSquares, tail: float) -> tuple[float, float, float]:
    """ICC(3,1) and its limits (Shrout & Fleiss 1979, appendix)."""
    n, k = ms.n, ms.k
    freedom = (n - 1) * (k - 1)
    f = ms.between / ms.error if ms.error > 0 else math.inf
    low = f / float(special.fdtri(n - 1, freedom, 1 - tail))
    high = f * float(special.fdtri(freedom, n - 1, 1 - tail))
    value, lower, upper = (1.0 if math.isinf(ratio) else (ratio - 1) / (ratio + k - 1) for ratio in (f, low, high))
    return value, lower, upper


def _agreement(ms: MeanSquares, tail: float) -> tuple[float, float, float]:
    """ICC(2,1) and its limits (Shrout & Fleiss 1979, appendix: Satterthwaite degrees of freedom)."""
    n, k, bms, jms, ems = ms.n, ms.k, ms.between, ms.raters, ms.error
    value = (bms - ems) / (bms + (k - 1) * ems + k * (jms - ems) / n)
    if ems == 0 and jms == 0:
        return value, 1.0, 1.0
    fj = jms / ems if ems > 0 else math.inf
    if not math.isfinite(fj):
        return value, math.nan, math.nan
    a = k * value * fj + n * (1 + (k - 1) * value) - k * value
    freedom = (
        (k - 1) * (n - 1) * a**2 / ((n - 1) * (k * value * fj) ** 2 + (n * (1 + (k - 1) * value) - k * value) ** 2)
    )
    upper = float(special.fdtri(n - 1, freedom, 1 - tail))
    lower = float(special.fdtri(freedom, n - 1, 1 - tail))
    rest = k * jms + (k * n - k - n) * ems
    return (
        value,
        n * (bms - upper * ems) / (upper * rest + n * bms),
        n * (lower * bms - ems) / (rest + n * lower * bms),
    )


def icc(ratings: ArrayLike, kind: Kind = "2,1", *, level: float = 0.95) -> Icc:
    """Intraclass correlation of a table of targets by ratings.

    Parameters
    ----------
    ratings : array_like, shape (n, k)
        Rows with a NaN are left out.
    kind : {"2,1", "3,1"}
        Shrout & Fleiss's model, for single ratings: raters are a random sample (absolute agreement), or all there are
        (consistency).
    level : float
        Confidence level.

    Returns
    -------
    Icc
        NaN for fewer than 2 complete rows or where all targets are the same.
    """
    ms = mean_squares(ratings)
    if ms.n < 2:
        return Icc(kind, math.nan, no_interval("fewer than 2 complete rows"))
    if ms.between == 0 and ms.within == 0:
        return Icc(kind, math.nan, no_interval("all values are the same"))
    value, low, high = (_agreement if kind == "2,1" else _consistency)(ms, (1 - level) / 2)
    return Icc(kind, value, Interval(low, high, "F (Shrout-Fleiss 1979, McGraw-Wong 1996)"))


def minimal_detectable_change(standard_error: float, *, multiplier: float = NORMAL_95) -> float:
    """Smallest change between two measurements that error does not explain: 1.96 x sqrt(2) x SEM.

    Parameters
    ----------
    standard_error : float
        Standard error of one measurement.
    multiplier : float
        1.96 for 95 % of a normal distribution; Student's t where the standard error has few degrees of freedom.

    Returns
    -------
    float
        In the unit of the measurement.
    """
    return multiplier * math.sqrt(2) * standard_error
