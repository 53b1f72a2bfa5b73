"""How well movements of the throat were told apart, on participants that the scoring model never saw.

In: candidates with the class that each was learnt as and the class they were called. Out: rows of
``validation/throat_classifier.tsv`` for the classifier and for what stands beside it, and the counts of
``validation/throat_confusion.tsv``. Here a movement counts once, however long it is; whether a labelled swallow was
found at all is counted in ``validation/events.tsv``.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from ..learn.parameters import ClassifyParameters
from ..learn.rows import FloatArray
from ..learn.scores import ratio
from ..stats.intervals import cluster_bootstrap
from .training import TARGET

__all__ = ["confusion_rows", "score_candidates"]

Statistic = Callable[[FloatArray], FloatArray]
_FLOOR = 1e-6
_PER_CLASS = 3


def _sums(label: NDArray[np.object_], called: NDArray[np.object_], p: FloatArray, classes: Sequence[str]) -> FloatArray:
    """Count of one person's candidates; for each class labelled, called, both; last log loss and Brier score."""
    counts = [
        float(mask.sum())
        for name in classes
        for mask in (label == name, called == name, (label == name) & (called == name))
    ]
    swallow = label == TARGET
    hit = np.where(swallow, p, 1.0 - p)
    return np.array(
        [float(len(label)), *counts, float(-np.log(np.maximum(hit, _FLOOR)).sum()), float(((p - swallow) ** 2).sum())]
    )


def _measures(k: int) -> dict[str, Statistic]:
    labelled, called, both = (1 + _PER_CLASS * k + part for part in range(_PER_CLASS))
    return {
        "precision": lambda s: ratio(s[:, both], s[:, called]),
        "recall": lambda s: ratio(s[:, both], s[:, labelled]),
        "f1": lambda s: ratio(2 * s[:, both], s[:, labelled] + s[:, called]),
    }


def _balanced(places: Sequence[int]) -> Statistic:
    def statistic(s: FloatArray) -> FloatArray:
        return np.asarray(np.mean([ratio(s[:, 3 + _PER_CLASS * k], s[:, 1 + _PER_CLASS * k]) for k in places], axis=0))

    return statistic


def _rows(
    predictor: str,
    sums: Mapping[str, FloatArray],
    folds: Mapping[str, int],
    classes: Sequence[str],
    parameters: ClassifyParameters,
    *,
    told: Sequence[str],
    probable: bool,
) -> list[dict[str, object]]:
    rows: list[dict[str, object]] = []
    for person in (None, *sums):
        table = np.stack([sums[who] for who in (sums if person is None else [person])])
        total = table.sum(axis=0)[None, :]

        def put(row: dict[str, object], measures: Mapping[str, Statistic], person: str | None = person,
                table: FloatArray = table, total: FloatArray = total) -> None:  # fmt: skip
            for name, statistic in measures.items():
                row[name] = float(statistic(total)[0])
                if person is None:
                    interval = cluster_bootstrap(
                        table, statistic, draws=parameters.bootstrap_resamples, seed=parameters.seed
                    )
                    row[f"{name}_low"], row[f"{name}_high"] = interval.low, interval.high

        head = {
            "predictor": predictor,
            "scope": "pooled" if person is None else "fold",
            "participant_id": person,
            "fold": None if person is None else folds[person],
        }
        places = [k for k, name in enumerate(classes) if total[0, 1 + _PER_CLASS * k] > 0]
        for k in places:
            if classes[k] not in told:
                continue
            row: dict[str, object] = {
                **head,
                "trial_type": classes[k],
                "n_participants": int((table[:, 1 + _PER_CLASS * k] > 0).sum()),
                "n_labelled": int(total[0, 1 + _PER_CLASS * k]),
                "n_called": int(total[0, 2 + _PER_CLASS * k]),
            }
            put(row, _measures(k))
            rows.append(row)
        whole: dict[str, object] = {
            **head,
            "trial_type": "all",
            "n_participants": len(table),
            "n_labelled": int(total[0, 0]),
        }
        if len(told) == len(classes):
            put(whole, {"balanced_accuracy": _balanced(places)})
        if probable:
            put(whole, {"log_loss": lambda s: ratio(s[:, -2], s[:, 0]), "brier": lambda s: ratio(s[:, -1], s[:, 0])})
        rows.append(whole)
    return rows


def _tested(candidates: pd.DataFrame) -> pd.DataFrame:
    known: pd.DataFrame = candidates[candidates["label"].notna() & (candidates["prediction"] == "out_of_fold")]
    return known


def score_candidates(candidates: pd.DataFrame, classes: Sequence[str], parameters: ClassifyParameters) -> pd.DataFrame:
    """Score the classifier, the detector without labels, and calling everything by the commonest class.

    Parameters
    ----------
    candidates : DataFrame
        ``participant_id, label`` (class that it was learnt as, None where unknown), ``called, probability, prediction,
        fold`` of `training.CandidateResult`, and ``rule`` (bool: a swallow to the detector without labels).
    classes : sequence of str
    parameters : ClassifyParameters
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
    people = sorted(set(person.tolist()))
    folds = {who: int(known["fold"].to_numpy()[person == who][0]) for who in people}
    rows: list[dict[str, object]] = []
    for name, (called, told) in predictors.items():
        sums = {who: _sums(label[person == who], called[person == who], p[person == who], present) for who in people}
        rows += _rows(name, sums, folds, present, parameters, told=told, probable=name == "classifier")
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
