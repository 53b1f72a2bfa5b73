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
from scipy.signal import find_peaks

from .activity import Activity, Array
from .typical import DIFFERENCES, RATIOS

__all__ = [
    "FEATURE_NAMES",
    "RESPONSE_MEASURES",
    "RUN_PAUSE_S",
    "SWALLOW_FEATURES",
    "SwallowFeature",
    "describe_candidates",
]

_COMMON: Final = "common practice, no source"
_OURS: Final = "ours: a person's swallows are alike, and a sensor gives all of them its own shape"


class SwallowFeature(NamedTuple):
    """One feature: name, unit (None for a ratio or count), what it is, its group, where it comes from."""

    name: str
    unit: str | None
    words: str
    group: str
    source: str


RESPONSE_MEASURES: Final = (
    SwallowFeature(
        "opposite_share", None, "Largest distance on the other side of the base line over amplitude", "shape", _COMMON
    ),
    SwallowFeature("net_area", None, "Area with sign over area without: 1 one-humped, 0 balanced", "shape", _COMMON),
    SwallowFeature("strokes", None, "Turning points with a prominence of a quarter of the amplitude", "shape", _COMMON),
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
    words = {entry.name: entry.words for entry in (*RESPONSE_MEASURES, *_MEASURED)} | {"size": "Peak activity"}
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
        "Correlation with the waveform that is typical of the recording, over its own length",
        "recording",
        "ours: a person's swallows are alike",
    ),
    SwallowFeature(
        "waveform_likeness",
        None,
        "Correlation of the slow waveform with the quarter of the recording's candidates most like it",
        "recording",
        "ours: a person's swallows are alike",
    ),
    SwallowFeature(
        "envelope_likeness", None, "The same for activity over time", "recording", "ours: a person's swallows are alike"
    ),
    *_compared(),
)

FEATURE_NAMES: Final = tuple(feature.name for feature in SWALLOW_FEATURES)

_BANDS_HZ: Final = ((0.0, 1.0), (1.0, 3.0), (3.0, 6.0), (6.0, 13.0))
_LONGEST_PAUSE_S: Final = 5.0
RUN_PAUSE_S: Final = 0.5
_SURROUNDINGS_S: Final = 2.0
_WINDOW_S: Final = 0.9
_WINDOW_POINTS: Final = 37
_REFERENCES: Final = 150


def _first_at_least(values: Array, limit: float) -> int:
    return int(np.argmax(values >= limit))


def _shape(activity: Activity, onset: int, end: int, peak: int) -> dict[str, float]:
    fs = activity.fs
    inside = slice(onset, end + 1)
    level, fine = activity.level[inside], activity.fine[inside]
    size = np.abs(level)
    amplitude = float(size.max())
    polarity = 1.0 if level[int(size.argmax())] >= 0 else -1.0
    unit = max(amplitude, np.finfo(float).tiny)
    steps = np.diff(level)
    energy = fine**2
    turns = len(find_peaks(level, prominence=0.25 * unit)[0]) + len(find_peaks(-level, prominence=0.25 * unit)[0])
    at = min(max(peak - onset, 1), len(level) - 2)
    slope = np.abs(np.diff(activity.slow[inside])) * fs / unit
    margin = int(0.2 * fs)
    before, after = max(onset - margin, 0), min(end + margin, len(activity.base) - 1)
    spectrum = np.abs(np.fft.rfft(level * np.hanning(len(level) + 2)[1:-1], 4 * int(fs))) ** 2
    frequency = np.arange(len(spectrum)) * fs / (4 * int(fs))
    kept = frequency <= _BANDS_HZ[-1][1]
    spectrum, frequency = spectrum[kept], frequency[kept]
    total = max(float(spectrum.sum()), np.finfo(float).tiny)
    shares = [float(spectrum[(frequency >= low) & (frequency < high)].sum()) / total for low, high in _BANDS_HZ]
    return {
        "size": float(fine.max()),
        "rise_time_s": (_first_at_least(size, 0.9 * amplitude) - _first_at_least(size, 0.1 * amplitude)) / fs,
        "peak_position": (peak - onset) / max(end - onset, 1),
        "centre_position": float(np.dot(energy, np.linspace(0, 1, len(energy))))
        / max(float(energy.sum()), np.finfo(float).tiny),
        "half_width": float((fine > 0.5 * fine.max()).mean()),
        "opposite_share": max(float((-polarity * level).max()), 0.0) / unit,
        "net_area": abs(float(level.sum())) / max(float(size.sum()), np.finfo(float).tiny),
        "strokes": float(turns),
        "path_length": float(np.abs(steps).sum()) / (2 * unit),
        "steepest_rise": float(slope[:at].max()),
        "steepest_fall": float(slope[at:].max()),
        "level_change": abs(float(activity.base[after] - activity.base[before])) / unit,
        "share_below_1hz": shares[0],
        "share_1_3hz": shares[1],
        "share_3_6hz": shares[2],
        "share_above_6hz": shares[3],
        "centroid_hz": float(np.dot(spectrum, frequency)) / total,
    }


