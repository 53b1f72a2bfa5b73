"""Gait windows: a few strides of both knees, rolled along the walk, as one row of features each.

In: the strides of a walk and its knee curves. Out: one row per window with features in three groups kept apart
(`GAIT_FEATURES`): timing, shape and coordination (immune to gain and offset), calibrated amplitude. A feature of
one side enters as the mean of both sides (``even``) and as right minus left (``odd``), so that a model can be
shown each window as it is and mirrored, and learns a limp without learning which leg the training people limped
on. Where one knee was recorded, everything that compares the sides is NaN; where no angle is calibrated,
everything in degrees is NaN.
"""

from __future__ import annotations

import itertools
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Protocol

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from ..vocabulary import SIDES
from .asymmetry import log_ratio
from .curves import stride_curves
from .feature_specs import FeatureSpec
from .phase import EVEN_DEG, coordination_index
from .shape import complete, fundamental_phase, half_height, loading_wave, scaled, stance_level, swing_peak_timing
from .window_parameters import FeatureParameters

__all__ = ["GAIT_FEATURES", "WINDOW_COLUMNS", "gait_features"]

FloatArray = NDArray[np.float64]
IndexArray = NDArray[np.intp]

POINTS = 101
"""Points of a stride curve: one for each percent of the stride, the last one that of the next contact."""
STRIDES_LEAST = 2
"""Whole strides of a side below which a window has no value for it; the other side of a short window may have fewer
than the anchor side."""
MAX_GAP_SHARE = 0.25
"""Share of a stride by which the next may start early or late and still belong to the same stretch of walking."""

_SCHWARTZ = "ours: landmark of the mean knee curve of Schwartz et al. 2008, J Biomech 41(8):1639-1650"
_LEAST = "ours: no published definition on a curve of unknown gain"
_LOG = "log ratio after Plotnik et al. 2005, Ann Neurol 57:656-663 (from memory), signed"

