"""One row of gait measures from a set of strides, each with a bootstrap interval over strides.

In: the strides of one gait state (steady ones are used) and, for the waveform measures, the knee curves. Out: a
mapping from column of ``tables/gait.tsv`` to value. A left stride and the right stride that begins inside it are one
cycle, because they are the same few steps, and cycles are drawn with replacement. Limits are bias-corrected and
accelerated (Efron 1987, J Am Stat Assoc 82:171). They know how strides scatter about their mean; what they do not
know, that strides resemble the ones before and that landmarks err, is added by `landmark_errors`.
"""

from __future__ import annotations

import zlib
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from functools import partial
from typing import Final

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from ..stats.intervals import cluster_bootstrap
from ..vocabulary import SIDES
from .asymmetry import log_ratio, symmetry_angle, symmetry_index, symmetry_ratio
from .curves import stride_curves
from .parameters import GaitParameters
from .phase import EVEN_DEG, coordination_index

__all__ = ["ASYMMETRIES", "ASYMMETRY_QUANTITIES", "SIDE_QUANTITIES", "summarise_walk"]

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.intp]

SIDE_QUANTITIES: Final = (
    "stride_time",
    "step_time",
    "swing_peak",
    "range_of_motion",
    "amplitude",
    "stance_time",
    "swing_time",
    "stance_fraction",
    "response_range",
)
"""Columns of the strides whose mean is given for each side."""
ASYMMETRY_QUANTITIES: Final = (
    "step_time",
    "amplitude",
    "response_range",
    "range_of_motion",
    "stance_time",
    "swing_time",
)
ASYMMETRIES: Final = {
    "symmetry_index": symmetry_index,
    "symmetry_angle": symmetry_angle,
    "symmetry_ratio": symmetry_ratio,
    "log_ratio": log_ratio,
}
_TOGETHER: Final = 100
"""Resamples whose curves are worked on at once: they fit into a processor's own memory (ours, for speed)."""
CURVE_POINTS = 101
"""Points of a stride curve: one for each percent of the stride, as gait curves are usually printed (common
practice)."""


@dataclass(frozen=True)
class _Quantity:
    """What each cycle adds to count, sum and sum of squares of one quantity of one side."""

    sums: FloatArray
    centre: float


class _Moments:
    """Mean and standard deviation of quantities from sums; one entry per resample."""

    def __init__(self, sums: FloatArray, centres: tuple[float, ...]) -> None:
        self._sums, self._centres = sums, centres

    def count(self, place: int) -> FloatArray:
        number: FloatArray = self._sums[:, 3 * place]
        return number

    def mean(self, place: int) -> FloatArray:
        mean: FloatArray = self._centres[place] + self._sums[:, 3 * place + 1] / self.count(place)
        return mean

    def spread(self, place: int) -> FloatArray:
        n = self.count(place)
        square = self._sums[:, 3 * place + 2] - self._sums[:, 3 * place + 1] ** 2 / n
        spread: FloatArray = np.where(n > 1, np.sqrt(np.maximum(square, 0.0) / np.maximum(n - 1, 1)), np.nan)
        return spread


Formula = Callable[[_Moments], FloatArray]


def _cycles(rows: Mapping[str, pd.DataFrame]) -> tuple[dict[str, IntArray], int]:
    """Cycle of each stride: a right stride shares that of the left stride it begins in."""
    left = rows["left"]["onset"].to_numpy(dtype=float)
    end = left + rows["left"]["stride_time"].to_numpy(dtype=float)
    right = rows["right"]["onset"].to_numpy(dtype=float)
    inside = np.searchsorted(left, right, side="right") - 1
    paired = inside >= 0
    paired[paired] = right[paired] < end[inside[paired]]
    first = np.concatenate([[True], inside[1:] != inside[:-1]]) if right.size else np.zeros(0, dtype=bool)
    paired &= first
    alone = np.cumsum(~paired) - 1 + left.size
    cycle = np.where(paired, inside, alone).astype(np.intp)
    return {"left": np.arange(left.size), "right": cycle}, left.size + int(np.count_nonzero(~paired))


def _quantity(values: FloatArray, cycle: IntArray, cycles: int) -> _Quantity:
    there = np.isfinite(values)
    centre = float(values[there].mean()) if there.any() else 0.0
    shifted = np.where(there, values - centre, 0.0)
    sums = np.zeros((cycles, 3))
    np.add.at(sums, cycle, np.column_stack([there.astype(float), shifted, shifted**2]))
    return _Quantity(sums, centre)


