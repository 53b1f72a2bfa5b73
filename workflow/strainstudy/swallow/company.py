"""What goes on beside a candidate: sips are like the sips before and after them, words are not.

In: waveforms and measures of the candidates of one or more streams, by onset. Out: how like its neighbours each is,
and what the run it stands in is like.
"""

from __future__ import annotations

from collections.abc import Mapping
from itertools import pairwise
from typing import Final, Literal

import numpy as np
import numpy.typing as npt
import pandas as pd

from .activity import Array
from .features import RUN_PAUSE_S

Mask = npt.NDArray[np.bool_]

__all__ = ["FEWEST_SIPS", "compare_with_company", "likeness_in_run"]

# A neighbour is what a person does in the same breath: sips of one drink lie closer together than this.
_NEIGHBOUR_S: Final = 1.0
FEWEST_SIPS: Final = 3
"""Movements in a run from which it can be one of sips (ours)."""


def _of_nearer(before: Array, after: Array, near_before: Mask, near_after: Mask) -> Array:
    """Take the smaller of two distances, of those neighbours that are near; 0 where neither is."""
    least = np.minimum(np.where(near_before, before, np.inf), np.where(near_after, after, np.inf))
    return np.where(near_before | near_after, least, 0.0)


def compare_with_company(waves: Array, measured: pd.DataFrame, plausible: Array) -> dict[str, Array]:
    """Compare each candidate with those around it.

    Parameters
    ----------
    waves : array, shape (m, p)
        From `typical.waveforms`, m at least 1.
    measured : DataFrame
        ``size``, ``duration_s``, ``pause_before_s``, ``pause_after_s``, ``pattern_likeness``; streams one after the
        other, each by onset, the first of each with a long pause before it and the last with a long one after it.
    plausible : array, shape (m,)
        0 to 1.

    Returns
    -------
    dict
        Features of the group ``company``, each shape (m,).
    """
    near_before = measured["pause_before_s"].to_numpy(dtype=float) < _NEIGHBOUR_S
    near_after = measured["pause_after_s"].to_numpy(dtype=float) < _NEIGHBOUR_S
    size = np.log(np.maximum(measured["size"].to_numpy(dtype=float), np.finfo(float).tiny))
    duration = np.log(measured["duration_s"].to_numpy(dtype=float))
    unlike = 1.0 - (waves[1:] * waves[:-1]).sum(axis=1)

    def nearer(steps: Array) -> Array:
        none = np.zeros(1)
        return _of_nearer(np.concatenate([none, steps]), np.concatenate([steps, none]), near_before, near_after)

    run = np.cumsum(measured["pause_before_s"].to_numpy(dtype=float) > RUN_PAUSE_S)

    def over_run(values: Mapping[str, Array], how: Literal["median", "std"]) -> dict[str, Array]:
        found = pd.DataFrame(values).groupby(run).transform(how).fillna(0.0)
        return {name: found[name].to_numpy(dtype=float) for name in values}

    pattern = measured["pattern_likeness"].to_numpy(dtype=float)
    middles = {"run_plausibility": plausible, "run_pattern_likeness": pattern, "run_log_duration": duration}
    return {
        "neighbour_unlikeness": nearer(unlike),
        "neighbour_size_difference": nearer(np.abs(np.diff(size))),
        "neighbour_duration_difference": nearer(np.abs(np.diff(duration))),
        "plausibility": plausible,
        **over_run(middles, "median"),
        **over_run({"run_size_spread": size, "run_duration_spread": duration}, "std"),
    }


def likeness_in_run(waves: Array, measured: pd.DataFrame) -> dict[str, Array]:
    """Say how much of one kind the candidates of each run are, whatever the level they stand on.

    Drinking without a pause lifts the base line of all sips, or sinks it, so each is compared with the others of its
    run as it stands over the straight line between its own ends.

    Parameters
    ----------
    waves : array, shape (m, p)
        From `typical.waveforms`, m at least 1.
    measured : DataFrame
        ``onset``, ``pause_before_s``; streams one after the other, each by onset.

    Returns
    -------
    dict
        ``run_likeness`` (mean correlation with the others of the run), ``run_interval_cv`` (spread of the times from
        onset to onset over their mean), each shape (m,); 0 in runs of fewer than three.
    """
    p = waves.shape[1]
    free = waves - waves[:, :1] - (waves[:, -1:] - waves[:, :1]) * np.linspace(0, 1, p)
    free /= np.maximum(np.linalg.norm(free, axis=1, keepdims=True), np.finfo(float).tiny)
    onset = measured["onset"].to_numpy(dtype=float)
    run = np.cumsum(measured["pause_before_s"].to_numpy(dtype=float) > RUN_PAUSE_S)
    likeness, spread = np.zeros(len(waves)), np.zeros(len(waves))
    starts = np.concatenate([[0], np.flatnonzero(np.diff(run)) + 1, [len(run)]])
    for first, last in pairwise(starts.tolist()):
        n = last - first
        if n >= FEWEST_SIPS:
            whole = free[first:last].sum(axis=0)
            likeness[first:last] = (free[first:last] @ whole - 1) / (n - 1)
            steps = np.diff(onset[first:last])
            spread[first:last] = float(steps.std() / steps.mean())
    return {"run_likeness": likeness, "run_interval_cv": spread}
