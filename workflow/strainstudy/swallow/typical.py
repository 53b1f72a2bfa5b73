"""What the recording itself says a swallow looks like, without labels.

In: waveform, size, length and plausibility of each candidate. Out: how like each is to the most typical ones.

A person's swallows under one sensor repeat one another; words, coughs and turns of the head do not. So the
waveform with the densest company among the plausible candidates is taken for typical, and every candidate is
compared with that company: waveform (over its own length, so that a longer swallow is as like as a shorter),
size, length, and what else is measured on it.
"""

from __future__ import annotations

from typing import Final

import numpy as np
import numpy.typing as npt
import pandas as pd

from .activity import Activity, Array
from .strokes import quickness

__all__ = ["DIFFERENCES", "RATIOS", "company_likeness", "compare_with_typical", "waveforms", "windows"]

# What a sensor makes of every movement (a ringing one turns back and forth all the time) says little; how a candidate
# differs in it from the same sensor's swallows says much, and means the same for another kind of sensor.
DIFFERENCES: Final = (
    "half_width",
    "opposite_share",
    "net_area",
    "share_below_1hz",
    "share_1_3hz",
)
RATIOS: Final = (
    "size",
    "duration_s",
    "rise_time_s",
    "path_length",
    "strokes",
    "centroid_hz",
    "steepest_rise",
    "steepest_fall",
    "share_3_6hz",
    "share_above_6hz",
    "texture",
)
_SMALLEST: Final = 0.05
"""Values below this are taken for it before a logarithm, in the unit of the feature (ours)."""
_FLOORS: Final = {"size": np.finfo(float).tiny, "share_3_6hz": 1e-5, "share_above_6hz": 1e-5, "texture": 1e-4}
"""The same for features that are smaller than that (ours)."""

_POINTS: Final = 24
"""Points of a waveform over its own length (ours: the strokes of a swallow are few)."""
_MOST: Final = 300
"""Candidates among which the densest company is sought, evenly spread (ours, for speed)."""
_COMPANY: Final = 0.25
"""Share of the candidates that makes a company (ours)."""
_FEWEST: Final = 3
"""Plausible candidates from which anything is typical (ours)."""
_ALIKE: Final = 0.85
"""Correlation with the typical waveform from which a candidate is typical too (ours)."""
# Of fewer, some are alike by chance.
_FEWEST_TO_BE_ALIKE: Final = 12
_WINDOW_S: Final = 0.9
"""A window reaches so far on either side: twice the usual swallow in all (ours)."""
_WINDOW_POINTS: Final = 37
"""Points of such a window: one each 50 ms."""
_REFERENCES: Final = 150
"""Windows with which all are compared, evenly spread (ours, for speed)."""
_FEWEST_WINDOWS: Final = 4
"""Windows from which likeness tells what is usual (ours)."""


def waveforms(activity: Activity, onset: npt.NDArray[np.intp], end: npt.NDArray[np.intp]) -> Array:
    """Slow waveform of each candidate over its own length, shape (m, 24): unit norm, sign and base line kept."""
    at = onset[:, None] + np.linspace(0, 1, _POINTS) * (end - onset)[:, None]
    waves = activity.slow[np.rint(at).astype(np.intp)]
    scaled: Array = waves / np.maximum(np.linalg.norm(waves, axis=1, keepdims=True), np.finfo(float).tiny)
    return scaled


def windows(values: Array, centres: Array, fs: float) -> Array:
    """Values from 0.9 s before to 0.9 s after each centre (in samples), shape (m, 37): mean 0, unit norm."""
    offsets = np.linspace(-_WINDOW_S, _WINDOW_S, _WINDOW_POINTS) * fs
    at = np.clip(np.rint(centres[:, None] + offsets), 0, len(values) - 1).astype(np.intp)
    cut = values[at]
    cut = cut - cut.mean(axis=1, keepdims=True)
    scaled: Array = cut / np.maximum(np.linalg.norm(cut, axis=1, keepdims=True), np.finfo(float).tiny)
    return scaled