def _alike(one: FloatArray, two: FloatArray) -> FloatArray:
    """Pearson correlation of curves, row by row; NaN where one does not move."""
    a = one - one.mean(axis=1, keepdims=True)
    b = two - two.mean(axis=1, keepdims=True)
    norm = np.sqrt((a**2).sum(axis=1) * (b**2).sum(axis=1))
    alike: FloatArray = np.where(norm > 0.0, (a * b).sum(axis=1) / np.where(norm > 0.0, norm, 1.0), np.nan)
    return alike


def _regularity(curves: FloatArray, knee: FloatArray, strides: pd.DataFrame, fs: float) -> FloatArray:
    """Autocorrelation at a lag of one stride, stride by stride: how well the next stride repeats this one in time."""
    following = strides.assign(onset=strides["onset"] + strides["stride_time"])
    return _alike(curves, stride_curves(knee, following, fs, points=CURVE_POINTS))


def summarise_walk(
    strides: pd.DataFrame,
    parameters: GaitParameters,
    *,
    knees: Mapping[str, FloatArray] | None = None,
    fs: float | None = None,
    key: str = "",
) -> dict[str, float | int | str | None]:
    """Summarise the steady strides of one gait state.

    Parameters
    ----------
    strides : DataFrame
        Rows as in `detect_walk`; only those with ``steady`` are used.
    parameters : GaitParameters
        Settings of the bootstrap and of the warning.
    knees : mapping of side to ndarray, optional
        Knee curves with flexion upwards, for the waveform measures.
    fs : float, optional
        Sampling frequency of ``knees`` in Hz.
    key : str
        Name of the recording and state: the same key and seed give the same intervals.

    Returns
    -------
    dict
        ``n_strides``, ``n_strides_left``, ``n_strides_right``, ``warning`` (None when there is none) and every measure
        with ``_low`` and ``_high`` (95 %); NaN where a measure cannot be had from these strides.
    """
    used = strides[strides["steady"].to_numpy(dtype=bool)].sort_values("onset")
    rows = {side: used[used["side"] == side] for side in SIDES}
    counts = {side: len(rows[side]) for side in SIDES}
    cycle, cycles = _cycles(rows)
    quantities: dict[tuple[str, str], _Quantity] = {}
    curves: dict[str, FloatArray] = {}
    for side in SIDES:
        values = {name: rows[side][name].to_numpy(dtype=float) for name in (*SIDE_QUANTITIES, "phase")}
        values["phase_deviation"] = np.abs(values["phase"] - EVEN_DEG)
        into = rows[side]["swing_peak_time"].to_numpy(dtype=float) - rows[side]["onset"].to_numpy(dtype=float)
        values["swing_peak_timing"] = 100.0 * into / values["stride_time"]
        values["regularity"] = np.full(counts[side], np.nan)
        if knees is not None and fs is not None and side in knees and counts[side] > 0:
            curves[side] = stride_curves(knees[side], rows[side], fs, points=CURVE_POINTS)
            values["regularity"] = _regularity(curves[side], knees[side], rows[side], fs)
        for name, column in values.items():
            quantities[side, name] = _quantity(column, cycle[side], cycles)
    seed = (parameters.seed, zlib.crc32(key.encode()))

    def interval(sums: FloatArray, statistic: Callable[[FloatArray], FloatArray]) -> tuple[float, float, float]:
        with np.errstate(divide="ignore", invalid="ignore"):
            estimate = float(statistic(sums.sum(axis=0, keepdims=True))[0]) if len(sums) else float("nan")
        if not np.isfinite(estimate):
            return float("nan"), float("nan"), float("nan")
        found = cluster_bootstrap(sums, statistic, draws=parameters.bootstrap_resamples, seed=seed)
        return estimate, found.low, found.high

    result: dict[str, float | int | str | None] = {
        "n_strides": counts["left"] + counts["right"],
        "n_strides_left": counts["left"],
        "n_strides_right": counts["right"],
        "warning": _warning(counts, parameters.strides_min),
    }
    for name, (needs, formula) in _measures(quantities, counts).items():
        table = np.hstack([quantities[need].sums for need in needs])
        centres = tuple(quantities[need].centre for need in needs)
        statistic = partial(_from_sums, centres, formula)
        result[name], result[f"{name}_low"], result[f"{name}_high"] = interval(table, statistic)
    name = "waveform_likeness"
    table = np.zeros((0, 1))
    if all(side in curves for side in SIDES):
        table = np.hstack([_curve_sums(curves[side], cycle[side], cycles) for side in SIDES])
    result[name], result[f"{name}_low"], result[f"{name}_high"] = interval(table, _likeness)
    return result


