"""What is measured on every candidate: the measures of the tables and the features a classifier learns from.

In: activity, and onset, end and peak of each candidate. Out: a frame with one row per candidate. Features have no
unit of the stream in them: they are times, frequencies, counts and ratios, so that a model goes from one sensor
to another.
"""

from __future__ import annotations

from typing import Final, NamedTuple

import numpy as np
import numpy.typing as npt
import pandas as pd

from .activity import Activity, Array
from .strokes import turning_points
from .typical import DIFFERENCES, RATIOS

__all__ = [
    "FEATURE_NAMES",
    "RESPONSE_MEASURES",
    "RUN_PAUSE_S",
    "SWALLOW_FEATURES",
    "SwallowFeature",
    "describe_candidates",
    "recorded_shapes",
]

Indices = npt.NDArray[np.intp]
Mask = npt.NDArray[np.bool_]

_COMMON: Final = "common practice, no source"
_OURS: Final = "ours: a person's swallows are alike, and a sensor gives all of them its own shape"
_SIPS: Final = "ours: sips are like the sips beside them, words are not"


class SwallowFeature(NamedTuple):
    """One feature: name, unit (None for a ratio or count), what it is, its group, where it comes from."""

    name: str
    unit: str | None
    formula: str
    group: str
    source: str


RESPONSE_MEASURES: Final = (
    SwallowFeature(
        "opposite_share", None, "Largest distance on the other side of the base line over amplitude", "shape", _COMMON
    ),
    SwallowFeature("net_area", None, "Area with sign over area without: 1 one-humped, 0 balanced", "shape", _COMMON),
    SwallowFeature(
        "strokes",
        None,
        "Turning points, after reversals below a quarter of the amplitude are left out",
        "shape",
        _COMMON,
    ),
    SwallowFeature(
        "path_length", None, "Path of the level over twice the amplitude: 1 for one hump", "shape", "ours: arc length"
    ),
    SwallowFeature("steepest_rise", "1/s", "Largest slope before the peak over amplitude", "edges", _COMMON),
    SwallowFeature("steepest_fall", "1/s", "Largest slope after the peak over amplitude", "edges", _COMMON),
    SwallowFeature("share_below_1hz", None, "Share of the energy below 1 Hz", "spectrum", _COMMON),
    SwallowFeature("share_1_3hz", None, "Share of the energy from 1 to 3 Hz", "spectrum", _COMMON),
    SwallowFeature("share_3_6hz", None, "Share of the energy from 3 to 6 Hz", "spectrum", _COMMON),
    SwallowFeature("share_above_6hz", None, "Share of the energy above 6 Hz", "spectrum", _COMMON),
    SwallowFeature("centroid_hz", "Hz", "Centre of gravity of the spectrum", "spectrum", _COMMON),
    SwallowFeature(
        "texture",
        None,
        "Root mean square of the part from 5 to 12 Hz over peak to peak",
        "spectrum",
        "ours: a turning head glides, a swallow shakes the skin",
    ),
)

_MEASURED: Final = (
    SwallowFeature("duration_s", "s", "End minus onset", "shape", _COMMON),
    SwallowFeature(
        "rise_time_s",
        "s",
        "From the first passage of 10 % to that of 90 % of the largest distance from the base line",
        "shape",
        "reference levels of IEEE Std 181 (from memory)",
    ),
    SwallowFeature("peak_position", None, "Time to peak activity over duration", "shape", _COMMON),
    SwallowFeature("centre_position", None, "Centre of the energy over duration", "shape", _COMMON),
    SwallowFeature("half_width", None, "Share of the duration with activity above half its peak", "shape", _COMMON),
    SwallowFeature(
        "level_change",
        None,
        "Base line after minus base line before over amplitude, size",
        "edges",
        "ours: posture stays, a swallow comes back",
    ),
    SwallowFeature("valley_before", None, "Activity in the valley before over peak activity", "surroundings", _COMMON),
    SwallowFeature("valley_after", None, "Activity in the valley after over peak activity", "surroundings", _COMMON),
    SwallowFeature(
        "activity_before",
        None,
        "Mean activity in the two seconds before over that within",
        "surroundings",
        "ours: breath is held around a swallow, Martin-Harris B et al. 2005, J Speech Lang Hear Res 48 (from memory)",
    ),
    SwallowFeature(
        "activity_after", None, "Mean activity in the two seconds after over that within", "surroundings", _COMMON
    ),
    SwallowFeature("pause_before_s", "s", "From the end of the candidate before, at most 5", "surroundings", _COMMON),
    SwallowFeature("pause_after_s", "s", "To the onset of the candidate after, at most 5", "surroundings", _COMMON),
    SwallowFeature(
        "run_length_s", "s", "Length of the run of candidates with pauses below half a second", "surroundings", _COMMON
    ),
    SwallowFeature("run_count", None, "Candidates in that run", "surroundings", _COMMON),
)