def _around(activity: Activity, onset: int, end: int, left: int, right: int) -> dict[str, float]:
    coarse, reach = activity.coarse, int(_SURROUNDINGS_S * activity.fs)
    piece = coarse[left:right]
    peak = max(float(piece.max()), np.finfo(float).tiny)
    within = max(float(coarse[onset : end + 1].mean()), np.finfo(float).tiny)
    before, after = coarse[max(onset - reach, 0) : onset], coarse[end + 1 : end + 1 + reach]
    return {
        "valley_before": float(coarse[left:onset].min(initial=coarse[onset])) / peak,
        "valley_after": float(coarse[end:right].min(initial=coarse[end])) / peak,
        "activity_before": float(before.mean()) / within if len(before) else 0.0,
        "activity_after": float(after.mean()) / within if len(after) else 0.0,
        "log_significance": float(np.log(max(activity.significance[left:right].max(), 1e-9))),
    }


def _runs(frame: pd.DataFrame) -> dict[str, Array]:
    onset = frame["onset"].to_numpy()
    end = onset + frame["duration"].to_numpy()
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


def _likeness(values: Array, centres: Array, fs: float) -> Array:
    """Mean absolute correlation of each window with the quarter of the recording's windows most like it."""
    n = len(centres)
    if n < 4:
        return np.zeros(n)
    offsets = np.linspace(-_WINDOW_S, _WINDOW_S, _WINDOW_POINTS) * fs
    at = np.clip(np.rint(centres[:, None] + offsets), 0, len(values) - 1).astype(np.intp)
    windows = values[at]
    windows = windows - windows.mean(axis=1, keepdims=True)
    windows /= np.maximum(np.linalg.norm(windows, axis=1, keepdims=True), np.finfo(float).tiny)
    chosen = np.unique(np.linspace(0, n - 1, min(n, _REFERENCES)).astype(np.intp))
    alike = np.abs(windows @ windows[chosen].T)
    alike[chosen, np.arange(len(chosen))] = -1.0
    best = max((len(chosen) - 1) // 4, 1)
    likeness: Array = np.sort(alike, axis=1)[:, -best:].mean(axis=1)
    return likeness


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
        ``onset, duration, rise_time, peak_time, size`` (peak activity) and all features but those of
        `typical.compare_with_typical`.
    """
    last = len(activity.level) - 1
    rows = []
    for (start, stop, top), (left, right) in zip(edges, pieces, strict=True):
        onset = min(max(round(start), 0), last - 2)
        end = min(max(round(stop), onset + 2), last)
        peak = min(max(round(top), onset), end)
        rows.append(_shape(activity, onset, end, peak) | _around(activity, onset, end, left, right))
    frame = pd.DataFrame(rows)
    frame["onset"] = edges[:, 0] / activity.fs
    frame["duration"] = np.maximum(edges[:, 1] - edges[:, 0], 2.0) / activity.fs
    frame["peak_time"] = edges[:, 2] / activity.fs
    frame["duration_s"] = frame["duration"]
    frame["rise_time"] = frame["rise_time_s"]
    frame = frame.assign(**_runs(frame))
    centres = edges[:, :2].mean(axis=1)
    frame["waveform_likeness"] = _likeness(activity.slow, centres, activity.fs)
    frame["envelope_likeness"] = _likeness(activity.coarse, centres, activity.fs)
    return frame
