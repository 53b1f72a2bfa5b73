"""Make probabilities mean what they say.

In: probabilities that a model gave to people it was not trained on (inner folds), and their classes. Out: a
sharpness and one shift per class that are then applied to new probabilities: softmax(slope * log p + shift).
For two classes this is the sigmoid of Platt 1999 (Advances in Large Margin Classifiers), whose targets, drawn
in from 0 and 1 by the amount of evidence, are used too (from memory).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.optimize import minimize
from scipy.special import log_softmax, softmax

from .feature_rows import FLOOR, FloatArray, IntArray

__all__ = ["Calibration", "calibrate"]

SLOPES = (0.05, 20.0)
"""Limits of the slope: wide enough to turn chance into certainty or back, and bounded for the optimiser (ours)."""


@dataclass(frozen=True)
class Calibration:
    """A fitted calibration; the default changes nothing."""

    slope: float = 1.0
    shift: tuple[float, ...] = ()

    def __call__(self, probabilities: FloatArray) -> FloatArray:
        """Calibrate probabilities of shape (n, k); rows add up to 1."""
        shift = np.array(self.shift) if self.shift else 0.0
        return np.asarray(softmax(self.slope * np.log(np.maximum(probabilities, FLOOR)) + shift, axis=1))


def calibrate(probabilities: FloatArray, codes: IntArray, weights: FloatArray, evidence: FloatArray) -> Calibration:
    """Fit a calibration.

    Parameters
    ----------
    probabilities : array, shape (n, k)
        As the model gave them out of fold.
    codes : array of int, shape (n,)
        Class of each row, 0 to k - 1.
    weights : array, shape (n,)
        Weight of each row.
    evidence : array, shape (k,)
        Number of separate pieces of evidence for each class (labelled bouts, not windows).

    Returns
    -------
    Calibration
    """
    n, k = probabilities.shape
    logs = np.log(np.maximum(probabilities, FLOOR))
    certain = (evidence + 1.0) / (evidence + 2.0)
    target = np.repeat(((1.0 - certain) / (k - 1))[codes][:, None], k, axis=1)
    target[np.arange(n), codes] = certain[codes]
    share = weights / weights.sum()

    def loss(at: FloatArray) -> tuple[float, FloatArray]:
        z = np.exp(at[0]) * logs + np.concatenate([[0.0], at[1:]])
        log_p = log_softmax(z, axis=1)
        slope = share[:, None] * (np.exp(log_p) - target)
        gradient = np.concatenate([[np.exp(at[0]) * (slope * logs).sum()], slope.sum(axis=0)[1:]])
        # A weak pull towards no change keeps the shifts finite where a class never errs.
        pull = 1e-3 * (at**2)
        return float(-(share[:, None] * target * log_p).sum() + pull.sum()), gradient + 2e-3 * at

    bounds = [tuple(np.log(SLOPES)), *[(-5.0, 5.0)] * (k - 1)]
    found = minimize(loss, np.zeros(k), jac=True, method="L-BFGS-B", bounds=bounds)
    return Calibration(float(np.exp(found.x[0])), (0.0, *(float(v) for v in found.x[1:])))