def _compared() -> tuple[SwallowFeature, ...]:
    words = {entry.name: entry.formula for entry in (*RESPONSE_MEASURES, *_MEASURED)} | {"size": "Peak activity"}
    return (
        *(
            SwallowFeature(
                f"{name}_difference",
                None,
                f"{words[name]}; less the median of the typical candidates",
                "typical",
                _OURS,
            )
            for name in DIFFERENCES
        ),
        *(
            SwallowFeature(
                f"log_{name}_ratio",
                None,
                f"{words[name]}; logarithm over the median of the typical candidates",
                "typical",
                _OURS,
            )
            for name in RATIOS
        ),
    )


SWALLOW_FEATURES: Final = (
    *_MEASURED,
    SwallowFeature(
        "pattern_likeness",
        None,
        "Correlation with the waveform that is typical of the session's recordings, over its own length",
        "session",
        "ours: a person's swallows are alike",
    ),
    SwallowFeature(
        "waveform_likeness",
        None,
        "Correlation of the slow waveform with the quarter of the session's candidates most like it",
        "session",
        "ours: a person's swallows are alike",
    ),
    SwallowFeature(
        "envelope_likeness", None, "The same for activity over time", "session", "ours: a person's swallows are alike"
    ),
    *_compared(),
    SwallowFeature(
        "neighbour_unlikeness",
        None,
        "One less the correlation with the waveform of the neighbour, less than a second away, that is more like it; "
        "0 without one",
        "company",
        _SIPS,
    ),
    SwallowFeature(
        "neighbour_size_difference",
        None,
        "Distance of logarithms of peak activity from the nearer neighbour; 0 without one",
        "company",
        _SIPS,
    ),
    SwallowFeature(
        "neighbour_duration_difference",
        None,
        "Distance of logarithms of duration from the nearer neighbour; 0 without one",
        "company",
        _SIPS,
    ),
    SwallowFeature(
        "plausibility",
        None,
        "How well length, return to the base line, place of the peak and rise fit a swallow, 0 to 1",
        "company",
        "limits of the section swallow of the settings",
    ),
    SwallowFeature("run_plausibility", None, "Median of the same over the run", "company", _SIPS),
    SwallowFeature(
        "run_pattern_likeness", None, "Median correlation with the typical waveform over the run", "company", _SIPS
    ),
    SwallowFeature("run_size_spread", None, "Spread of the logarithm of peak activity in the run", "company", _SIPS),
    SwallowFeature("run_duration_spread", None, "Spread of the logarithm of duration in the run", "company", _SIPS),
    SwallowFeature("run_log_duration", None, "Median logarithm of duration in s in the run", "company", _SIPS),
    SwallowFeature(
        "run_likeness",
        None,
        "Mean correlation of the waveform, over the straight line between its ends, with the others of the run; 0 in "
        "runs of fewer than three",
        "company",
        _SIPS,
    ),
    SwallowFeature(
        "run_interval_cv",
        None,
        "Spread of the times from onset to onset in the run over their mean; 0 in runs of fewer than three",
        "company",
        "ours: sips keep time, words do not",
    ),
)

FEATURE_NAMES: Final = tuple(feature.name for feature in SWALLOW_FEATURES)

_BANDS_HZ: Final = ((0.0, 1.0), (1.0, 3.0), (3.0, 6.0), (6.0, 13.0))
"""Edges of the bands whose shares of the energy are features (ours)."""
_LONGEST_PAUSE_S: Final = 5.0
"""Longer pauses count as this long: what is that far away is no company (ours)."""
RUN_PAUSE_S: Final = 0.5
"""Movements with shorter pauses between them are one run (ours)."""
_SURROUNDINGS_S: Final = 2.0
"""Seconds on either side whose activity is compared with that within (ours)."""
_AT_ONCE: Final = 512
"""Candidates measured in one go, for memory (ours)."""


