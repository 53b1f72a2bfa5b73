"""Mains hum: notched where a narrow line stands above its neighbourhood, and nowhere else.

In: a uniformly sampled signal. Out: the same without the mains lines found in it. The spectrum is Welch's (Welch PD
1967, IEEE Trans Audio Electroacoust 15:70-73); the notch is a second-order one run both ways, so it shifts no
phase.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import partial

import numpy as np
import numpy.typing as npt
from scipy.signal import iirnotch, sosfiltfilt, tf2sos, welch

from .gaps import by_run, runs

__all__ = ["HumLine", "find_hum", "remove_hum"]

Array = npt.NDArray[np.float64]

_SEGMENT_S = 4.0
"""Length of a segment of the spectrum: bins of 0.25 Hz, fine enough for the search below."""
_LONGEST_STUDIED_S = 120.0
"""Part of a recording that is looked at: hum is there from start to end (ours)."""
_SEARCH_HZ = 0.6
"""Public grids keep within a few tenths of a hertz (EN 50160: 49.5 to 50.5 Hz for 99.5 % of a year)."""
_NEIGHBOURHOOD_HZ = 6.0
"""How far from a line the spectrum counts as its surroundings (ours)."""
_NOTCH_WIDTH_HZ = 1.5
"""Width of the notch at half power: wider than the line wanders, EN 50160 as above (ours)."""


@dataclass(frozen=True)
class HumLine:
    """One line: its frequency in Hz and how often its peak power exceeds the median around it."""

    frequency_hz: float
    prominence: float


def find_hum(
    values: Array, fs: float, *, mains_hz: tuple[float, ...], highest_hz: float, prominence: float
) -> list[HumLine]:
    """Look for lines at the multiples of each mains frequency.

    Parameters
    ----------
    values : array, shape (n,)
        The longest run without NaN is studied, two minutes of it at most.
    fs : float
        Hz.
    mains_hz : tuple of float
        Frequencies to look for, for example (50, 60).
    highest_hz : float
        Multiples above it are not looked at.
    prominence : float
        Peak power over the median power within 6 Hz that makes a line.

    Returns
    -------
    list of HumLine
        By frequency.
    """
    top = min(highest_hz, fs / 2 - 1.0)
    multiples = sorted({m * base for base in mains_hz for m in range(1, int(top / base) + 1)})
    if not multiples:
        return []
    stretches = runs(np.isfinite(values))
    segment = int(_SEGMENT_S * fs)
    if not len(stretches) or (lengths := stretches[:, 1] - stretches[:, 0]).max() < 2 * segment:
        return []
    start, stop = stretches[lengths.argmax()]
    part = values[start : min(stop, start + int(_LONGEST_STUDIED_S * fs))]
    frequency, power = welch(part, fs, nperseg=segment, detrend="constant")
    lines = []
    for multiple in multiples:
        near = np.flatnonzero(np.abs(frequency - multiple) <= _SEARCH_HZ)
        around = np.abs(frequency - multiple)
        neighbours = power[(around > 2 * _SEARCH_HZ) & (around <= _NEIGHBOURHOOD_HZ)]
        if not len(near) or not len(neighbours):
            continue
        peak = near[np.argmax(power[near])]
        background = float(np.median(neighbours))
        if background > 0 and power[peak] > prominence * background:
            lines.append(HumLine(float(frequency[peak]), float(power[peak] / background)))
    return lines


def _notch(values: Array, sections: npt.NDArray[np.float64], pad: int) -> Array:
    # A run shorter than the notch rings cannot be notched without making things worse.
    if len(values) <= pad:
        return values
    notched: Array = sosfiltfilt(sections, values, padlen=pad)
    return notched


def remove_hum(values: Array, fs: float, lines: list[HumLine]) -> Array:
    """Notch each line both ways, 1.5 Hz wide; NaN stays, each run on its own.

    Parameters
    ----------
    values : array, shape (n,)
    fs : float
        Hz.
    lines : list of HumLine

    Returns
    -------
    array, shape (n,)
    """
    cleaned = values
    for line in lines:
        b, a = iirnotch(line.frequency_hz, line.frequency_hz / _NOTCH_WIDTH_HZ, fs=fs)
        pad = int(fs / _NOTCH_WIDTH_HZ)
        cleaned = by_run(cleaned, partial(_notch, sections=tf2sos(b, a), pad=pad))
    return cleaned