def _from_sums(centres: tuple[float, ...], formula: Formula, sums: FloatArray) -> FloatArray:
    return formula(_Moments(sums, centres))


def _curve_sums(curves: FloatArray, cycle: IntArray, cycles: int) -> FloatArray:
    """Count and sum of the stride curves of each cycle."""
    whole = np.isfinite(curves).all(axis=1)
    sums = np.zeros((cycles, 1 + CURVE_POINTS))
    np.add.at(sums, cycle[whole], np.column_stack([np.ones(np.count_nonzero(whole)), curves[whole]]))
    return sums


def _likeness(sums: FloatArray) -> FloatArray:
    """Correlation of the mean stride curves of the two knees."""
    found = np.empty(len(sums))
    for start in range(0, len(sums), _TOGETHER):
        one, two = np.hsplit(sums[start : start + _TOGETHER], 2)
        found[start : start + _TOGETHER] = _alike(one[:, 1:] / one[:, :1], two[:, 1:] / two[:, :1])
    return found


def _warning(counts: Mapping[str, int], least: int) -> str | None:
    few = [f"{counts[side]} on the {side}" for side in SIDES if counts[side] < least]
    return f"fewer than {least} steady strides ({', '.join(few)}): variability is not stable" if few else None


def _measures(
    quantities: Mapping[tuple[str, str], _Quantity], counts: Mapping[str, int]
) -> dict[str, tuple[tuple[tuple[str, str], ...], Formula]]:
    """Every measure: the quantities it needs and its formula."""
    walked = tuple(side for side in SIDES if counts[side]) or SIDES
    strides = tuple((side, "stride_time") for side in walked)
    places = range(len(walked))

    def mean_stride(m: _Moments) -> FloatArray:
        mean: FloatArray = np.sum([m.mean(k) * m.count(k) for k in places], axis=0) / np.sum(
            [m.count(k) for k in places], axis=0
        )
        return mean

    def spread_stride(m: _Moments) -> FloatArray:
        # within a side: a difference between the sides is no variability
        square = np.sum([m.spread(k) ** 2 * (m.count(k) - 1) for k in places], axis=0)
        spread: FloatArray = np.sqrt(square / np.sum([m.count(k) - 1 for k in places], axis=0))
        return spread

    def swing(side: str) -> float:
        one = quantities[side, "swing_time"]
        total = one.sums.sum(axis=0)
        return float(one.centre + total[1] / total[0]) if total[0] else float("-inf")

    # the leg with the longer swing is the reference of the coordination index (Plotnik et al. 2007; from memory)
    reference = "right" if swing("right") > swing("left") else "left"
    phase, deviation = (reference, "phase"), (reference, "phase_deviation")
    found: dict[str, tuple[tuple[tuple[str, str], ...], Formula]] = {
        "cadence": (strides, lambda m: 120.0 / mean_stride(m)),
        "stride_time_mean": (strides, mean_stride),
        "stride_time_sd": (strides, spread_stride),
        "stride_time_cv": (strides, lambda m: 100.0 * spread_stride(m) / mean_stride(m)),
        "phase_mean": ((phase,), lambda m: m.mean(0)),
        "phase_deviation": ((deviation,), lambda m: m.mean(0)),
        "coordination_index": (
            (phase, deviation),
            lambda m: coordination_index(m.mean(0), m.spread(0), m.mean(1)),
        ),
    }
    for side in SIDES:
        for name in (*SIDE_QUANTITIES, "swing_peak_timing"):
            found[f"{name}_mean_{side}"] = (((side, name),), lambda m: m.mean(0))
        found[f"stride_regularity_{side}"] = (((side, "regularity"),), lambda m: m.mean(0))
    timings = (("left", "swing_peak_timing"), ("right", "swing_peak_timing"))
    found["swing_peak_timing_difference"] = (timings, lambda m: m.mean(1) - m.mean(0))
    for name in ASYMMETRY_QUANTITIES:
        pair = (("left", name), ("right", name))
        for title, asymmetry in ASYMMETRIES.items():
            found[f"{name}_{title}"] = (pair, partial(_between, asymmetry))
    return found


def _between(asymmetry: Callable[[FloatArray, FloatArray], FloatArray], m: _Moments) -> FloatArray:
    return asymmetry(m.mean(0), m.mean(1))