def _spectra(level: Array, length: Indices, fs: float) -> dict[str, Array]:
    """Shares of energy by band and their centre of gravity; Hann window over each row's own length."""
    n = 4 * int(fs)
    place = np.arange(level.shape[1]) + 1
    window = np.maximum(0.5 - 0.5 * np.cos(2 * np.pi * np.minimum(place / (length[:, None] + 1), 1)), 0.0)
    spectrum = np.abs(np.fft.rfft(level * window, n, axis=1)) ** 2
    frequency = np.arange(spectrum.shape[1]) * fs / n
    kept = frequency <= _BANDS_HZ[-1][1]
    spectrum, frequency = spectrum[:, kept], frequency[kept]
    total = np.maximum(spectrum.sum(axis=1), np.finfo(float).tiny)
    names = ("share_below_1hz", "share_1_3hz", "share_3_6hz", "share_above_6hz")
    return {
        name: spectrum[:, (frequency >= low) & (frequency < high)].sum(axis=1) / total
        for name, (low, high) in zip(names, _BANDS_HZ, strict=True)
    } | {"centroid_hz": spectrum @ frequency / total}


def _shapes(activity: Activity, onset: Indices, end: Indices, peak: Indices) -> dict[str, Array]:
    """Measure some candidates by themselves; each value has shape (m,)."""
    fs, tiny = activity.fs, np.finfo(float).tiny
    length = end - onset + 1
    step = np.arange(int(length.max()))
    inside = step < length[:, None]
    at = np.minimum(onset[:, None] + step, end[:, None])
    level = np.where(inside, activity.level[at], 0.0)
    fine = np.where(inside, activity.fine[at], 0.0)
    slow = activity.slow[at]
    size = np.abs(level)
    amplitude = size.max(axis=1)
    unit = np.maximum(amplitude, tiny)[:, None]
    polarity = np.where(level[np.arange(len(level)), size.argmax(axis=1)] >= 0, 1.0, -1.0)[:, None]
    energy = fine**2
    slope = np.where(inside[:, 1:], np.abs(np.diff(slow, axis=1)) * fs / unit, 0.0)
    before = np.arange(slope.shape[1]) < np.minimum(np.maximum(peak - onset, 1), length - 2)[:, None]
    margin = int(0.2 * fs)
    base_before = activity.base[np.maximum(onset - margin, 0)]
    base_after = activity.base[np.minimum(end + margin, len(activity.base) - 1)]
    first_low, first_high = ((size >= share * amplitude[:, None]).argmax(axis=1) for share in (0.1, 0.9))
    return {
        "size": fine.max(axis=1),
        "rise_time_s": (first_high - first_low) / fs,
        "peak_position": (peak - onset) / np.maximum(end - onset, 1),
        "centre_position": (energy @ step) / (length - 1) / np.maximum(energy.sum(axis=1), tiny),
        "half_width": (fine > 0.5 * fine.max(axis=1, keepdims=True)).sum(axis=1) / length,
        "opposite_share": np.maximum((-polarity * level).max(axis=1), 0.0) / unit[:, 0],
        "net_area": np.abs(level.sum(axis=1)) / np.maximum(size.sum(axis=1), tiny),
        "strokes": turning_points(level, inside, 0.25 * unit[:, 0]),
        "path_length": np.where(inside[:, 1:], np.abs(np.diff(level, axis=1)), 0.0).sum(axis=1) / (2 * unit[:, 0]),
        "steepest_rise": np.where(before, slope, 0.0).max(axis=1),
        "steepest_fall": np.where(before, 0.0, slope).max(axis=1),
        "texture": np.sqrt(np.where(inside, activity.texture[at] ** 2, 0.0).sum(axis=1) / length)
        / np.maximum(np.where(inside, level, -np.inf).max(axis=1) - np.where(inside, level, np.inf).min(axis=1), tiny),
        "level_change": np.abs(base_after - base_before) / unit[:, 0],
        **_spectra(level, length, fs),
    }


def _over(reduction: np.ufunc, values: Array, start: Indices, stop: Indices) -> Array:
    """Reduce ``values[start:stop]`` for each pair, which lie in order; an empty pair gives the value at its start."""
    places = np.minimum(np.column_stack([start, stop]).ravel(), len(values) - 1)
    reduced: Array = reduction.reduceat(values, places)[::2]
    return reduced


def _around(activity: Activity, onset: Indices, end: Indices, pieces: Indices) -> dict[str, Array]:
    coarse, reach, tiny = activity.coarse, int(_SURROUNDINGS_S * activity.fs), np.finfo(float).tiny
    left, right = pieces.T
    last = len(coarse) - 1
    first, after = np.maximum(onset - reach, 0), np.minimum(end + 1 + reach, last)
    peak = np.maximum(_over(np.maximum, coarse, left, right), tiny)
    within = np.maximum(_over(np.add, coarse, onset, end + 1) / (end + 1 - onset), tiny)
    before_count, after_count = onset - first, np.maximum(after - end - 1, 0)
    before = _over(np.add, coarse, first, onset) / np.maximum(before_count, 1)
    behind = _over(np.add, coarse, np.minimum(end + 1, last), after) / np.maximum(after_count, 1)
    return {
        "valley_before": np.minimum(_over(np.minimum, coarse, left, onset), coarse[onset]) / peak,
        "valley_after": np.minimum(_over(np.minimum, coarse, end, right), coarse[end]) / peak,
        "activity_before": np.where(before_count > 0, before / within, 0.0),
        "activity_after": np.where(after_count > 0, behind / within, 0.0),
    }


