"""How well movements of the throat were told apart, on participants that the scoring model never saw.

In: candidates with the class that each was learnt as and the class they were called. Out: rows of
``validation/throat_classifier.tsv`` for the classifier and for what stands beside it, and the counts of
``validation/throat_confusion.tsv``. Here a movement counts once, however long it is; whether a labelled swallow was
found at all is counted in ``validation/events.tsv``.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import pandas as pd

from ..learn.feature_rows import FloatArray, TextArray
from ..learn.scores import Scheme, confusion_sums, probability_sums, score_rows
from .movement_parameters import MovementParameters
from .training import TARGET

__all__ = ["confusion_rows", "score_candidates"]

NONE = "none of these"


def _confusion(label: TextArray, called: TextArray, classes: Sequence[str]) -> FloatArray:
    """Count labelled by called class, shape (k, k + 1); the last column is what was called none of these."""
    columns = [*(called == name for name in classes), np.array([name not in classes for name in called])]
    return np.array([[((label == name) & column).sum() for column in columns] for name in classes], dtype=float)


def _tested(candidates: pd.DataFrame) -> pd.DataFrame:
    known: pd.DataFrame = candidates[candidates["label"].notna() & (candidates["prediction"] == "out_of_fold")]
    return known


def score_candidates(candidates: pd.DataFrame, classes: Sequence[str], parameters: MovementParameters) -> pd.DataFrame:
    """Score the classifier, the detector without labels, and calling everything by the commonest class.

    Parameters
    ----------
    candidates : DataFrame
        ``participant_id, label`` (class that it was learnt as, None where unknown), ``called, probability, prediction,
        fold`` of `training.CandidateResult`, and ``rule`` (bool: a swallow to the detector without labels).
    classes : sequence of str
    parameters : MovementParameters
        Resamples and seed.

    Returns
    -------
    DataFrame
        Rows of ``validation/throat_classifier.tsv``, pooled with intervals over participants, and by participant.
        Empty where no candidate was both labelled and predicted out of fold.
    """
    known = _tested(candidates)
    if known.empty:
        return pd.DataFrame()
    label = known["label"].to_numpy(dtype=object)
    present = [name for name in classes if (label == name).any()]
    commonest = max(present, key=lambda name: (int((label == name).sum()), name))
    rule = np.where(known["rule"].to_numpy(dtype=bool), TARGET, "")
    predictors = {
        "classifier": (known["called"].to_numpy(dtype=object), present),
        "without_labels": (rule.astype(object), [TARGET]),
        "majority": (np.full(len(known), commonest, dtype=object), present),
    }
    person = known["participant_id"].to_numpy(dtype=object)
    p = known["probability"].to_numpy(dtype=float)
    at = {who: person == who for who in sorted(set(person.tolist()))}
    folds = {who: int(known["fold"].to_numpy()[own][0]) for who, own in at.items()}
    given = {who: probability_sums(p[own], label[own] == TARGET, each=True) for who, own in at.items()}
    scheme = Scheme(tuple(present), "n_labelled", "n_called", int, probable=("log_loss", "brier"))
    rows: list[dict[str, object]] = []
    for name, (called, told) in predictors.items():
        tables = {who: _confusion(label[own], called[own], present) for who, own in at.items()}
        sums = {who: confusion_sums(table, present, [*present, NONE], present) for who, table in tables.items()}
        own_given = given if name == "classifier" else {}
        rows += score_rows(name, sums, own_given, folds, scheme, parameters, told=told)
    return pd.DataFrame(rows)


def confusion_rows(candidates: pd.DataFrame, classes: Sequence[str]) -> pd.DataFrame:
    """Count what movements with each label were called, out of fold.

    Returns
    -------
    DataFrame
        ``label, called, n, share`` (of those with the label), ``n_participants`` with the label; pairs that did
        not occur have 0.
    """
    known = _tested(candidates)
    rows = []
    for label in classes:
        own = known[known["label"] == label]
        if own.empty:
            continue
        counts = own["called"].value_counts()
        people = int(own["participant_id"].nunique())
        for called in classes:
            n = int(counts.get(called, 0))
            rows.append((label, called, n, n / len(own), people))
    return pd.DataFrame(rows, columns=["label", "called", "n", "share", "n_participants"])
