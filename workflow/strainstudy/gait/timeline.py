"""From windows to time and back: labels onto windows, window probabilities onto bouts.

In: windows with their span, labels, probabilities. Out: the label of each window; a path of classes that is the
most probable one among those without a bout shorter than a minimum (semi-Markov decoding with a minimum
duration: Rabiner 1989, Proc IEEE 77(2):257-286, section IV.D; from memory); the stride at which a change happens.
"""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from ..signal.hampel import MAD_TO_SD
from ..vocabulary import GAIT_STATES, SIDES

__all__ = ["SWITCH_COST", "changes", "decode", "label_windows", "owned_spans"]

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.intp]
TextArray = NDArray[np.object_]

SWITCH_COST = 2.0
"""Log odds against a change of state within one window's length: a state lasts about a minute, a window about 7 s."""
CLEAN_SHARE = 0.75
"""A window this part of its length away from a change, or more, holds strides of one side of it, even if the change is
placed a little wrong."""
CLEAN_MIN, CLEAN_MAX = 3, 12
"""Windows that say how the person walks on one side of a change."""
TELLING = 1.0
"""A feature tells where a change is if it differs by this many of its own spreads."""
LOG_FLOOR = np.log(0.02)
"""No single window may speak louder than fifty to one: windows share strides, and labels have errors."""


def label_windows(windows: pd.DataFrame, labels: Mapping[str, pd.DataFrame], overlap_min: float) -> pd.DataFrame:
    """Give each window the gait state that a rater's labels say, the side of a limp, and the labelled bout.

    Parameters
    ----------
    windows : DataFrame
        ``recording_id, onset, duration``.
    labels : mapping of recording_id to DataFrame
        ``onset, duration, trial_type, side`` of the reference rater.
    overlap_min : float
        Share of the window that one label must cover.

    Returns
    -------
    DataFrame
        Columns ``label`` (normal_gait, limping_gait or None), ``side`` (or None) and ``unit`` (labelled bout, ``""``
        where there is none), with the index of ``windows``.
    """
    n = len(windows)
    label, side, unit = (np.full(n, v, dtype=object) for v in (None, None, ""))
    onset = windows["onset"].to_numpy(dtype=float)
    end = onset + windows["duration"].to_numpy(dtype=float)
    recordings = windows["recording_id"].to_numpy(dtype=object)
    for name in sorted(set(recordings.tolist()) & set(labels)):
        at = np.flatnonzero(recordings == name)
        sheet = labels[name]
        gait = sheet[sheet["trial_type"].isin(GAIT_STATES)].sort_values("onset", kind="stable")
        starts = gait["onset"].to_numpy(dtype=float)
        stops = starts + gait["duration"].to_numpy(dtype=float)
        for k, (word, leg) in enumerate(zip(gait["trial_type"].tolist(), gait["side"].tolist(), strict=True)):
            shared = np.minimum(end[at], stops[k]) - np.maximum(onset[at], starts[k])
            hit = at[shared >= overlap_min * (end[at] - onset[at])]
            label[hit] = word
            side[hit] = leg if word == "limping_gait" and leg in SIDES else None
            unit[hit] = f"{name}/{k:03d}"
    return pd.DataFrame({"label": label, "side": side, "unit": unit}, index=windows.index)


def owned_spans(centres: FloatArray, start: float, end: float) -> FloatArray:
    """Divide a walk among its windows: each owns the time nearer to its centre than to any other's, shape (n + 1,)."""
    middle = 0.5 * (centres[1:] + centres[:-1])
    return np.asarray(np.clip(np.concatenate([[start], middle, [end]]), start, end), dtype=np.float64)


