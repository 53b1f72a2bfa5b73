"""Find the swing wave of every stride of one knee.

In: a knee curve at the analysis rate and the local stride time. Out: one instant per stride, near the peak of
swing flexion, with how well the cycle around it looks like a knee. Time is first counted in strides, so that
one pattern fits slow and fast walking; the pattern is the published mean knee curve of Schwartz et al. 2008
(doi 10.1016/j.jbiomech.2008.03.015); of all chains of candidates the one is kept that fits pattern and rhythm
best (dynamic programming, as in beat tracking: Ellis 2007, doi 10.1080/09298210701653344).
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.signal import fftconvolve

from .prepare import ANALYSIS_RATE_HZ, KneeCurve
from .rhythm import Rhythm

__all__ = ["PATTERN_DEG", "StrideClock", "SwingFit", "chain", "fit_swings", "stride_clock"]

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.intp]

# fmt: off
PATTERN_DEG = np.array([
    5.5, 7.9, 11.0, 14.4, 17.2, 18.9, 19.7, 19.6, 18.9, 18.0, 16.9, 15.7, 14.5, 13.2, 12.0, 10.8, 9.8,
    8.8, 7.9, 7.2, 6.8, 6.7, 7.1, 8.0, 9.5, 11.6, 14.4, 18.1, 22.6, 28.0, 34.1, 40.6, 47.0, 52.5,
    56.8, 59.4, 60.5, 60.0, 58.2, 55.0, 50.8, 45.5, 39.5, 32.9, 26.0, 19.0, 12.6, 7.5, 4.5, 3.8, 5.2,
])
# fmt: on
"""Mean knee flexion at 0, 2, ... 100 % of the cycle (Schwartz, Rozumalski & Trost 2008, J Biomech 41:1639)."""

POINTS = 50
"""Points of the stride clock per stride."""
RHYTHM_WEIGHT = 2.0
"""Cost of a stride that differs from the local stride time, per squared log ratio, in units of fit."""
BREAK_COST = 0.6
"""Cost of leaving more than two strides between two swings (a rest, a gap), in units of fit."""


@dataclass(frozen=True)
class StrideClock:
    """Time counted in strides.

    Parameters
    ----------
    strides : ndarray, shape (n,)
        Strides since the start, at each sample of the analysis grid.
    samples : ndarray, shape (m,)
        Where the points of the even stride grid lie, in samples of the analysis grid.
    """

    strides: FloatArray
    samples: FloatArray

    def place(self, points: FloatArray) -> FloatArray:
        """Turn points of the stride grid into samples of the analysis grid."""
        at: FloatArray = np.interp(points, np.arange(self.samples.size), self.samples)
        return at


@dataclass(frozen=True)
class SwingFit:
    """How well each point of the stride grid suits as the middle of a swing wave.

    Parameters
    ----------
    fit : ndarray, shape (m,)
        Correlation of the cycle around the point with the pattern, -1 to 1.
    size : ndarray, shape (m,)
        Size of the pattern in the curve there, unit as given (0 where the fit is negative).
    """

    fit: FloatArray
    size: FloatArray


def stride_clock(rhythm: Rhythm) -> StrideClock:
    """Count time in strides."""
    strides = np.concatenate([[0.0], np.cumsum(1.0 / (rhythm.stride_time[:-1] * ANALYSIS_RATE_HZ))])
    points = np.arange(int(strides[-1] * POINTS) + 1) / POINTS
    return StrideClock(strides=strides, samples=np.interp(points, strides, np.arange(strides.size)))


def _pattern() -> FloatArray:
    cycle = np.interp(np.arange(POINTS) / POINTS, np.linspace(0.0, 1.0, PATTERN_DEG.size), PATTERN_DEG)
    centred = np.roll(cycle, POINTS // 2 - int(cycle.argmax()))
    shape: FloatArray = centred - centred.mean()
    return shape / np.linalg.norm(shape)


def fit_swings(curve: KneeCurve, clock: StrideClock) -> tuple[SwingFit, SwingFit]:
    """Correlate the cycle around every point with the pattern.

    Parameters
    ----------
    curve : KneeCurve
        One knee.
    clock : StrideClock
        Its stride grid.

    Returns
    -------
    upright, inverted : SwingFit
        For flexion upwards and for flexion downwards.
    """
    x = np.interp(clock.samples, np.arange(curve.value.size), curve.value)
    x = x - np.median(x)
    half = POINTS // 2
    padded = np.pad(x, (half, half), mode="edge")
    ramp = np.arange(POINTS) - (POINTS - 1) / 2.0
    ramp = ramp / np.linalg.norm(ramp)
    pattern = _pattern()
    pattern = pattern - (pattern @ ramp) * ramp
    pattern /= np.linalg.norm(pattern)
    count = x.size
    matched = fftconvolve(padded, pattern[::-1], mode="valid")[:count]
    drift = fftconvolve(padded, ramp[::-1], mode="valid")[:count]
    sums = np.cumsum(np.concatenate([[0.0], padded]))
    squares = np.cumsum(np.concatenate([[0.0], padded**2]))
    mean = (sums[POINTS:] - sums[:-POINTS])[:count] / POINTS
    energy = (squares[POINTS:] - squares[:-POINTS])[:count] - POINTS * mean**2 - drift**2
    norm = np.sqrt(np.maximum(energy, 0.0))
    floor = 1e-6 * norm.max() + np.finfo(float).tiny
    fit = np.clip(matched / np.maximum(norm, floor), -1.0, 1.0)
    reach = float(np.ptp(pattern))
    return (
        SwingFit(fit=fit, size=np.maximum(matched, 0.0) * reach),
        SwingFit(fit=-fit, size=np.maximum(-matched, 0.0) * reach),
    )


def chain(score: FloatArray, least: float = 0.15) -> tuple[IntArray, FloatArray]:
    """Choose one candidate per stride.

    Parameters
    ----------
    score : ndarray, shape (m,)
        Worth of each point of the stride grid; candidates are its local maxima of at least ``least``.
    least : float
        Smallest worth.

    Returns
    -------
    points : ndarray of int
        Chosen points of the grid in order.
    worth : ndarray
        Their scores.
    """
    inner = score[1:-1]
    peaks = 1 + np.flatnonzero((inner > score[:-2]) & (inner >= score[2:]) & (inner >= least))
    if peaks.size == 0:
        return peaks, np.zeros(0)
    place = (peaks / POINTS).tolist()
    worth = score[peaks].tolist()
    best: list[float] = []
    back: list[int] = []
    first = 0
    closed, closed_at = 0.0, -1
    for i, here in enumerate(place):
        while here - place[first] > 2.0:
            if best[first] - BREAK_COST > closed:
                closed, closed_at = best[first] - BREAK_COST, first
            first += 1
        top, at = closed, closed_at
        for j in range(first, i):
            gap = here - place[j]
            if gap < 0.4:
                break
            value = best[j] - RHYTHM_WEIGHT * math.log(gap) ** 2
            if value > top:
                top, at = value, j
        best.append(top + worth[i])
        back.append(at)
    at = int(np.argmax(best))
    path = []
    while at >= 0:
        path.append(at)
        at = back[at]
    chosen = np.array(path[::-1], dtype=np.intp)
    return peaks[chosen], score[peaks[chosen]]
