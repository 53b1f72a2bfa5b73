"""What goes on beside a candidate: sips are like the sips before and after them, words are not.

In: waveforms and measures of the candidates of one or more streams, by onset. Out: how like its neighbours each is,
and what the run it stands in is like.
"""

from __future__ import annotations

from typing import Final, Literal

import numpy as np
import numpy.typing as npt
import pandas as pd

from .activity import Array
from .features import RUN_PAUSE_S

Mask = npt.NDArray[np.bool_]

__all__ = ["compare_with_company"]

# A neighbour is what a person does in the same breath: sips of one drink lie closer together than this.
_NEIGHBOUR_S: Final = 1.0


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

    def over_run(values: Array, how: Literal["median", "std"]) -> Array:
        found: Array = pd.Series(values).groupby(run).transform(how).fillna(0.0).to_numpy(dtype=float)
        return found

    return {
        "neighbour_unlikeness": nearer(unlike),
        "neighbour_size_difference": nearer(np.abs(np.diff(size))),
        "neighbour_duration_difference": nearer(np.abs(np.diff(duration))),
        "plausibility": plausible,
        "run_plausibility": over_run(plausible, "median"),
        "run_pattern_likeness": over_run(measured["pattern_likeness"].to_numpy(dtype=float), "median"),
        "run_size_spread": over_run(size, "std"),
        "run_duration_spread": over_run(duration, "std"),
        "run_log_duration": over_run(duration, "median"),
    }
