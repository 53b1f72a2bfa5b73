"""Gait windows of all recordings to bouts, a stored model and the evidence for it: what the classify stage calls.

In: windows with features, rule-made states, labels of the reference rater, participants. Out: `StateResult`. Three
ways lead to a prediction, and every bout says which: with labels of at least two people of each state a model is
trained for every left-out participant (``out_of_fold``), and one of all labelled people predicts those without
labels (``final``); a model of another study, where one is given or stands in, predicts everybody (``final``), with the
published rule beside it; with neither, and where that model lacks too much, the published limits decide (``rule``).
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace
from typing import Any

import numpy as np
import pandas as pd

from ..learn.attention import label_next, mistakes, novelty
from ..learn.card import make_card
from ..learn.crossfit import recipe_of
from ..learn.decide import LACKING, Decision, decide, silent
from ..learn.evidence import ablation, importance, learning_curve, permutation_test
from ..learn.external import Given
from ..learn.feature_rows import BoolArray, FloatArray, Rows, Task, stack
from ..learn.fitting import PersonClassifier, person_weights, too_few
from ..learn.history import hash_labels, hash_words
from ..learn.model_store import dump_models
from ..learn.prior import with_prevalence
from ..learn.scores import probability_sums, reliability_table, score_rows
from ..learn.threads import one_thread, spread
from ..upstream import Values, settings_words
from ..vocabulary import GAIT_STATES
from .baselines import baseline_probabilities
from .elsewhere import RULE_DECIDES, disputed, rule_beside, trained_words
from .feature_specs import FeatureSpec
from .limits import rule_probability, rule_side
from .model_card import CAUTIONS, gait_facts
from .result import PREDICTION_COLUMNS, Evidence, StateResult, TrainedModel
from .scores import SCHEME, state_sums
from .state_bouts import bouts_of_all
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


def _prevalence(rows: Rows, task: Task) -> float:
    """Share of limping that probabilities are calibrated for: every participant has the same weight, as there."""
    own = rows.take(rows.labelled & rows.learn)
    if not len(own):
        return float("nan")
    weights = person_weights(own.groups)
    return float((weights * (task.reported_labels(own.y) == GAIT_STATES[1])).sum() / weights.sum())


def _mix_of(model: PersonClassifier, share: float) -> float:
    """Share of limping that a model's probabilities are for: with too few people to calibrate, that of its weights."""
    return share if model.calibration_.shift else 1.0 / len(GAIT_STATES)


def _trained_mix(rows: Rows, extra: Rows | None, task: Task, decided: Decision, whole: float) -> FloatArray:
    """Share of limping that the probability of each row is for, by the training people of its model, shape (n,)."""
    mix = np.full(len(rows), whole)
    for part in () if decided.fitted is None else decided.fitted.models:
        others = rows.take((decided.fold >= 0) & (decided.fold != part.fold))
        share = _prevalence(others if extra is None else stack(others, extra), task)
        mix[part.index] = _mix_of(part.model, share)
    return mix


def _flagged(
    windows: pd.DataFrame, unlike: Mapping[str, str], compared: BoolArray, one_knee: str | None
) -> pd.DataFrame:
    """Say in what each recording that a model of another study decides is outside of what it was trained on.

    ``one_knee`` is what the card of that model says of rows whose sides it could not compare.
    """
    rows = zip(windows["recording_id"], windows["prediction"], windows["caution"], compared.tolist(), strict=True)
    known = [
        "; ".join(filter(None, [unlike.get(str(name)), None if both else one_knee, caution])) or None
        if made == "final"
        else caution
        for name, made, caution, both in rows
    ]
    return windows.assign(caution=pd.Series(known, index=windows.index, dtype=object))


def _filled_by_rule(windows: pd.DataFrame, rule: tuple[FloatArray, FloatArray]) -> pd.DataFrame:
    """Let the rule decide the recordings of which the model knows too little to speak at all, and say so."""
    silent_in = windows.groupby("recording_id")["probability_limping"].transform("count").eq(0)
    heard = pd.Series(np.isfinite(rule[0]), index=windows.index).groupby(windows["recording_id"]).transform("any")
    at = (silent_in & heard).to_numpy()
    said = [
        f"{caution or LACKING}: {RULE_DECIDES}" if ruled else caution
        for caution, ruled in zip(windows["caution"], at.tolist(), strict=True)
    ]
    return windows.assign(
        probability_limping=np.where(at, rule[0], windows["probability_limping"]),
        probability_normal=np.where(at, 1.0 - rule[0], windows["probability_normal"]),
        probability_left=np.where(at, rule[1], windows["probability_left"]),
        prediction=np.where(at, "rule", windows["prediction"]),
        caution=pd.Series(said, index=windows.index, dtype=object),
    )


def _without_pseudo(predictions: pd.DataFrame) -> pd.DataFrame:
    """Take out what the rule works with, which is no probability."""
    ruled = (predictions["prediction"] == "rule").to_numpy()
    names = ["probability_normal", "probability_limping"]
    return predictions.assign(**{name: predictions[name].where(~ruled) for name in names})


def _with_beside(frame: pd.DataFrame, made_by: pd.Series, ruled: pd.DataFrame, told: str) -> pd.DataFrame:
    """Say of each row who taught the model that decided it, and what the rule says."""
    by_model = (made_by == "final").to_numpy()
    trained = pd.Series([told if own else None for own in by_model], index=frame.index, dtype=object)
    return frame.assign(trained=trained).join(rule_beside(frame, ruled))


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
    return _seconds_by_person(bouts_of_all(states, other, parameters, "rule"), labels, person_of)


