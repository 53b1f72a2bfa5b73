"""What a classifier must beat: the commonest state, an amplitude threshold, the published asymmetry rule.

In: labelled windows and the folds of the classifier. Out: for each baseline the probability of limping that its bouts
are made of; the amplitude threshold is fitted on the same training people as the classifier's fold.
"""

from __future__ import annotations

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from ..learn.fitting import person_weights
from .limits import amplitude_threshold, excess_probability, rule_probability, rule_side
from .state_parameters import StateParameters

__all__ = ["baseline_probabilities"]

FloatArray = NDArray[np.float64]


def baseline_probabilities(
    windows: pd.DataFrame, fold: NDArray[np.intp], parameters: StateParameters
) -> dict[str, tuple[FloatArray, FloatArray]]:
    """Give probability of limping, and of a limp being left, of every baseline.

    Parameters
    ----------
    windows : DataFrame
        Features, ``participant_id``, ``label``.
    fold : array of int, shape (n,)
        Fold of each window; -1 where it is not tested.
    parameters : StateParameters
        Published limits.

    Returns
    -------
    dict of str to (array, array), each shape (n,)
        Keys ``majority``, ``amplitude_ratio`` and ``published_asymmetry``. For ``majority`` the probability is the
        share of limping among all labelled people (among the training people it would fall when a limping one is left
        out, and score below chance); the others give pseudo probabilities, one half at their limit. The amplitude ratio
        calls the smaller side the limping one, whatever the gain of the sensors.
    """
    n = len(windows)
    nothing = np.full(n, np.nan)
    share, amplitude = nothing.copy(), nothing.copy()
    ratio = windows["response_log_ratio"].to_numpy(dtype=float)
    label = windows["label"].to_numpy(dtype=object)
    known = np.array([v is not None for v in label])
    limping = label == "limping_gait"
    groups = windows["participant_id"].to_numpy(dtype=object)
    if (known & (fold >= 0)).any():
        every = known & (fold >= 0)
        weights = person_weights(groups[every])
        share[fold >= 0] = float((limping[every] * weights).sum() / weights.sum())
    for k in sorted(set(fold[fold >= 0].tolist())):
        train, test = (fold >= 0) & (fold != k) & known, fold == k
        if not train.any():
            continue
        weights = person_weights(groups[train])
        limit = amplitude_threshold(np.abs(ratio[train]), limping[train], weights)
        if limit > 0:
            amplitude[test] = excess_probability(np.abs(ratio[test]), limit)
    smaller = np.where(np.isfinite(ratio), (ratio > 0).astype(float), np.nan)
    return {
        "majority": (share, nothing),
        "amplitude_ratio": (amplitude, smaller),
        "published_asymmetry": (rule_probability(windows, parameters), rule_side(windows, parameters)),
    }
