"""How well classes were told, on participants that the scoring model never saw, with intervals over participants.

In: for each participant a confusion of labelled by called in the unit of the task (seconds, or numbers), and sums of
what probabilities were given. Out: rows of a score table, pooled and by participant, by class and for all. A task says
in a `Scheme` what else it scores.
"""

from __future__ import annotations

from collections.abc import Callable, Collection, Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from ..stats.intervals import Interval, cluster_bootstrap, no_interval
from .feature_rows import log_loss
from .parameters import LearnParameters

__all__ = [
    "BINS",
    "PER_CLASS",
    "Scheme",
    "Statistic",
    "confusion_sums",
    "probability_sums",
    "ratio",
    "reliability_table",
    "score_rows",
]

FloatArray = NDArray[np.float64]
Statistic = Callable[[FloatArray], FloatArray]
"""From sums of shape (k, q) to values of shape (k,)."""

BINS = 10
"""Bins of the reliability curve, equally wide."""
_CRUMB = 1e-9
"""Gap of a bin that is rounding of its sums and no error of calibration."""
PER_CLASS = 3
"""Sums of each class: labelled, called, both."""


def ratio(top: FloatArray, bottom: FloatArray) -> FloatArray:
    """Divide; NaN where the bottom is not above 0."""
    with np.errstate(divide="ignore", invalid="ignore"):
        return np.asarray(np.where(bottom > 0, top / bottom, np.nan))


def confusion_sums(
    table: FloatArray, labelled: Sequence[str], called: Sequence[str], classes: Sequence[str]
) -> FloatArray:
    """Add up what precision and recall are made of.

    Parameters
    ----------
    table : array, shape (len(labelled), len(called))
        Seconds or numbers of one participant.
    labelled, called : sequence of str
        Its words.
    classes : sequence of str
        Those to score.

    Returns
    -------
    array, shape (3 * len(classes),)
        For each class: labelled so, called so with any label, both.
    """
    places = [(labelled.index(name), called.index(name)) for name in classes]
    return np.array([v for i, j in places for v in (table[i].sum(), table[:, j].sum(), table[i, j])], dtype=float)


def probability_sums(p: FloatArray, true: NDArray[np.bool_], *, each: bool = False) -> FloatArray:
    """Add up what probability scores are made of, over one participant's labelled rows.

    Parameters
    ----------
    p : array, shape (n,)
        Probability of the class.
    true : array of bool, shape (n,)
        Rows labelled with it.
    each : bool
        Let every row count, not every participant.

    Returns
    -------
    array, shape (3 + 3 * BINS,)
        Weight, log loss, Brier score; per bin of `p`: share of rows, sum of p, sum of labels; divided by n unless every
        row counts. All zero without rows.
    """
    out = np.zeros(3 + 3 * BINS)
    if not len(p):
        return out
    hit = np.where(true, p, 1.0 - p)
    place = np.minimum((p * BINS).astype(int), BINS - 1)
    out[:3] = [len(p), log_loss(hit).sum(), ((p - true) ** 2).sum()]
    for k, values in enumerate((np.ones(len(p)), p, true.astype(float))):
        out[3 + k * BINS : 3 + (k + 1) * BINS] = np.bincount(place, values, minlength=BINS)
    return out if each else out / len(p)


def _mean_of(part: int) -> Statistic:
    return lambda s: ratio(s[:, part], s[:, 0])


def _calibration_error(s: FloatArray) -> FloatArray:
    share, predicted, observed = (s[:, 3 + k * BINS : 3 + (k + 1) * BINS] for k in range(3))
    apart = np.abs(predicted - observed)
    return ratio(np.where(apart > _CRUMB * share, apart, 0.0).sum(axis=1), share.sum(axis=1))


_PROBABLE: Mapping[str, Statistic] = {
    "log_loss": _mean_of(1),
    "brier": _mean_of(2),
    "calibration_error": _calibration_error,
}


@dataclass(frozen=True)
class Scheme:
    """What a task scores.

    Parameters
    ----------
    classes : tuple of str
        Classes in the order of the sums.
    labelled : str
        Column of what is labelled, ``labelled_time`` or ``n_labelled``.
    called : str
        Column of what is called so; none where it is empty.
    number : type
        float for seconds, int for numbers.
    balanced : tuple of str
        Classes whose recalls are averaged; those that are labelled where it is empty.
    more : mapping of str to callable
        Further measures of all classes together, from all sums of a participant.
    probable : tuple of str
        Measures of the probabilities.
    """

    classes: tuple[str, ...]
    labelled: str
    called: str = ""
    number: type[float] = float
    balanced: tuple[str, ...] = ()
    more: Mapping[str, Statistic] = field(default_factory=dict)
    probable: tuple[str, ...] = tuple(_PROBABLE)

    def of_class(self, name: str) -> dict[str, Statistic]:
        """Give precision, recall and F1 of a class."""
        labelled, called, both = (PER_CLASS * self.classes.index(name) + part for part in range(PER_CLASS))
        return {
            "precision": lambda s: ratio(s[:, both], s[:, called]),
            "recall": lambda s: ratio(s[:, both], s[:, labelled]),
            "f1": lambda s: ratio(2 * s[:, both], s[:, labelled] + s[:, called]),
        }

    @property
    def measures(self) -> tuple[str, ...]:
        """Names of all measures, of which a row of one predictor and class has some."""
        return (*self.of_class(self.classes[0]), "balanced_accuracy", *self.more, *self.probable)

    def mean_recall(self, names: Sequence[str]) -> Statistic:
        """Give the mean of the recalls of some classes."""
        recalls = [self.of_class(name)["recall"] for name in names]
        return lambda s: np.asarray(np.stack([recall(s) for recall in recalls]).mean(axis=0))


