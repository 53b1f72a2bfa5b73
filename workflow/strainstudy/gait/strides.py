"""Strides and steps from the contacts of both feet.

In: the landmarks of swings of each knee, the walk each belongs to, and which of them are steady. Out: one row per
stride. A stride runs from one initial contact to the next of the same side; the step of a row is the one that
ends it (from the other side's contact inside the stride to this side's next contact); the phase is where in the
stride the other side's contact lies, in degrees, 180 when the feet alternate evenly (Plotnik et al. 2007, doi
10.1007/s00221-007-0955-7).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from .phase import phase_deg

__all__ = ["STRIDE_COLUMNS", "Swings", "stride_rows"]

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.intp]
BoolArray = NDArray[np.bool_]

STRIDE_COLUMNS = (
    "side",
    "onset",
    "stride_time",
    "step_time",
    "swing_peak",
    "range_of_motion",
    "phase",
    "steady",
    "score",
    "walk",
    "toe_off",
    "stance_time",
    "swing_time",
    "stance_fraction",
    "swing_peak_time",
    "amplitude",
    "response_range",
)


@dataclass(frozen=True)
class Swings:
    """Swings of one knee in order of time, in seconds; one entry per swing.

    Parameters
    ----------
    toe_off, peak, contact : ndarray
        Landmarks.
    stride_time : ndarray
        Local stride time.
    size : ndarray
        Swing peak above the curve at contact, unit as given.
    width : ndarray
        Seconds above half the height of the wave.
    loading : ndarray
        How far the knee bends under load after the swing, as a share of the swing.
    fit : ndarray
        Correlation of the cycle around the swing with the pattern, 0 to 1.
    clear : ndarray
        Fit to the pattern plus autocorrelation at the stride time.
    score : ndarray
        0 to 1.
    sound : ndarray of bool
        False where data are missing between toe-off and contact.
    """

    toe_off: FloatArray
    peak: FloatArray
    contact: FloatArray
    stride_time: FloatArray
    size: FloatArray
    width: FloatArray
    loading: FloatArray
    fit: FloatArray
    clear: FloatArray
    score: FloatArray
    sound: BoolArray


def _extremes(x: FloatArray, start: IntArray, stop: IntArray) -> tuple[FloatArray, FloatArray]:
    """Least and greatest value in each of the spans; the spans do not overlap but may leave room."""
    edges = np.column_stack([start, np.minimum(stop, x.size - 1)]).ravel()
    return np.minimum.reduceat(x, edges)[::2], np.maximum.reduceat(x, edges)[::2]


def stride_rows(
    side: str,
    own: Swings,
    other: Swings | None,
    *,
    walk: IntArray,
    turning: BoolArray,
    curve: FloatArray,
    fs: float,
    ratio_limits: tuple[float, float],
    settling: int,
) -> pd.DataFrame:
    """Make the strides of one side.

    Parameters
    ----------
    side : str
        ``left`` or ``right``.
    own, other : Swings
        Swings of this side and of the other (None when there is no other knee).
    walk : ndarray of int
        Walk that each swing of this side belongs to, -1 for none.
    turning : ndarray of bool
        Swings of this side inside a turn.
    curve : ndarray, shape (m,)
        The knee as given, flexion upwards.
    fs : float
        Its sampling frequency in Hz.
    ratio_limits : (float, float)
        Least and greatest ratio of a stride to the local stride time.
    settling : int
        Strides at either end of a walk that are not steady.

    Returns
    -------
    DataFrame
        Columns `STRIDE_COLUMNS`.
    """
    onset, following = own.contact[:-1], own.contact[1:]
    time = following - onset
    ratio = time / own.stride_time[1:]
    kept = (
        (walk[:-1] >= 0)
        & (walk[:-1] == walk[1:])
        & own.sound[:-1]
        & own.sound[1:]
        & (ratio >= ratio_limits[0])
        & (ratio <= ratio_limits[1])
    )
    at = np.flatnonzero(kept)
    onset, following, time = onset[at], following[at], time[at]
    inside = np.full(at.size, np.nan)
    if other is not None and other.contact.size:
        good = other.contact[other.sound]
        place = np.searchsorted(good, onset, side="right")
        count = np.searchsorted(good, following, side="left") - place
        one = count == 1
        inside[one] = good[place[one]]
    rank = np.zeros(walk.size, dtype=int)
    length = np.zeros(walk.size, dtype=int)
    for number in np.unique(walk[walk >= 0]):
        members = np.flatnonzero(walk == number)
        rank[members] = np.arange(members.size)
        length[members] = members.size - 1
    steady = (rank[at] >= settling) & (length[at] - 1 - rank[at] >= settling) & ~turning[at] & ~turning[at + 1]
    first = np.clip(np.round(onset * fs), 0, curve.size - 2).astype(np.intp)
    last = np.clip(np.round(following * fs), first + 1, curve.size - 1).astype(np.intp)
    whole = np.isfinite(curve)
    filled = np.where(whole, curve, 0.0)
    missing = np.concatenate([[0], np.cumsum(~whole)])
    complete = missing[last] == missing[first]
    low, high = _extremes(filled, first, last)
    peak_time = own.peak[at + 1]
    toe_off = own.toe_off[at + 1]
    swing_first = np.clip(np.round(toe_off * fs), first, last - 1).astype(np.intp)
    _, peak = _extremes(filled, swing_first, last)
    at_contact = np.interp(following * fs, np.arange(curve.size), filled)
    rows = pd.DataFrame(
        {
            "side": side,
            "onset": onset,
            "stride_time": time,
            "step_time": following - inside,
            "swing_peak": np.where(complete, peak, np.nan),
            "range_of_motion": np.where(complete, high - low, np.nan),
            "phase": phase_deg(onset, time, inside),
            "steady": steady & complete,
            "score": np.minimum(own.score[at], own.score[at + 1]),
            "walk": walk[at],
            "toe_off": toe_off,
            "stance_time": toe_off - onset,
            "swing_time": following - toe_off,
            "stance_fraction": (toe_off - onset) / time,
            "swing_peak_time": peak_time,
            "amplitude": np.where(complete, peak - at_contact, np.nan),
            "response_range": np.where(complete, high - low, np.nan),
        }
    )
    assert tuple(rows.columns) == STRIDE_COLUMNS
    return rows
