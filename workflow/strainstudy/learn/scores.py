"""How well states were told, in seconds and as probabilities, with intervals over participants.

In: labels and bouts of each recording; probabilities of labelled windows. Out: rows of ``validation/classifier.tsv``
for the classifier and for each baseline beside it. A state counts by its time: recall of normal gait is the share of
the time labelled normal gait that was called normal gait, whatever else it was called. Balanced accuracy is the mean
of the recalls of normal and limping gait, over all time labelled so and over the part that was found to be either (what
is lost between the two was called a turn or rest by gait detection). Only time that has a state label is scored.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from ..gait.state_time import COLUMN_STATES, StateSeconds
from ..stats.intervals import Interval, cluster_bootstrap, no_interval
from ..vocabulary import GAIT_STATES, STATES
from .parameters import ClassifyParameters

__all__ = [
    "BINS",
    "SCORED_STATES",
    "SUMS",
    "probability_sums",
    "ratio",
    "reliability_table",
    "score_rows",
    "state_sums",
]

FloatArray = NDArray[np.float64]
Statistic = Callable[[FloatArray], FloatArray]

SCORED_STATES = ("rest", *GAIT_STATES)
BINS = 10
"""Bins of the reliability curve, equally wide."""
FLOOR = 1e-6
_PER_STATE = 3
SUMS = _PER_STATE * len(SCORED_STATES) + 4
"""Number of sums that `state_sums` gives."""


def state_sums(part: StateSeconds) -> FloatArray:
    """Add up what scores are made of, from the seconds of one recording.

    Parameters
    ----------
    part : StateSeconds
        From `state_time.state_seconds`.

    Returns
    -------
    array, shape (3 * 3 + 4,)
        For each of `SCORED_STATES`: seconds labelled so, detected so while any state is labelled, both; then
        seconds of limping labelled with a side, and those of them called limping on that side; then seconds labelled
        normal and labelled limping that were called one of the two.
    """
    table = part.seconds
    columns = [COLUMN_STATES.index(state) for state in GAIT_STATES]
    out = np.zeros(SUMS)
    for k, state in enumerate(SCORED_STATES):
        row, column = STATES.index(state), COLUMN_STATES.index(state)
        said, found, both = table[row].sum(), table[:, column].sum(), table[row, column]
        out[_PER_STATE * k : _PER_STATE * (k + 1)] = said, found, both
    out[-4:] = *part.side, *(table[STATES.index(state), columns].sum() for state in GAIT_STATES)
    return out


def probability_sums(p: FloatArray, limping: NDArray[np.bool_]) -> FloatArray:
    """Means over one participant's labelled windows that probability scores are made of.

    Parameters
    ----------
    p : array, shape (n,)
        Probability of limping.
    limping : array of bool, shape (n,)
        Labels.

    Returns
    -------
    array, shape (3 + 3 * BINS,)
        1, log loss, Brier score; per bin of `p`: share of windows, sum of p, sum of limping. All zero without windows.
    """
    out = np.zeros(3 + 3 * BINS)
    if not len(p):
        return out
    hit = np.where(limping, p, 1.0 - p)
    place = np.minimum((p * BINS).astype(int), BINS - 1)
    out[:3] = [1.0, float(-np.log(np.maximum(hit, FLOOR)).mean()), float(((p - limping) ** 2).mean())]
    for k, values in enumerate((np.ones(len(p)), p, limping.astype(float))):
        out[3 + k * BINS : 3 + (k + 1) * BINS] = np.bincount(place, values, minlength=BINS) / len(p)
    return out


def ratio(top: FloatArray, bottom: FloatArray) -> FloatArray:
    """Divide; NaN where the bottom is not above 0."""
    with np.errstate(divide="ignore", invalid="ignore"):
        return np.asarray(np.where(bottom > 0, top / bottom, np.nan))


def _column(state: str, part: int) -> int:
    return _PER_STATE * SCORED_STATES.index(state) + part


def _recall(state: str) -> Statistic:
    return lambda s: ratio(s[:, _column(state, 2)], s[:, _column(state, 0)])


def _precision(state: str) -> Statistic:
    return lambda s: ratio(s[:, _column(state, 2)], s[:, _column(state, 1)])


def _f1(state: str) -> Statistic:
    return lambda s: ratio(2 * s[:, _column(state, 2)], s[:, _column(state, 0)] + s[:, _column(state, 1)])


def _balanced(s: FloatArray) -> FloatArray:
    return np.asarray(np.stack([_recall(state)(s) for state in GAIT_STATES]).mean(axis=0))


def _balanced_within_gait(s: FloatArray) -> FloatArray:
    recalls = [ratio(s[:, _column(state, 2)], s[:, SUMS - 2 + k]) for k, state in enumerate(GAIT_STATES)]
    return np.asarray(np.stack(recalls).mean(axis=0))


def _side(s: FloatArray) -> FloatArray:
    return ratio(s[:, SUMS - 3], s[:, SUMS - 4])


def _mean_of(part: int) -> Statistic:
    return lambda s: ratio(s[:, part], s[:, 0])


def _calibration_error(s: FloatArray) -> FloatArray:
    share, predicted, observed = (s[:, 3 + k * BINS : 3 + (k + 1) * BINS] for k in range(3))
    return ratio(np.abs(predicted - observed).sum(axis=1), share.sum(axis=1))


@dataclass(frozen=True)
class _Scorer:
    parameters: ClassifyParameters

    def __call__(self, sums: FloatArray, statistic: Statistic, pooled: bool) -> tuple[float, Interval]:
        estimate = float(statistic(sums.sum(axis=0)[None, :])[0])
        if not pooled:
            return estimate, no_interval("one participant")
        interval = cluster_bootstrap(
            sums, statistic, draws=self.parameters.bootstrap_resamples, seed=self.parameters.seed
        )
        return estimate, interval


def _put(row: dict[str, object], name: str, value: tuple[float, Interval]) -> None:
    row[name], row[f"{name}_low"], row[f"{name}_high"] = value[0], value[1].low, value[1].high


def score_rows(
    predictor: str,
    seconds: Mapping[str, FloatArray],
    probabilities: Mapping[str, FloatArray],
    folds: Mapping[str, int],
    parameters: ClassifyParameters,
) -> list[dict[str, object]]:
    """Make the rows of one predictor: pooled and per participant, per state and for all.

    Parameters
    ----------
    predictor : str
        ``classifier`` or the name of a baseline.
    seconds : mapping of participant_id to array
        Sums of `state_sums` over the participant's recordings.
    probabilities : mapping of participant_id to array
        `probability_sums`; empty for a predictor without probabilities.
    folds : mapping of participant_id to int
        Fold that the participant was left out in, -1 for none.
    parameters : ClassifyParameters
        Resamples and seed of the intervals.

    Returns
    -------
    list of dict
        Rows of ``validation/classifier.tsv``.
    """
    score = _Scorer(parameters)
    people = sorted(person for person, s in seconds.items() if s[: _PER_STATE * len(SCORED_STATES) : _PER_STATE].sum())
    rows: list[dict[str, object]] = []
    for scope in (None, *people):
        members = people if scope is None else [scope]
        if not members:
            continue
        sums = np.stack([seconds[person] for person in members])
        pooled = scope is None
        head = {
            "predictor": predictor,
            "scope": "pooled" if pooled else "fold",
            "participant_id": scope,
            "fold": None if scope is None else folds.get(scope, -1),
        }
        for state in SCORED_STATES:
            labelled = sums[:, _column(state, 0)]
            if not labelled.sum():
                continue
            row: dict[str, object] = {
                **head,
                "trial_type": state,
                "n_participants": int((labelled > 0).sum()),
                "labelled_time": float(labelled.sum()),
            }
            for name, statistic in (("precision", _precision), ("recall", _recall), ("f1", _f1)):
                _put(row, name, score(sums, statistic(state), pooled))
            rows.append(row)
        row = {
            **head,
            "trial_type": "all",
            "n_participants": len(members),
            "labelled_time": float(sums[:, [_column(s, 0) for s in SCORED_STATES]].sum()),
        }
        _put(row, "balanced_accuracy", score(sums, _balanced, pooled))
        _put(row, "balanced_accuracy_within_gait", score(sums, _balanced_within_gait, pooled))
        _put(row, "side_accuracy", score(sums, _side, pooled))
        given = [probabilities[person] for person in members if person in probabilities and probabilities[person][0]]
        if given:
            table = np.stack(given)
            for name, measure in (
                ("log_loss", _mean_of(1)),
                ("brier", _mean_of(2)),
                ("calibration_error", _calibration_error),
            ):
                _put(row, name, score(table, measure, pooled))
        rows.append(row)
    return rows


def reliability_table(probabilities: Mapping[str, FloatArray], parameters: ClassifyParameters) -> pd.DataFrame:
    """Observed share of limping by predicted probability, each participant with the same weight.

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
