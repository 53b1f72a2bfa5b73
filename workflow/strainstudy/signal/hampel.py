"""Spikes: samples that no neighbour supports.

In: a uniformly sampled signal. Out: which samples are spikes, by the Hampel identifier (Hampel FR 1974, J Am Stat
Assoc 69:383-393; Davies L, Gather U 1993, J Am Stat Assoc 88:782-792): a sample further than three scaled median
absolute deviations from the median of its window.

On a steep slope every window is spread wide, and spikes would hide in it; so the window's own slope, between the
medians of its halves, is taken off first.

Two guards keep it off real peaks. The deviation must exceed the signal's own noise or converter step, since in
a window of quantised rest the median absolute deviation is zero. And the sample must stand out from both neighbours at
the distance of the longest spike, which a peak of the movement, being wider, does not. The second guard also
leaves few windows to sort, so that the rule is exact and fast.
"""

from __future__ import annotations

from typing import Final

import numpy as np
import numpy.typing as npt

from .gaps import spanned

__all__ = ["MAD_TO_SD", "find_spikes", "noise_level"]

Array = npt.NDArray[np.float64]

MAD_TO_SD: Final = 1.482602218505602
"""1 / normal quantile at 0.75: median absolute deviation to standard deviation of a normal distribution."""

_SAMPLES_FOR_NOISE = 100_000
"""Samples that the noise is estimated from: more change it by less than a per cent."""
_WINDOWS_AT_ONCE = 4096
"""Windows worked on together, so that memory does not grow with the recording."""
_FEWEST_AROUND = 3
"""Half a window is never less: the median absolute deviation of fewer than seven samples says nothing."""


def noise_level(values: Array) -> float:
    """Estimate the standard deviation of sample-to-sample noise from second differences.

    Second differences of white noise have six times its variance; the median is not moved by spikes, and slow
    movement hardly enters. At least half the converter step (smallest difference between neighbours), so that the
    flicker of the last bit is noise.

    Parameters
    ----------
    values : array, shape (n,)
        NaN is passed over.

    Returns
    -------
    float
        In the unit of ``values``; 0 for a constant or fewer than three samples.
    """
    stride = max(1, len(values) // _SAMPLES_FOR_NOISE)
    second = np.abs(values[2::stride] - 2 * values[1:-1:stride] + values[:-2:stride])
    second = second[np.isfinite(second)]
    if not len(second):
        return 0.0
    noise = MAD_TO_SD * float(np.median(second)) / np.sqrt(6)
    step = np.abs(values[1::stride] - values[:-1:stride])
    step = step[step > 0]
    quantum = float(step.min()) if len(step) else 0.0
    return float(max(noise, quantum / 2))


def _row_medians(rows: Array) -> Array:
    """Median of each row of finite numbers; `numpy.median` looks for NaN as well, which costs more than the sorting."""
    half = rows.shape[1] // 2
    if rows.shape[1] % 2:
        middle: Array = np.partition(rows, half, axis=1)[:, half]
        return middle
    between: Array = np.partition(rows, (half - 1, half), axis=1)[:, half - 1 : half + 1].mean(axis=1)
    return between


def _deviation(windows: Array, centres: Array, reach: int) -> tuple[Array, Array]:
    """Distance of each centre from the median of its window without slope, and the scaled spread of that window."""
    offsets = np.arange(-reach, reach + 1)
    rise = _row_medians(windows[:, reach + 1 :]) - _row_medians(windows[:, :reach])
    windows -= (rise / (reach + 1))[:, None] * offsets
    middle = _row_medians(windows)
    return np.abs(centres - middle), MAD_TO_SD * _row_medians(np.abs(windows - middle[:, None]))


def find_spikes(values: npt.ArrayLike, *, longest: int, threshold: float = 3.0) -> npt.NDArray[np.bool_]:
    """Mark samples that the Hampel identifier rejects.

    Parameters
    ----------
    values : array, shape (n,)
        NaN = no data; never marked.
    longest : int
        Longest spike in samples.
    threshold : float
        Scaled median absolute deviations.

    Returns
    -------
    bool array, shape (n,)
    """
    x = np.asarray(values, dtype=np.float64)
    n = len(x)
    spikes = np.zeros(n, dtype=bool)
    reach = max(longest + 1, _FEWEST_AROUND)
    if n < 2 * reach + 1:
        return spikes
    filled = spanned(x)
    floor = threshold * noise_level(x)
    before, here, after = filled[: -2 * reach], filled[reach:-reach], filled[2 * reach :]
    # Distance from the span between the two neighbours beyond the longest spike: zero on any slope.
    stands_out = np.maximum(here - np.maximum(before, after), np.minimum(before, after) - here)
    candidates = np.flatnonzero(stands_out > floor) + reach
    candidates = candidates[np.isfinite(x[candidates])]
    if not len(candidates):
        return spikes
    views = np.lib.stride_tricks.sliding_window_view(filled, 2 * reach + 1)
    # A few thousand windows at a time stay in the processor's cache.
    for first in range(0, len(candidates), _WINDOWS_AT_ONCE):
        chosen = candidates[first : first + _WINDOWS_AT_ONCE]
        deviation, spread = _deviation(views[chosen - reach], filled[chosen], reach)
        spikes[chosen[deviation > np.maximum(threshold * spread, floor)]] = True
    return spikes
