"""Missing samples: runs of what is there, and short gaps bridged.

In: a uniformly sampled signal with NaN where there is no data. Out: the same with its short gaps filled by monotone
piecewise cubic interpolation (Fritsch FN, Carlson RE 1980, SIAM J Numer Anal 17:238-246), which cannot overshoot
its neighbours; longer gaps stay NaN.
"""

from __future__ import annotations

from typing import Any

import numpy as np
import numpy.typing as npt
from scipy.interpolate import PchipInterpolator

from .runs import runs

__all__ = ["bridge_gaps", "runs", "spanned"]

Array = npt.NDArray[np.float64]

_SUPPORT = 3
"""Samples on each side of a gap that shape its bridge; the slope at the two nearest needs the third."""


def bridge_gaps(values: npt.ArrayLike, longest: int) -> tuple[Array, int]:
    """Fill gaps of up to ``longest`` samples; longer ones and those at either end stay NaN.

    Parameters
    ----------
    values : array, shape (n,)
        NaN = no data.
    longest : int
        Longest gap to fill, in samples.

    Returns
    -------
    filled : array, shape (n,)
    bridged : int
        Number of samples filled.
    """
    filled = np.array(values, dtype=np.float64)
    missing = np.isnan(filled)
    if not missing.any() or missing.all():
        return filled, 0
    gaps = runs(missing)
    inner = (gaps[:, 0] > 0) & (gaps[:, 1] < len(filled))
    short = gaps[inner & (gaps[:, 1] - gaps[:, 0] <= longest)]
    if not len(short):
        return filled, 0
    valid = np.flatnonzero(~missing)
    # Only the samples beside a gap shape its bridge, so the spline is built on those alone.
    first_after = np.searchsorted(valid, short[:, 1])
    beside = np.unique(first_after[:, None] + np.arange(-_SUPPORT, _SUPPORT)[None, :])
    support = valid[beside[(beside >= 0) & (beside < len(valid))]]
    lengths = short[:, 1] - short[:, 0]
    where = np.repeat(short[:, 0] - np.cumsum(lengths) + lengths, lengths) + np.arange(lengths.sum())
    filled[where] = PchipInterpolator(support, filled[support])(where)
    return filled, int(lengths.sum())


def spanned(values: Array) -> Array:
    """Fill every gap by straight lines (ends held) so that a filter may run across; shape (n,).

    For internal steps whose result at the gaps is put back to NaN. All NaN comes back as zeros.
    """
    finite = np.isfinite(values)
    if finite.all():
        return values
    if not finite.any():
        return np.zeros(len(values))
    index = np.arange(len(values))
    return np.interp(index, index[finite], values[finite])


def by_run(values: Array, function: Any) -> Array:
    """Apply an array function to each run of finite samples on its own; NaN stays where it was."""
    finite = np.isfinite(values)
    if finite.all():
        return np.asarray(function(values), dtype=np.float64)
    result = np.full(len(values), np.nan)
    for start, stop in runs(finite):
        result[start:stop] = function(values[start:stop])
    return result
