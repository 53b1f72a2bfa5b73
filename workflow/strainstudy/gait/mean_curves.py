"""Mean knee angle over the stride, with the spread between strides: one recording, several, or several people.

In: strides with their gait state and the knee angles. Out: mean, SD and number at each percent of the stride.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Final

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from ..vocabulary import GAIT_STATES
from .curves import stride_curves

__all__ = ["CURVE_COLUMNS", "mean_curves", "pooled_curve"]

FloatArray = NDArray[np.float64]

CURVE_COLUMNS: Final = ("trial_type", "side", "percent", "mean", "sd", "n")
_POINTS: Final = 101
"""One for each percent of the stride, as gait curves are usually printed (common practice, no source)."""


def _moments(curves: FloatArray) -> tuple[FloatArray, FloatArray, NDArray[np.int64]]:
    """Mean, SD with n - 1, and number of the values there are in each column."""
    there = np.isfinite(curves)
    n = there.sum(axis=0)
    mean = np.where(there, curves, 0.0).sum(axis=0) / np.where(n > 0, n, np.nan)
    square = np.where(there, curves - mean, 0.0) ** 2
    sd = np.sqrt(square.sum(axis=0) / np.where(n > 1, n - 1, np.nan))
    return mean, sd, n


def mean_curves(strides: pd.DataFrame, angles: Mapping[str, FloatArray], fs: float) -> pd.DataFrame:
    """Average the knee angle over the steady strides of each gait state and side.

    Parameters
    ----------
    strides : DataFrame
        Of one recording: ``side``, ``onset``, ``stride_time`` in s, ``steady``, ``trial_type``.
    angles : mapping of side to ndarray, shape (n,)
        Knee flexion in degrees of the sides that are calibrated.
    fs : float
        Sampling frequency of the angles in Hz.

    Returns
    -------
    DataFrame
        `CURVE_COLUMNS`; percents without any angle are left out.
    """
    percent = np.arange(_POINTS)
    parts = []
    steady = strides["steady"].to_numpy(dtype=bool)
    states, sides = (strides[name].to_numpy(dtype=object) for name in ("trial_type", "side"))
    for state in GAIT_STATES:
        for side, angle in angles.items():
            own = steady & (states == state) & (sides == side)
            if not own.any():
                continue
            mean, sd, n = _moments(stride_curves(angle, strides[own], fs, points=_POINTS))
            there = n > 0
            words = (np.full(np.count_nonzero(there), word, dtype=object) for word in (state, side))
            parts.append((*words, *(values[there] for values in (percent, mean, sd, n))))
    if not parts:
        return pd.DataFrame(columns=list(CURVE_COLUMNS))
    return pd.DataFrame(
        {name: np.concatenate(part) for name, part in zip(CURVE_COLUMNS, zip(*parts, strict=True), strict=True)}
    )


def pooled_curve(curves: pd.DataFrame) -> pd.DataFrame:
    """Put the curves of several recordings together as if all their strides had been averaged at once.

    Parameters
    ----------
    curves : DataFrame
        ``percent``, ``mean``, ``sd``, ``n`` of one side and gait state, of any number of recordings.

    Returns
    -------
    DataFrame
        The same columns, one row per percent: the exact mean and SD (n - 1) of all strides together.
    """
    percent = curves["percent"].to_numpy(dtype=int)
    n, mean = curves["n"].to_numpy(dtype=float), curves["mean"].to_numpy(dtype=float)
    within = (n - 1) * np.nan_to_num(curves["sd"].to_numpy(dtype=float)) ** 2
    at, where = np.unique(percent, return_inverse=True)
    total = np.bincount(where, n)
    whole = np.bincount(where, n * mean) / total
    square = np.bincount(where, within + n * (mean - whole[where]) ** 2)
    sd = np.sqrt(square / np.where(total > 1, total - 1, np.nan))
    return pd.DataFrame({"percent": at, "mean": whole, "sd": sd, "n": total.astype(int)})
