"""One row of gait measures from a set of strides, each with a bootstrap interval over strides.

In: the strides of one gait state (steady ones are used) and, for waveform measures, the knee curves. Out: a mapping
from column of ``tables/gait.tsv`` to value. Percentile bootstrap (Efron & Tibshirani 1993, An Introduction to the
Bootstrap, ch. 13; from memory): strides are drawn with replacement within each side; every measure is a function of
sums over strides, so that all resamples are one matrix product.
"""

from __future__ import annotations

import zlib
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from .asymmetry import log_ratio, symmetry_angle, symmetry_index, symmetry_ratio
from .curves import stride_curves
from .parameters import GaitParameters
from .phase import EVEN_DEG, coordination_index_from

__all__ = ["ASYMMETRY_QUANTITIES", "PAIR_MEASURES", "SIDE_MEASURES", "WHOLE_MEASURES", "summarise_walk"]

FloatArray = NDArray[np.float64]

SIDES = ("left", "right")
QUANTITIES = ("stride_time", "step_time", "swing_peak", "range_of_motion", "amplitude", "stance_time", "swing_time")
"""Means of these are given for each side."""
ASYMMETRY_QUANTITIES = ("step_time", "amplitude", "stance_time", "swing_time")
WHOLE_MEASURES = (
    "cadence",
    "stride_time_mean",
    "stride_time_sd",
    "stride_time_cv",
    "phase_mean",
    "phase_deviation",
    "coordination_index",
    "waveform_likeness",
)
SIDE_MEASURES = (*(f"{quantity}_mean" for quantity in QUANTITIES), "stance_fraction_mean", "stride_regularity")
PAIR_MEASURES = ("symmetry_index", "symmetry_angle", "symmetry_ratio", "log_ratio")


@dataclass(frozen=True)
class _Moments:
    """Mean, standard deviation (n - 1) and count of columns, one row per resample."""

    mean: FloatArray
    spread: FloatArray


def _moments(draws: FloatArray, columns: FloatArray) -> _Moments:
    """Weighted moments; NaN entries of a column are left out of it.

    Parameters
    ----------
    draws : ndarray, shape (b, n)
        How often each stride was drawn.
    columns : ndarray, shape (n, k)
        Values.
    """
    there = np.isfinite(columns)
    count = draws @ there.astype(float)
    some = np.maximum(count, 1.0)
    with_data = np.maximum(there.sum(axis=0), 1)
    centre = np.where(there, columns, 0.0).sum(axis=0) / with_data
    shifted = np.where(there, columns - centre, 0.0)
    mean = draws @ shifted / some
    square = draws @ shifted**2 / some - mean**2
    spread = np.sqrt(np.maximum(square, 0.0) * some / np.maximum(count - 1.0, 1.0))
    return _Moments(mean=np.where(count > 0, mean + centre, np.nan), spread=np.where(count > 1, spread, np.nan))


def _likeness(left: FloatArray, right: FloatArray) -> FloatArray:
    """Pearson correlation of the mean stride curves of the sides, one per resample."""
    one = left - left.mean(axis=1, keepdims=True)
    two = right - right.mean(axis=1, keepdims=True)
    norm = np.sqrt((one**2).sum(axis=1) * (two**2).sum(axis=1))
    alike: FloatArray = np.where(norm > 0.0, (one * two).sum(axis=1) / np.where(norm > 0.0, norm, 1.0), np.nan)
    return alike


