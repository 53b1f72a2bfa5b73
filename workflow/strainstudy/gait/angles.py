"""Range of motion and swing peak of strides in degrees, where the knee angle is calibrated.

In: strides found on the response, and the calibrated angle of each knee. Out: the same strides with amounts in degrees.
"""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from .curves import stride_curves

__all__ = ["in_degrees"]

FloatArray = NDArray[np.float64]


def in_degrees(strides: pd.DataFrame, angles: Mapping[str, FloatArray], fs: float) -> pd.DataFrame:
    """Give ``swing_peak`` and ``range_of_motion`` in degrees; ``response_range`` keeps the unit of the response.

    Parameters
    ----------
    strides : DataFrame
        Rows of `walk.Walk.strides`.
    angles : mapping of side to ndarray, shape (n,)
        Knee flexion in degrees of the sides that are calibrated.
    fs : float
        Sampling frequency of the angles in Hz.

    Returns
    -------
    DataFrame
        As given; ``swing_peak`` and ``range_of_motion`` are NaN for a side without an angle.
    """
    peak, extent = np.full(len(strides), np.nan), np.full(len(strides), np.nan)
    sides = strides["side"].to_numpy()
    for side, angle in angles.items():
        own = np.flatnonzero(sides == side)
        if not len(own):
            continue
        curves = stride_curves(angle, strides.iloc[own], fs)
        peak[own] = curves[:, curves.shape[1] // 2 :].max(axis=1)
        extent[own] = curves.max(axis=1) - curves.min(axis=1)
    return strides.assign(swing_peak=peak, range_of_motion=extent).reset_index(drop=True)