def _scores(
    windows: pd.DataFrame,
    states: pd.DataFrame,
    bouts: pd.DataFrame,
    labels: Mapping[str, pd.DataFrame],
    person_of: Mapping[str, str],
    parameters: StateParameters,
    calibrated: FloatArray,
) -> tuple[pd.DataFrame, dict[str, FloatArray]]:
    """Rows of the classifier and of its baselines; sums of the classifier's probabilities by person.

    What was called is scored as it was called. Probabilities are scored as ``calibrated`` for the mix of the labels: an
    expected prevalence is of other walking, and would score the setting and not the model.
    """
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

    own = sums(calibrated)
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
    standby: Given | None = None,
    more: pd.DataFrame | None = None,
    more_words: str | None = None,
    unlike: Mapping[str, str] | None = None,
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
    standby : Given, optional
        Such a model that decides only where the labels cannot train one.
    more : DataFrame, optional
        Windows of other people as `task.labelled_windows` gives them, which are learnt from and neither predicted nor
        scored. Tests of the evidence that train anew are of the study's own labels alone.
    more_words : str, optional
        What they are, for card and history.
    unlike : mapping of recording_id to str, optional
        In what a recording is outside of what a model of another study was trained on (`elsewhere.unlike`).
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
    extra = None if more is None else gait_rows(more, task, {}, parameters)
    decided = decide(
        rows, task, recipe, parameters, given=given, standby=standby if len(windows) else None, more=extra, say=say
    )
    method, fitted = decided.method, decided.fitted
    used = given or standby if method == "external" else None
    rule = rule_probability(windows, parameters), rule_side(windows, parameters)
    limping, left = rule if method == "rule" else _spread(decided)
    calibrated = limping
    mix = _prevalence(rows if extra is None else stack(rows, extra), task)
    if method == "trained":
        mix = _mix_of(next(iter(decided.models.values())), mix)
    if parameters.prevalence is not None and method != "rule":
        trained = _trained_mix(
            rows, extra, task, decided, mix if used is None else float(used.card["data"]["prevalence"])
        )
        limping = with_prevalence(limping, trained, parameters.prevalence)
    windows = windows.assign(
        probability_normal=1.0 - limping,
        probability_limping=limping,
        probability_left=left,
        fold=decided.fold,
        prediction=decided.prediction,
        caution=decided.caution,
    )
    if used is not None:
        one_knee = used.card.get("elsewhere", {}).get("one_knee")
        windows = _filled_by_rule(_flagged(windows, unlike or {}, decided.compared, one_knee), rule)
    limping = windows["probability_limping"].to_numpy(dtype=float)
    bouts = bouts_of_all(states, windows, parameters, "rule" if method == "rule" else "final")
    predictions = windows[list(PREDICTION_COLUMNS)]
    spans = label_next(windows, limping, GAIT_STATES, novelty(rows.x, rows.labelled, rows.groups), parameters)
    if used is not None:
        beside = windows.assign(probability_limping=rule[0], probability_left=rule[1], caution=None, prediction="rule")
        ruled = bouts_of_all(states, beside, parameters, "rule")
        told = trained_words(used.card)
        of_recording = windows.drop_duplicates("recording_id").set_index("recording_id")["prediction"]
        bouts, predictions, spans = (
            _with_beside(frame, made_by, ruled, told)
            for frame, made_by in (
                (bouts, bouts["prediction"]),
                (predictions, predictions["prediction"]),
                (spans, spans["recording_id"].map(of_recording)),
            )
        )
        given_sha256 = used.card.get("model_sha256")
        without = _without_pseudo(predictions)
        return StateResult(
            method, decided.reason, disputed(bouts), without, spans, rule_bouts=ruled, given_sha256=given_sha256
        )
    if fitted is None:
        return StateResult(method, decided.reason, bouts, _without_pseudo(predictions), spans)
    alone = extra is None or too_few(rows.take(rows.labelled), task) is None
    person_of = dict(zip(windows["recording_id"], windows["participant_id"], strict=True))
    say("scoring the classifier and its baselines")
    scores, sums = _scores(windows, states, bouts, labels, person_of, parameters, calibrated)
    groups = {s.name: s.group for s in specs}
    say("permutation test, learning curve, ablation, importance")
    evidence = Evidence(
        classifier=scores,
        reliability=reliability_table(sums, parameters),
        permutation=permutation_test(rows, task, parameters if alone else replace(parameters, permutations=0)),
        learning_curve=learning_curve(rows, task, recipe),
        ablation=ablation(rows, task, groups, recipe, decided.fold),
        importance=importance(rows, fitted, groups, parameters),
        choices=fitted.choices,
        mistakes=mistakes(windows, windows["probability_limping"].to_numpy(dtype=float), GAIT_STATES),
    )
    models = decided.models
    content = dump_models(models)
    entry = _entry(scores, models[next(iter(models))], labels, specs, settings or {})
    if more_words is not None:
        entry |= {
            "setting": f"{entry['setting']}; trained with {more_words}",
            "label_hash": hash_words(f"{entry['label_hash']} {more_words}"),
        }
    facts = gait_facts(
        windows, entry | _within_gait(scores) | {"prevalence": mix}, settings or {}, evidence.permutation
    )
    cautions: tuple[str, ...] = CAUTIONS
    if more_words is not None:
        facts["company"] = more_words
        cautions = (*CAUTIONS, f"It learnt as well from other people: {more_words}.")
    card = make_card(models, specs, content, facts, cautions)
    model = TrainedModel(content, card, entry, _person_losses(sums))
    return StateResult(method, decided.reason, bouts, predictions, spans, evidence, model)
