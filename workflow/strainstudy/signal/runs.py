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
    edges = np.flatnonzero(np.diff(np.concatenate([[False], mask, [False]]).astype(np.int8)))
    return edges.reshape(-1, 2)