def _regularity(knee: FloatArray, strides: pd.DataFrame, fs: float) -> FloatArray:
    """Autocorrelation at a lag of one stride, stride by stride: how well the next stride repeats this one in time."""
    following = strides.assign(onset=strides["onset"] + strides["stride_time"])
    one = stride_curves(knee, strides, fs)
    two = stride_curves(knee, following, fs)
    one = one - one.mean(axis=1, keepdims=True)
    two = two - two.mean(axis=1, keepdims=True)
    norm = np.sqrt((one**2).sum(axis=1) * (two**2).sum(axis=1))
    alike: FloatArray = np.where(norm > 0.0, (one * two).sum(axis=1) / np.where(norm > 0.0, norm, 1.0), np.nan)
    return alike


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
        with ``_low`` and ``_high`` (95 %).
    """
    used = strides[strides["steady"].to_numpy(dtype=bool)]
    generator = np.random.Generator(
        np.random.PCG64(np.random.SeedSequence([parameters.seed, zlib.crc32(key.encode())]))
    )
    resamples = parameters.bootstrap_resamples
    means: dict[str, dict[str, FloatArray]] = {}
    spreads: dict[str, dict[str, FloatArray]] = {}
    curves: dict[str, FloatArray] = {}
    counts = {}
    for side in SIDES:
        rows = used[used["side"] == side]
        counts[side] = len(rows)
        named = {quantity: rows[quantity].to_numpy(dtype=float) for quantity in QUANTITIES}
        named["stance_fraction"] = rows["stance_fraction"].to_numpy(dtype=float)
        named["phase"] = rows["phase"].to_numpy(dtype=float)
        named["phase_deviation"] = np.abs(named["phase"] - EVEN_DEG)
        named["regularity"] = np.full(len(rows), np.nan)
        shape = np.zeros((len(rows), 0))
        if knees is not None and fs is not None and side in knees and len(rows):
            named["regularity"] = _regularity(knees[side], rows, fs)
            shape = stride_curves(knees[side], rows, fs)
        draws = np.ones((resamples + 1, len(rows)))
        if len(rows):
            draws[1:] = generator.multinomial(len(rows), np.full(len(rows), 1.0 / len(rows)), size=resamples)
        found = _moments(draws, np.column_stack([*named.values(), shape]))
        means[side] = {name: found.mean[:, place] for place, name in enumerate(named)}
        spreads[side] = {name: found.spread[:, place] for place, name in enumerate(named)}
        curves[side] = found.mean[:, len(named) :]
    measures = _measures(means, spreads, counts)
    if curves["left"].shape[1] and curves["right"].shape[1]:
        measures["waveform_likeness"] = _likeness(curves["left"], curves["right"])
    result: dict[str, float | int | str | None] = {
        "n_strides": counts["left"] + counts["right"],
        "n_strides_left": counts["left"],
        "n_strides_right": counts["right"],
        "warning": _warning(counts, parameters.strides_min),
    }
    for name, values in measures.items():
        result[name] = float(values[0])
        drawn = values[1:][np.isfinite(values[1:])]
        enough = drawn.size >= 0.9 * resamples and np.isfinite(values[0])
        low, high = np.quantile(drawn, [0.025, 0.975]) if enough else (np.nan, np.nan)
        result[f"{name}_low"], result[f"{name}_high"] = float(low), float(high)
    return result


def _warning(counts: Mapping[str, int], least: int) -> str | None:
    few = [f"{counts[side]} on the {side}" for side in SIDES if counts[side] < least]
    return f"fewer than {least} steady strides ({', '.join(few)}): variability is not stable" if few else None


def _both_sides(values: Mapping[str, Mapping[str, FloatArray]], name: str, counts: Mapping[str, int]) -> FloatArray:
    """Mean of the sides that have strides, weighted by their strides."""
    total = np.zeros_like(values["left"][name])
    weight = np.zeros_like(total)
    for side in SIDES:
        there = np.isfinite(values[side][name]) & (counts[side] > 0)
        total += np.where(there, values[side][name] * counts[side], 0.0)
        weight += np.where(there, counts[side], 0.0)
    mean: FloatArray = np.where(weight > 0.0, total / np.maximum(weight, 1.0), np.nan)
    return mean


def _measures(
    means: Mapping[str, Mapping[str, FloatArray]],
    spreads: Mapping[str, Mapping[str, FloatArray]],
    counts: Mapping[str, int],
) -> dict[str, FloatArray]:
    stride = _both_sides(means, "stride_time", counts)
    spread = _both_sides(spreads, "stride_time", counts)
    swing = {side: means[side]["swing_time"][0] for side in SIDES}
    # the leg with the longer swing is the reference of the coordination index (Plotnik et al. 2007; from memory)
    longer = "right" if swing["right"] > swing["left"] or not np.isfinite(swing["left"]) else "left"
    reference = means[longer]
    measures = {
        "cadence": 120.0 / stride,
        "stride_time_mean": stride,
        "stride_time_sd": spread,
        "stride_time_cv": 100.0 * spread / stride,
        "phase_mean": reference["phase"],
        "phase_deviation": reference["phase_deviation"],
        "coordination_index": coordination_index_from(
            reference["phase"], spreads[longer]["phase"], reference["phase_deviation"]
        ),
        "waveform_likeness": np.full(stride.size, np.nan),
    }
    for side in SIDES:
        for quantity in (*QUANTITIES, "stance_fraction"):
            measures[f"{quantity}_mean_{side}"] = means[side][quantity]
        measures[f"stride_regularity_{side}"] = means[side]["regularity"]
    formulas = {
        "symmetry_index": symmetry_index,
        "symmetry_angle": symmetry_angle,
        "symmetry_ratio": symmetry_ratio,
        "log_ratio": log_ratio,
    }
    for quantity in ASYMMETRY_QUANTITIES:
        for name, formula in formulas.items():
            measures[f"{quantity}_{name}"] = formula(means["left"][quantity], means["right"][quantity])
    return measures
