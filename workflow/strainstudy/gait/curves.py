"""Stride curves on a common axis of 0 to 100 % of the cycle, for features and figures."""

from __future__ import annotations

import numpy as np
import pandas as pd
from numpy.typing import NDArray

__all__ = ["stride_curves"]

FloatArray = NDArray[np.float64]


def stride_curves(knee: FloatArray, strides: pd.DataFrame, fs: float, *, points: int = 101) -> FloatArray:
    """Cut a knee curve into strides and put each on the same number of points.

    Parameters
    ----------
    knee : ndarray, shape (m,)
        One knee, any unit.
    strides : DataFrame
        Rows of this knee with ``onset`` and ``stride_time`` in seconds.
    fs : float
        Sampling frequency in Hz.
    points : int
        Points from one contact to the next, both included.

    Returns
    -------
    ndarray, shape (len(strides), points)
        Linear interpolation in time; NaN where there is no data.
    """
    onset = strides["onset"].to_numpy(dtype=float)
    time = strides["stride_time"].to_numpy(dtype=float)
    at = (onset[:, None] + time[:, None] * np.linspace(0.0, 1.0, points)[None, :]) * fs
    curves: FloatArray = np.interp(at, np.arange(knee.size), knee, left=np.nan, right=np.nan)
    return curves
