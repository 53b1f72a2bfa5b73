"""Knee bends and holds in one knee's trace.

In: the conditioned response of a knee (rest about 0; unit and sign do not matter), the other knee's where there is one,
and the calibrated angle where there is one. Out: one row per bend, with its plateau, creep and the times of flexing
and extending.

Rules (ours). A bend is a flexion peak that is entered and left within the recording, or a standstill on the way between
two levels, that is high enough against the recording's highest flexion, stands out of what this knee does at rest
(`rest.rest_share`), is no mere echo of the other knee, and lasts long above half its height. Ripples on its top that do
not fall below half are part of it. Where there is an angle, the angle must be one that no standing knee has, and its
interval must exclude the straight leg. Steps are told from bends by context: a swing wave is narrow, repeats within
seconds and alternates with the other knee's; a bend is wide, and the other knee either bends with it or rests.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import Any, Final

import numpy as np
import numpy.typing as npt
import pandas as pd
from scipy.ndimage import maximum_filter1d, minimum_filter1d
from scipy.signal import find_peaks, peak_widths

from ..signal.filters import lowpass
from ..signal.gaps import runs, spanned
from ..signal.hampel import MAD_TO_SD
from ..signal.plateau import find_plateau
from .parameters import BendParameters
from .rest import rest_share, way_from_rest

__all__ = ["BEND_COLUMNS", "bends_of_knees", "detect_bends"]

Array = npt.NDArray[np.float64]

BEND_COLUMNS: Final = (
    "onset",
    "duration",
    "angle",
    "angle_low",
    "angle_high",
    "creep",
    "level",
    "plateau_onset",
    "plateau_duration",
    "movement_onset",
    "movement_duration",
    "kind",
    "flexing_time",
    "extending_time",
    "series",
    "repeat",
    "score",
    "direction_known",
)

_TYPES: Final = {"kind": "object", "series": "int64", "repeat": "int64", "direction_known": "bool"}
_WORKING_HZ: Final = 20.0
"""Rate at which bends are looked for: far above `_SMOOTH_HZ` (ours, for speed)."""
_SMOOTH_HZ: Final = 3.0
"""Cutoff of the low-pass (ours)."""
_STILL_WINDOW_S: Final = 0.7
"""Window in which a knee must stand still for a hold that is no peak (ours)."""
_STILL_SHARE: Final = 0.06
"""A window is still if it spans less than this share of the highest flexion."""
_PLATEAU_SHARE: Final = 0.06
"""A plateau spans less than this share of the highest flexion, and lies within twice as much of its top (ours)."""
_EDGE_SHARE: Final = 0.05
"""Movement starts and ends where it leaves or reaches a level by this share of the step."""
_RESTING_SHARE: Final = 0.25
"""Up to this share of the way from the lowest value to the level the knee counts as resting (ours)."""
_LOOK_BACK_S: Final = 6.0
"""How far before and after a peak its rest is looked for (ours)."""
_WALKING_GAP_S: Final = 3.0
"""Swing waves of one knee lie no farther apart than this in a walk (ours)."""
_LONGEST_CYCLE_S: Final = 4.0
"""Peaks farther apart than this are not those of one walk, even if the other knee flexes in between (ours)."""
_SAME_LEVEL_SHARE: Final = 0.2
"""Levels that differ by no more than this share are one level (ours)."""
_HIGHEST_QUANTILE: Final = 0.998
"""Quantile taken for the highest flexion, so that a few odd samples do not set it (ours)."""
_SLOW_STEP: Final = 1.8
"""A wave up to so many least widths is a step where the knees take turns, as in a walk with strides of 2.5 s."""
_OWN_RESTS: Final = 3.0
"""Standard deviations of rest that each bend of a knee that bends reaches."""
_RIPPLE_SHARE: Final = 0.5
"""Between two bends the knee comes back below this share of the lesser one."""
_ECHO_SHARE: Final = 0.15
"""A knee that never moves by this share of the other one is still: two sensors differ by less in gain (ours)."""


@dataclass(frozen=True)
class _Signal:
    """One knee at the working rate, flexion upwards; what stands out of its rest is at least ``least`` high.

    ``told`` is whether an angle or a rest at either end said which way flexion is.
    """

    flexion: Array
    finite: npt.NDArray[np.bool_]
    rate: float
    top: float
    sign: float
    least: float
    told: bool


@dataclass(frozen=True)
class _Reduced:
    """A knee's response as given, and at the working rate: smoothed, and which samples rest on any value.

    A knee is looked at twice, by itself and beside the other one, with its angle and without: what does not depend on
    that is worked out once.
    """

    response: Array
    smooth: Array
    finite: npt.NDArray[np.bool_]
    rate: float

    @classmethod
    def of(cls, response: npt.ArrayLike, fs: float) -> _Reduced | None:
        """Reduce a response; None for one without three blocks or without a value."""
        x = np.asarray(response, dtype=np.float64)
        block = max(1, round(fs / _WORKING_HZ))
        n = len(x) // block
        if n < 3 or not np.isfinite(x).any():
            return None
        blocks = spanned(x)[: n * block].reshape(n, block).mean(axis=1)
        finite: npt.NDArray[np.bool_] = np.asarray(np.isfinite(x)[: n * block].reshape(n, block).any(axis=1))
        rate = fs / block
        smooth = lowpass(blocks, rate, _SMOOTH_HZ) if rate > 2.5 * _SMOOTH_HZ else blocks
        return cls(x, smooth, finite, rate)

    @cached_property
    def span(self) -> tuple[float, float]:
        """Lowest and highest value, without a few odd samples."""
        low, high = np.quantile(self.smooth[self.finite], [1 - _HIGHEST_QUANTILE, _HIGHEST_QUANTILE])
        return float(low), float(high)

    @cached_property
    def way(self) -> tuple[float, float]:
        """Which way the knee goes from rest, and from which level."""
        return way_from_rest(self.smooth, self.rate)

    @cached_property
    def resting(self) -> float:
        """Spread at rest."""
        return rest_share(self.smooth[self.finite], self.rate)


def _working(
    reduced: _Reduced, parameters: BendParameters, angle: Array | None = None, low: Array | None = None
) -> _Signal | None:
    smooth, (lowest, highest) = reduced.smooth, reduced.span
    larger = 1.0 if abs(highest) >= abs(lowest) else -1.0
    told, level = _way(reduced.response, angle), 0.0
    if not told:
        told, level = reduced.way
    turned = bool(told and told != larger)
    if turned:
        # bends without a pause pull the zero of the response to their own middle
        smooth, lowest, highest = smooth - level, lowest - level, highest - level
    sign = told or larger
    top = float(highest if sign > 0 else -lowest)
    if top <= 0:
        return None
    resting = rest_share(smooth[reduced.finite], reduced.rate) if turned and level else reduced.resting
    if parameters.least_rest_spreads * resting > 1:
        return None
    # where the angle has limits, they say what is bent
    limited = low is not None and bool(np.isfinite(low).any())
    least = top * max(parameters.least_height_share, 0.0 if limited else _OWN_RESTS * resting)
    return _Signal(sign * smooth, reduced.finite, reduced.rate, top, sign, least, bool(told))


def _way(response: Array, angle: Array | None) -> float:
    """Tell which way is flexion, where the angle says it; 0 where it does not."""
    if angle is None:
        return 0.0
    there = np.isfinite(response) & np.isfinite(angle)
    if np.count_nonzero(there) < 2:
        return 0.0
    one, other = response[there], angle[there]
    return float(np.sign((one - one.mean()) @ (other - other.mean())))


@dataclass(frozen=True)
class _Peaks:
    """Flexion peaks of a knee that stand out: their samples, and seconds above half their height."""

    at: npt.NDArray[np.intp]
    width_s: Array
    rate: float

    @property
    def times(self) -> Array:
        """Seconds."""
        return np.asarray(self.at / self.rate)

    def brief(self, parameters: BendParameters) -> Array:
        """Give the times of the peaks that are too narrow for a bend: steps."""
        return np.asarray(self.times[self.width_s < parameters.least_width_s])


def _peaks(signal: _Signal) -> _Peaks:
    """Peaks of excursions that are entered and left; what does not fall below half in between is one excursion."""
    y = signal.flexion
    at, properties = find_peaks(y, height=signal.least, prominence=signal.least)
    around = 2 * round(_LOOK_BACK_S * signal.rate) + 1
    base = minimum_filter1d(y, around, mode="nearest")
    kept: list[int] = []
    for k, here in enumerate(at.tolist()):
        before = int(at[kept[-1]]) if kept else here
        lesser = before if y[before] < y[here] else here
        ripple = y[before : here + 1].min() > base[lesser] + _RIPPLE_SHARE * (y[lesser] - base[lesser])
        if kept and ripple:
            if lesser == before:
                kept[-1] = k
            continue
        kept.append(k)
    data = (properties["prominences"][kept], properties["left_bases"][kept], properties["right_bases"][kept])
    chosen = at[kept]
    width = peak_widths(y, chosen, rel_height=0.5, prominence_data=data)[0] if len(chosen) else np.empty(0)
    return _Peaks(chosen, width / signal.rate, signal.rate)


def _alternates(times: Array, k: int, other: Array) -> bool:
    """Whether the other knee flexes between this peak and its neighbours, as in walking."""
    for left, right in ((k - 1, k), (k, k + 1)):
        if left < 0 or right >= len(times):
            continue
        cycle = times[right] - times[left]
        between = other[(other > times[left]) & (other < times[right])]
        phase = (between - times[left]) / cycle
        if cycle <= _LONGEST_CYCLE_S and np.any((phase > 0.25) & (phase < 0.75)):
            return True
    return False


def _among_steps(time: float, narrow: Array, *, either: bool = False) -> bool:
    """Whether swing waves of the same knee lie close on both sides, or on one where that is enough."""
    before = narrow[(narrow < time) & (narrow > time - _WALKING_GAP_S)]
    after = narrow[(narrow > time) & (narrow < time + _WALKING_GAP_S)]
    return bool(len(before) or len(after)) if either else bool(len(before) and len(after))


@dataclass(frozen=True)
class _Hold:
    start: int
    stop: int
    level: float
    creep: float
    width_s: float


def _peak_holds(signal: _Signal, peaks: _Peaks, opposite: _Peaks, parameters: BendParameters) -> list[_Hold]:
    times, narrow = peaks.times, peaks.brief(parameters)
    holds = []
    for k, (at, width) in enumerate(zip(peaks.at.tolist(), peaks.width_s.tolist(), strict=True)):
        brief = width < 2 * parameters.least_width_s
        if width < parameters.least_width_s or _among_steps(at / signal.rate, narrow, either=brief):
            continue
        if width < parameters.held_at_least_s and _among_steps(at / signal.rate, opposite.brief(parameters)):
            continue
        if width < _SLOW_STEP * parameters.least_width_s and _alternates(times, k, opposite.times):
            continue
        holds.append(_around(signal, at, width))
    return holds


def _around(signal: _Signal, at: int, width: float) -> _Hold:
    """Plateau of a peak: the standstill near its top, or else the time above 95 % of it."""
    y, height = signal.flexion, float(signal.flexion[at])
    reach = round(_LOOK_BACK_S * signal.rate)
    base = float(y[max(0, at - reach) : at + reach + 1].min())
    above = runs(y > base + 0.5 * (height - base))
    start, stop = next((int(a), int(b)) for a, b in above if a <= at < b)
    top = np.where(y[start:stop] > height - 2 * _PLATEAU_SHARE * signal.top, y[start:stop], np.nan)
    found = find_plateau(top, _PLATEAU_SHARE * signal.top, shortest=2)
    if found is None:
        return _Hold(at, at + 1, height, 0.0, width)
    return _Hold(start + found.start, start + found.stop, found.level, found.creep, width)


def _still_holds(
    signal: _Signal, holds: list[_Hold], narrow: Array, opposite: _Peaks, parameters: BendParameters
) -> list[_Hold]:
    """Standstills at a height that belong to no peak: the lower stairs of a series of holds."""
    window = max(3, round(_STILL_WINDOW_S * signal.rate)) | 1
    y = signal.flexion
    spread = maximum_filter1d(y, window) - minimum_filter1d(y, window)
    still = (spread < _STILL_SHARE * signal.top) & signal.finite & (y > signal.least)
    found = []
    for start, stop in runs(still):
        seconds = (stop - start) / signal.rate + _STILL_WINDOW_S
        middle = (start + stop) / 2 / signal.rate
        inside = any(h.start < stop and start < h.stop for h in holds)
        level = float(np.median(y[start:stop]))
        whole = max(y[: start + 1].min(), y[stop - 1 :].min()) <= level - min(signal.least, _RIPPLE_SHARE * level)
        short = seconds < parameters.held_at_least_s
        if inside or not whole or seconds < parameters.hold_shortest_s:
            continue
        if _among_steps(middle, narrow, either=short) or (short and _among_steps(middle, opposite.brief(parameters))):
            continue
        edge = max(1, (stop - start) // 5)
        creep = float(np.median(y[stop - edge : stop]) - np.median(y[start : start + edge]))
        found.append(_Hold(int(start), int(stop), level, creep, seconds))
    return found


def _crossing(y: Array, left: int, right: int, threshold: float, *, last: bool, below: bool) -> float:
    """Sample (with fraction) at which ``y`` crosses a threshold between two samples; the nearer end if never."""
    part = y[left : right + 1]
    hits = np.flatnonzero(part <= threshold if below else part >= threshold)
    if not len(hits):
        return float(left if last else right)
    k = left + int(hits[-1] if last else hits[0])
    neighbour = k + 1 if last else k - 1
    if not left <= neighbour <= right or y[neighbour] == y[k]:
        return float(k)
    return k + (neighbour - k) * float((threshold - y[k]) / (y[neighbour] - y[k]))


def _foot(y: Array, level: float) -> float:
    """Height at which a movement counts as begun: a share of the way up from rest, and clear of its noise."""
    lowest = float(y.min())
    resting = y[y <= lowest + _RESTING_SHARE * (level - lowest)]
    base = float(np.median(resting))
    noise = MAD_TO_SD * float(np.median(np.abs(resting - base)))
    return base + min(max(_EDGE_SHARE * (level - base), 3 * noise), _RESTING_SHARE * (level - base))


def _rest_edge(signal: _Signal, hold: _Hold, *, before: bool, limit: int) -> tuple[float, float]:
    """Find the samples at which the movement between rest and a hold starts and ends."""
    y = signal.flexion
    reach = round(_LOOK_BACK_S * signal.rate)
    if before:
        left = max(limit, hold.start - reach)
        foot = _foot(y[left : hold.start + 1], hold.level)
        leave = _crossing(y, left, hold.start, foot, last=True, below=True)
        head = hold.level - _EDGE_SHARE * (hold.level - float(y[left : hold.start + 1].min()))
        return leave, _crossing(y, int(leave), hold.start, head, last=False, below=False)
    right = min(limit, hold.stop + reach)
    foot = _foot(y[hold.stop - 1 : right + 1], hold.level)
    arrive = _crossing(y, hold.stop - 1, right, foot, last=False, below=True)
    head = hold.level - _EDGE_SHARE * (hold.level - float(y[hold.stop - 1 : right + 1].min()))
    return _crossing(y, hold.stop - 1, int(np.ceil(arrive)), head, last=True, below=False), arrive


def _stairs_edge(signal: _Signal, first: _Hold, second: _Hold) -> tuple[float, float]:
    """Find the samples at which the movement from one hold to the next starts and ends."""
    y = signal.flexion
    step = second.level - first.level
    sign = 1.0 if step >= 0 else -1.0
    z = sign * y
    left, right = first.stop - 1, second.start
    leave = _crossing(z, left, right, sign * first.level + _EDGE_SHARE * abs(step), last=True, below=True)
    arrive = _crossing(z, int(leave), right, sign * second.level - _EDGE_SHARE * abs(step), last=False, below=False)
    return leave, arrive


def _returns(signal: _Signal, first: _Hold, second: _Hold) -> bool:
    """Whether the knee straightens between two holds."""
    lowest = float(signal.flexion[first.stop : second.start + 1].min(initial=np.inf))
    return lowest < 0.5 * min(first.level, second.level)


def _median_between(values: Array | None, fs: float, start: float, stop: float) -> float:
    if values is None:
        return float("nan")
    part = values[max(0, round(start * fs)) : max(round(start * fs) + 1, round(stop * fs))]
    part = part[np.isfinite(part)]
    return float(np.median(part)) if len(part) else float("nan")


def detect_bends(
    response: npt.ArrayLike,
    fs: float,
    parameters: BendParameters,
    *,
    other: npt.ArrayLike | None = None,
    angle: Array | None = None,
    angle_low: Array | None = None,
    angle_high: Array | None = None,
) -> pd.DataFrame:
    """Find the bends and holds of one knee.

    Parameters
    ----------
    response : array, shape (n,)
        Conditioned response, straight leg about 0; any unit, either sign; NaN = no data.
    fs : float
        Hz.
    parameters : BendParameters
    other : array, shape (n,), optional
        The other knee's response.
    angle, angle_low, angle_high : array, shape (n,), optional
        Calibrated angle and its limits, degrees.

    Returns
    -------
    DataFrame
        Columns `BEND_COLUMNS`. ``kind`` is ``hold`` (then ``onset`` and ``duration`` are those of the plateau) or
        ``bend`` (then they span the whole movement), in seconds. The movement runs from the straight leg (or the
        hold before) to its return (or the start of the movement to the next hold). ``level`` is the median response
        of the plateau, in the unit and sign of the response; ``creep`` its change from first to last fifth in
        percent of the level; ``flexing_time`` and ``extending_time`` the seconds of the ways in and out (NaN where
        that way goes in the other direction); ``angle`` and its limits are medians over the plateau. ``series``
        and ``repeat`` count bends to about the same level that follow one another; ``score`` is 0 to 1;
        ``direction_known`` is whether an angle or a rest at either end of the recording said which way flexion is.
    """
    beside = None if other is None else _Reduced.of(other, fs)
    return _bends(_Reduced.of(response, fs), beside, fs, parameters, (angle, angle_low, angle_high))


def _bends(
    own: _Reduced | None,
    other: _Reduced | None,
    fs: float,
    parameters: BendParameters,
    angles: tuple[Array | None, Array | None, Array | None],
) -> pd.DataFrame:
    """Find the bends of one knee as `detect_bends` does."""
    angle, angle_low, angle_high = angles
    signal = None if own is None else _working(own, parameters, angle, angle_low)
    beside = None if other is None else _working(other, parameters)
    if signal is None or (beside is not None and signal.top < _ECHO_SHARE * beside.top):
        return _frame([])
    peaks = _peaks(signal)
    opposite = _Peaks(np.empty(0, dtype=np.intp), np.empty(0), signal.rate) if beside is None else _peaks(beside)
    holds = _peak_holds(signal, peaks, opposite, parameters)
    holds += _still_holds(signal, holds, peaks.brief(parameters), opposite, parameters)
    holds.sort(key=lambda hold: hold.start)
    rows = []
    for k, hold in enumerate(holds):
        previous = holds[k - 1] if k and not _returns(signal, holds[k - 1], hold) else None
        following = holds[k + 1] if k + 1 < len(holds) and not _returns(signal, hold, holds[k + 1]) else None
        flexing = extending = float("nan")
        if previous is None:
            limit = holds[k - 1].stop if k else 0
            onset, settled = _rest_edge(signal, hold, before=True, limit=limit)
            flexing = (settled - onset) / signal.rate
        else:
            onset, settled = _stairs_edge(signal, previous, hold)
            if hold.level > previous.level:
                flexing = (settled - onset) / signal.rate
        if following is None:
            limit = holds[k + 1].start if k + 1 < len(holds) else len(signal.flexion) - 1
            leave, end = _rest_edge(signal, hold, before=False, limit=limit)
            extending = (end - leave) / signal.rate
        else:
            leave, arrive = _stairs_edge(signal, hold, following)
            end = leave
            if following.level < hold.level:
                extending = (arrive - leave) / signal.rate
        settled, leave = min(settled, hold.start), max(leave, hold.stop - 1)
        plateau = settled / signal.rate, max(leave, settled) / signal.rate
        movement = onset / signal.rate, end / signal.rate
        held = plateau[1] - plateau[0] >= parameters.held_at_least_s
        first, last = plateau if held else movement
        rows.append(
            {
                "onset": first,
                "duration": last - first,
                "angle": _median_between(angle, fs, *plateau),
                "angle_low": _median_between(angle_low, fs, *plateau),
                "angle_high": _median_between(angle_high, fs, *plateau),
                "creep": 100 * hold.creep / hold.level,
                "level": signal.sign * hold.level,
                "plateau_onset": plateau[0],
                "plateau_duration": plateau[1] - plateau[0],
                "movement_onset": movement[0],
                "movement_duration": movement[1] - movement[0],
                "kind": "hold" if held else "bend",
                "flexing_time": flexing,
                "extending_time": extending,
                "score": min(1.0, hold.width_s / (2 * parameters.least_width_s)),
                "direction_known": signal.told,
            }
        )
    kept = _bent(rows, angle, parameters)
    return _frame(_numbered([row for row, one in zip(rows, kept.tolist(), strict=True) if one], parameters))


def _frame(rows: Sequence[Mapping[str, Any]]) -> pd.DataFrame:
    """Lay rows out as a frame, each column in its type."""
    return pd.DataFrame(
        {name: np.array([row[name] for row in rows], dtype=_TYPES.get(name, "float64")) for name in BEND_COLUMNS}
    )


def _bent(rows: Sequence[Mapping[str, Any]], angle: Array | None, parameters: BendParameters) -> npt.NDArray[np.bool_]:
    """Whether the angle is one of a bent knee; True where there is none."""
    if not rows or angle is None or not np.isfinite(angle).any():
        return np.ones(len(rows), dtype=bool)
    straightest = float(np.nanquantile(angle, 1 - _HIGHEST_QUANTILE))
    held, low = (np.array([row[name] for row in rows]) for name in ("angle", "angle_low"))
    standing: npt.NDArray[np.bool_] = (held - straightest < parameters.least_angle_deg) | (low <= 0)
    return ~standing


def _numbered(rows: Sequence[Mapping[str, Any]], parameters: BendParameters) -> list[dict[str, Any]]:
    """Count bends to about one level that follow one another."""
    counted: list[dict[str, Any]] = []
    for k, row in enumerate(rows):
        series, repeat = (counted[-1]["series"] + 1 if counted else 1), 1
        if k > 0:
            last = rows[k - 1]
            near = row["movement_onset"] - (last["movement_onset"] + last["movement_duration"])
            if near <= parameters.series_gap_s and abs(row["level"] - last["level"]) <= _SAME_LEVEL_SHARE * abs(
                last["level"]
            ):
                series, repeat = counted[-1]["series"], counted[-1]["repeat"] + 1
        counted.append({**row, "series": series, "repeat": repeat})
    return counted


def bends_of_knees(
    responses: Mapping[str, Array],
    fs: float,
    parameters: BendParameters,
    angles: Mapping[str, tuple[Array, Array, Array]] | None = None,
) -> pd.DataFrame:
    """Find the bends of the knees of a recording, each with the other as context.

    Parameters
    ----------
    responses : mapping of side to array, shape (n,)
        One knee or both, on one time grid.
    fs : float
        Hz.
    parameters : BendParameters
    angles : mapping of side to (angle, low, high), optional
        Where calibrated.

    Returns
    -------
    DataFrame
        ``side`` and `BEND_COLUMNS`, sorted by onset and side.
    """
    calibrated = angles or {}
    reduced = {side: _Reduced.of(responses[side], fs) for side in sorted(responses)}
    parts = []
    for side, own in reduced.items():
        other = next((knee for name, knee in reduced.items() if name != side), None)
        found = _bends(own, other, fs, parameters, calibrated.get(side, (None, None, None)))
        found.insert(0, "side", side)
        parts.append(found)
    if not parts:
        return pd.DataFrame({name: pd.Series(dtype=object) for name in ("side", *BEND_COLUMNS)})
    filled = [part for part in parts if len(part)] or parts[:1]
    whole = pd.concat(filled, ignore_index=True)
    # a frame takes ten times as long to sort by words
    order = np.lexsort((whole["side"].to_numpy(dtype=str), whole["onset"].to_numpy()))
    return whole.iloc[order].reset_index(drop=True)
