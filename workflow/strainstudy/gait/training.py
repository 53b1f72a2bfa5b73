"""Gait windows of all recordings to bouts, a stored model and the evidence for it: what the classify stage calls.

In: windows with features, rule-made states, labels of the reference rater, participants. Out: `StateResult`. Three
ways lead to a prediction, and every bout says which: with labels of at least two people of each state a model is
trained for every left-out participant (``out_of_fold``), and one of all labelled people predicts those without
labels (``final``); a model of another study, where one is given, predicts everybody (``final``); with neither, the
published limits decide (``rule``).
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from typing import Any

import numpy as np
import pandas as pd

from ..learn.attention import label_next, mistakes, novelty
from ..learn.card import make_card
from ..learn.crossfit import recipe_of
from ..learn.decide import Decision, decide, silent
from ..learn.evidence import ablation, importance, learning_curve, permutation_test
from ..learn.external import Given
from ..learn.feature_rows import FloatArray
from ..learn.fitting import PersonClassifier
from ..learn.history import hash_labels, hash_words
from ..learn.model_store import dump_models
from ..learn.scores import probability_sums, reliability_table, score_rows
from ..learn.threads import one_thread, spread
from ..upstream import Values, settings_words
from ..vocabulary import GAIT_STATES
from .baselines import baseline_probabilities
from .feature_specs import FeatureSpec
from .limits import rule_probability, rule_side
from .model_card import CAUTIONS, gait_facts
from .result import PREDICTION_COLUMNS, Evidence, StateResult, TrainedModel
from .scores import SCHEME, state_sums
from .state_bouts import BOUT_COLUMNS, bouts_of
from .state_parameters import StateParameters
from .state_time import state_seconds
from .task import LEFT, RIGHT, gait_rows, gait_task, labelled_windows
from .windows import GAIT_FEATURES

__all__ = ["train_states"]


def _spread(decided: Decision) -> tuple[FloatArray, FloatArray]:
    """Give the probability of limping, and of a limp being left; NaN where the model compares no sides."""
    left, right = decided.of(LEFT), decided.of(RIGHT)
    both = left + right
    with np.errstate(invalid="ignore", divide="ignore"):
        return both, np.where(decided.compared & (both > 0), left / both, np.nan)


def _bouts(states: pd.DataFrame, windows: pd.DataFrame, parameters: StateParameters, default: str) -> pd.DataFrame:
    """Bouts of every recording that has states."""
    frames = []
    by_recording = dict(list(windows.groupby("recording_id", sort=False)))
    for name, own in sorted(states.groupby("recording_id", sort=False)):
        some = by_recording.get(name, windows.iloc[:0])
        word = str(some["prediction"].iloc[0]) if len(some) else default
        frames.append(bouts_of(str(name), own, some, parameters, word))
    return pd.concat(frames, ignore_index=True) if frames else pd.DataFrame(columns=list(BOUT_COLUMNS))


def _seconds_by_person(
    bouts: pd.DataFrame, labels: Mapping[str, pd.DataFrame], person_of: Mapping[str, str]
) -> dict[str, FloatArray]:
    out: dict[str, FloatArray] = {}
    for name, own in sorted(bouts.groupby("recording_id", sort=False)):
        if name in labels and name in person_of:
            person = person_of[str(name)]
            part = state_seconds(str(name), person, labels[str(name)], own, tiled=True)
            out[person] = out.get(person, np.zeros(1)) + state_sums(part)
    return out


def _seconds_of_rule(
    windows: pd.DataFrame,
    limping: FloatArray,
    left: FloatArray,
    states: pd.DataFrame,
    labels: Mapping[str, pd.DataFrame],
    person_of: Mapping[str, str],
    parameters: StateParameters,
) -> dict[str, FloatArray]:
    """Seconds by person of the bouts that a baseline makes."""
    other = windows.assign(probability_limping=limping, probability_left=left)
    return _seconds_by_person(_bouts(states, other, parameters, "rule"), labels, person_of)


def _scores(
    windows: pd.DataFrame,
    states: pd.DataFrame,
    bouts: pd.DataFrame,
    labels: Mapping[str, pd.DataFrame],
    person_of: Mapping[str, str],
    parameters: StateParameters,
) -> tuple[pd.DataFrame, dict[str, FloatArray]]:
    """Rows of the classifier and of its baselines; sums of the classifier's probabilities by person."""
    fold = windows["fold"].to_numpy(dtype=np.intp)
    folds = dict(zip(windows["participant_id"], fold.tolist(), strict=True))
    tested = {r for r, k in zip(windows["recording_id"], fold.tolist(), strict=True) if k >= 0}
    tested |= {r for r in labels if r in person_of and r not in set(windows["recording_id"])}
    scored = {r: sheet for r, sheet in labels.items() if r in tested}
    limping = windows["label"].to_numpy(dtype=object) == "limping_gait"
    some = np.array([v is not None for v in windows["label"]]) & (fold >= 0)

    def sums(p: FloatArray) -> dict[str, FloatArray]:
        good = some & np.isfinite(p)
        person = windows["participant_id"].to_numpy(dtype=object)
        return {
            str(name): probability_sums(p[good & (person == name)], limping[good & (person == name)])
            for name in sorted(set(person[good].tolist()))
        }

    own = sums(windows["probability_limping"].to_numpy(dtype=float))
    rows = score_rows("classifier", _seconds_by_person(bouts, scored, person_of), own, folds, SCHEME, parameters)
    baselines = baseline_probabilities(windows, fold, parameters)
    own_states = states[states["recording_id"].isin(scored)]
    plain = windows.assign(caution=None, prediction="rule")
    jobs = [(plain, *baseline, own_states, scored, person_of, parameters) for baseline in baselines.values()]
    seconds = spread(_seconds_of_rule, jobs)
    for (name, (p, _)), found in zip(baselines.items(), seconds, strict=True):
        given = sums(p) if name == "majority" else {}
        # A rule that compares the knees says nothing of a person with one, which is no wrong answer.
        silent = set(windows["participant_id"]) - set(windows.loc[np.isfinite(p), "participant_id"])
        rows += score_rows(name, found, given, folds, SCHEME, parameters, silent=silent)
    return pd.DataFrame(rows), own