def _runs(onset: Array, end: Array) -> dict[str, Array]:
    pause = np.maximum(onset[1:] - end[:-1], 0.0)
    run = np.concatenate([[0], np.cumsum(pause > RUN_PAUSE_S)])
    first = np.concatenate([[0], np.flatnonzero(np.diff(run)) + 1])
    last = np.concatenate([first[1:] - 1, [len(run) - 1]])
    far = np.full(1, _LONGEST_PAUSE_S)
    return {
        "pause_before_s": np.minimum(np.concatenate([far, pause]), _LONGEST_PAUSE_S),
        "pause_after_s": np.minimum(np.concatenate([pause, far]), _LONGEST_PAUSE_S),
        "run_length_s": (end[last] - onset[first])[run],
        "run_count": (last - first + 1.0)[run],
    }


def recorded_shapes(level: Array, onset: Indices, end: Indices) -> dict[str, Array]:
    """Measure size and shape of candidates in the stream as it was recorded.

    Parameters
    ----------
    level : array, shape (n,)
        Stream over its base line.
    onset, end : array of int, shape (m,)
        First and last sample of each candidate.

    Returns
    -------
    dict
        ``amplitude``, ``peak_to_peak``, ``area`` (in samples), ``polarity`` (1 or -1), ``recorded_opposite_share``
        (largest distance on the other side over amplitude), ``recorded_strokes`` (turning points, as in the
        feature ``strokes``), each shape (m,).
    """
    parts = []
    for start in range(0, len(onset), _AT_ONCE):
        first, last = onset[start : start + _AT_ONCE], end[start : start + _AT_ONCE]
        step = np.arange(int((last - first).max()) + 1)
        inside = step <= (last - first)[:, None]
        part = np.where(inside, level[np.minimum(first[:, None] + step, last[:, None])], 0.0)
        size = np.abs(part)
        amplitude = size.max(axis=1)
        polarity = np.where(part[np.arange(len(part)), size.argmax(axis=1)] >= 0, 1.0, -1.0)
        unit = np.maximum(amplitude, np.finfo(float).tiny)
        highest = np.where(inside, part, -np.inf).max(axis=1)
        parts.append(
            {
                "amplitude": amplitude,
                "peak_to_peak": highest - np.where(inside, part, np.inf).min(axis=1),
                "area": size.sum(axis=1),
                "polarity": polarity,
                "recorded_opposite_share": np.maximum((-polarity[:, None] * part).max(axis=1), 0.0) / unit,
                "recorded_strokes": turning_points(part, inside, 0.25 * unit),
            }
        )
    return {name: np.concatenate([part[name] for part in parts]) for name in parts[0]}


def describe_candidates(activity: Activity, edges: Array, pieces: npt.NDArray[np.intp]) -> pd.DataFrame:
    """Measure candidates.

    Parameters
    ----------
    activity : Activity
    edges : array, shape (m, 3)
        Onset, end and peak of each candidate in samples of ``activity``, by onset; m at least 1.
    pieces : array of int, shape (m, 2)
        The valleys it lies between: first sample and one past the last.

    Returns
    -------
    DataFrame
        ``onset, duration, rise_time, peak_time, size`` (peak activity) and all features but those that compare
        candidates, which `typical` adds.
    """
    last = len(activity.level) - 1
    onset, end, peak = np.rint(edges).astype(np.intp).T
    onset = np.clip(onset, 0, last - 2)
    end = np.minimum(np.maximum(end, onset + 2), last)
    peak = np.clip(peak, onset, end)
    parts = []
    for start in range(0, len(onset), _AT_ONCE):
        some = slice(start, start + _AT_ONCE)
        parts.append(_shapes(activity, onset[some], end[some], peak[some]))
    shapes = {name: np.concatenate([part[name] for part in parts]) for name in parts[0]}
    begins, lasts = edges[:, 0] / activity.fs, np.maximum(edges[:, 1] - edges[:, 0], 2.0) / activity.fs
    return pd.DataFrame(
        shapes
        | _around(activity, onset, end, pieces)
        | {"onset": begins, "duration": lasts, "peak_time": edges[:, 2] / activity.fs, "duration_s": lasts}
        | {"rise_time": shapes["rise_time_s"]}
        | _runs(begins, begins + lasts)
    )
