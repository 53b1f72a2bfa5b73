"""One recording of one or both knees, from curves to states, events and strides.

In: conditioned knee curves in any unit, NaN where there is no data, and their sampling frequency. Out: `Walk`.
The order: stride time from the rhythm of all knees, flexion direction, one swing per stride and knee, landmarks,
walks and rests, turns, strides. Nothing in degrees, volts or percent decides anything. The method is described in
docs/method-gait.md.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from ..signal.runs import runs
from ..vocabulary import SIDES, UNOBSERVED_S
from .bouts import Span, find_walks, moving, reach_edges
from .choice import Chosen, choose_swings
from .contacts import find_landmarks, half_widths, loading_waves
from .parameters import GaitParameters
from .polarity import Polarity
from .prepare import ANALYSIS_RATE_HZ, KneeCurve, for_landmarks, prepare
from .rhythm import local_rhythm
from .strides import STRIDE_COLUMNS, Swings, stride_rows
from .swings import StrideClock, fit_swings, stride_clock
from .turns import turning

__all__ = ["Walk", "detect_walk"]

FloatArray = NDArray[np.float64]
BoolArray = NDArray[np.bool_]
IntArray = NDArray[np.intp]

STRIDE_RATIO_LIMITS = (0.5, 1.6)
"""A stride that differs more than this from the local stride time is two strides, or a pause."""
TURNED = 0.25
"""A turn ends this part of a stride after the contact before its last swing: the other foot has left the ground."""
TURN_GAP_S = 1.6
"""Between two turning strides of one knee lies at most this."""
STATE_NAMES = ("other", "rest", "gait", "turn")
STATE_COLUMNS = ("onset", "duration", "trial_type", "steady", "walk", "turns_known")
OTHER, REST, GAIT, TURN = range(4)
UNSEEN = -1
"""What was not observed: no state."""


@dataclass(frozen=True)
class Walk:
    """What was found in one recording.

    Parameters
    ----------
    states : DataFrame
        `STATE_COLUMNS`: onset, duration, trial_type (rest, gait, turn, other), steady, walk, turns_known; tiles what
        was observed of the recording: no state holds time in which no knee has a value for `UNOBSERVED_S` or more.
        ``walk`` numbers the walks from 0, -1 outside; ``steady`` is True where no walk starts, stops or turns; a walk
        has one row for each stretch that is steady or is not. ``turns_known`` is False outside of walks and in walks in
        which a turn would not show.
    events : DataFrame
        onset, duration (0), trial_type (initial_contact, toe_off), side, score (0 to 1).
    strides : DataFrame
        One row per stride, columns `strides.STRIDE_COLUMNS`.
    polarity : dict of side to Polarity
        Sign of each knee and the evidence for it; a knee without data or without movement is not in it.
    """

    states: pd.DataFrame
    events: pd.DataFrame
    strides: pd.DataFrame
    polarity: dict[str, Polarity]


def detect_walk(
    knees: Mapping[str, FloatArray],
    fs: float,
    parameters: GaitParameters,
    *,
    lags: Mapping[str, float] | None = None,
    loops: Mapping[str, Sequence[tuple[float, float]]] | None = None,
    expected: bool = True,
) -> Walk:
    """Find rest, walks, turns, contacts and strides.

    Parameters
    ----------
    knees : mapping of side to ndarray, shape (m,)
        Curves of the left and/or right knee in any unit, on one uniform grid, NaN where there is no data.
    fs : float
        Sampling frequency in Hz; 50 to 1000 is tested.
    parameters : GaitParameters
        Settings.
    lags : mapping of side to float, optional
        Time constant, in seconds, of the answer of the sensor on each knee; a side that is not named has none (a joint
        angle).
    loops : mapping of side to sequence of (half width, radius), optional
        Play operators of the hysteresis of the sensor on each knee, in the unit of its curve.

    Returns
    -------
    Walk
        Times in seconds from the first sample.

    Raises
    ------
    ValueError
        When the curves differ in length or a side is neither ``left`` nor ``right``.
    """
    odd = set(knees) - set(SIDES)
    if odd:
        raise ValueError(f"knees must be named 'left' or 'right', not {sorted(odd)}")
    lengths = {np.asarray(x).size for x in knees.values()}
    if len(lengths) > 1:
        raise ValueError(f"both knees must have the same number of samples, not {sorted(lengths)}")
    seconds = (lengths.pop() if lengths else 0) / fs
    prepared = {side: prepare(knees[side], fs) for side in SIDES if side in knees}
    curves = {side: curve for side, curve in prepared.items() if curve is not None}
    shortest, longest = parameters.stride_time_min_s, parameters.stride_time_max_s
    if not curves or seconds < 2.0 * shortest:
        return _nothing(seconds)
    rhythm = local_rhythm([curve.speed for curve in curves.values()], shortest, longest)
    clock = stride_clock(rhythm)
    chosen = choose_swings({side: fit_swings(curve, clock) for side, curve in curves.items()})
    upright = {side: curve.turned(chosen[side].polarity.sign) for side, curve in curves.items()}
    usual_stride = float(np.median(rhythm.stride_time))
    smooth = {
        side: for_landmarks(curve, usual_stride, (lags or {}).get(side, 0.0), (loops or {}).get(side, ()))
        for side, curve in upright.items()
    }
    swings = {
        side: _swings(smooth[side], chosen[side], clock, rhythm.stride_time, strength, parameters)
        for side, strength in zip(curves, rhythm.strengths, strict=True)
    }
    numbers, spans = find_walks(swings, smooth, parameters.rest_min_s, expected=expected)
    busy = moving(list(smooth.values()), [chosen[side].usual for side in smooth])
    spans = reach_edges(spans, busy, rhythm.stride_time)
    turns, shown = _turns(swings, numbers, len(spans))
    strides = _strides(knees, fs, swings, numbers, turns, chosen, parameters)
    return Walk(
        states=_states(spans, busy, strides, swings, turns, shown, seconds, parameters.rest_min_s, _unseen(curves)),
        events=_events(swings, numbers),
        strides=strides,
        polarity={side: one.polarity for side, one in chosen.items()},
    )


def _nothing(seconds: float) -> Walk:
    states = _states([], np.ones(0, dtype=bool), _no_strides(), {}, {}, [], seconds, 0.0, np.empty((0, 2), dtype=int))
    return Walk(states, _events({}, {}), _no_strides(), {})


def _no_strides() -> pd.DataFrame:
    kinds = {"side": "object", "steady": "bool", "walk": "int64"}
    return pd.DataFrame({name: pd.Series(dtype=kinds.get(name, "float64")) for name in STRIDE_COLUMNS})


def _swings(
    curve: KneeCurve,
    chosen: Chosen,
    clock: StrideClock,
    stride_time: FloatArray,
    strength: FloatArray,
    parameters: GaitParameters,
) -> Swings:
    """Landmarks of the chosen swings of one knee, in seconds."""
    near = clock.place(chosen.points.astype(float))
    grid = np.arange(stride_time.size)
    stride = np.interp(near, grid, stride_time)
    marks = find_landmarks(curve, near, stride)
    n = curve.value.size
    gaps = np.concatenate([[0], np.cumsum(~curve.measured)])
    first = np.clip(np.floor(marks.toe_off), 0, n - 1).astype(np.intp)
    last = np.clip(np.ceil(marks.contact), 0, n - 1).astype(np.intp)
    rise = np.interp(marks.peak, grid, curve.value) - np.interp(marks.contact, grid, curve.value)
    return Swings(
        toe_off=marks.toe_off / ANALYSIS_RATE_HZ + parameters.toe_off_offset_percent / 100.0 * stride,
        peak=marks.peak / ANALYSIS_RATE_HZ,
        contact=marks.contact / ANALYSIS_RATE_HZ + parameters.contact_offset_percent / 100.0 * stride,
        stride_time=stride,
        size=rise,
        width=half_widths(curve, marks.peak, stride),
        loading=loading_waves(curve, marks.peak, stride, rise),
        fit=chosen.fit,
        clear=chosen.fit + np.interp(near, grid, strength),
        score=chosen.worth,
        sound=(gaps[last + 1] == gaps[first]) & (marks.toe_off > 0) & (marks.contact < n - 1),
    )


def _turns(
    swings: Mapping[str, Swings], numbers: Mapping[str, IntArray], walks: int
) -> tuple[dict[str, BoolArray], list[bool]]:
    """Which swings of each knee turn, and in which walks a turn would show."""
    shown = []
    marked = {side: np.zeros(one.peak.size, dtype=bool) for side, one in swings.items()}
    for walk in range(walks):
        # a swing across a gap has a size that nobody measured
        members = {side: np.flatnonzero((numbers[side] == walk) & swings[side].sound) for side in swings}
        kept = [side for side in swings if members[side].size >= 2]
        peak = np.concatenate([swings[side].peak[members[side]] for side in kept])
        # the time around a swing: from the peak before it to the peak after it, halved
        stride = np.concatenate([np.gradient(swings[side].peak[members[side]]) for side in kept])
        size = np.concatenate([swings[side].size[members[side]] for side in kept])
        place = np.concatenate([np.full(members[side].size, k) for k, side in enumerate(kept)])
        order = np.argsort(peak, kind="stable")
        turned = np.zeros(peak.size, dtype=bool)
        turned[order], seen = turning(peak[order], place[order], size[order], stride[order])
        shown.append(seen)
        for k, side in enumerate(kept):
            marked[side][members[side]] = turned[place == k]
    return marked, shown


def _strides(
    knees: Mapping[str, FloatArray],
    fs: float,
    swings: Mapping[str, Swings],
    numbers: Mapping[str, IntArray],
    turns: Mapping[str, BoolArray],
    chosen: Mapping[str, Chosen],
    parameters: GaitParameters,
) -> pd.DataFrame:
    frames = [
        stride_rows(
            side,
            own,
            next((other for name, other in swings.items() if name != side), None),
            walk=numbers[side],
            turning=turns[side],
            curve=chosen[side].polarity.sign * np.asarray(knees[side], dtype=float),
            fs=fs,
            ratio_limits=STRIDE_RATIO_LIMITS,
            settling=parameters.settling_strides,
        )
        for side, own in swings.items()
    ]
    frames = [frame for frame in frames if len(frame)]
    if not frames:
        return _no_strides()
    return _in_order(pd.concat(frames, ignore_index=True))


def _events(swings: Mapping[str, Swings], numbers: Mapping[str, IntArray]) -> pd.DataFrame:
    parts = []
    for side, own in swings.items():
        kept = own.sound & (numbers[side] >= 0)
        for kind, onset in (("toe_off", own.toe_off), ("initial_contact", own.contact)):
            parts.append((kind, side, onset[kept], own.score[kept]))
    counts = [len(onset) for _, _, onset, _ in parts]
    empty = np.empty(0)
    events = pd.DataFrame(
        {
            "onset": np.concatenate([empty, *(onset for _, _, onset, _ in parts)]),
            "duration": np.zeros(sum(counts)),
            "trial_type": np.repeat(np.array([kind for kind, _, _, _ in parts], dtype=object), counts),
            "side": np.repeat(np.array([side for _, side, _, _ in parts], dtype=object), counts),
            "score": np.concatenate([empty, *(score for _, _, _, score in parts)]),
        }
    )
    return _in_order(events)


def _in_order(rows: pd.DataFrame) -> pd.DataFrame:
    """Sort by onset and side, in a fraction of the time that a frame takes to sort by words."""
    order = np.lexsort((rows["side"].to_numpy(dtype=str), rows["onset"].to_numpy()))
    return rows.iloc[order].reset_index(drop=True)


def _states(
    spans: list[Span],
    busy: BoolArray,
    strides: pd.DataFrame,
    swings: Mapping[str, Swings],
    turns: Mapping[str, BoolArray],
    shown: Sequence[bool],
    seconds: float,
    rest_min: float,
    unseen: IntArray,
) -> pd.DataFrame:
    """Tile what was observed with states on a grid of the analysis rate; ``unseen`` spans in its samples."""
    n = max(busy.size, int(np.ceil(seconds * ANALYSIS_RATE_HZ)))
    code = np.full(n, OTHER, dtype=np.int8)
    code[: busy.size][~busy] = REST
    walk = np.full(n, -1)

    def at(times: FloatArray | float) -> IntArray:
        samples: IntArray = np.clip(np.round(np.asarray(times) * ANALYSIS_RATE_HZ), 0, n).astype(np.intp)
        return samples

    def covered(starts: FloatArray, stops: FloatArray) -> BoolArray:
        edges = np.bincount(at(starts), minlength=n + 1) - np.bincount(at(stops), minlength=n + 1)
        inside: BoolArray = np.cumsum(edges)[:n] > 0
        return inside

    for number, span in enumerate(spans):
        walk[at(span.start) : at(span.stop)] = number
    code[walk >= 0] = GAIT
    flowing = strides[strides["steady"].to_numpy(dtype=bool)]
    onset = flowing["onset"].to_numpy(dtype=float)
    steady = covered(onset, onset + flowing["stride_time"].to_numpy(dtype=float))
    for side, own in swings.items():
        # a turning stride begins at a contact; soon after the last of these contacts the body faces onwards
        before = np.concatenate([own.toe_off[:1], own.contact[:-1]])
        code[covered(before[turns[side]], (before + TURNED * own.stride_time)[turns[side]])] = TURN
    _close_turns(code)
    _absorb_short(code, walk, int(rest_min * ANALYSIS_RATE_HZ))
    for first, last in unseen:
        code[first:last] = UNSEEN
    walk[code == UNSEEN] = -1
    steady &= code == GAIT
    if n == 0:
        return pd.DataFrame({name: [] for name in STATE_COLUMNS})
    change = (code[1:] != code[:-1]) | (walk[1:] != walk[:-1]) | (steady[1:] != steady[:-1])
    start = np.concatenate([[0], np.flatnonzero(change) + 1])
    edges = np.concatenate([start / ANALYSIS_RATE_HZ, [seconds]])
    states = pd.DataFrame(
        {
            "onset": edges[:-1],
            "duration": np.diff(edges),
            "trial_type": [STATE_NAMES[k] for k in code[start]],
            "steady": steady[start],
            "walk": walk[start],
            "turns_known": np.array([*shown, False], dtype=bool)[walk[start]],
        }
    )
    seen: pd.DataFrame = states.loc[code[start] != UNSEEN]
    return seen.reset_index(drop=True)


def _unseen(curves: Mapping[str, KneeCurve]) -> IntArray:
    """Find the spans of the analysis grid in which no knee has a value for long."""
    missing = ~np.logical_or.reduce([curve.measured for curve in curves.values()])
    found = runs(missing)
    return found[found[:, 1] - found[:, 0] >= UNOBSERVED_S * ANALYSIS_RATE_HZ]


def _close_turns(code: NDArray[np.int8]) -> None:
    """Fill what lies between the strides of one turn."""
    turned = np.flatnonzero(code == TURN)
    gaps = np.diff(turned)
    for at in np.flatnonzero((gaps > 1) & (gaps <= TURN_GAP_S * ANALYSIS_RATE_HZ)):
        code[turned[at] : turned[at + 1]] = TURN


def _absorb_short(code: NDArray[np.int8], walk: NDArray[np.intp], shortest: int) -> None:
    """Give other movement that is shorter than a pause to the walk it touches, or to the rest around it."""
    other = code == OTHER
    edges = np.diff(np.concatenate([[0], other.astype(np.int8), [0]]))
    for first, last in zip(np.flatnonzero(edges == 1), np.flatnonzero(edges == -1), strict=True):
        beside = [at for at in (first - 1, last) if 0 <= at < code.size]
        if last - first >= shortest or not beside:
            continue
        kept = next((at for at in beside if walk[at] >= 0), beside[0])
        code[first:last] = GAIT if walk[kept] >= 0 else code[kept]
        walk[first:last] = walk[kept]
