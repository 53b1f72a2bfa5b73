"""Bring a knee curve of any unit and rate to the rate that detection works at.

In: one curve on a uniform grid with NaN where there is no data. Out: the same curve, gaps bridged, at 100 Hz,
low-passed, with its rate of change and a mask of what was measured. Zero-phase Butterworth low-pass with the
cutoff corrected for two passes (Winter, Biomechanics and Motor Control of Human Movement, 4th ed., p. 69).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.interpolate import CubicSpline

from ..signal.filters import lowpass
from ..signal.play import branch

__all__ = ["ANALYSIS_RATE_HZ", "KneeCurve", "for_landmarks", "prepare"]

FloatArray = NDArray[np.float64]
BoolArray = NDArray[np.bool_]

ANALYSIS_RATE_HZ = 100.0
"""Rate at which gait is detected: far above `CUTOFF_HZ` (ours)."""
CUTOFF_HZ = 6.0
"""Usual cutoff for the kinematics of walking (Winter, as above; from memory)."""
HARMONICS = 5.0
"""Landmarks are read from this many harmonics of the stride: seven hold 99.7 % of the power of lower-limb movement
(Winter, Sidwall & Hobson 1974, J Biomech 7:157; from memory), and the last two are mostly noise in a strain sensor."""
CUTOFF_LIMITS_HZ = (3.0, CUTOFF_HZ)
"""Lowest and highest cutoff (the lowest ours: strides of 1.7 s and longer would ask for less)."""
SPIKE_RANGES = 1.0
"""A value outside the bulk of the data by this many times its range is cut off there, so
that no spike outweighs a walk."""


@dataclass(frozen=True)
class KneeCurve:
    """One knee at the analysis rate.

    Parameters
    ----------
    value : ndarray, shape (n,)
        Low-passed curve, unit as given, gaps bridged by straight lines.
    speed : ndarray, shape (n,)
        Its rate of change per second.
    measured : ndarray of bool, shape (n,)
        False where there was no data.
    """

    value: FloatArray
    speed: FloatArray
    measured: BoolArray

    def turned(self, sign: int) -> KneeCurve:
        """Return the curve as it is (1) or upside down (-1)."""
        return KneeCurve(sign * self.value, sign * self.speed, self.measured)


def prepare(knee: FloatArray, fs: float) -> KneeCurve | None:
    """Resample and smooth one knee curve.

    Parameters
    ----------
    knee : ndarray, shape (m,)
        Curve in any unit, NaN where there is no data.
    fs : float
        Sampling frequency in Hz.

    Returns
    -------
    KneeCurve or None
        None when less than two seconds of data are there or the curve does not move.
    """
    x = np.asarray(knee, dtype=float)
    finite = np.isfinite(x)
    if finite.sum() < 2.0 * fs or np.ptp(x[finite]) == 0.0:
        return None
    if not finite.all():
        at = np.flatnonzero(finite)
        x = np.interp(np.arange(x.size), at, x[at])
    low, high = np.quantile(x[finite], [0.005, 0.995])
    if high > low:
        x = np.clip(x, low - SPIKE_RANGES * (high - low), high + SPIKE_RANGES * (high - low))
    smooth = lowpass(x, fs, CUTOFF_HZ) if fs > 2.5 * CUTOFF_HZ else x
    n = int(np.floor((x.size - 1) / fs * ANALYSIS_RATE_HZ + 1e-9)) + 1
    step = round(fs / ANALYSIS_RATE_HZ)
    if fs == step * ANALYSIS_RATE_HZ:
        # what is left below the cutoff needs no new values between the samples
        value, measured = smooth[::step].copy(), finite[::step].copy()
        if step > 1:
            missing = np.concatenate([[0], np.cumsum(~finite)])
            edges = np.minimum(np.arange(n + 1) * step, x.size)
            measured &= missing[edges[1:]] == missing[edges[:-1]]
    else:
        place = np.arange(n) * fs / ANALYSIS_RATE_HZ
        value = CubicSpline(np.arange(x.size), smooth)(np.minimum(place, x.size - 1.0))
        measured = finite[np.floor(place).astype(int)] & finite[np.minimum(np.ceil(place).astype(int), x.size - 1)]
    return KneeCurve(value=value, speed=np.gradient(value) * ANALYSIS_RATE_HZ, measured=measured)


def for_landmarks(
    curve: KneeCurve, stride_time: float, lag: float = 0.0, loop: Sequence[tuple[float, float]] = ()
) -> KneeCurve:
    """Smooth a curve as far as its strides allow, and undo the sensor's lag and hysteresis.

    Parameters
    ----------
    curve : KneeCurve
        From `prepare`.
    stride_time : float
        Usual stride time in seconds.
    lag : float
        Time constant of the sensor's answer in seconds; a first-order answer is undone exactly by adding the lag
        times the rate of change.
    loop : sequence of (half width, radius)
        Play operators of its hysteresis, in the unit of the curve; the lag came after it and is undone before.

    Returns
    -------
    KneeCurve
    """
    cutoff = float(np.clip(HARMONICS / stride_time, *CUTOFF_LIMITS_HZ))
    answered = curve.value + lag * curve.speed
    answered = answered + sum(width * branch(answered, radius) for width, radius in loop)
    value = lowpass(answered, ANALYSIS_RATE_HZ, cutoff)
    return KneeCurve(value=value, speed=np.gradient(value) * ANALYSIS_RATE_HZ, measured=curve.measured)
