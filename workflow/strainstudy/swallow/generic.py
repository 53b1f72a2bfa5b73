"""Which candidates are swallows where a study has no labels: a score from what is known of swallowing.

In: candidates with their features. Out: a score from 0 to 1 for each, or the mask of those accepted. Every part
of the score says how well one thing fits, from 0 to 1, and they are multiplied: one thing that does not fit at
all is enough to reject. Nothing is learnt from labels:

- a swallow lasts about a second, seldom less than half and seldom more than two and a half;
- the larynx comes back to where it was: posture changes do not;
- it rises and falls once, and in tenths of a second: speech goes up and down several times a second, a cough
  starts within a few hundredths;
- a person's swallows repeat one another in waveform and, within a factor of about three, in size;
- what follows without a pause is of one kind: sips after sips, words after words.
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt
import pandas as pd

from .activity import Array
from .features import RUN_PAUSE_S
from .parameters import SwallowParameters

# With both likenesses unknown, a candidate must be plausible to three quarters to reach the usual limit of 0.6.
_TOO_FEW = 0.7

__all__ = ["accept_generic", "generic_score", "plausibility"]


def _fits(values: Array, zero_below: float, one_from: float, one_to: float, zero_above: float) -> Array:
    """Trapezoid: 1 between the inner limits, 0 outside the outer, straight between."""
    fit: Array = np.interp(
        values, [zero_below, one_from, one_to, zero_above], [0.0, 1.0, 1.0, 0.0], left=0.0, right=0.0
    )
    return fit


def _upto(values: Array, one_to: float, zero_above: float) -> Array:
    return _fits(values, -np.inf, -1e9, one_to, zero_above)


def _from(values: Array, zero_below: float, one_from: float) -> Array:
    return _fits(values, zero_below, one_from, 1e9, np.inf)


def _known(fit: Array, otherwise: float = _TOO_FEW) -> Array:
    """Replace what is not known because a session has too few movements to say what is typical."""
    return np.where(np.isnan(fit), otherwise, fit)


def _mean_of(parts: list[Array]) -> Array:
    product: Array = np.prod(np.array(parts), axis=0) ** (1 / len(parts))
    return product


def plausibility(candidates: pd.DataFrame, parameters: SwallowParameters) -> Array:
    """Say how well each candidate by itself fits a swallow, 0 to 1, shape (m,)."""
    shortest, longest = parameters.shortest_s, parameters.longest_s
    parts = [
        _fits(candidates["duration_s"].to_numpy(), 0.75 * shortest, 1.25 * shortest, 0.8 * longest, 1.2 * longest),
        _upto(candidates["level_change"].to_numpy(), 0.3, 1.0),
        _fits(candidates["peak_position"].to_numpy(), 0.0, 0.15, 0.85, 1.0),
        _from(candidates["rise_time_s"].to_numpy(), 0.05, 0.12),
        _fits(candidates["centre_position"].to_numpy(), 0.2, 0.35, 0.65, 0.8),
    ]
    return _mean_of(parts)


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
    parts = [
        plausibility(candidates, parameters),
        _known(_from(candidates["pattern_likeness"].to_numpy(dtype=np.float64), 0.6, 0.9)),
        _known(_from(candidates["waveform_likeness"].to_numpy(dtype=np.float64), 0.5, 0.8)),
        _known(_fits(candidates["log_size_ratio"].to_numpy(dtype=np.float64), -1.6, -0.7, 0.7, 1.6), 1.0),
        _known(_fits(candidates["log_duration_s_ratio"].to_numpy(dtype=np.float64), -0.9, -0.5, 0.5, 0.9), 1.0),
        _known(_fits(candidates["log_path_length_ratio"].to_numpy(dtype=np.float64), -0.9, -0.4, 0.4, 0.9), 1.0),
    ]
    alone = np.sqrt(np.prod(np.array(parts), axis=0))
    pause = candidates["pause_before_s"].to_numpy(dtype=np.float64)
    run = np.cumsum(pause > RUN_PAUSE_S)
    company = pd.Series(alone).groupby(run).transform("median").to_numpy()
    score: Array = np.sqrt(alone * company)
    return score


def accept_generic(candidates: pd.DataFrame, parameters: SwallowParameters) -> npt.NDArray[np.bool_]:
    """Say which candidates are taken for swallows where there is no trained classifier, shape (m,)."""
    accepted: npt.NDArray[np.bool_] = candidates["score"].to_numpy(dtype=float) >= parameters.generic_score
    return accepted
