"""Agreement on categories beyond chance.

In: square tables of counts, shares or seconds, rows by the first rater and columns by the second. Out: Cohen's kappa
(Cohen J 1960 Educ Psychol Meas 20:37-46). Its limits come from resampling people where it is used.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

__all__ = ["kappa_of_tables"]

Floats = NDArray[np.float64]


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
