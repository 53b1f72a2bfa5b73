"""Agreement on categories beyond chance.

In: a square table of counts, shares or seconds, rows by the first rater and columns by the second. Out:
Cohen's kappa, plain (Cohen J 1960 Educ Psychol Meas 20:37-46) or weighted (Cohen J 1968 Psychol Bull
70:213-220), with the large-sample interval of Fleiss JL, Cohen J, Everitt BS 1969 Psychol Bull 72:323-327.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy import special

from .intervals import Interval, no_interval

__all__ = ["Kappa", "cohen_kappa", "kappa_of_tables", "linear_disagreement"]

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class Kappa:
    """Kappa with observed and chance agreement (weighted where weights are given)."""

    value: float
    observed: float
    expected: float
    interval: Interval


def linear_disagreement(categories: int, power: float = 1.0) -> Floats:
    """Disagreement weights |i - j| ** power of ordered categories, shape (categories, categories)."""
    place = np.arange(categories, dtype=np.float64)
    weights: Floats = np.abs(place[:, None] - place[None, :]) ** power
    return weights


def kappa_of_tables(tables: Floats) -> Floats:
    """Plain kappa of a stack of tables.

    Parameters
    ----------
    tables : ndarray, shape (m, c, c)
        Counts or seconds.

    Returns
    -------
    ndarray, shape (m,)
        NaN where there is nothing, or only one category on both sides.
    """
    with np.errstate(divide="ignore", invalid="ignore"):
        shares = tables / tables.sum(axis=(1, 2), keepdims=True)
        observed = np.trace(shares, axis1=1, axis2=2)
        expected = (shares.sum(axis=2) * shares.sum(axis=1)).sum(axis=1)
        value: Floats = np.where(expected < 1, (observed - expected) / (1 - expected), np.nan)
    return value


def cohen_kappa(table: ArrayLike, *, disagreement: ArrayLike | None = None, level: float = 0.95) -> Kappa:
    """Cohen's kappa of one table of independent judgements.

    Parameters
    ----------
    table : array_like, shape (c, c)
        Counts: rows first rater, columns second rater.
    disagreement : array_like, shape (c, c), optional
        Weights of disagreement, 0 on the diagonal; plain kappa without them.
    level : float
        Confidence level.

    Returns
    -------
    Kappa
        NaN where chance alone would agree fully.
    """
    counts = np.asarray(table, dtype=np.float64)
    if counts.ndim != 2 or counts.shape[0] != counts.shape[1] or (counts < 0).any():
        raise ValueError("the table must be square and without negative counts")
    n = float(counts.sum())
    if n == 0:
        return Kappa(math.nan, math.nan, math.nan, no_interval("nothing was counted"))
    weights = 1 - np.eye(len(counts)) if disagreement is None else np.asarray(disagreement, dtype=np.float64)
    agreement = 1 - weights / weights.max() if weights.max() > 0 else np.ones_like(weights)
    shares = counts / n
    rows, columns = shares.sum(axis=1), shares.sum(axis=0)
    observed = float((agreement * shares).sum())
    expected = float((agreement * np.outer(rows, columns)).sum())
    if expected >= 1:
        return Kappa(math.nan, observed, expected, no_interval("only one category was used"))
    value = (observed - expected) / (1 - expected)
    # Fleiss, Cohen & Everitt 1969; it holds for plain kappa too.
    row_mean, column_mean = agreement @ columns, agreement.T @ rows
    mean = row_mean[:, None] + column_mean[None, :]
    inner = float((shares * (agreement * (1 - expected) - mean * (1 - observed)) ** 2).sum())
    variance = (inner - (observed * expected - 2 * expected + observed) ** 2) / (n * (1 - expected) ** 4)
    half = float(special.ndtri(0.5 + level / 2)) * math.sqrt(max(variance, 0.0))
    return Kappa(
        value,
        observed,
        expected,
        Interval(value - half, min(value + half, 1.0), "large sample (Fleiss 1969)"),
    )
