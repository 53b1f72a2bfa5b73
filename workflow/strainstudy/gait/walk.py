"""One recording of one or both knees, from curves to states, events and strides.

In: conditioned knee curves in any unit, NaN where there is no data, and their sampling frequency. Out: `Walk`.
The order: stride time from the rhythm of all knees, flexion direction, one swing per stride and knee, landmarks,
walks and rests, strides. Nothing in degrees, volts or percent decides anything. The method is described in
docs/method-gait.md.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from .bouts import activity, linked_spans, mask_of, runs, states_frame
from .contacts import Landmarks, find_landmarks
from .parameters import GaitParameters
from .polarity import Polarity, infer_polarity
from .prepare import ANALYSIS_RATE_HZ, KneeCurve, for_landmarks, prepare
from .rhythm import Rhythm, local_rhythm
from .strides import STRIDE_COLUMNS, Swings, stride_rows
from .swings import StrideClock, SwingFit, chain, fit_swings, stride_clock

__all__ = ["Walk", "detect_walk"]

FloatArray = NDArray[np.float64]
BoolArray = NDArray[np.bool_]

STRIDE_RATIO_LIMITS = (0.5, 1.6)
"""A stride that differs more than this from the local stride time is two strides, or a pause."""
SMALL = 0.25
"""A swing smaller than this part of the knee's usual swing is no swing."""
CLEAR = 0.9
"""Fit to the pattern plus autocorrelation at the stride time that a walk must reach."""
QUIET = 0.15
"""Movement below this part of walking is stillness."""
ALTERNATION_WEIGHT = 0.4
"""Worth of swinging in turn with the clearer knee, in units of fit."""


@dataclass(frozen=True)
class Walk:
    """What was found in one recording.

    Parameters
    ----------
    states : DataFrame
        onset, duration, trial_type (rest, gait, turn, other), steady, walk; tiles the recording. ``steady`` is
        False in the first and last strides of a walk and in turns; ``walk`` numbers the walks from 0, -1 elsewhere.
    events : DataFrame
        onset, duration (0), trial_type (initial_contact, toe_off), side, score.
    strides : DataFrame
        One row per stride, see `strides.STRIDE_COLUMNS`.
    polarity : dict of side to Polarity
        Sign of each knee and the evidence for it.
    """

    states: pd.DataFrame
    events: pd.DataFrame
    strides: pd.DataFrame
    polarity: dict[str, Polarity]


def _worth(fit: SwingFit, usual: float) -> FloatArray:
    worth: FloatArray = np.clip(fit.fit, 0.0, 1.0) * np.minimum(fit.size / (2.0 * SMALL * usual), 1.0)
    return worth


def _usual_size(fit: SwingFit) -> float:
    points, _ = chain(np.clip(fit.fit, 0.0, 1.0) * np.minimum(fit.size / (np.quantile(fit.size, 0.95) + 1e-300), 1.0))
    sizes = fit.size[points]
    return float(np.quantile(sizes, 0.75)) if sizes.size else 1.0


def _choose(
    fits: Mapping[str, tuple[SwingFit, SwingFit]], usual: Mapping[str, tuple[float, float]]
) -> tuple[dict[str, Polarity], dict[str, NDArray[np.intp]]]:
    """Signs of the knees and one swing per stride; the clearer knee helps the other."""
    medians: dict[str, tuple[float, float]] = {}
    for side, pair in fits.items():
        both = []
        for fit, size in zip(pair, usual[side], strict=True):
            at, worth = chain(_worth(fit, size))
            both.append(float((fit.fit[at] * worth).sum() / worth.sum()) if worth.size else 0.0)
        medians[side] = (both[0], both[1])
    polarity = infer_polarity(fits, medians)
    chosen = {side: (0 if polarity[side].sign > 0 else 1) for side in fits}
    scores = {side: _worth(fits[side][chosen[side]], usual[side][chosen[side]]) for side in fits}
    points = {side: chain(score)[0] for side, score in scores.items()}
    if len(points) == 2:
        first, second = sorted(points, key=lambda side: -medians[side][chosen[side]])
        lead = points[first].astype(float)
        if lead.size >= 2:
            grid = np.arange(scores[second].size)
            turn = np.interp(grid, lead, np.arange(lead.size), left=np.nan, right=np.nan)
            prior = np.nan_to_num(-np.cos(2.0 * np.pi * turn), nan=0.0)
            room = np.diff(lead)[np.clip(np.searchsorted(lead, grid, side="right") - 1, 0, lead.size - 2)]
            prior = np.where(room < 100, prior, 0.0)
            base = scores[second]
            points[second] = chain(base + ALTERNATION_WEIGHT * prior * np.minimum(base * 2.0, 1.0))[0]
    return polarity, points