GAIT_FEATURES: tuple[FeatureSpec, ...] = (
    FeatureSpec(
        "stride_time", "context", "s", "median time from one initial contact to the next of the same side",
        "common practice, no source", 0.4, 4.0,
    ),
    FeatureSpec(
        "response_log_ratio", "context", "%",
        "100 ln(right / left) of the median range of the response over a stride, in the unit of the sensor; "
        "holds the gain of each sensor and so is evidence of nothing by itself",
        "amplitude asymmetry as it is often taken from uncalibrated sensors: the baseline to beat", -700.0, 700.0,
        "odd", "both",
    ),
    FeatureSpec(
        "stride_time_cv", "timing", "%",
        "standard deviation of the stride times about the mean of their side, over their mean, both sides pooled",
        "Hausdorff et al. 1998, Mov Disord 13(3):428-437", 0.0, 60.0,
    ),
    FeatureSpec(
        "step_time_log_ratio", "timing", "%", "100 ln(right / left) of the median step times",
        _LOG, -200.0, 200.0, "odd", "both",
    ),
    FeatureSpec(
        "stance_fraction", "timing", "%", "median share of the stride from contact to toe-off, mean of both sides",
        "Perry & Burnfield 2010, Gait Analysis, 2nd ed.", 30.0, 95.0, "even", "alone",
    ),
    FeatureSpec(
        "swing_time_log_ratio", "timing", "%", "100 ln(right / left) of the median swing times",
        _LOG, -250.0, 250.0, "odd", "both",
    ),
    FeatureSpec(
        "phase_coordination_index", "timing", "%",
        "coefficient of variation of the phase of the other foot's contact plus the mean distance of that phase "
        "from 180 degrees as a share of 180 degrees, mean of both reference sides",
        "Plotnik et al. 2007, Exp Brain Res 181:561-570, doi 10.1007/s00221-007-0955-7", 0.0, 200.0, "even", "both",
    ),
    FeatureSpec(
        "relative_phase_deviation", "shape", "deg",
        "phase of the right knee's first harmonic after the left knee's, minus 180 degrees",
        "ours: the phase of Plotnik et al. 2007 taken from the whole curve instead of the contacts", -180.0, 180.0,
        "odd", "both",
    ),
    FeatureSpec(
        "waveform_difference", "shape", "1",
        "root mean square of right minus left mean curve, each scaled to its own range", _LEAST, 0.0, 1.0,
        "even", "both",
    ),
    FeatureSpec(
        "swing_peak_timing", "shape", "%", "time of the highest swing flexion in the stride, mean of both sides",
        _SCHWARTZ, 50.0, 92.0, "even", "alone",
    ),
    FeatureSpec(
        "swing_peak_timing_difference", "shape", "%", "time of the highest swing flexion, right minus left",
        _SCHWARTZ, -42.0, 42.0, "odd", "both",
    ),
    FeatureSpec(
        "swing_width", "shape", "%", "time that the swing wave spends above half its height, mean of both sides",
        _LEAST, 0.0, 100.0, "even", "alone",
    ),
    FeatureSpec(
        "swing_width_difference", "shape", "%", "width of the swing wave at half its height, right minus left",
        _LEAST, -100.0, 100.0, "odd", "both",
    ),
    FeatureSpec(
        "swing_lean", "shape", "1",
        "(fall - rise) / (fall + rise) of the swing wave between its crossings of half height, mean of both sides",
        _LEAST, -1.0, 1.0, "even", "alone",
    ),
    FeatureSpec(
        "swing_lean_difference", "shape", "1", "lean of the swing wave, right minus left", _LEAST, -2.0, 2.0,
        "odd", "both",
    ),
    FeatureSpec(
        "loading_wave", "shape", "1",
        "height of the loading wave over the straightest point after it, share of the curve's range, mean of sides",
        _SCHWARTZ, 0.0, 1.0, "even", "alone",
    ),
    FeatureSpec(
        "loading_wave_difference", "shape", "1", "relative height of the loading wave, right minus left",
        _SCHWARTZ, -1.0, 1.0, "odd", "both",
    ),
    FeatureSpec(
        "stance_level_difference", "shape", "1",
        "mean of the scaled curve from 10 to 45 % of the stride, right minus left", _LEAST, -1.0, 1.0, "odd", "both",
    ),
    FeatureSpec(
        "shape_variability", "shape", "1",
        "root mean square of stride curves about their mean curve, share of its range, mean of both sides",
        "ours: as the between-stride variability of Winter, on a curve of unknown gain", 0.0, 2.0,
    ),
    FeatureSpec(
        "shape_variability_difference", "shape", "1", "variability of the curve, right minus left",
        "ours: as shape_variability", -2.0, 2.0, "odd", "both",
    ),
    FeatureSpec(
        "range_of_motion", "amplitude", "deg", "median range of the knee angle over a stride, mean of both sides",
        "common practice, no source", 0.0, 150.0,
    ),
    FeatureSpec(
        "range_of_motion_log_ratio", "amplitude", "%", "100 ln(right / left) of the median range of the knee angle",
        _LOG, -500.0, 500.0, "odd", "both",
    ),
    FeatureSpec(
        "swing_peak", "amplitude", "deg", "median peak swing flexion, mean of both sides",
        "Perry & Burnfield 2010, Gait Analysis, 2nd ed.", -30.0, 150.0, "even", "alone",
    ),
    FeatureSpec(
        "swing_peak_difference", "amplitude", "deg", "median peak swing flexion, right minus left",
        "Perry & Burnfield 2010, Gait Analysis, 2nd ed.", -150.0, 150.0, "odd", "both",
    ),
)  # fmt: skip
"""The gait features; one row of the feature dictionary each."""

WINDOW_COLUMNS = ("onset", "duration", "time", "knees", "strides")
"""Columns before the features: span and centre of the window (s), knees in it, strides of the anchor side."""


class SignLike(Protocol):
    """Which way a signal bends with flexion."""

    @property
    def sign(self) -> int: ...


class WalkLike(Protocol):
    """What is needed of a detected walk: its strides and which way each knee's signal bends."""

    @property
    def strides(self) -> pd.DataFrame: ...

    @property
    def polarity(self) -> Mapping[str, SignLike]: ...


@dataclass(frozen=True)
class _Side:
    """Strides of one side in order of time, one entry per stride."""

    onset: FloatArray
    stride_time: FloatArray
    step_time: FloatArray
    stance: FloatArray
    phase: FloatArray
    curves: FloatArray
    angles: FloatArray

    @property
    def n(self) -> int:
        return len(self.onset)


def _over_strides(signal: FloatArray | None, rows: pd.DataFrame, fs: float) -> FloatArray:
    if signal is None or not len(rows):
        return np.full((len(rows), POINTS), np.nan)
    return stride_curves(signal, rows, fs, points=POINTS)