@dataclass(frozen=True)
class _Scorer:
    parameters: LearnParameters

    def __call__(self, sums: FloatArray, statistic: Statistic, pooled: bool) -> tuple[float, Interval]:
        estimate = float(statistic(sums.sum(axis=0)[None, :])[0])
        if not pooled:
            return estimate, no_interval("one participant")
        interval = cluster_bootstrap(
            sums, statistic, draws=self.parameters.bootstrap_resamples, seed=self.parameters.seed
        )
        return estimate, interval

    def put(self, row: dict[str, object], sums: FloatArray, measures: Mapping[str, Statistic], pooled: bool) -> None:
        for name, statistic in measures.items():
            row[name], interval = self(sums, statistic, pooled)
            row[f"{name}_low"], row[f"{name}_high"] = interval.low, interval.high


def score_rows(
    predictor: str,
    sums: Mapping[str, FloatArray],
    probabilities: Mapping[str, FloatArray],
    folds: Mapping[str, int],
    scheme: Scheme,
    parameters: LearnParameters,
    *,
    told: Collection[str] | None = None,
    silent: Collection[str] = (),
) -> list[dict[str, object]]:
    """Make the rows of one predictor: pooled and per participant, per class and for all.

    Parameters
    ----------
    predictor : str
        ``classifier`` or the name of a baseline.
    sums : mapping of participant_id to array
        `confusion_sums` of the classes of the scheme, then what ``scheme.more`` needs.
    probabilities : mapping of participant_id to array
        `probability_sums`; empty for a predictor without probabilities.
    folds : mapping of participant_id to int
        Fold that the participant was left out in, -1 for none.
    scheme : Scheme
        What is scored.
    parameters : LearnParameters
        Resamples and seed of the intervals.
    told : collection of str, optional
        Classes that the predictor can call; all by default. One that does not know them all has no balanced accuracy.
    silent : collection of str, optional
        People of whom the predictor can say nothing: they have no score instead of that of no answer, and do not count
        among the pooled ones.

    Returns
    -------
    list of dict
    """
    score = _Scorer(parameters)
    places = PER_CLASS * np.arange(len(scheme.classes))
    people = sorted(person for person, s in sums.items() if s[places].sum())
    none = dict.fromkeys((f"{name}{end}" for name in scheme.measures for end in ("", "_low", "_high")), float("nan"))
    rows: list[dict[str, object]] = []
    heard = [person for person in people if person not in silent]
    for scope in (None, *people) if people else ():
        members = (heard or people) if scope is None else [scope]
        mute = not set(members) & set(heard)
        table = np.stack([sums[person] for person in members])
        pooled = scope is None
        head = {
            "predictor": predictor,
            "scope": "pooled" if pooled else "fold",
            "participant_id": scope,
            "fold": None if scope is None else folds.get(scope, -1),
            **none,
        }
        present = [name for k, name in zip(places, scheme.classes, strict=True) if table[:, k].sum()]
        for name in present:
            if told is not None and name not in told:
                continue
            k = PER_CLASS * scheme.classes.index(name)
            row: dict[str, object] = {
                **head,
                "trial_type": name,
                "n_participants": 0 if mute else int((table[:, k] > 0).sum()),
                scheme.labelled: scheme.number(table[:, k].sum()),
            }
            if scheme.called and not mute:
                row[scheme.called] = scheme.number(table[:, k + 1].sum())
            if not mute:
                score.put(row, table, scheme.of_class(name), pooled)
            rows.append(row)
        row = {
            **head,
            "trial_type": "all",
            "n_participants": 0 if mute else len(members),
            scheme.labelled: scheme.number(table[:, places].sum()),
        }
        if not mute and (told is None or set(scheme.classes) <= set(told)):
            mean = {"balanced_accuracy": scheme.mean_recall(scheme.balanced or present)}
            score.put(row, table, {**mean, **scheme.more}, pooled)
        given = [probabilities[person] for person in members if person in probabilities and probabilities[person][0]]
        if given:
            score.put(row, np.stack(given), {name: _PROBABLE[name] for name in scheme.probable}, pooled)
        rows.append(row)
    return rows


def reliability_table(probabilities: Mapping[str, FloatArray], parameters: LearnParameters) -> pd.DataFrame:
    """Observed share of a class by its predicted probability, each participant with the same weight.

    Returns
    -------
    DataFrame
        low, high, predicted, observed, observed_low, observed_high, windows_share, n_participants; one row per bin
        that holds any window.
    """
    table = (
        np.stack([probabilities[p] for p in sorted(probabilities)]) if probabilities else np.zeros((0, 3 + 3 * BINS))
    )
    score = _Scorer(parameters)
    rows = []
    for k in range(BINS):
        share, predicted, observed = (3 + part * BINS + k for part in range(3))
        if not len(table) or table[:, share].sum() == 0:
            continue
        value, interval = score(table, lambda s, o=observed, n=share: ratio(s[:, o], s[:, n]), True)  # type: ignore[misc]
        rows.append(
            {
                "low": k / BINS,
                "high": (k + 1) / BINS,
                "predicted": float(table[:, predicted].sum() / table[:, share].sum()),
                "observed": value,
                "observed_low": interval.low,
                "observed_high": interval.high,
                "windows_share": float(table[:, share].sum() / table[:, 0].sum()),
                "n_participants": int((table[:, share] > 0).sum()),
            }
        )
    names = [
        "low", "high", "predicted", "observed", "observed_low", "observed_high", "windows_share", "n_participants",
    ]  # fmt: skip
    return pd.DataFrame(rows, columns=names)
