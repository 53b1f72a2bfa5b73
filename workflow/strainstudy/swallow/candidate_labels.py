"""What a rater called each candidate: the classes a classifier of candidates is trained on.

In: candidates and hand labels (BIDS events). Out: one word per candidate, or None where the rater cannot be
asked. A labelled swallow names one candidate, the one that fits it best; a second candidate on the same swallow
is ``other``, so that the classifier learns to leave it out.
"""

from __future__ import annotations

import numpy as np
import pandas as pd
from scipy.optimize import linear_sum_assignment

from ..vocabulary import CONFOUNDERS, LABELLED
from .activity import Array

__all__ = ["CANDIDATE_CLASSES", "label_candidates", "match_swallows"]

CANDIDATE_CLASSES = ("swallow", *CONFOUNDERS, "other")
_CENTRE_TOLERANCE_S = 0.5
"""Centres of a candidate and a label of one swallow lie no farther apart, or they share half their time (ours: half the
usual swallow)."""


def match_swallows(onset: Array, end: Array, label_onset: Array, label_end: Array) -> list[tuple[int, int]]:
    """Pair candidates and labelled swallows one to one: most pairs first, then most overlap, then near centres."""
    overlap = np.minimum(end[:, None], label_end) - np.maximum(onset[:, None], label_onset)
    union = np.maximum(end[:, None], label_end) - np.minimum(onset[:, None], label_onset)
    distance = np.abs((onset + end)[:, None] - (label_onset + label_end)) / 2
    possible = (overlap > 0) & ((distance <= _CENTRE_TOLERANCE_S) | (overlap >= 0.5 * union))
    # A labelled instant overlaps nothing: it names the candidate it lies in, or one whose centre is near.
    instant = (label_end <= label_onset)[None, :]
    possible |= instant & ((overlap >= 0) | (distance <= _CENTRE_TOLERANCE_S))
    likeness = np.where(union > 0, np.maximum(overlap, 0) / np.maximum(union, 1e-9), 0.0)
    worth = np.where(possible, 10 + likeness - 0.1 * np.minimum(distance, 1), 0.0)
    # One assignment over all that touch anything: of what touches nothing there is nothing to decide.
    pairs = []
    rows = np.flatnonzero(possible.any(axis=1))
    if len(rows):
        columns = np.flatnonzero(possible.any(axis=0))
        chosen_rows, chosen_columns = linear_sum_assignment(worth[np.ix_(rows, columns)], maximize=True)
        for row, col in zip(rows[chosen_rows], columns[chosen_columns], strict=True):
            if possible[row, col]:
                pairs.append((int(row), int(col)))
    return pairs


def label_candidates(candidates: pd.DataFrame, labels: pd.DataFrame) -> pd.Series:
    """Give each candidate the class a rater's labels say.

    Parameters
    ----------
    candidates : DataFrame
        ``onset`` and ``duration`` in s.
    labels : DataFrame
        ``onset``, ``duration``, ``trial_type``; swallows as intervals or instants; rows ``labelled`` limit
        what the rater looked at.

    Returns
    -------
    Series of object
        ``swallow``, ``speech``, ``cough``, ``head_movement``, ``other``; None outside what was looked at, and
        everywhere where no swallow or confounder was labelled at all.
    """
    onset = candidates["onset"].to_numpy(dtype=float)
    end = onset + candidates["duration"].to_numpy(dtype=float)
    centre = (onset + end) / 2
    words = np.full(len(onset), None, dtype=object)
    kinds = labels["trial_type"].to_numpy(dtype=object)
    starts = labels["onset"].to_numpy(dtype=float)
    stops = starts + np.nan_to_num(labels["duration"].to_numpy(dtype=float))
    if not np.isin(kinds, CANDIDATE_CLASSES).any():
        return pd.Series(words, index=candidates.index, name="trial_type", dtype=object)

    spans = kinds == LABELLED
    seen = np.ones(len(onset), dtype=bool)
    if spans.any():
        seen = ((centre[:, None] >= starts[spans]) & (centre[:, None] <= stops[spans])).any(axis=1)
    words[seen] = "other"

    shared = np.zeros(len(onset))
    for kind in CONFOUNDERS:
        for start, stop in zip(starts[kinds == kind], stops[kinds == kind], strict=True):
            overlap = np.minimum(end, stop) - np.maximum(onset, start)
            half = overlap >= 0.5 * (end - onset)
            inside = (centre >= start) & (centre <= stop)
            taken = seen & (half | inside) & (overlap > shared)
            words[taken] = kind
            shared = np.where(taken, overlap, shared)
    swallows = kinds == "swallow"
    for row, _ in match_swallows(onset, end, starts[swallows], stops[swallows]):
        if seen[row]:
            words[row] = "swallow"
    return pd.Series(words, index=candidates.index, name="trial_type", dtype=object)
