"""How the legs take turns: phase of one foot's contact in the other's stride, and the coordination index.

In: contact times, or moments of phases. Out: degrees and percent. A stride of one leg is 360 degrees; a perfectly
alternating other foot strikes at 180 (Plotnik, Giladi & Hausdorff 2007, Exp Brain Res 181:561, doi
10.1007/s00221-007-0955-7).
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

__all__ = ["EVEN_DEG", "coordination_index", "phase_deg"]

FloatArray = NDArray[np.float64]

EVEN_DEG = 180.0
"""Phase between the legs when each steps in the middle of the other's stride, degrees: half a cycle."""


def phase_deg(onset: ArrayLike, stride_time: ArrayLike, other_contact: ArrayLike) -> FloatArray:
    """Phase of the other foot's contact in a stride.

    Parameters
    ----------
    onset, stride_time : array_like
        Start and length of the stride in seconds.
    other_contact : array_like
        Contact of the other foot in seconds; NaN where there is none.

    Returns
    -------
    ndarray
        Degrees; 180 when the feet alternate evenly.

    Examples
    --------
    >>> float(phase_deg(2.0, 1.2, 2.6))
    180.0
    """
    start, length, other = (np.asarray(x, dtype=float) for x in (onset, stride_time, other_contact))
    phase: FloatArray = 360.0 * (other - start) / length
    return phase


def coordination_index(mean: ArrayLike, spread: ArrayLike, deviation: ArrayLike) -> FloatArray:
    """Phase coordination index: variability of the phase plus its deviation from even alternation.

    Coefficient of variation of the phase in percent plus mean deviation from 180 degrees as percent of 180 (Plotnik
    et al. 2007, as above; the scaling by 180 from memory). 0 is perfect alternation.

    Parameters
    ----------
    mean, spread : array_like
        Mean and standard deviation (n - 1) of the phase, degrees.
    deviation : array_like
        Mean size of the deviation of the phase from 180 degrees.

    Returns
    -------
    ndarray
        Percent.
    """
    variability = 100.0 * np.asarray(spread, dtype=float) / np.asarray(mean, dtype=float)
    index: FloatArray = variability + 100.0 * np.asarray(deviation, dtype=float) / EVEN_DEG
    return index
