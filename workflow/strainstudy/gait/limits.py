"""Decide without labels: published limits of healthy timing, and the plain baselines a classifier must beat.

In: gait windows. Out: how far each window is beyond a limit, as a pseudo probability that smoothing can work
with (one half at the limit; it is not reported), and the side. The rule: limping where the longer swing time is
over `swing_ratio_limit` times the shorter (the largest of 16 healthy people of an open data set) or the phase
coordination index is over `coordination_limit_percent` (Plotnik et al. 2007; healthy values of Zadik et al. 2022).
How often healthy people cross these limits is in `FALSE_ALARMS`, which goes wherever the rule decides.
The limping side is the one with the longer swing and step (paretic legs swing longer: Patterson et al. 2008, Arch
Phys Med Rehabil 89:304-310; from memory). Uncalibrated amplitude has no say, as it holds the gain of each sensor.
"""

from __future__ import annotations

from typing import Final

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from .state_parameters import StateParameters

__all__ = ["FALSE_ALARMS", "amplitude_threshold", "excess_probability", "rule_probability", "rule_side"]

FloatArray = NDArray[np.float64]
BoolArray = NDArray[np.bool_]

FALSE_ALARMS: Final = (
    "with its default limits it calls about one healthy person in twelve limping (swing time 1 in 17, coordination "
    "index 1 in 40; by their sources, over a whole walk), more in short bouts"
)
"""1/17: the chance that one more of a kind exceeds the largest of 16. 1/40: above mean + 1.96 SD of a normal spread.
Their sum, 1 in 12, is the most that both together can come to."""


def excess_probability(value: FloatArray, limit: float) -> FloatArray:
    """Turn a size and its limit into a pseudo probability: one half at the limit, 0.94 at twice the limit."""
    ratio = (np.maximum(value, 0.0) / limit) ** 4
    return np.asarray(ratio / (1.0 + ratio))


def rule_probability(windows: pd.DataFrame, parameters: StateParameters) -> FloatArray:
    """Pseudo probability of limping by the published limits, shape (n,); NaN where timing of both feet is missing."""
    swing = np.abs(windows["swing_time_log_ratio"].to_numpy(dtype=float))
    index = windows["phase_coordination_index"].to_numpy(dtype=float)
    parts = np.stack(
        [
            excess_probability(swing, 100.0 * np.log(parameters.swing_ratio_limit)),
            excess_probability(index, parameters.coordination_limit_percent),
        ]
    )
    there = np.isfinite(parts)
    return np.where(there.any(axis=0), np.where(there, parts, -np.inf).max(axis=0), np.nan)


def rule_side(windows: pd.DataFrame, parameters: StateParameters) -> FloatArray:
    """Pseudo probability that a limp, if there is one, is on the left, shape (n,); NaN without both feet.

    The mean of the log ratios of swing and step time, in units of the swing limit, through a logistic curve.
    """
    ratios = np.stack([windows[name].to_numpy(dtype=float) for name in ("swing_time_log_ratio", "step_time_log_ratio")])
    there = np.isfinite(ratios)
    with np.errstate(invalid="ignore", divide="ignore"):
        mean = np.where(there, ratios, 0.0).sum(axis=0) / there.sum(axis=0)
    return np.asarray(1.0 / (1.0 + np.exp(2.0 * mean / (100.0 * np.log(parameters.swing_ratio_limit)))))


def amplitude_threshold(size: FloatArray, limping: BoolArray, weights: FloatArray) -> float:
    """Find the amplitude asymmetry that best parts limping from normal training windows, by balanced accuracy.

    Parameters
    ----------
    size : array, shape (n,)
        Size of the log ratio of the response ranges, percent; NaN is left out.
    limping : array of bool, shape (n,)
        Labels.
    weights : array, shape (n,)
        Weight of each window.

    Returns
    -------
    float
        Threshold half way between two neighbouring values; NaN without both classes.
    """
    there = np.isfinite(size)
    size, limping, weights = size[there], limping[there], weights[there]
    if not limping.any() or limping.all():
        return float("nan")
    order = np.argsort(size, kind="stable")
    size, limping, weights = size[order], limping[order], weights[order]
    below = np.cumsum(np.where(limping, 0.0, weights)) / weights[~limping].sum()
    missed = np.cumsum(np.where(limping, weights, 0.0)) / weights[limping].sum()
    score = 0.5 * (below + 1.0 - missed)
    best = int(np.argmax(score))
    return float(size[best] if best + 1 == len(size) else 0.5 * (size[best] + size[best + 1]))