def _person_losses(sums: Mapping[str, FloatArray]) -> dict[str, float]:
    return {person: float(s[1]) for person, s in sums.items() if s[0]}


def _entry(
    scores: pd.DataFrame,
    model: PersonClassifier,
    labels: Mapping[str, pd.DataFrame],
    specs: Sequence[FeatureSpec],
    settings: Values,
) -> dict[str, Any]:
    pooled = scores[(scores["predictor"] == "classifier") & (scores["scope"] == "pooled")]
    total = pooled[pooled["trial_type"] == "all"].iloc[0]
    chosen = model.choice_[model.choice_["chosen"]].iloc[0]
    names = ("balanced_accuracy", "log_loss")
    return {
        "label_hash": hash_labels(labels, GAIT_STATES),
        "settings_hash": hash_words(settings_words(settings)),
        "feature_hash": hash_words("\n".join(f"{s.name} {s.unit} {s.formula}" for s in specs)),
        "family": chosen["family"],
        "setting": chosen["setting"],
        "n_participants": int(total["n_participants"]),
        "labelled_time": float(total["labelled_time"]),
        **{f"{n}{part}": float(total[f"{n}{part}"]) for n in names for part in ("", "_low", "_high")},
        "side_accuracy": float(total["side_accuracy"]),
    }


def _within_gait(scores: pd.DataFrame) -> dict[str, float]:
    """Give what the card says beside the scores of the history."""
    own = (scores["predictor"] == "classifier") & (scores["scope"] == "pooled") & (scores["trial_type"] == "all")
    name = "balanced_accuracy_within_gait"
    return {f"{name}{part}": float(scores.loc[own, f"{name}{part}"].iloc[0]) for part in ("", "_low", "_high")}


