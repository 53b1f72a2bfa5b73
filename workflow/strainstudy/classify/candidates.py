"""Swallow or not: candidates of all recordings to probabilities, by the machinery that gait uses.

In: candidates with features, the class a rater gave each, participants. Out: for each candidate the probability of
being a swallow by a model that never saw the participant (or by the stored model, for participants without labels),
and a stored model. Without labels of enough people nothing is trained and the caller's own score decides.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from .crossfit import crossfit, fold_labels, recipe_of
from .fitting import Fitted, NothingToLearnError, fit, too_few
from .parameters import ClassifyParameters
from .rows import FloatArray, Rows, Task
from .store import dump_models
from .threads import one_thread

__all__ = ["CandidateResult", "candidate_rows", "candidate_task", "classify_candidates"]

TARGET = "swallow"
REST = "not_a_swallow"
THRESHOLD = 0.5
"""Accepting what is more likely a swallow than not makes the fewest mistakes where probabilities are calibrated."""
VARIANT = "throat"


@dataclass(frozen=True)
class CandidateResult:
    """What is known of the candidates.

    Parameters
    ----------
    method : {'trained', 'external', 'rule'}
        What made the probabilities.
    reason : str or None
        Why no model was trained.
    candidates : DataFrame
        Index of the input; ``probability`` (NaN where the rule decides), ``accepted``, ``prediction`` (out_of_fold,
        final, rule), ``fold``.
    choices : DataFrame
        Candidates of each fold and which was chosen.
    participant_log_loss : dict of str to float
        Out-of-fold log loss of each participant.
    content : bytes or None
        The model file.
    models : dict of str to Fitted
        The stored model by variant, for its card.
    """

    method: str
    reason: str | None
    candidates: pd.DataFrame
    choices: pd.DataFrame
    participant_log_loss: dict[str, float]
    content: bytes | None
    models: dict[str, Fitted]


def candidate_task(features: Sequence[str]) -> Task:
    """Say what is learnt from candidates."""
    return Task(columns=tuple(features), classes=(TARGET, REST))


def candidate_rows(candidates: pd.DataFrame, words: pd.Series, features: Sequence[str]) -> Rows:
    """Make rows to learn from.

    Parameters
    ----------
    candidates : DataFrame
        ``recording_id, participant_id`` and the features.
    words : Series of str or None
        Class that the rater gave each; None where the rater cannot be asked.
    features : sequence of str
        Columns to learn from.

    Returns
    -------
    Rows
    """
    known = words.notna().to_numpy()
    y = np.array(
        [None if not k else TARGET if w == TARGET else REST for k, w in zip(known, words, strict=True)], object
    )
    number = np.arange(len(candidates))
    return Rows(
        x=candidates[list(features)].to_numpy(dtype=float),
        y=y,
        groups=candidates["participant_id"].to_numpy(dtype=object),
        units=np.array([f"{k:06d}" for k in number], dtype=object),
        blocks=candidates["recording_id"].to_numpy(dtype=object),
        learn=np.ones(len(candidates), dtype=np.bool_),
    )


def _person_losses(p: FloatArray, rows: Rows, tested: NDArray[np.bool_]) -> dict[str, float]:
    swallow = rows.y == TARGET
    loss = -np.log(np.maximum(np.where(swallow, p, 1.0 - p), 1e-6))
    good = rows.labelled & tested & np.isfinite(p)
    return {str(g): float(loss[good & (rows.groups == g)].mean()) for g in sorted(set(rows.groups[good].tolist()))}


@one_thread
def classify_candidates(
    candidates: pd.DataFrame,
    words: pd.Series,
    features: Sequence[str],
    rule: NDArray[np.bool_],
    parameters: ClassifyParameters,
    *,
    external: Mapping[str, Fitted] | None = None,
) -> CandidateResult:
    """Say which candidates are swallows.

    Parameters
    ----------
    candidates : DataFrame
        Of all recordings: ``recording_id, participant_id`` and the features.
    words : Series of str or None
        Class of each candidate by the reference rater; ``swallow`` is what is looked for.
    features : sequence of str
        Columns to learn from.
    rule : array of bool, shape (n,)
        Decision without labels, used where there is no model.
    parameters : ClassifyParameters
        Settings.
    external : mapping of variant to Fitted, optional
        A checked model of another study; nothing is trained then.

    Returns
    -------
    CandidateResult
    """
    task = candidate_task(features)
    rows = candidate_rows(candidates, words, features)
    n = len(rows)
    p = np.full(n, np.nan)
    fold = np.full(n, -1, dtype=np.intp)
    prediction = np.full(n, "rule", dtype=object)
    choices = pd.DataFrame(columns=["fold", "features", "family", "setting", "log_loss", "standard_error", "chosen"])
    losses: dict[str, float] = {}
    models: dict[str, Fitted] = {}
    method, reason = "rule", None
    few = too_few(rows.take(rows.labelled), task)
    if external is not None and VARIANT in external:
        method, reason, models = "external", "a model of another study was given", {VARIANT: external[VARIANT]}
    elif few is not None:
        reason = few
    else:
        method = "trained"
        recipe = recipe_of(parameters)
        fold = fold_labels(rows, task, parameters)
        fitted = crossfit(rows, task, recipe, fold)
        p = fitted.probabilities[:, task.classes.index(TARGET)]
        prediction[np.isfinite(p)] = "out_of_fold"
        choices, losses = fitted.choices, _person_losses(p, rows, fitted.fold >= 0)
        try:
            models = {VARIANT: fit(rows, task, recipe)}
        except NothingToLearnError as error:
            method, reason = "rule", str(error)
    if models:
        model = models[VARIANT]
        rest = np.flatnonzero(fold < 0)
        x = rows.x[rest][:, [task.columns.index(c) for c in model.columns]]
        if len(rest):
            p[rest] = model.probabilities(x)[:, model.classes.index(TARGET)]
            prediction[rest] = "final"
    accepted = np.where(np.isfinite(p), np.nan_to_num(p) >= THRESHOLD, rule)
    frame = pd.DataFrame(
        {"probability": p, "accepted": accepted.astype(bool), "prediction": prediction, "fold": fold},
        index=candidates.index,
    )
    content = dump_models(models) if method == "trained" else None
    return CandidateResult(method, reason, frame, choices, losses, content, models)
