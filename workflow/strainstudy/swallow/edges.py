"""Where a rater sees a swallow begin and end: the detector's edges brought to the raters' definition.

In: candidates and hand labels of the training people. Out: a small linear model of how far the rater's onset and
end lie from the detected ones, and candidates with their edges moved by it.

A ringing film goes on after the larynx has come to rest, a slow one blurs the beginning, and raters differ in
what they call the end: 46 studies use 119 time measures of swallowing (Molfenter SM, Steele CM 2012, Dysphagia
27:162-177, doi 10.1007/s00455-012-9397-x). Ridge regression (Hoerl AE, Kennard RW 1970, Technometrics 12:55-67)
on a few features learns the difference; it has to be fitted without the person it is used on.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Final, Self

import numpy as np
import pandas as pd

from .activity import Array
from .candidate_labels import match_swallows

__all__ = ["EdgeModel", "edge_differences", "fit_edges", "move_edges"]

_FEATURES: Final = (
    "duration_s",
    "rise_time_s",
    "peak_position",
    "half_width",
    "path_length",
    "centroid_hz",
    "share_below_1hz",
    "share_above_6hz",
    "pause_before_s",
    "pause_after_s",
)
_FEWEST: Final = 8
"""Matched swallows from which the model is fitted (ours)."""
_RIDGE: Final = 10.0
"""Penalty of the ridge, on standardised features (ours)."""
_LARGEST_S: Final = 0.5
"""An edge is moved no farther, and labels farther off count as so far (ours: half the usual swallow)."""


@dataclass(frozen=True)
class EdgeModel:
    """Linear model of onset and end differences in s; all lists can be stored as JSON.

    Parameters
    ----------
    centre, scale : tuple of float
        Of each feature in the training candidates.
    onset, end : tuple of float
        Intercept and then one weight for each scaled feature.
    count : int
        Matched swallows it was fitted on; 0 moves nothing.
    """

    centre: tuple[float, ...] = ()
    scale: tuple[float, ...] = ()
    onset: tuple[float, ...] = ()
    end: tuple[float, ...] = ()
    count: int = 0

    @classmethod
    def of(cls, values: Mapping[str, Any]) -> Self:
        """Make a model of what `dataclasses.asdict` and JSON left of one; nothing gives one that moves nothing."""
        if not values:
            return cls()
        lists = {name: tuple(map(float, values[name])) for name in ("centre", "scale", "onset", "end")}
        return cls(**lists, count=int(values["count"]))


def edge_differences(candidates: pd.DataFrame, labels: pd.DataFrame) -> pd.DataFrame:
    """Match candidates with labelled swallows that have a duration.

    Returns
    -------
    DataFrame
        The matched candidates with ``onset_difference`` and ``end_difference``: label minus candidate, s.
    """
    swallows = labels[(labels["trial_type"] == "swallow") & (labels["duration"].fillna(0) > 0)]
    onset = candidates["onset"].to_numpy(dtype=float)
    end = onset + candidates["duration"].to_numpy(dtype=float)
    label_onset = swallows["onset"].to_numpy(dtype=float)
    label_end = label_onset + swallows["duration"].to_numpy(dtype=float)
    pairs = match_swallows(onset, end, label_onset, label_end)
    rows, columns = [row for row, _ in pairs], [column for _, column in pairs]
    return candidates.iloc[rows].assign(
        onset_difference=label_onset[columns] - onset[rows], end_difference=label_end[columns] - end[rows]
    )


def fit_edges(matched: pd.DataFrame | Sequence[pd.DataFrame]) -> EdgeModel:
    """Fit the model on the matched candidates of the training people.

    Parameters
    ----------
    matched : DataFrame or sequence of DataFrame
        From `edge_differences`, one for each recording.

    Returns
    -------
    EdgeModel
        One that moves nothing where there are fewer than eight matches.
    """
    parts = [matched] if isinstance(matched, pd.DataFrame) else [part for part in matched if len(part)]
    frame = pd.concat(parts, ignore_index=True) if parts else pd.DataFrame()
    if len(frame) < _FEWEST:
        return EdgeModel()
    values = frame[list(_FEATURES)].to_numpy(dtype=float)
    centre, scale = np.median(values, axis=0), values.std(axis=0)
    scale = np.where(scale > 0, scale, 1.0)
    design = np.column_stack([np.ones(len(values)), (values - centre) / scale])
    penalty = _RIDGE * np.eye(design.shape[1])
    penalty[0, 0] = 0.0
    weights = [
        np.linalg.solve(design.T @ design + penalty, design.T @ np.clip(frame[name], -_LARGEST_S, _LARGEST_S))
        for name in ("onset_difference", "end_difference")
    ]
    return EdgeModel(
        centre=tuple(map(float, centre)),
        scale=tuple(map(float, scale)),
        onset=tuple(map(float, weights[0])),
        end=tuple(map(float, weights[1])),
        count=len(frame),
    )


def _shift(candidates: pd.DataFrame, model: EdgeModel, weights: tuple[float, ...]) -> Array:
    scaled = (candidates[list(_FEATURES)].to_numpy(dtype=float) - np.array(model.centre)) / np.array(model.scale)
    # Beyond three spreads of what was learnt from, the line is not followed.
    shift: Array = weights[0] + np.clip(scaled, -3, 3) @ np.array(weights[1:])
    return np.clip(shift, -_LARGEST_S, _LARGEST_S)


def move_edges(candidates: pd.DataFrame, model: EdgeModel) -> pd.DataFrame:
    """Move onset and end to where raters would put them.

    Parameters
    ----------
    candidates : DataFrame
        Candidates of people the model was not fitted on.
    model : EdgeModel

    Returns
    -------
    DataFrame
        Copy with ``onset`` and ``duration`` moved (an event keeps at least a third of its length and does not
        start before the recording); all other columns as they were.
    """
    if model.count == 0 or not len(candidates):
        return candidates.copy()
    onset = candidates["onset"].to_numpy(dtype=float)
    duration = candidates["duration"].to_numpy(dtype=float)
    first = np.maximum(onset + _shift(candidates, model, model.onset), 0.0)
    last = onset + duration + _shift(candidates, model, model.end)
    return candidates.assign(onset=first, duration=np.maximum(last - first, duration / 3))