def detect_walk(knees: Mapping[str, FloatArray], fs: float, parameters: GaitParameters) -> Walk:
    """Find rest, walks, contacts and strides.

    Parameters
    ----------
    knees : mapping of side to ndarray, shape (m,)
        Curves of the left and/or right knee in any unit, on one uniform grid, NaN where there is no data.
    fs : float
        Sampling frequency in Hz, 50 to 1000 (lower and higher ones work where the walk allows it).
    parameters : GaitParameters
        Settings.

    Returns
    -------
    Walk
        Times in seconds from the first sample.

    Raises
    ------
    ValueError
        When the curves differ in length or a side is neither ``left`` nor ``right``.
    """
    odd = set(knees) - {"left", "right"}
    if odd:
        raise ValueError(f"knees must be 'left' and/or 'right', not {sorted(odd)}")
    lengths = {np.asarray(x).size for x in knees.values()}
    if len(lengths) > 1:
        raise ValueError(f"both knees must have the same number of samples, not {sorted(lengths)}")
    size = lengths.pop() if lengths else 0
    prepared = {side: prepare(knees[side], fs) for side in sorted(knees)}
    curves = {side: curve for side, curve in prepared.items() if curve is not None}
    n = next(iter(curves.values())).value.size if curves else int(size / fs * ANALYSIS_RATE_HZ)
    if not curves:
        return _nothing(n)
    rhythm = local_rhythm(
        [curve.speed for curve in curves.values()], parameters.stride_time_min_s, parameters.stride_time_max_s
    )
    clock = stride_clock(rhythm)
    if clock.samples.size < 100:
        return _nothing(n)
    fits = {side: fit_swings(curve, clock) for side, curve in curves.items()}
    usual = {side: (_usual_size(pair[0]), _usual_size(pair[1])) for side, pair in fits.items()}
    polarity, points = _choose(fits, usual)
    upright = {
        side: KneeCurve(polarity[side].sign * c.value, polarity[side].sign * c.speed, c.measured)
        for side, c in curves.items()
    }
    usual_stride = float(np.median(rhythm.stride_time))
    swings = {}
    for side, curve in upright.items():
        way = 0 if polarity[side].sign > 0 else 1
        smooth = for_landmarks(curve, usual_stride)
        swings[side] = _swings(smooth, fits[side][way], usual[side][way], points[side], clock, rhythm)
    return _assemble(knees, fs, n, upright, rhythm, swings, polarity, parameters)


@dataclass(frozen=True)
class _Found:
    """Swings of one knee before walks are known, in samples of the analysis grid."""

    marks: Landmarks
    stride: FloatArray
    fit: FloatArray
    clear: FloatArray
    score: FloatArray
    sound: BoolArray


def _swings(
    curve: KneeCurve,
    fit: SwingFit,
    usual: float,
    points: NDArray[np.intp],
    clock: StrideClock,
    rhythm: Rhythm,
) -> _Found:
    part = np.minimum(fit.size[points] / usual, 1.0)
    points = points[part >= SMALL]
    near = clock.place(points.astype(float))
    grid = np.arange(rhythm.stride_time.size)
    stride = np.interp(near, grid, rhythm.stride_time)
    strength = np.interp(near, grid, rhythm.strength)
    marks = find_landmarks(curve, near, stride)
    good = np.clip(fit.fit[points], 0.0, 1.0)
    score = good * np.minimum(fit.size[points] / (2.0 * SMALL * usual), 1.0)
    gaps = np.concatenate([[0], np.cumsum(~curve.measured)])
    n = curve.value.size
    first = np.clip(np.floor(marks.toe_off), 0, n - 1).astype(int)
    last = np.clip(np.ceil(marks.contact), 0, n - 1).astype(int)
    inside = (marks.toe_off > 0) & (marks.contact < n - 1)
    sound = (gaps[last + 1] == gaps[first]) & inside
    return _Found(marks, stride, good, good + strength, score, sound)


def _nothing(n: int) -> Walk:
    states = states_frame(np.full(n, "other", dtype=object), n)
    states["steady"] = False
    states["walk"] = -1
    events = pd.DataFrame({"onset": [], "duration": [], "trial_type": [], "side": [], "score": []})
    strides = pd.DataFrame({name: [] for name in STRIDE_COLUMNS})
    return Walk(states, events, strides, {})


