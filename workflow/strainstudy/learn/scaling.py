"""Features in units of what is normal, and how far from normal the two sides differ.

In: features of the reference class of the training people. Out: `Scaling`, which makes of features what a model sees.
A feature comes out in units of its spread (median and median absolute deviation, Hampel 1974), growing like a
logarithm beyond it: a severe case would otherwise stretch the scale until a mild one looks like none, and one
feature far out would outvote all others. Beside these stands, for each group, how far its differences between
the sides are from normal, and the largest of these: sides differ in one way or another, and one way is enough.
"""

from __future__ import annotations

import warnings
from dataclasses import dataclass
from typing import Self

import numpy as np
from numpy.typing import NDArray

__all__ = ["Scaling"]

FloatArray = NDArray[np.float64]

MAD_TO_SD = 1.482602218505602
"""Standard deviation over median absolute deviation of normal values, 1 / Phi^-1(3/4) (Hampel 1974)."""


@dataclass(frozen=True)
class Scaling:
    """Centre and spread of every feature, and which features compare the sides.

    Parameters
    ----------
    centre, scale : array, shape (p,)
        Median and spread.
    sides : tuple of tuple of int
        Places of the features that compare the sides, by group; empty for a task without sides.
    """

    centre: FloatArray
    scale: FloatArray
    sides: tuple[tuple[int, ...], ...]

    @classmethod
    def of(cls, x: FloatArray, sides: tuple[tuple[int, ...], ...]) -> Self:
        """Measure centre and spread of rows of shape (n, p).

        Where the median absolute deviation is 0 the standard deviation stands in for it, where that is 0 too, 1.
        """
        with warnings.catch_warnings():
            warnings.simplefilter("ignore", RuntimeWarning)  # columns without a value come out as NaN
            centre = np.nanmedian(x, axis=0)
            usual = MAD_TO_SD * np.nanmedian(np.abs(x - centre), axis=0)
            deviation = np.nanstd(x, axis=0)
        scale = np.where(usual > 0, usual, deviation)
        return cls(np.nan_to_num(centre, nan=0.0), np.where(scale > 0, scale, 1.0), sides)

    def __call__(self, x: FloatArray) -> FloatArray:
        """Make what a model sees of features of shape (n, p).

        Returns
        -------
        array, shape (n, p) or (n, p + number of groups + 1)
            Scaled features (NaN stays); the root mean square of each group's differences; the largest of these.
        """
        z = np.asarray(np.arcsinh((x - self.centre) / self.scale))
        if not self.sides:
            return z
        there = np.isfinite(z)
        square = np.where(there, z, 0.0) ** 2
        far = [
            np.sqrt(square[:, list(at)].sum(axis=1) / np.maximum(there[:, list(at)].sum(axis=1), 1))
            for at in self.sides
        ]
        return np.column_stack([z, *far, np.max(far, axis=0)])
