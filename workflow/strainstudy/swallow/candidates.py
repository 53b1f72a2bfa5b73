"""Activity to candidates: where a throat stream moves, cut so that one swallow is one candidate.

In: a conditioned throat stream. Out: one row per candidate with onset, duration, amplitude, rise time, area and
the features of `features.SWALLOW_FEATURES`.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any, NamedTuple

import numpy as np
import numpy.typing as npt
import pandas as pd
from scipy.ndimage import binary_opening

from .activity import Activity, Array, Single, activity_of, measure_activity
from .company import compare_with_company, likeness_in_run
from .cut import Pieces, cut_together
from .features import FEATURE_NAMES, RESPONSE_MEASURES, describe_candidates, recorded_shapes
from .generic import generic_score, gives_bursts, plausibility, sip_score
from .parameters import SwallowParameters
from .restore import leak_rate, restore
from .strokes import STROKE_MEASURES, outline_fit, stroke_measures
from .typical import company_likeness, compare_with_typical, waveforms, windows

__all__ = ["CANDIDATE_COLUMNS", "detect_together"]

CANDIDATE_COLUMNS = (
    "onset",
    "duration",
    "amplitude",
    "rise_time",
    "area",
    "score",
    "peak_time",
    "peak_to_peak",
    "polarity",
    "recorded_opposite_share",
    "recorded_strokes",
    "at_limit_fraction",
    "missing_before",
    *STROKE_MEASURES,
    "outline_fit",
    "over_rest",
    "sip_score",
    *(measure.name for measure in RESPONSE_MEASURES),
)

# Activity that never falls for longer than this belongs to one event however its edges look.
_EDGE_PAUSE_S = 0.35
# One swallow, or a double one.
_LONE_RUN = 2


class _Described(NamedTuple):
    """Candidates of one stream: what is measured on each by itself, and what they are compared by."""

    frame: pd.DataFrame
    waves: Array
    slow: Array
    envelope: Array


def _cross(fine: Array, at: int, step: int, threshold: float, aim: float) -> float:
    """Sample position where activity passes ``aim`` on an edge, walked outward from the sample ``at`` above it.

    Where noise hides the level ``aim``, the edge between ``threshold`` and twice of it is prolonged.
    """
    inside, outside = at, at + step
    if not 0 <= outside < len(fine):
        return float(at)
    rise = fine[inside] - fine[outside]
    crossing = at + step * (np.clip((fine[inside] - threshold) / rise, 0, 1) if rise > 0 else 0.0)
    if threshold <= aim:
        return float(crossing)
    position = at
    while 0 <= position - step < len(fine) and fine[position] < 2 * threshold:
        position -= step
        if abs(position - at) > 200:
            break
    steepness = abs(position - crossing) / threshold
    return float(crossing + step * steepness * (threshold - aim))


def _edges(activity: Activity, left: int, right: int, parameters: SwallowParameters) -> tuple[float, float, int]:
    """Onset, end and peak (in samples) of the event within a piece."""
    fine = activity.fine[left:right]
    peak = int(np.argmax(fine))
    aim = parameters.edge_fraction * fine[peak]
    threshold = max(aim, min(2.5 * float(activity.noise[left + peak]), 0.45 * fine[peak]))
    above = np.flatnonzero(fine > threshold)
    pauses = np.flatnonzero(np.diff(above) > _EDGE_PAUSE_S * activity.fs)
    home = int(np.searchsorted(above[pauses + 1], peak, side="right")) if len(pauses) else 0
    firsts = np.concatenate([above[:1], above[pauses + 1]])
    lasts = np.concatenate([above[pauses], above[-1:]])
    onset = _cross(fine, int(firsts[home]), -1, threshold, aim)
    end = _cross(fine, int(lasts[home]), 1, threshold, aim)
    return left + max(onset, 0.0), left + min(end, float(right - left)), left + peak


def _at_limit(throat: Array, fs: float, onset: Array, end: Array) -> Array:
    """Share of each candidate's samples that stand on the stream's largest or smallest value."""
    if not len(onset):
        return np.empty(0)
    low, high = np.nanmin(throat), np.nanmax(throat)
    margin = 1e-3 * (high - low)
    with np.errstate(invalid="ignore"):
        there = (throat >= high - margin) | (throat <= low + margin)
    # A single extreme sample is a peak, not a limit: five neighbours in a row are needed.
    held = binary_opening(there, np.ones(5, dtype=bool))
    counted = np.concatenate([np.zeros(1, dtype=np.int32), np.cumsum(held, dtype=np.int32)])
    start = np.clip((onset * fs).astype(int), 0, len(throat) - 1)
    stop = np.clip((end * fs).astype(int) + 1, 1, len(throat))
    share: Array = (counted[stop] - counted[start]) / np.maximum(stop - start, 1)
    return share


def _described(
    activity: Activity, given: Array, broad: Single, pieces: Pieces, parameters: SwallowParameters
) -> _Described:
    edges = np.array([_edges(activity, left, right, parameters) for left, right in pieces])
    onset_at, end_at = np.rint(np.clip(edges[:, :2], 0, len(activity.slow) - 1)).astype(np.intp).T
    frame = describe_candidates(activity, edges, np.array(pieces, dtype=np.intp))
    recorded = recorded_shapes(given, onset_at, end_at)
    recorded |= stroke_measures(broad, onset_at, end_at, activity.fs)
    recorded |= {"over_rest": np.array([float(activity.significance[left:right].max()) for left, right in pieces])}
    recorded |= {"outline_fit": outline_fit(activity.coarse, onset_at, end_at)}
    centres = edges[:, :2].mean(axis=1)
    return _Described(
        _beside(frame, recorded | {"area": recorded["area"] / activity.fs}),
        waveforms(activity, onset_at, end_at),
        windows(activity.slow, centres, activity.fs),
        windows(activity.coarse, centres, activity.fs),
    )


def _beside(frame: pd.DataFrame, columns: Mapping[str, npt.NDArray[Any]]) -> pd.DataFrame:
    """Put new columns beside those of a frame with a plain index, all at once: one by one takes many times as long."""
    return pd.concat([frame, pd.DataFrame(columns)], axis=1)


def _compared(parts: Sequence[_Described], parameters: SwallowParameters) -> pd.DataFrame:
    """Compare the candidates of all streams with one another, and score them."""
    frame = pd.concat([part.frame for part in parts], ignore_index=True)
    waves, plausible = np.concatenate([part.waves for part in parts]), plausibility(frame, parameters)
    stream = np.repeat(np.arange(len(parts)), [len(part.frame) for part in parts])
    typical = compare_with_typical(
        waves,
        frame,
        plausible,
        frame["run_count"].to_numpy() <= _LONE_RUN,
        stream,
    )
    likeness = {
        "waveform_likeness": company_likeness(np.concatenate([part.slow for part in parts])),
        "envelope_likeness": company_likeness(np.concatenate([part.envelope for part in parts])),
    }
    frame = _beside(frame, likeness | {"stream": stream} | typical)
    frame = _beside(frame, compare_with_company(waves, frame, plausible) | likeness_in_run(waves, frame))
    scores = {"score": generic_score(frame, parameters), "sip_score": sip_score(frame, parameters)}
    return _beside(frame, scores)


def _share_inside(spans: Array, onset: Array, end: Array) -> Array:
    """Share of each candidate that lies in the spans, which are in order and apart."""
    edges = np.concatenate([[0.0], spans.ravel()])
    counted = np.concatenate([[0.0], np.cumsum(np.diff(edges) * (np.arange(spans.size) % 2 == 1))])
    # Seconds inside spans up to a moment: flat outside them, a slope of one within.
    inside = np.interp(end, edges, counted) - np.interp(onset, edges, counted)
    share: Array = inside / np.maximum(end - onset, np.finfo(float).tiny)
    return share


def _in_stream(frame: pd.DataFrame, x: Array, fs: float, clipped: Array | None) -> pd.DataFrame:
    """Add what is read in the stream as it was given."""
    onset = frame["onset"].to_numpy()
    end = onset + frame["duration"].to_numpy()
    missing = np.concatenate([np.zeros(1, dtype=np.int32), np.cumsum(~np.isfinite(x), dtype=np.int32)])
    before = missing[np.clip((onset * fs).astype(int), 0, len(x))] / fs
    at_limit = _at_limit(x, fs, onset, end) if clipped is None else _share_inside(clipped, onset, end)
    found = _beside(frame, {"missing_before": before, "at_limit_fraction": at_limit})
    if unmeasured := [name for name in FEATURE_NAMES if name not in found]:
        raise KeyError(f"in SWALLOW_FEATURES, but nothing measures them: {', '.join(unmeasured)}")
    return found[[*CANDIDATE_COLUMNS, *FEATURE_NAMES]]


def detect_together(
    streams: Sequence[tuple[npt.NDArray[np.floating], float]],
    parameters: SwallowParameters,
    resolutions: Sequence[float] | None = None,
    clipped: Sequence[Array | None] | None = None,
) -> list[pd.DataFrame]:
    """Find everything that could be a swallow in the streams of one sensor on one throat.

    What one stream tells of the sensor (does it let go?) and of the person's swallows (what is typical?) serves all: a
    water test alone, sip upon sip, shows neither.

    Parameters
    ----------
    streams : sequence of (array of shape (n,), float)
        Conditioned streams in one unit, of any polarity, NaN in gaps; each with its rate in Hz, 20 and up (50 to
        2000 is what it was made for).
    parameters : SwallowParameters
    resolutions : sequence of float, optional
        For each stream the smallest step that it was recorded with, in its unit; 0 for unknown, infinite for a
        stream that never changes.
    clipped : sequence of (array of shape (k, 2) or None), optional
        For each stream the stretches at a rail of the converter, s from its first sample, in order; None for unknown:
        then the largest and smallest values of the stream, held, stand for rails.

    Returns
    -------
    list of DataFrame
        For each stream one row per candidate, by onset: `CANDIDATE_COLUMNS` and the features. ``onset``,
        ``duration``, ``rise_time``, ``peak_time`` in s; ``amplitude`` (largest distance from the base line) and
        ``peak_to_peak`` in the unit of the stream; ``area`` in that unit times s; ``score`` from 0 to 1 as
        `generic_score` gives it; ``polarity`` 1 or -1; ``missing_before`` seconds of the stream without data
        before the onset.

    Raises
    ------
    ValueError
        For a sampling frequency below 20 Hz.
    """
    given = [np.asarray(x, dtype=np.float64) for x, _ in streams]
    found = {k: activity_of(x, fs) for k, (x, (_, fs)) in enumerate(zip(given, streams, strict=True))}
    activities = {k: activity for k, activity in found.items() if activity is not None}
    del found
    levels = {k: activity.level for k, activity in activities.items()}
    broad = {k: activity.broad for k, activity in activities.items()}
    plain = {k: (activity.base, activity.observed, activity.fs) for k, activity in activities.items()}
    least = {k: parameters.resolution_factor * resolutions[k] if resolutions else 0.0 for k in activities}
    pieces = _cut(activities, parameters)
    seen = {k: _above_steps(levels[k], own, least[k]) for k, own in pieces.items()}
    rate = leak_rate([(activity, seen[k]) for k, activity in activities.items()])
    if rate > 0:
        restored = {k: measure_activity(restore(a, rate), a.observed, a.fs) for k, a in activities.items()}
        activities = {k: activity for k, activity in restored.items() if activity is not None}
        pieces = _cut(activities, parameters)
    pieces = {k: _above_steps(levels[k], own, least[k]) for k, own in pieces.items()}
    parts = {k: _described(activities[k], levels[k], broad[k], own, parameters) for k, own in pieces.items() if own}
    del activities
    names = [*CANDIDATE_COLUMNS, *FEATURE_NAMES]
    frames = [pd.DataFrame(np.empty((0, len(names))), columns=names) for _ in streams]
    if not parts:
        return frames
    whole = _compared(list(parts.values()), parameters)
    if gives_bursts(whole):
        parts = {}
        looks = {
            k: measure_activity(base + broad[k], seen, rate, strokes_only=True)
            for k, (base, seen, rate) in plain.items()
        }
        strokes = {k: activity for k, activity in looks.items() if activity is not None}
        for k, own in _cut(strokes, parameters).items():
            if kept := _above_steps(levels[k], own, least[k]):
                parts[k] = _described(strokes[k], levels[k], strokes[k].broad, kept, parameters)
        if not parts:
            return frames
        whole = _compared(list(parts.values()), parameters)
    ends = np.cumsum([len(part.frame) for part in parts.values()])[:-1]
    for k, rows in zip(parts, np.split(np.arange(len(whole)), ends), strict=True):
        found_there = whole.iloc[rows].reset_index(drop=True)
        frames[k] = _in_stream(found_there, given[k], streams[k][1], clipped[k] if clipped else None)
    return frames


def _above_steps(level: Array, pieces: Pieces, least: float) -> Pieces:
    """Keep the pieces in which the stream as recorded moves by at least ``least``."""
    return [(left, right) for left, right in pieces if np.ptp(level[left:right]) >= least]


def _cut(activities: Mapping[int, Activity], parameters: SwallowParameters) -> dict[int, Pieces]:
    return dict(zip(activities, cut_together(list(activities.values()), parameters), strict=True))
