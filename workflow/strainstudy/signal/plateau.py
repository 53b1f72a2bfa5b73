"""Where a signal stands still: the plateau inside a stretch of it.

In: a stretch of signal and how far it may stray. Out: the longest run that stays within that of the level at which the
stretch spends most time. Scale comes from the caller; nothing here has a unit.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from .gaps import runs

__all__ = ["Plateau", "find_plateau"]

Array = npt.NDArray[np.float64]

_EDGE_SHARE = 0.2
"""Part of a plateau at either end that its creep is read from: a fifth (ours)."""


@dataclass(frozen=True)
class Plateau:
    """A plateau: samples ``start`` to ``stop`` (exclusive), its level, and its change from first to last fifth."""

    start: int
    stop: int
    level: float
    creep: float


def find_plateau(values: npt.ArrayLike, tolerance: float, *, shortest: int, first: int | None = None) -> Plateau | None:
    """Find the longest run near the level where the stretch spends most of its time.

    Parameters
    ----------
    values : array, shape (n,)
        The stretch; NaN = no data.
    tolerance : float
        Largest distance from the level, in the unit of ``values``.
    shortest : int
        Fewest samples of a plateau.
    first : int, optional
        Take the level (median) over this many first samples of the plateau only; all of it if not given.

    Returns
    -------
    Plateau or None
        None if no run is long enough.
    """
    x = np.asarray(values, dtype=np.float64)
    ordered = np.sort(x[np.isfinite(x)])
    if len(ordered) < max(shortest, 1):
        return None
    # The band of width 2 * tolerance that holds most samples.
    above = np.searchsorted(ordered, ordered + 2 * tolerance, side="right")
    best = int(np.argmax(above - np.arange(len(ordered))))
    band = ordered[best : above[best]]
    # Of what is in order already the median is in the middle.
    centre = float((band[(len(band) - 1) // 2] + band[len(band) // 2]) / 2)
    near = runs(np.abs(x - centre) <= tolerance)
    if not len(near):
        return None
    start, stop = (int(v) for v in near[np.argmax(near[:, 1] - near[:, 0])])
    if stop - start < shortest:
        return None
    inside = x[start:stop]
    edge = max(1, int(_EDGE_SHARE * len(inside)))
    creep = float(np.median(inside[-edge:]) - np.median(inside[:edge]))
    return Plateau(start, stop, float(np.median(inside if first is None else inside[:first])), creep)
