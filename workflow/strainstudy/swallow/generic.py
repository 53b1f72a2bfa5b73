"""Which candidates are swallows where a study has no labels: a score from what is known of swallowing.

In: candidates with their features. Out: a score from 0 to 1 for each, or the mask of those accepted. Every part
of the score says how well one thing fits, from 0 to 1; the score is their geometric mean, so one thing that does
not fit at all is enough to reject. Nothing is learnt from labels.
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt
import pandas as pd

from .activity import Array
from .parameters import SwallowParameters

__all__ = ["accept_generic", "generic_score"]


def _fits(values: Array, zero_below: float, one_from: float, one_to: float, zero_above: float) -> Array:
    """Trapezoid: 1 between the inner limits, 0 outside the outer, straight between."""
    fit: Array = np.interp(
        values, [zero_below, one_from, one_to, zero_above], [0.0, 1.0, 1.0, 0.0], left=0.0, right=0.0
    )
    return fit


def generic_score(candidates: pd.DataFrame, parameters: SwallowParameters) -> Array:
    """Score candidates without labels.

    Parameters
    ----------
    candidates : DataFrame
        With the features of `SWALLOW_FEATURES`.
    parameters : SwallowParameters

    Returns
    -------
    array, shape (m,)
        0 to 1.
    """

    def column(name: str) -> Array:
        values: Array = candidates[name].to_numpy(dtype=np.float64)
        return values

    shortest, longest = parameters.shortest_s, parameters.longest_s
    parts = [
        _fits(column("duration_s"), 0.5 * shortest, 1.25 * shortest, 0.8 * longest, 1.25 * longest),
        _fits(column("level_change"), -1.0, 0.0, 0.3, 1.0),
        _fits(np.maximum(column("valley_before"), column("valley_after")), -1.0, 0.0, 0.35, 0.9),
        _fits(np.minimum(column("activity_before"), column("activity_after")), -1.0, 0.0, 0.35, 1.0),
        _fits(np.minimum(column("rise_time_s") / column("duration_s"), 1.0), -0.1, 0.15, 1.0, 2.0),
    ]
    score: Array = np.prod(np.array(parts), axis=0) ** (1 / len(parts))
    return score


def accept_generic(candidates: pd.DataFrame, parameters: SwallowParameters) -> npt.NDArray[np.bool_]:
    """Say which candidates are taken for swallows where there is no trained classifier, shape (m,)."""
    accepted: npt.NDArray[np.bool_] = candidates["score"].to_numpy(dtype=float) >= parameters.generic_score
    return accepted
