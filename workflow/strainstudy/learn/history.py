"""Every model that was trained: what from, how good, and whether it is better than the one before.

In: the history so far and the newly trained model's scores. Out: the history with one row more, unless labels and
settings are those of the last row. Two models are compared on the people that both were tested on (out of fold) by
the mean difference of their log losses, with an interval from resampling those people.
"""

from __future__ import annotations

import hashlib
from collections.abc import Collection, Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd

from ..stats.intervals import cluster_bootstrap
from .parameters import LearnParameters

__all__ = ["Comparison", "compare", "extend", "hash_labels", "hash_words"]

PEOPLE_MIN = 6
"""With fewer people even unanimous differences have a two-sided sign test above 0.05 (2 / 2**5 = 0.0625)."""

COMPARED = ("compared_with", "n_compared", "difference", "difference_low", "difference_high", "verdict")


@dataclass(frozen=True)
class Comparison:
    """A new model against the last on the same people; a negative difference of log loss is better."""

    n: int
    difference: float
    low: float
    high: float
    verdict: str


def hash_words(words: str) -> str:
    """Shorten a text to twelve hexadecimal digits of its SHA-256."""
    return hashlib.sha256(words.encode()).hexdigest()[:12]


def hash_labels(labels: Mapping[str, pd.DataFrame], words: Collection[str]) -> str:
    """Hash the labels of some types that training sees; other labels and the order of rows do not change it."""
    lines = []
    for name in sorted(labels):
        sheet = labels[name]
        for onset, duration, word, side in zip(
            sheet["onset"], sheet["duration"], sheet["trial_type"], sheet["side"], strict=True
        ):
            if word in words:
                lines.append(f"{name}\t{onset:.6f}\t{duration:.6f}\t{word}\t{side if isinstance(side, str) else ''}")
    return hash_words("\n".join(sorted(lines)))


def compare(new: Mapping[str, float], old: Mapping[str, float], parameters: LearnParameters) -> Comparison:
    """Compare log losses of two models on the people both were tested on.

    Parameters
    ----------
    new, old : mapping of participant_id to float
        Mean out-of-fold log loss of each participant.
    parameters : LearnParameters
        Resamples and seed.

    Returns
    -------
    Comparison
        Verdict ``better``, ``worse`` or ``not distinguishable``, where needed with the reason.
    """
    people = sorted(set(new) & set(old))
    apart = np.array([new[p] - old[p] for p in people])
    if not people:
        return Comparison(0, float("nan"), float("nan"), float("nan"), "not distinguishable: no participant in common")
    mean = float(apart.mean())
    if len(people) < PEOPLE_MIN:
        why = f"not distinguishable: {len(people)} participants in common, {PEOPLE_MIN} needed"
        return Comparison(len(people), mean, float("nan"), float("nan"), why)
    interval = cluster_bootstrap(
        np.column_stack([apart, np.ones(len(apart))]),
        lambda s: np.asarray(s[:, 0] / s[:, 1]),
        draws=parameters.bootstrap_resamples,
        seed=parameters.seed,
        method="percentile",
    )
    verdict = "not distinguishable"
    if interval.high < 0:
        verdict = "better"
    elif interval.low > 0:
        verdict = "worse"
    return Comparison(len(people), mean, interval.low, interval.high, verdict)


def _written(losses: Mapping[str, float]) -> str:
    return ";".join(f"{person}={losses[person]:.6f}" for person in sorted(losses))


def _read(text: str) -> dict[str, float]:
    return {k: float(v) for k, _, v in (part.rpartition("=") for part in text.split(";")) if k}


def extend(
    history: pd.DataFrame | None,
    entry: Mapping[str, Any],
    losses: Mapping[str, float],
    parameters: LearnParameters,
) -> pd.DataFrame:
    """Add a model to the history.

    Parameters
    ----------
    history : DataFrame or None
        As it was read back, or None for the first model.
    entry : mapping
        What the task says of the model: ``label_hash``, ``settings_hash``, ``feature_hash``, then what it likes.
    losses : mapping of participant_id to float
        Out-of-fold log loss of each participant.
    parameters : LearnParameters
        For the comparison.

    Returns
    -------
    DataFrame
        ``number``, ``model_id``, ``participant_log_loss``, `COMPARED` and the columns of ``entry``. Training again from
        the same labels, settings and features adds no row.
    """
    old = pd.DataFrame(columns=["model_id"]) if history is None else history
    model_id = hash_words(f"{entry['label_hash']} {entry['settings_hash']} {entry['feature_hash']}")
    if len(old) and old["model_id"].iloc[-1] == model_id:
        return old
    row = {**entry, "number": len(old) + 1, "model_id": model_id, "participant_log_loss": _written(losses)}
    against: tuple[Any, ...] = (None, 0, *(float("nan"),) * 3, "first model")
    if len(old):
        found = compare(losses, _read(str(old["participant_log_loss"].iloc[-1])), parameters)
        against = (old["model_id"].iloc[-1], found.n, found.difference, found.low, found.high, found.verdict)
    new = pd.DataFrame([row | dict(zip(COMPARED, against, strict=True))])
    return new if not len(old) else pd.concat([old[list(new.columns)], new], ignore_index=True)