def decode(
    probabilities: FloatArray, edges: FloatArray, window_s: FloatArray, bout_min_s: float, cost: float = SWITCH_COST
) -> IntArray:
    """Find the most probable path of classes without a bout shorter than the minimum.

    Parameters
    ----------
    probabilities : array, shape (n, k)
        Of each class in each window; NaN rows say nothing.
    edges : array, shape (n + 1,)
        Bounds of the time each window owns, seconds.
    window_s : array, shape (n,)
        Length of each window. Windows overlap, so each speaks for the share of its length that it owns only.
    bout_min_s : float
        Shortest bout; a walk shorter than that is one bout.
    cost : float
        Log odds against a change.

    Returns
    -------
    array of int, shape (n,)
        Class of each window.
    """
    n, k = probabilities.shape
    share = np.diff(edges) / window_s
    logs = np.maximum(np.log(np.maximum(probabilities, 1e-12)), LOG_FLOOR)
    # Class sums up to each edge.
    total = np.concatenate([np.zeros((1, k)), np.cumsum(share[:, None] * np.nan_to_num(logs, nan=0.0), axis=0)])
    if edges[-1] - edges[0] < 2 * bout_min_s:
        return np.full(n, int(np.argmax(total[-1])), dtype=np.intp)
    best = np.full((n + 1, k), -np.inf)
    origin = np.zeros((n + 1, k), dtype=np.intp)
    previous = np.zeros((n + 1, k), dtype=np.intp)
    # Best score of entering class c at an edge i from another class, less the class sum up to i.
    entry = np.full(k, -np.inf)
    entry_edge = np.zeros(k, dtype=np.intp)
    entry_class = np.zeros(k, dtype=np.intp)
    reach = 0
    for j in range(1, n + 1):
        while reach < j and edges[j] - edges[reach] >= bout_min_s:
            if reach == 0:
                entry, entry_edge = np.zeros(k), np.zeros(k, dtype=np.intp)
            else:
                for c in range(k):
                    others = np.where(np.arange(k) == c, -np.inf, best[reach])
                    b = int(np.argmax(others))
                    value = others[b] - cost - total[reach, c]
                    if value > entry[c]:
                        entry[c], entry_edge[c], entry_class[c] = value, reach, b
            reach += 1
        best[j] = entry + total[j]
        origin[j], previous[j] = entry_edge, entry_class
    path = np.empty(n, dtype=np.intp)
    j, c = n, int(np.argmax(best[n]))
    while j > 0:
        i, b = int(origin[j, c]), int(previous[j, c])
        path[i:j] = c
        j, c = i, b
    return path


def changes(path: IntArray, edges: FloatArray, centres: FloatArray, window_s: FloatArray, x: FloatArray) -> FloatArray:
    """Place the changes of a path at the strides where they happen.

    A window that holds a few strides of another kind already looks odd, so a path through windows changes too early
    into what is odd and too late out of it. Features that are medians of a window's strides pass from one level to the
    other when the window's centre passes the change: seen along the line between the two levels, as much lies past a
    change before it as short of it after it.

    Parameters
    ----------
    path : array of int, shape (n,)
        Class of each window, as `decode` gives it.
    edges : array, shape (n + 1,)
        Bounds of the time each window owns, seconds.
    centres, window_s : array, shape (n,)
        Centre and length of each window, seconds.
    x : array, shape (n, k)
        Features that are medians; NaN where missing.

    Returns
    -------
    array, shape (m,)
        Time of each change, in order.
    """
    at = np.flatnonzero(np.diff(path)) + 1
    bounds = [0, *at.tolist(), len(path)]
    times = []
    for first, change, last in zip(bounds[:-2], bounds[1:-1], bounds[2:], strict=True):
        away = CLEAN_SHARE * float(np.median(window_s[first:last]))
        before = np.arange(first, change)[centres[first:change] <= edges[change] - away][-CLEAN_MAX:]
        after = np.arange(change, last)[centres[change:last] >= edges[change] + away][:CLEAN_MAX]
        if min(len(before), len(after)) < CLEAN_MIN:
            times.append(float(edges[change]))
            continue
        part = slice(int(before[-1]) + 1, int(after[0]))
        passed = _passed(x[before], x[part], x[after])
        owned = np.diff(edges)[part]
        times.append(float(edges[change] if passed is None else edges[part.start] + ((1.0 - passed) * owned).sum()))
    ordered: FloatArray = np.maximum.accumulate(np.array(times, dtype=np.float64))
    return ordered


def _passed(before: FloatArray, between: FloatArray, after: FloatArray) -> FloatArray | None:
    """How far windows have passed from one level to the other, 0 to 1; None where no feature tells the levels apart."""
    there = np.isfinite(np.vstack([before, between, after])).all(axis=0)
    one, two = np.median(before[:, there], axis=0), np.median(after[:, there], axis=0)
    spread = 0.5 * (
        np.median(np.abs(before[:, there] - one), axis=0) + np.median(np.abs(after[:, there] - two), axis=0)
    )
    spread = MAD_TO_SD * spread + 1e-9 * (np.abs(one) + np.abs(two)) + np.finfo(float).tiny
    telling = np.abs(two - one) > TELLING * spread
    if not telling.any():
        return None
    step = (two - one)[telling] / spread[telling]
    along = ((between[:, there] - one)[:, telling] / spread[telling]) @ step / (step @ step)
    return np.asarray(np.clip(along, 0.0, 1.0))