def _column(strides: pd.DataFrame, name: str) -> FloatArray:
    if name not in strides:
        return np.full(len(strides), np.nan)
    return strides[name].to_numpy(dtype=float, na_value=np.nan)


def _side(
    strides: pd.DataFrame, side: str, signal: FloatArray | None, angle: FloatArray | None, fs: float, polarity: int
) -> _Side:
    rows = strides[strides["side"] == side].sort_values("onset", kind="stable")
    onset, stride_time = _column(rows, "onset"), _column(rows, "stride_time")
    return _Side(
        onset=onset,
        stride_time=stride_time,
        step_time=_column(rows, "step_time"),
        stance=_column(rows, "stance_fraction"),
        phase=_column(rows, "phase"),
        curves=polarity * _over_strides(signal, rows, fs),
        angles=_over_strides(angle, rows, fs),
    )


def _stretches(side: _Side) -> list[slice]:
    """Find runs of strides that follow on from one another."""
    if side.n == 0:
        return []
    gap = side.onset[1:] - (side.onset[:-1] + side.stride_time[:-1])
    breaks = np.flatnonzero(np.abs(gap) > MAX_GAP_SHARE * side.stride_time[:-1]) + 1
    edges = [0, *breaks.tolist(), side.n]
    return [slice(a, b) for a, b in itertools.pairwise(edges)]


def _windows(side: _Side, parameters: FeatureParameters) -> list[tuple[int, int]]:
    """First and last-but-one stride of every window of the anchor side."""
    windows = []
    for run in _stretches(side):
        length = run.stop - run.start
        if length < parameters.strides_min:
            continue
        size = min(length, parameters.window_strides)
        windows += [(i, i + size) for i in range(run.start, run.stop - size + 1)]
    return windows


def _indices(spans: list[tuple[int, int]]) -> IndexArray:
    """Stride numbers of each window as rows of equal length, -1 where a window is shorter."""
    longest = max((b - a for a, b in spans), default=0)
    steps = np.arange(max(longest, 1))
    starts, stops = np.array(spans, dtype=np.intp).reshape(-1, 2).T
    rows = starts[:, None] + steps
    return np.where(rows < stops[:, None], rows, -1)


def _take(values: FloatArray, rows: IndexArray) -> FloatArray:
    """Values of each window's strides; NaN where a window is shorter or the side has no stride."""
    if len(values) == 0:
        return np.full((*rows.shape, *values.shape[1:]), np.nan)
    taken = values[rows]
    taken[rows < 0] = np.nan
    return taken


