"""Probabilities for another mix of classes than the one they were calibrated for.

In: probabilities of a class, the share that it had in training, the share that it has where it is looked for. Out: the
probabilities there. Only the mix may differ: whoever is of the class must look as those in training did. Then the odds
change by the ratio of the prior odds (the rule of Bayes; Saerens, Latinne & Decaestecker 2002, Neural Computation
14(1):21-41, from memory).
"""

from __future__ import annotations

import numpy as np

from .feature_rows import FloatArray

__all__ = ["with_prevalence"]


def with_prevalence(probability: FloatArray, trained: FloatArray | float, here: float) -> FloatArray:
    """Bring probabilities to another share of the class.

    Parameters
    ----------
    probability : array, shape (n,)
        Of the class, calibrated for the share ``trained``; NaN stays.
    trained : array, shape (n,), or float
        Share of the class that each probability was calibrated for, 0 < share < 1.
    here : float
        Share of the class where it is looked for, 0 < share < 1.

    Returns
    -------
    array, shape (n,)
    """
    yes = probability * here / trained
    no = (1.0 - probability) * (1.0 - here) / (1.0 - np.asarray(trained))
    return np.asarray(yes / (yes + no))