@one_thread
def train_states(
    windows: pd.DataFrame,
    states: pd.DataFrame,
    labels: Mapping[str, pd.DataFrame],
    participants: pd.DataFrame,
    parameters: StateParameters,
    *,
    given: Given | None = None,
    settings: Values | None = None,
    specs: Sequence[FeatureSpec] = GAIT_FEATURES,
    say: Callable[[str], None] = silent,
) -> StateResult:
    """Tell normal from limping gait in every recording, and how well that is known.

    Parameters
    ----------
    windows : DataFrame
        Windows of all recordings: ``recording_id, participant_id``, `windows.WINDOW_COLUMNS`, the features.
    states : DataFrame
        Rule-made states of all recordings: ``recording_id, onset, duration, trial_type`` and ``walk`` where known.
    labels : mapping of recording_id to DataFrame
        Labels of the reference rater: ``onset, duration, trial_type, side``.
    participants : DataFrame
        ``participant_id`` and, where known, ``affected_side``.
    parameters : StateParameters
        Settings.
    given : Given, optional
        A checked model of another study; nothing is trained then. Every row it decides says why to doubt it here.
    settings : mapping of section to mapping of name to value, optional
        All that the model rests on (`upstream.upstream_settings`), for its card and the history; none known without.
    specs : sequence of FeatureSpec
        The features of ``windows``.
    say : callable
        Told in words what is being done.

    Returns
    -------
    StateResult
    """
    task = gait_task(specs)
    windows = labelled_windows(windows, labels, parameters)
    affected = {}
    if "affected_side" in participants:
        sides = participants.set_index("participant_id")["affected_side"]
        affected = {str(p): str(s) for p, s in sides.items() if s in ("left", "right")}
    rows = gait_rows(windows, task, affected, parameters)
    recipe = recipe_of(parameters, parameters.families)
    decided = decide(rows, task, recipe, parameters, given=given, say=say)
    method, fitted = decided.method, decided.fitted
    rule = rule_probability(windows, parameters), rule_side(windows, parameters)
    limping, left = rule if method == "rule" else _spread(decided)
    windows = windows.assign(
        probability_normal=1.0 - limping,
        probability_limping=limping,
        probability_left=left,
        fold=decided.fold,
        prediction=decided.prediction,
        caution=decided.caution,
    )
    bouts = _bouts(states, windows, parameters, "rule" if method == "rule" else "final")
    predictions = windows[list(PREDICTION_COLUMNS)]
    spans = label_next(windows, limping, GAIT_STATES, novelty(rows.x, rows.labelled, rows.groups), parameters)
    if fitted is None:
        if method == "rule":
            predictions = predictions.assign(probability_normal=np.nan, probability_limping=np.nan)
        return StateResult(method, decided.reason, bouts, predictions, spans)
    person_of = dict(zip(windows["recording_id"], windows["participant_id"], strict=True))
    say("scoring the classifier and its baselines")
    scores, sums = _scores(windows, states, bouts, labels, person_of, parameters)
    groups = {s.name: s.group for s in specs}
    say("permutation test, learning curve, ablation, importance")
    evidence = Evidence(
        classifier=scores,
        reliability=reliability_table(sums, parameters),
        permutation=permutation_test(rows, task, parameters),
        learning_curve=learning_curve(rows, task, recipe),
        ablation=ablation(rows, task, groups, recipe, decided.fold),
        importance=importance(rows, fitted, groups, parameters),
        choices=fitted.choices,
        mistakes=mistakes(windows, windows["probability_limping"].to_numpy(dtype=float), GAIT_STATES),
    )
    models = decided.models
    content = dump_models(models)
    entry = _entry(scores, models[next(iter(models))], labels, specs, settings or {})
    card = make_card(
        models,
        specs,
        content,
        gait_facts(windows, entry | _within_gait(scores), settings or {}, evidence.permutation),
        CAUTIONS,
    )
    model = TrainedModel(content, card, entry, _person_losses(sums))
    return StateResult(method, decided.reason, bouts, predictions, spans, evidence, model)