def _median(values: FloatArray, rows: IndexArray, least: int) -> FloatArray:
    taken = np.sort(_take(values, rows), axis=1)  # NaN sort last
    n = np.isfinite(taken).sum(axis=1)
    middle = np.maximum(n - 1, 0)
    at = np.arange(len(taken))
    value = 0.5 * (taken[at, middle // 2] + taken[at, (middle + 1) // 2])
    return np.where(n >= least, value, np.nan)


def _mean_sd(values: FloatArray, rows: IndexArray, least: int) -> tuple[FloatArray, FloatArray]:
    taken = _take(values, rows)
    there = np.isfinite(taken)
    n = there.sum(axis=1)
    with np.errstate(invalid="ignore", divide="ignore"):
        mean = np.where(there, taken, 0.0).sum(axis=1) / n
        square = np.where(there, (taken - mean[:, None]) ** 2, 0.0).sum(axis=1)
        sd = np.sqrt(square / (n - 1))
    few = n < least
    return np.where(few, np.nan, mean), np.where(few, np.nan, sd)


def _mean_curves(curves: FloatArray, rows: IndexArray, least: int) -> tuple[FloatArray, FloatArray]:
    """Mean curve of each window, and the root mean square of its strides about it as a share of its range."""
    taken = _take(curves, rows)
    whole = complete(taken)
    n = whole.sum(axis=1)
    with np.errstate(invalid="ignore", divide="ignore"):
        mean = np.where(whole[..., None], taken, 0.0).sum(axis=1) / n[:, None]
        apart = np.where(whole[..., None], taken - mean[:, None], 0.0)
        spread = np.sqrt((apart**2).mean(axis=2).sum(axis=1) / (n - 1))
        share = spread / (mean.max(axis=1) - mean.min(axis=1))
    few = n < least
    mean[few] = np.nan
    return mean, np.where(few, np.nan, share)


def _extent(curves: FloatArray) -> FloatArray:
    return np.asarray(curves.max(axis=1, initial=-np.inf) - curves.min(axis=1, initial=np.inf))


def _swing_peak(curves: FloatArray) -> FloatArray:
    return np.asarray(curves[:, POINTS // 2 :].max(axis=1, initial=-np.inf))


def _both(values: Mapping[str, FloatArray]) -> FloatArray:
    """Mean of the sides that are there."""
    stack = np.stack([values[side] for side in SIDES])
    n = np.isfinite(stack).sum(axis=0)
    with np.errstate(invalid="ignore", divide="ignore"):
        mean: FloatArray = np.where(np.isfinite(stack), stack, 0.0).sum(axis=0) / n
    return mean


def _coordination_index(phase: FloatArray, rows: IndexArray, least: int) -> FloatArray:
    mean, sd = _mean_sd(phase, rows, least)
    away, _ = _mean_sd(np.abs(phase - EVEN_DEG), rows, least)
    return coordination_index(mean, sd, away)


def _pooled_variation(times: Mapping[str, FloatArray], rows: Mapping[str, IndexArray], least: int) -> FloatArray:
    """Coefficient of variation, percent, of both sides pooled: a difference between them is no variability."""
    freedom, square, number, total = (np.zeros(len(rows[SIDES[0]])) for _ in range(4))
    for side in SIDES:
        mean, sd = _mean_sd(times[side], rows[side], least)
        n = np.where(np.isfinite(sd), np.isfinite(_take(times[side], rows[side])).sum(axis=1), 0)
        freedom, number = freedom + np.maximum(n - 1, 0), number + n
        square = square + np.where(n > 0, (n - 1) * sd**2, 0.0)
        total = total + np.where(n > 0, n * mean, 0.0)
    with np.errstate(invalid="ignore", divide="ignore"):
        return np.asarray(100.0 * np.sqrt(square / freedom) * number / total)


def _measures(sides: Mapping[str, _Side], rows: Mapping[str, IndexArray], least: int) -> dict[str, FloatArray]:
    per: dict[str, dict[str, FloatArray]] = {}

    def put(name: str, side: str, values: FloatArray) -> None:
        per.setdefault(name, {})[side] = values

    mean_curve: dict[str, FloatArray] = {}
    for name, side in sides.items():
        at = rows[name]
        stride_time = _median(side.stride_time, at, least)
        put("stride_time", name, stride_time)
        put("step_time", name, _median(side.step_time, at, least))
        stance = _median(side.stance, at, least)
        put("stance_fraction", name, 100.0 * stance)
        put("swing_time", name, stride_time * (1.0 - stance))
        put("phase_coordination_index", name, _coordination_index(side.phase, at, least))
        curve, variability = _mean_curves(side.curves, at, least)
        shape = scaled(curve)
        mean_curve[name] = shape
        put("shape_variability", name, variability)
        put("swing_peak_timing", name, swing_peak_timing(shape))
        width, lean = half_height(shape)
        put("swing_width", name, width)
        put("swing_lean", name, lean)
        put("loading_wave", name, loading_wave(shape))
        put("stance_level", name, stance_level(shape))
        put("fundamental_phase", name, 360.0 * fundamental_phase(shape))
        put("response_range", name, _median(_extent(side.curves), at, least))
        put("range_of_motion", name, _median(_extent(side.angles), at, least))
        put("swing_peak", name, _median(_swing_peak(side.angles), at, least))
    left, right = SIDES
    # The right contact lags the left one by the phase of the left stride; the mirrored phase, where the left is
    # missing, is its complement.
    lag = _both({left: _median(sides[left].phase, rows[left], least),
                 right: 360.0 - _median(sides[right].phase, rows[right], least)})  # fmt: skip
    relative: FloatArray = lag + per["fundamental_phase"][right] - per["fundamental_phase"][left]
    out = {
        name: _both(per[name])
        for name in (
            "stride_time", "stance_fraction", "phase_coordination_index", "shape_variability",
            "swing_peak_timing", "swing_width", "swing_lean", "loading_wave", "range_of_motion", "swing_peak",
        )
    }  # fmt: skip
    out["stride_time_cv"] = _pooled_variation({name: side.stride_time for name, side in sides.items()}, rows, least)
    for name in (
        "shape_variability", "swing_peak_timing", "swing_width", "swing_lean", "loading_wave", "stance_level",
        "swing_peak",
    ):  # fmt: skip
        out[f"{name}_difference"] = per[name][right] - per[name][left]
    for name in ("step_time", "swing_time", "range_of_motion"):
        out[f"{name}_log_ratio"] = log_ratio(per[name][left], per[name][right])
    out["response_log_ratio"] = log_ratio(per["response_range"][left], per["response_range"][right])
    # Taken about 180 degrees, so that a phase just past it does not come out as a whole turn away.
    out["relative_phase_deviation"] = relative % 360.0 - 180.0
    out["waveform_difference"] = np.sqrt(((mean_curve[right] - mean_curve[left]) ** 2).mean(axis=1))
    return out


def gait_features(
    walk: WalkLike,
    knees: Mapping[str, FloatArray],
    fs: float,
    parameters: FeatureParameters | None = None,
    angles: Mapping[str, FloatArray] | None = None,
) -> pd.DataFrame:
    """Roll a window of a few strides along a walk and take the features of each.

    Parameters
    ----------
    walk : Walk
        Its ``strides`` (columns ``side, onset, stride_time, step_time, phase`` and, where toe-off is known,
        ``stance_fraction``; rows marked ``steady`` false are left out) and its ``polarity`` of each side.
    knees : mapping of 'left', 'right' to array, shape (n,)
        Conditioned response of each recorded knee, in any unit.
    fs : float
        Sampling frequency of the curves, Hz.
    parameters : FeatureParameters, optional
        Length of the window.
    angles : mapping of 'left', 'right' to array, shape (n,), optional
        Calibrated knee angles in degrees; leave out a side that has none. An all-NaN angle counts as none.

    Returns
    -------
    DataFrame
        One row per window in order of time: `WINDOW_COLUMNS`, then every name of `GAIT_FEATURES`. A window
        holds ``window_strides`` consecutive strides of the side with more strides and those of the other side
        that have their middle in the same span; a stretch of walking shorter than that gives one window.

    Notes
    -----
    Amplitude in degrees needs both sides calibrated: one calibrated side beside an uncalibrated one would be
    a mean of different things.
    """
    parameters = parameters or FeatureParameters()
    strides = walk.strides
    if "steady" in strides:
        strides = strides[strides["steady"].astype(bool)]
    there = [side for side in SIDES if side in knees and (strides["side"] == side).any()]
    calibrated = {
        side: angle for side, angle in (angles or {}).items() if side in there and bool(np.isfinite(angle).any())
    }
    if len(calibrated) < len(there):
        calibrated = {}
    sides = {
        side: _side(
            strides if side in there else strides.iloc[:0],
            side,
            knees.get(side),
            calibrated.get(side),
            fs,
            walk.polarity[side].sign if side in there else 1,
        )
        for side in SIDES
    }
    names = [spec.name for spec in GAIT_FEATURES]
    anchor = max(SIDES, key=lambda side: sides[side].n)
    spans = _windows(sides[anchor], parameters)
    if not spans:
        return pd.DataFrame({n: pd.Series(dtype="float64") for n in (*WINDOW_COLUMNS, *names)}).astype(
            {"knees": "object", "strides": "int64"}
        )
    lead = sides[anchor]
    starts = np.array([lead.onset[a] for a, _ in spans])
    ends = np.array([lead.onset[b - 1] + lead.stride_time[b - 1] for _, b in spans])
    rows = {anchor: _indices(spans)}
    other = SIDES[1 - SIDES.index(anchor)]
    middle = sides[other].onset + 0.5 * sides[other].stride_time
    first, last = np.searchsorted(middle, starts), np.searchsorted(middle, ends)
    rows[other] = _indices(list(zip(first.tolist(), last.tolist(), strict=True)))
    measures = _measures(sides, rows, STRIDES_LEAST)
    if unmeasured := [name for name in names if name not in measures]:
        raise KeyError(f"in GAIT_FEATURES, but without a column in _measures: {', '.join(unmeasured)}")
    both = np.isfinite(measures["waveform_difference"])
    frame = pd.DataFrame(
        {
            "onset": starts,
            "duration": ends - starts,
            "time": 0.5 * (starts + ends),
            "knees": np.where(both, "both", anchor),
            "strides": np.array([b - a for a, b in spans]),
            **{name: measures[name] for name in names},
        }
    )
    return frame.sort_values("onset", kind="stable", ignore_index=True)
