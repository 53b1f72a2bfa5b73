"""What the bench did, read from its reference alone: cycles, steps, holds and rests; taps from the response.

In: the reference (strain as a fraction) or, for taps, the response. Out: frames of spans in samples, so that everything
later indexes arrays. The reference decides; the sensor's own signal never does, so a tired sensor cannot hide a cycle.
The segmentation is ours: turning points with a dead band, standstill by a running range.
"""

from __future__ import annotations

import numpy as np
import pandas as pd
from scipy.ndimage import maximum_filter1d, minimum_filter1d, uniform_filter1d
from scipy.signal import find_peaks

from ..io.store import FloatArray
from .parameters import BenchParameters

__all__ = ["find_cycles", "find_holds", "find_taps", "moves", "turning_points"]

# A still reference stays within this share of its range, to each side; a slow sine stays within it for about a
# twelfth of a half-cycle, a hold for longer than a third of the movement before it.
_STILL_SHARE = 0.002
_HOLD_TO_MOVE = 0.35
"""Standstill as share of the time of the movement before it from which it is a hold (ours: see above)."""
_CLOSED_SHARE = 0.15
"""Share of its range by which a cycle may miss the strain at which it began (ours)."""
_DEEPEST_STEP_SHARE = 0.05
"""Change of strain, as share of the range, above which a standstill has to last that long (ours)."""
_CYCLE_COLUMNS = ("start", "peak", "stop", "strain_low", "strain_high", "run", "number")
_HOLD_COLUMNS = ("move_start", "start", "stop", "strain_from", "strain_to")


def _noise(reference: FloatArray) -> float:
    """Estimate the standard deviation of white noise from second differences, which leave out movement."""
    second = np.diff(reference[np.isfinite(reference)], 2)
    return 0.0 if second.size == 0 else float(1.4826 * np.median(np.abs(second)) / np.sqrt(6.0))


def _span(reference: FloatArray) -> float:
    finite = reference[np.isfinite(reference)]
    return float(np.ptp(finite)) if finite.size else 0.0


def moves(reference: FloatArray) -> bool:
    """Whether the reference does anything beyond its noise: its range is 20 standard deviations of it or more."""
    return _span(reference) > 20.0 * _noise(reference)


def turning_points(reference: FloatArray, dead_band: float) -> np.ndarray:
    """Find the samples at which the reference turns by more than a dead band.

    Parameters
    ----------
    reference : array, shape (n,)
        NaN is passed over.
    dead_band : float
        How far it must move back before the extreme counts.

    Returns
    -------
    array of int, shape (m,)
        Alternating lows and highs, the first and last extreme included.
    """
    index = np.flatnonzero(np.isfinite(reference))
    if index.size == 0:
        return np.empty(0, dtype=np.intp)
    # Only local extremes can turn, so that the loop below runs over few samples.
    values = reference[index]
    slope = np.sign(np.diff(values))
    moving = np.flatnonzero(slope)
    if moving.size == 0:
        return index[:1]
    change = moving[1:][slope[moving[1:]] != slope[moving[:-1]]]
    candidates = np.concatenate([[0], change, [values.size - 1]])
    turns: list[int] = []
    low = high = int(candidates[0])
    direction = 0
    for k in candidates[1:]:
        value = values[k]
        if value > values[high]:
            high = int(k)
        if value < values[low]:
            low = int(k)
        if direction >= 0 and values[high] - value > dead_band:
            turns.append(high)
            direction, low = -1, int(k)
        elif direction <= 0 and value - values[low] > dead_band:
            turns.append(low)
            direction, high = 1, int(k)
    if direction != 0:
        turns.append(high if direction > 0 else low)
    return index[np.asarray(turns, dtype=np.intp)]


def _still_band(reference: FloatArray) -> float:
    """Range of a still reference: its share of the range, and 4 standard deviations of noise to each side."""
    return 2.0 * _STILL_SHARE * _span(reference) + 8.0 * _noise(reference)


def _still(reference: FloatArray, fs: float, parameters: BenchParameters) -> list[tuple[int, int]]:
    """Spans (half open) in which the reference stands still; two levels that meet in a jump are two spans."""
    half = max(1, round(0.5 * parameters.shortest_hold_s * fs))
    high = maximum_filter1d(np.where(np.isnan(reference), np.inf, reference), 2 * half + 1, mode="nearest")
    low = minimum_filter1d(np.where(np.isnan(reference), -np.inf, reference), 2 * half + 1, mode="nearest")
    core = (high - low) <= _still_band(reference)
    edges = np.flatnonzero(np.diff(np.concatenate([[False], core, [False]]).astype(np.int8)))
    spans: list[tuple[int, int]] = []
    for a, b in zip(edges[::2], edges[1::2], strict=True):
        start, stop = max(int(a) - half, 0), min(int(b) + half, reference.size)
        if spans and start < spans[-1][1]:
            start = spans.pop()[0]
        spans.append((start, stop))
    return spans


