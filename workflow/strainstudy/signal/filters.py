"""Zero-phase Butterworth low-pass with the cutoff that was asked for, and the cutoff that the residuals suggest.

In: a uniformly sampled signal. Out: the same, filtered forwards and backwards. Two passes lower the frequency at
which the power halves; the correction is applied to tan(pi fc / fs), not to fc (Winter DA, *Biomechanics and
Motor Control of Human Movement*, 4th ed., p. 69; Robertson et al., *Research Methods in Biomechanics*, 2nd ed.,
p. 288). The choice by residual analysis follows Winter, same book.
"""

from __future__ import annotations

from functools import lru_cache, partial

import numpy as np
import numpy.typing as npt
from scipy.signal import butter, sosfiltfilt

from .gaps import by_run, runs

__all__ = ["corrected_cutoff", "frequency_at_gain", "lowpass", "residual_cutoff"]

Array = npt.NDArray[np.float64]

_LONGEST_STUDIED = 60_000
"""Samples looked at by the residual analysis; more change the curve no further."""
_CANDIDATES_HZ = np.concatenate([np.arange(1.0, 15.1, 0.5), np.arange(16.0, 51.0, 2.0)])
"""Cutoffs tried, Hz: in steps of 0.5 where movement ends, coarser above (ours)."""


def corrected_cutoff(cutoff_hz: float, fs: float, *, order: int = 2, passes: int = 2) -> float:
    """Cutoff of one pass so that all passes together have gain 1/sqrt(2) at ``cutoff_hz``.

    Parameters
    ----------
    cutoff_hz : float
        Wanted cutoff, below ``fs / 2``.
    fs : float
        Sampling frequency, Hz.
    order : int
        Order of one pass.
    passes : int

    Returns
    -------
    float
        Hz.
    """
    factor = (2 ** (1 / passes) - 1) ** (1 / (2 * order))
    return float(fs / np.pi * np.arctan(np.tan(np.pi * cutoff_hz / fs) / factor))


def frequency_at_gain(gain: float, cutoff_hz: float, fs: float, *, order: int = 2) -> float:
    """Frequency in Hz at which `lowpass` has this gain (0 to 1): Butterworth's power response, both passes."""
    pass_cutoff = corrected_cutoff(cutoff_hz, fs, order=order)
    ratio = (1 / gain - 1) ** (1 / (2 * order))
    return float(fs / np.pi * np.arctan(ratio * np.tan(np.pi * pass_cutoff / fs)))


@lru_cache(maxsize=64)
def _sections(cutoff_hz: float, fs: float, order: int) -> npt.NDArray[np.float64]:
    sections: npt.NDArray[np.float64] = butter(order, corrected_cutoff(cutoff_hz, fs, order=order), fs=fs, output="sos")
    return sections


def _both_ways(values: Array, sections: npt.NDArray[np.float64], pad: int) -> Array:
    if len(values) < 2:
        return values
    filtered: Array = sosfiltfilt(sections, values, padlen=min(pad, len(values) - 1))
    return filtered


def lowpass(values: Array, fs: float, cutoff_hz: float, *, order: int = 2) -> Array:
    """Low-pass without phase shift; NaN stays and is never smeared over its neighbours.

    Each run of samples between gaps is filtered on its own, its ends continued by point reflection over two
    periods of the cutoff.

    Parameters
    ----------
    values : array, shape (n,)
    fs : float
        Hz.
    cutoff_hz : float
        Frequency at which both passes together halve the power; must lie below ``fs / 2``.
    order : int
        Of one pass.

    Returns
    -------
    array, shape (n,)
    """
    if not 0 < cutoff_hz < fs / 2:
        raise ValueError(f"cutoff {cutoff_hz:g} Hz must lie between 0 and half the sampling rate {fs:g} Hz")
    pad = int(np.ceil(2 * fs / cutoff_hz))
    return by_run(values, partial(_both_ways, sections=_sections(cutoff_hz, fs, order), pad=pad))


def residual_cutoff(values: Array, fs: float, *, order: int = 2) -> float:
    """Cutoff by residual analysis: where the residual equals the noise that a straight line foretells.

    The residual (root mean square of raw minus filtered) falls with the cutoff; at high cutoffs it is noise and
    falls along a straight line, whose intercept at 0 Hz is the noise of the whole band.

    Parameters
    ----------
    values : array, shape (n,)
        The longest run without NaN is used, its middle 60 000 samples at most.
    fs : float
        Hz.
    order : int
        Of one pass.

    Returns
    -------
    float
        Hz, between 1 and 50 or 0.4 ``fs``; NaN if no run is longer than a second.
    """
    stretches = runs(np.isfinite(values))
    lengths = stretches[:, 1] - stretches[:, 0]
    if not len(stretches) or lengths.max() < fs:
        return float("nan")
    start, stop = stretches[lengths.argmax()]
    middle = (start + stop) // 2
    part = values[max(start, middle - _LONGEST_STUDIED // 2) : min(stop, middle + _LONGEST_STUDIED // 2)]
    candidates = _CANDIDATES_HZ[0.4 * fs >= _CANDIDATES_HZ]
    if len(candidates) < 4:
        return float(candidates[-1]) if len(candidates) else float("nan")
    residual = np.array([np.sqrt(np.mean((part - lowpass(part, fs, c, order=order)) ** 2)) for c in candidates])
    # The line is fitted to the longest straight tail: the share of the highest cutoffs with the best fit.
    tails = range(4, max(5, len(candidates) // 2 + 1))
    fits = [np.polynomial.Polynomial.fit(candidates[-k:], residual[-k:], 1) for k in tails]
    straight = [
        np.corrcoef(candidates[-k:], residual[-k:])[0, 1] ** 2 if np.ptp(residual[-k:]) > 0 else 1.0 for k in tails
    ]
    intercept = float(fits[int(np.argmax(straight))](0.0))
    return float(np.interp(-intercept, -residual, candidates))