def _assemble(
    knees: Mapping[str, FloatArray],
    fs: float,
    n: int,
    curves: Mapping[str, KneeCurve],
    rhythm: Rhythm,
    found: Mapping[str, _Found],
    polarity: dict[str, Polarity],
    parameters: GaitParameters,
) -> Walk:
    starts, stops = [np.zeros(0)], [np.zeros(0)]
    for one in found.values():
        marks = one.marks
        first = marks.toe_off - 0.1 * one.stride * ANALYSIS_RATE_HZ
        a, b = linked_spans(marks.peak, first, marks.contact, STRIDE_RATIO_LIMITS[1] * one.stride * ANALYSIS_RATE_HZ)
        starts.append(a)
        stops.append(b)
    walking = mask_of(np.concatenate(starts), np.concatenate(stops), n)
    levels = []
    for curve in curves.values():
        moving = curve.speed[walking] if walking.any() else curve.speed
        levels.append(float(np.sqrt(np.mean(moving**2))) + np.finfo(float).tiny)
    busy = activity([curve.speed for curve in curves.values()], levels)
    quiet = busy < QUIET
    for a, b in zip(*runs(quiet), strict=True):
        if (b - a) / ANALYSIS_RATE_HZ < parameters.rest_min_s:
            quiet[a:b] = False
    walking &= ~quiet
    labels = np.full(n, "other", dtype=object)
    labels[quiet] = "rest"
    walk_number = np.full(n, -1)
    number = 0
    for a, b in zip(*runs(walking), strict=True):
        inside = [one.clear[(one.marks.peak >= a) & (one.marks.peak < b)] for one in found.values()]
        clear = np.concatenate(inside)
        if clear.size < 2 or max(part.size for part in inside) < 2 or np.median(clear) < CLEAR:
            continue
        reach = int(1.2 * rhythm.stride_time[a] * ANALYSIS_RATE_HZ)
        before = np.flatnonzero(quiet[max(a - reach, 0) : a])
        a = max(a - reach, 0) + before[-1] + 1 if before.size else a
        after = np.flatnonzero(quiet[b : b + reach])
        b = b + after[0] if after.size else b
        labels[a:b] = "gait"
        walk_number[a:b] = number
        number += 1
    seconds: dict[str, Swings] = {}
    for side, one in found.items():
        middle = np.clip(np.round(one.marks.peak), 0, n - 1).astype(int)
        seconds[side] = Swings(
            toe_off=one.marks.toe_off / ANALYSIS_RATE_HZ + parameters.toe_off_offset_s,
            peak=one.marks.peak / ANALYSIS_RATE_HZ,
            contact=one.marks.contact / ANALYSIS_RATE_HZ + parameters.contact_offset_s,
            stride_time=one.stride,
            score=one.score,
            walk=walk_number[middle].astype(np.intp),
            sound=one.sound,
            turning=np.zeros(one.stride.size, dtype=bool),
        )
    frames = []
    events = []
    for side, own in seconds.items():
        other = next((s for name, s in seconds.items() if name != side), None)
        frames.append(
            stride_rows(
                side,
                own,
                other,
                curve=polarity[side].sign * np.asarray(knees[side], dtype=float),
                fs=fs,
                ratio_limits=STRIDE_RATIO_LIMITS,
                settling=parameters.settling_strides,
            )
        )
        kept = own.sound & (own.walk >= 0)
        for kind, at in (("toe_off", own.toe_off), ("initial_contact", own.contact)):
            events.append(
                pd.DataFrame(
                    {"onset": at[kept], "duration": 0.0, "trial_type": kind, "side": side, "score": own.score[kept]}
                )
            )
    strides = pd.concat(frames, ignore_index=True).sort_values(["onset", "side"], ignore_index=True)
    event_frame = pd.concat(events, ignore_index=True).sort_values(["onset", "side"], ignore_index=True)
    steady = np.zeros(n, dtype=bool)
    if len(strides):
        flowing = strides[strides["steady"].to_numpy(bool)]
        begin = flowing["onset"].to_numpy() * ANALYSIS_RATE_HZ
        steady = mask_of(begin, begin + flowing["stride_time"].to_numpy() * ANALYSIS_RATE_HZ, n)
    code = walk_number * 2 + (steady & (labels == "gait"))
    change = np.flatnonzero((labels[1:] != labels[:-1]) | (code[1:] != code[:-1])) + 1
    start = np.concatenate([[0], change])
    stop = np.concatenate([change, [n]])
    states = pd.DataFrame(
        {
            "onset": start / ANALYSIS_RATE_HZ,
            "duration": (stop - start) / ANALYSIS_RATE_HZ,
            "trial_type": labels[start].astype(str),
            "steady": (steady & (labels == "gait"))[start],
            "walk": walk_number[start],
        }
    )
    return Walk(states, event_frame, strides, polarity)