def find_holds(reference: FloatArray, fs: float, parameters: BenchParameters | None = None) -> pd.DataFrame:
    """Find the spans in which the reference stands still, and the movement that led to each.

    Parameters
    ----------
    reference : array, shape (n,)
        Strain, fraction.
    fs : float
        Hz.
    parameters : BenchParameters, optional

    Returns
    -------
    DataFrame
        ``move_start`` (last still or turning sample before it), ``start``, ``stop`` (samples, half open),
        ``strain_from``, ``strain_to``. The first row of a recording that starts at rest has ``move_start == start``.
    """
    parameters = parameters or BenchParameters()
    span = _span(reference)
    if span == 0.0:
        return pd.DataFrame(columns=list(_HOLD_COLUMNS))
    turns = turning_points(reference, parameters.turning_fraction * span)
    rows = []
    end_of_last, last_level = 0, float("nan")
    for first, after in _still(reference, fs, parameters):
        level = float(np.nanmedian(reference[first:after]))
        inside = first + np.flatnonzero(np.abs(reference[first:after] - level) <= _still_band(reference) / 2.0)
        start, stop = int(inside[0]), int(inside[-1]) + 1
        earlier = turns[turns < start - 0.5 * parameters.shortest_hold_s * fs]
        move = max(end_of_last - 1, int(earlier[-1]) if earlier.size else 0, 0) if start else 0
        from_hold = move == end_of_last - 1
        origin = last_level if from_hold else float(reference[move]) if start else level
        end_of_last, last_level = stop, level
        moved = start - move
        if abs(level - origin) > _DEEPEST_STEP_SHARE * span and stop - start < _HOLD_TO_MOVE * moved:
            continue
        rows.append((move, start, stop, origin, level))
    return pd.DataFrame(rows, columns=list(_HOLD_COLUMNS))


def find_cycles(reference: FloatArray, fs: float, parameters: BenchParameters | None = None) -> pd.DataFrame:
    """Find the cycles: up from a low and back to about the same, without a hold in between.

    Parameters
    ----------
    reference : array, shape (n,)
        Strain, fraction.
    fs : float
        Hz.
    parameters : BenchParameters, optional

    Returns
    -------
    DataFrame
        ``start``, ``peak``, ``stop`` (samples; stop is the closing low), ``strain_low``, ``strain_high``, ``run``
        (cycles that follow each other with equal amplitude and length share one), ``number`` within the run, from 0.
    """
    parameters = parameters or BenchParameters()
    span = _span(reference)
    if span == 0.0:
        return pd.DataFrame(columns=list(_CYCLE_COLUMNS))
    turns = turning_points(reference, parameters.turning_fraction * span)
    still = np.zeros(reference.size, dtype=bool)
    for first, after in find_holds(reference, fs, parameters)[["start", "stop"]].to_numpy(dtype=int):
        still[first:after] = True
    rows: list[tuple[float, ...]] = []
    run, number = -1, 0
    for a, b, c in zip(turns[:-2], turns[1:-1], turns[2:], strict=True):
        low, high, end = reference[a], reference[b], reference[c]
        if not high > low:
            continue
        # A low that is part of a rest is narrowed to the end of the rest, a closing low to its start.
        start = int(a) + int(np.argmin(still[a:b])) if still[a:b].any() and not still[a:b].all() else int(a)
        before = np.flatnonzero(still[b:c])
        stop = int(b) + int(before[0]) if before.size and before[0] > 0 else int(c)
        inner = still[start + 1 : stop]
        if inner.any() or abs(low - end) > _CLOSED_SHARE * (high - low) or not np.isfinite(reference[start:stop]).all():
            continue
        if rows:
            last = rows[-1]
            gap = start - last[2]
            like = abs((high - low) - (last[4] - last[3])) <= 0.1 * (high - low)
            paced = abs((stop - start) - (last[2] - last[0])) <= 0.2 * (stop - start)
            number = number + 1 if gap <= 0.1 * (stop - start) and like and paced else 0
        run += number == 0
        rows.append((start, int(b), stop, float(min(low, end)), float(high), run, number))
    frame = pd.DataFrame(rows, columns=list(_CYCLE_COLUMNS))
    return frame.astype({"start": int, "peak": int, "stop": int, "run": int, "number": int})


def find_taps(response: FloatArray, fs: float) -> pd.DataFrame:
    """Find local taps: pulses of the response that stand out of its noise.

    Parameters
    ----------
    response : array, shape (n,)
        Relative resistance change; NaN is passed over.
    fs : float
        Hz.

    Returns
    -------
    DataFrame
        ``peak`` (sample) and ``amplitude`` (height above the base line before the tap).
    """
    finite = np.isfinite(response)
    if finite.sum() < 8:
        return pd.DataFrame({"peak": pd.Series(dtype=int), "amplitude": pd.Series(dtype=float)})
    filled = np.interp(np.arange(response.size), np.flatnonzero(finite), response[finite])
    width = max(1, round(0.02 * fs))
    smooth = uniform_filter1d(filled, width, mode="nearest")
    noise = _noise(filled) / np.sqrt(width)
    peaks, found = find_peaks(smooth, prominence=max(8.0 * noise, 1e-12), distance=max(1, round(0.1 * fs)))
    if peaks.size == 0:
        return pd.DataFrame({"peak": pd.Series(dtype=int), "amplitude": pd.Series(dtype=float)})
    height = found["prominences"]
    kept = height > 0.25 * np.quantile(height, 0.9)
    amplitude = [
        smooth[peak] - np.median(filled[max(0, base - width) : base + 1])
        for peak, base in zip(peaks[kept], found["left_bases"][kept], strict=True)
    ]
    return pd.DataFrame({"peak": peaks[kept].astype(int), "amplitude": np.asarray(amplitude, dtype=float)})
