"""How well probabilities hold where limping is rarer or commoner than in training.

In: out-of-fold predictions of labelled windows. Out: for each share of limping, what the probabilities say and cost, as
they are and brought to that share (`learn.prior`). The windows are weighted to the share: within a state every
participant counts alike. That is what another mix alone would do; other people, limps and sensors are not in it.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

import numpy as np
import pandas as pd

from ..learn.feature_rows import log_loss
from ..learn.fitting import person_weights
from ..learn.prior import with_prevalence
from ..vocabulary import GAIT_STATES

__all__ = ["MIXES", "mix_rows"]

MIXES: Final = (0.05, 0.1, 0.25, 0.5)
"""Shares of limping that are tried: from rare to half (ours)."""


def mix_rows(predictions: pd.DataFrame, trained: float, mixes: Sequence[float]) -> pd.DataFrame:
    """Score probabilities under other mixes of normal and limping gait.

    Parameters
    ----------
    predictions : DataFrame
        ``participant_id``, ``label``, ``probability_limping``; rows without either are left out.
    trained : float
        Share of limping that the probabilities were calibrated for.
    mixes : sequence of float
        Shares of limping to try.

    Returns
    -------
    DataFrame
        One row per share and whether the probabilities were brought to it: ``prevalence``, ``told``, mean probability
        of limping, log loss, and of the windows of each state the part called limping (probability 0.5 and more):
        ``false_limping``, ``recall``.
    """
    known = predictions[predictions["label"].notna() & predictions["probability_limping"].notna()]
    p = known["probability_limping"].to_numpy(dtype=float)
    limping = (known["label"] == GAIT_STATES[1]).to_numpy()
    people = known["participant_id"].to_numpy(dtype=object)
    share = np.empty(len(known))
    for state in (limping, ~limping):
        weights = person_weights(people[state])
        share[state] = weights / weights.sum()
    rows = []
    for mix in mixes:
        weights = share * np.where(limping, mix, 1.0 - mix)
        for told in (False, True):
            given = with_prevalence(p, trained, mix) if told else p
            called = given >= 0.5
            rows.append(
                {
                    "prevalence": mix,
                    "told": told,
                    "mean_probability": float((weights * given).sum()),
                    "log_loss": float((weights * log_loss(np.where(limping, given, 1.0 - given))).sum()),
                    "false_limping": float((share * called)[~limping].sum()),
                    "recall": float((share * called)[limping].sum()),
                }
            )
    return pd.DataFrame(rows)
