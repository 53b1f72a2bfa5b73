"""Rest, gait, turns and other movement: states that tile a recording.

In: the landmarks of swings, the rate of change of the knees, the local stride time. Out: a mask of walking and a
mask of rest on the analysis grid, and the frame of states made from them. A walk is a chain of swings at the
rhythm of the stride; rest is stillness of every knee there is; what is left is other movement.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from scipy.ndimage import uniform_filter1d

from .prepare import ANALYSIS_RATE_HZ

__all__ = ["activity", "linked_spans", "mask_of", "runs", "states_frame"]

FloatArray = NDArray[np.float64]
BoolArray = NDArray[np.bool_]
IntArray = NDArray[np.intp]

ACTIVITY_WINDOW_S = 0.4


def activity(speeds: Sequence[FloatArray], levels: Sequence[float]) -> FloatArray:
    """Movement of the busier knee as a part of its walking, on the analysis grid.

    Parameters
    ----------
    speeds : sequence of ndarray, shape (n,)
        Rate of change of each knee.
    levels : sequence of float
        Root mean square rate of change of each knee while walking.
    """
    width = int(ACTIVITY_WINDOW_S * ANALYSIS_RATE_HZ)
    each = [
        np.sqrt(np.maximum(uniform_filter1d(speed**2, width, mode="nearest"), 0.0)) / level
        for speed, level in zip(speeds, levels, strict=True)
    ]
    most: FloatArray = np.max(each, axis=0)
    return most


def runs(mask: BoolArray) -> tuple[IntArray, IntArray]:
    """First samples and one-past-last samples of the runs of True."""
    edges = np.diff(np.concatenate([[0], mask.astype(np.int8), [0]]))
    return np.flatnonzero(edges == 1), np.flatnonzero(edges == -1)


def mask_of(starts: FloatArray, stops: FloatArray, n: int) -> BoolArray:
    """Mask of the union of spans given in samples."""
    change = np.zeros(n + 1)
    np.add.at(change, np.clip(np.round(starts), 0, n).astype(int), 1.0)
    np.add.at(change, np.clip(np.round(stops), 0, n).astype(int), -1.0)
    covered: BoolArray = np.cumsum(change)[:n] > 0.5
    return covered


def linked_spans(
    peak: FloatArray, first: FloatArray, last: FloatArray, longest: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """Spans between consecutive swings that follow one another closely enough.

    Parameters
    ----------
    peak, first, last : ndarray, shape (k,)
        Peak, start and end of each swing in samples, in order of the peaks.
    longest : ndarray, shape (k,)
        Longest time from each peak to the next, in samples, that still is one walk.
    """
    close = np.diff(peak) <= longest[:-1]
    return first[:-1][close], last[1:][close]


def states_frame(labels: NDArray[np.object_], n: int) -> pd.DataFrame:
    """Tile the recording: one row per run of equal labels (onset, duration, trial_type)."""
    if n == 0:
        return pd.DataFrame({"onset": [], "duration": [], "trial_type": []})
    start = np.concatenate([[0], np.flatnonzero(labels[1:] != labels[:-1]) + 1])
    stop = np.concatenate([start[1:], [n]])
    return pd.DataFrame(
        {
            "onset": start / ANALYSIS_RATE_HZ,
            "duration": (stop - start) / ANALYSIS_RATE_HZ,
            "trial_type": labels[start].astype(str),
        }
    )
