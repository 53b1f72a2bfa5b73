"""Resistance to relative change and strain.

In: resistance of one recording in ohm. Out: dR/R0, with R0 given or read from the recording, and strain where a gauge
factor is known.

R0 is a scale, not a zero: what rests at zero is decided later, when slow drift is separated. So its estimate has to
be robust rather than fine, and is the level to which the recording keeps returning: the median of the drift curve
that `strainstudy.signal.drift` finds. For a knee that is the extended leg, for a throat the quiet throat, for the
bench the slack sensor.
"""

from __future__ import annotations

import math

import numpy as np
import numpy.typing as npt

from ..signal.drift import central_drift, resting_drift

__all__ = ["relative_change", "rest_level", "strain"]

Array = npt.NDArray[np.float64]

_REST_PERIOD_S = 30.0
"""Shortest period in seconds of the drift whose median is R0: R0 is a scale, so posture may move it (ours)."""


def rest_level(values: npt.ArrayLike, fs: float, *, one_sided: bool) -> float:
    """Level to which a signal returns.

    Parameters
    ----------
    values : array, shape (n,)
        NaN = no data.
    fs : float
        Hz.
    one_sided : bool
        True for a signal that makes excursions to one side (knee, bench), False for bursts both ways (throat).

    Returns
    -------
    float
        In the unit of ``values``; NaN if there is no data.
    """
    x = np.asarray(values, dtype=np.float64)
    finite = np.isfinite(x)
    if not finite.any():
        return math.nan
    find = resting_drift if one_sided else central_drift
    curve = find(x, fs, shortest_period_s=_REST_PERIOD_S).curve
    return float(np.median(curve[finite]))


def relative_change(resistance_ohm: npt.ArrayLike, rest_ohm: float) -> Array:
    """Relative resistance change dR/R0, shape as ``resistance_ohm``; NaN if R0 is not above zero."""
    ohm = np.asarray(resistance_ohm, dtype=np.float64)
    if not rest_ohm > 0:
        return np.full(ohm.shape, np.nan)
    return ohm / rest_ohm - 1


def strain(response: npt.ArrayLike, gauge_factor: float | None) -> Array:
    """Strain as a fraction, (dR/R0) / gauge factor; NaN where no gauge factor is known.

    One gauge factor is a straight line through the sensor's curve; the bench tables give it per strain interval.
    """
    change = np.asarray(response, dtype=np.float64)
    if gauge_factor is None or not math.isfinite(gauge_factor) or gauge_factor == 0:
        return np.full(change.shape, np.nan)
    return change / gauge_factor
