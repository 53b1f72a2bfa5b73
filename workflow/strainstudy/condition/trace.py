"""One trace through the whole chain: spikes, short gaps, hum, noise, drift.

In: the response of one channel. Out: the filtered response resting at zero, its drift beside it, and how much was
touched. The order matters: a spike would ring in every filter, a bridged gap lets filters run through, and
drift is read from what the filters left.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from ..signal.drift import Drift, End, central_drift, resting_drift
from ..signal.filters import frequency_at_gain, lowpass, residual_cutoff
from ..signal.gaps import bridge_gaps
from ..signal.hampel import find_spikes
from ..signal.hum import find_hum, remove_hum
from ..vocabulary import BENCH_POINTS, SIDE_OF_POINT
from .parameters import ConditionParameters

__all__ = ["Conditioned", "condition_trace", "rest_towards"]

Array = npt.NDArray[np.float64]

_NO_NEED_TO_NOTCH = 1e-3
"""Where the low-pass leaves less than a thousandth of a line, a notch would change nothing that can be seen."""
_HIGHEST_CUTOFF_SHARE = 0.45
"""Highest cutoff as share of the sampling rate: half of it is Nyquist's limit, where no filter can be made (ours)."""


@dataclass(frozen=True)
class Conditioned:
    """A trace after conditioning.

    Parameters
    ----------
    response : array, shape (n,)
        Filtered, at rest about 0 (degrees keep their own zero, bench traces theirs); NaN in gaps.
    drift : array, shape (n,)
        What was taken off; ``response + drift`` is the filtered trace. NaN in gaps.
    end : {1, -1, 0}
        Excursions were taken to go up, down, or both ways: 1 for a knee sensor whose response grows with flexion.
    cutoff_hz : float
        Low-pass cutoff; NaN if none was applied.
    spikes, bridged : int
        Samples taken for spikes; samples filled in short gaps (spikes among them).
    hum_hz : tuple of float
        Lines that were notched.
    notes : tuple of str
        In words for the report.
    """

    response: Array
    drift: Array
    end: int
    cutoff_hz: float
    spikes: int
    bridged: int
    hum_hz: tuple[float, ...]
    notes: tuple[str, ...]


def _cutoff(values: Array, fs: float, point: str, parameters: ConditionParameters) -> tuple[float, str | None]:
    if parameters.cutoff == "residual":
        wanted = residual_cutoff(values, fs)
        if math.isnan(wanted):
            return wanted, "no low-pass: no second of signal without a gap to choose a cutoff from"
    elif point in SIDE_OF_POINT:
        wanted = parameters.knee_lowpass_hz
    elif point in BENCH_POINTS:
        wanted = parameters.bench_lowpass_hz
    else:
        wanted = parameters.throat_lowpass_hz
    if wanted >= _HIGHEST_CUTOFF_SHARE * fs:
        return math.nan, f"no low-pass: {fs:g} Hz sampling leaves nothing above {wanted:g} Hz"
    return wanted, None


def _drift(values: Array, fs: float, point: str, units: str, period: float) -> Drift:
    n = len(values)
    if units == "deg" or point in BENCH_POINTS:
        return Drift(np.zeros(n), 1, 0.0)
    if point in SIDE_OF_POINT:
        return resting_drift(values, fs, shortest_period_s=period)
    return central_drift(values, fs, shortest_period_s=period)


def condition_trace(
    values: npt.ArrayLike,
    fs: float,
    *,
    tracked_point: str,
    units: str,
    parameters: ConditionParameters,
) -> Conditioned:
    """Clean one trace.

    Parameters
    ----------
    values : array, shape (n,)
        Response; NaN = no data.
    fs : float
        Hz.
    tracked_point : str
        Decides the cutoff and the kind of drift; a ``:reference`` behind it is passed over.
    units : str
        Of the raw channel: degrees have no sensor drift, so theirs is 0.
    parameters : ConditionParameters

    Returns
    -------
    Conditioned
    """
    point = tracked_point.split(":")[0]
    x = np.array(values, dtype=np.float64)
    missing_before = np.isnan(x)
    notes = []
    spikes = find_spikes(x, longest=max(1, int(parameters.spike_longest_s * fs)), threshold=parameters.spike_threshold)
    x[spikes] = np.nan
    x, bridged = bridge_gaps(x, int(parameters.gap_bridge_s * fs))
    cutoff, reason = _cutoff(x, fs, point, parameters)
    if reason is not None:
        notes.append(reason)
    highest = fs / 2 if math.isnan(cutoff) else frequency_at_gain(_NO_NEED_TO_NOTCH, cutoff, fs)
    lines = find_hum(x, fs, mains_hz=parameters.mains_hz, highest_hz=highest, prominence=parameters.hum_prominence)
    x = remove_hum(x, fs, lines)
    if not math.isnan(cutoff):
        x = lowpass(x, fs, cutoff)
    drift = _drift(x, fs, point, units, parameters.drift_shortest_period_s)
    curve = drift.curve
    gaps = np.isnan(x)
    if gaps.any():
        curve = np.where(gaps, np.nan, curve)
    still_missing = int(np.count_nonzero(gaps & ~missing_before))
    if still_missing:
        notes.append(f"{still_missing} samples beside gaps or at the ends were spikes and are left out")
    return Conditioned(
        response=x - curve,
        drift=curve,
        end=drift.end,
        cutoff_hz=cutoff,
        spikes=int(np.count_nonzero(spikes)),
        bridged=bridged,
        hum_hz=tuple(line.frequency_hz for line in lines),
        notes=tuple(notes),
    )


def rest_towards(
    response: Array, drift: Array, fs: float, *, end: End, shortest_period_s: float
) -> tuple[Array, Array]:
    """Take the drift off a knee's trace anew, for excursions to a side that holds or a reference tell.

    Parameters
    ----------
    response, drift : array, shape (n,)
        As `condition_trace` gives them.
    fs : float
        Hz.
    end : {1, -1}
        Side of the excursions.
    shortest_period_s : float
        As ``condition.drift_shortest_period_s``.

    Returns
    -------
    response, drift : array, shape (n,)
    """
    filtered = response + drift
    curve = resting_drift(filtered, fs, shortest_period_s=shortest_period_s, end=end).curve
    return filtered - curve, np.where(np.isnan(filtered), np.nan, curve)
