"""Spans of time: put together, cut with one another, and which times lie in them.

In: arrays of onset and end in seconds, or a label sheet whose rows ``labelled`` limit what the rater looked at. Out:
merged spans; None stands for all time.
"""

from __future__ import annotations

from typing import Final

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from ..vocabulary import LABELLED

__all__ = ["BORDER_S", "intersect", "labelled_spans", "merged", "spans_of", "total_length", "within", "without"]

Floats = NDArray[np.float64]

BORDER_S: Final = 1e-9
"""Nearer than this, in s, is at the border: times in decimals are no round numbers in binary."""


def merged(spans: Floats) -> Floats:
    """Join spans that touch or overlap.

    Parameters
    ----------
    spans : ndarray, shape (n, 2)
        Onset and end, seconds.

    Returns
    -------
    ndarray, shape (m, 2)
        In order and apart from each other.
    """
    if len(spans) == 0:
        return np.empty((0, 2))
    ordered = spans[np.argsort(spans[:, 0], kind="stable")]
    ends = np.maximum.accumulate(ordered[:, 1])
    first = np.r_[True, ordered[1:, 0] > ends[:-1] + BORDER_S]
    last = np.r_[first[1:], True]
    return np.column_stack([ordered[first, 0], ends[last]])


def intersect(first: Floats | None, second: Floats | None) -> Floats | None:
    """Time that lies in both sets of spans; None stands for all time."""
    if first is None or second is None:
        return second if first is None else first
    pieces = [(max(a, c), min(b, d)) for a, b in first.tolist() for c, d in second.tolist() if max(a, c) < min(b, d)]
    return merged(np.array(pieces, dtype=np.float64).reshape(-1, 2))


def without(spans: Floats, cut: Floats) -> Floats:
    """Time of merged spans that lies in no merged span of ``cut``."""
    gaps = np.column_stack([np.r_[-np.inf, cut[:, 1]], np.r_[cut[:, 0], np.inf]])
    left = intersect(spans, gaps)
    return np.empty((0, 2)) if left is None else left


def total_length(spans: Floats) -> float:
    """Seconds that merged spans cover."""
    return float((spans[:, 1] - spans[:, 0]).sum())


def within(times: Floats, spans: Floats | None) -> NDArray[np.bool_]:
    """Tell which times lie in the spans, borders included; all of them where spans are None."""
    if spans is None:
        return np.ones(len(times), dtype=bool)
    if len(spans) == 0:
        return np.zeros(len(times), dtype=bool)
    place = np.searchsorted(spans[:, 0], times + BORDER_S, side="right") - 1
    inside: NDArray[np.bool_] = (place >= 0) & (times <= spans[np.maximum(place, 0), 1] + BORDER_S)
    return inside


def spans_of(rows: pd.DataFrame) -> Floats:
    """Give onset and end of each row in s, shape (n, 2); a row without a duration is an instant."""
    onset = rows["onset"].to_numpy(dtype=np.float64)
    length = np.nan_to_num(rows["duration"].to_numpy(dtype=np.float64, na_value=np.nan), nan=0.0)
    return np.column_stack([onset, onset + length])


def labelled_spans(labels: pd.DataFrame) -> Floats | None:
    """Return the spans that the rater looked at, merged; None where the rater set no limits."""
    limits = labels["trial_type"].to_numpy(dtype=object) == LABELLED
    return merged(spans_of(labels)[limits]) if limits.any() else None
