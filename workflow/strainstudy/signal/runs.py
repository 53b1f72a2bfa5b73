"""Runs of True in a mask. Apart from the rest so that the first stage starts without an interpolation library."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

__all__ = ["runs"]


def runs(mask: npt.NDArray[np.bool_]) -> npt.NDArray[np.intp]:
    """Find the runs of True.

    Parameters
    ----------
    mask : bool array, shape (n,)

    Returns
    -------
    array, shape (k, 2)
        Start and end (exclusive) of each run, in order.
    """
    framed = np.zeros(len(mask) + 2, dtype=bool)
    framed[1:-1] = mask
    return np.flatnonzero(framed[1:] != framed[:-1]).reshape(-1, 2)