def company_likeness(cut: Array) -> Array:
    """Mean absolute correlation of each window with the quarter of all windows most like it, shape (m,).

    NaN for fewer than four, which tell nothing of what is usual.
    """
    n = len(cut)
    if n < _FEWEST_WINDOWS:
        return np.full(n, np.nan)
    chosen = np.unique(np.linspace(0, n - 1, min(n, _REFERENCES)).astype(np.intp))
    alike = np.abs(cut @ cut[chosen].T)
    alike[chosen, np.arange(len(chosen))] = -1.0
    best = max((len(chosen) - 1) // 4, 1)
    likeness: Array = np.sort(alike, axis=1)[:, -best:].mean(axis=1)
    return likeness


def compare_with_typical(
    waves: Array,
    measured: pd.DataFrame,
    plausible: Array,
    lone: npt.NDArray[np.bool_],
    stream: npt.NDArray[np.intp],
) -> dict[str, Array]:
    """Compare candidates with the typical ones.

    Parameters
    ----------
    waves : array, shape (m, p)
        From `waveforms`.
    measured : DataFrame
        The columns `DIFFERENCES` and `RATIOS`, one row per candidate.
    plausible : array, shape (m,)
        0 to 1.
    lone : array of bool, shape (m,)
        Not in a longer run: these are asked first, for a long stretch of shaking or talk may outnumber swallows.
    stream : array of int, shape (m,)
        Which stream each is in.

    Returns
    -------
    dict
        ``pattern_likeness`` (correlation with the typical waveform, -1 to 1), ``<name>_difference`` for each
        of `DIFFERENCES` and ``log_<name>_ratio`` for each of `RATIOS`, both against the typical ones' median.
        NaN where fewer than three plausible candidates make a company: nobody knows then what is typical. A size is
        compared with those of its own stream where these are typical too, for a gain may change between streams.
    """
    m = len(waves)
    chosen = np.flatnonzero((plausible >= 0.5) & lone)
    if len(chosen) < _FEWEST:
        chosen = np.flatnonzero(plausible >= 0.5)
    likeness, typical = np.full(m, np.nan), np.zeros(m, dtype=bool)
    close = np.nan
    if len(chosen) >= _FEWEST:
        likeness, company, closeness = _likeness_to_densest(waves, chosen)
        typical = (likeness >= _ALIKE) & (plausible >= 0.5) & lone
        if len(chosen) >= _FEWEST_TO_BE_ALIKE:
            close = closeness
        if not typical.any():
            typical[company] = True
    pace = quickness(measured)
    usual_pace = float(np.median(pace[typical])) if typical.any() else np.nan
    found = {
        "pattern_likeness": likeness,
        "typical_closeness": np.full(m, close),
        "quickness": pace,
        "typical_quickness": np.full(m, usual_pace),
    }
    for name in (*DIFFERENCES, *RATIOS):
        value = measured[name].to_numpy(dtype=np.float64)
        key = f"{name}_difference"
        if name in RATIOS:
            floor = _FLOORS.get(name, _SMALLEST)
            value, key = np.log(np.maximum(value, floor)), f"log_{name}_ratio"
        usual = np.full(m, float(np.median(value[typical])) if typical.any() else np.nan)
        if name == "size":
            for one in np.unique(stream):
                own = typical & (stream == one)
                if own.sum() >= _FEWEST:
                    usual[stream == one] = float(np.median(value[own]))
        found[key] = value - usual
    return found


def _likeness_to_densest(waves: Array, chosen: npt.NDArray[np.intp]) -> tuple[Array, npt.NDArray[np.intp], float]:
    """Correlation of all with the mean of the densest company among the chosen, who that company is, and how close."""
    chosen = chosen[np.unique(np.linspace(0, len(chosen) - 1, min(len(chosen), _MOST)).astype(np.intp))]
    alike = waves[chosen] @ waves[chosen].T
    count = min(max(round(_COMPANY * len(chosen)), _FEWEST), len(chosen))
    nearest = np.argsort(-alike, axis=1, kind="stable")[:, :count]
    support = np.take_along_axis(alike, nearest, axis=1).mean(axis=1)
    middle = int(np.argmax(support))
    company = chosen[nearest[middle]]
    pattern = waves[company].mean(axis=0)
    likeness: Array = waves @ (pattern / np.linalg.norm(pattern))
    # Without the correlation of the middle one with itself.
    closeness = (float(support[middle]) * count - 1) / (count - 1)
    return likeness, company, closeness
