"""Decide for every row: by models of the other people, by the stored model, or not at all.

In: `Rows` of everybody and a `Task`. Out: `Decision`. With labels of enough people a model is trained for every
left-out participant (``out_of_fold``), and one of all labelled people for each kind of recording predicts those
without labels (``final``); a model of another study, where one is given, predicts everybody (``final``). Where neither
is to be had the task's own rule decides (``rule``). A recording is predicted by the best model all of whose features it
has, so that a person with one sensor, or without calibration, is not given made-up values.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Final

import numpy as np

from .crossfit import CrossFit, available, crossfit, fold_labels, predict, restricted
from .external import Given
from .feature_rows import BoolArray, FloatArray, IntArray, Rows, Task, TextArray, stack
from .fitting import NothingToLearnError, PersonClassifier, Recipe, choose, learnable, too_few
from .parameters import LearnParameters
from .threads import spread

__all__ = [
    "LACKING",
    "Decision",
    "Outcome",
    "choose_variant",
    "decide",
    "doubt_of",
    "outside_range",
    "silent",
    "train_variants",
]

_GIVEN: Final = "a model of another study was given"
LACKING: Final = "features that the model needs are missing"
RANGE_MARGIN = 0.25
"""Share of the training range by which a value may lie beyond it: few people do not show all there is."""


@dataclass(frozen=True)
class Outcome:
    """By what a task was decided; what each task gives more is in its own class over this one.

    Parameters
    ----------
    method : {'trained', 'external', 'rule'}
        What made the predictions.
    reason : str or None
        Why no model was trained.
    """

    method: str
    reason: str | None

    def __str__(self) -> str:
        return self.method + (f" ({self.reason})" if self.reason else "")


@dataclass(frozen=True)
class Decision(Outcome):
    """What is known of every row.

    Parameters
    ----------
    classes : tuple of str
        Classes of the columns of ``probabilities``.
    probabilities : array, shape (n, k)
        NaN where no model spoke.
    compared : array of bool, shape (n,)
        Rows predicted by a model that compares the sides.
    prediction : array of str, shape (n,)
        ``out_of_fold``, ``final`` or ``rule``.
    caution : array of str or None, shape (n,)
        Why to doubt it.
    fold : array of int, shape (n,)
        Fold that each row was left out in, -1 for people without labels.
    fitted : CrossFit or None
        None where nothing was trained.
    models : mapping of variant to PersonClassifier
        The stored models, best first, or those of another study.
    """

    classes: tuple[str, ...]
    probabilities: FloatArray
    compared: BoolArray
    prediction: TextArray
    caution: TextArray
    fold: IntArray
    fitted: CrossFit | None
    models: Mapping[str, PersonClassifier]

    def of(self, name: str) -> FloatArray:
        """Give the probability of a class, shape (n,); NaN for one that no model knows."""
        if name not in self.classes:
            return np.full(len(self.fold), np.nan)
        return self.probabilities[:, self.classes.index(name)]


def silent(words: str) -> None:
    """Say nothing."""
    del words


def external_words(caution: str | None) -> str:
    """Say why nothing was trained where a model of another study was given, and why to doubt that model."""
    return _GIVEN if caution is None else f"{_GIVEN}; {caution}"


def standby_words(reason: str | None, standby: Given) -> str:
    """Say why a model that stands in decided, which, and why to doubt it."""
    name = standby.card.get("elsewhere", {}).get("name", "a model that comes along")
    return "; ".join(filter(None, [reason, f"{name} stands in", standby.caution]))


def doubt_of(reason: str | None) -> str | None:
    """Give back the caution of `external_words`; None without one."""
    return (reason or "").removeprefix(_GIVEN).removeprefix("; ") or None


def train_variants(rows: Rows, task: Task, recipe: Recipe) -> dict[str, PersonClassifier]:
    """Train a model for every kind of recording that the labelled people can teach.

    Returns
    -------
    dict of str to PersonClassifier
        Some of `Task.variants`; one that comes out with the features of another is left out.
    """
    taught: dict[str, tuple[Rows, Task]] = {}
    for name, wanted in task.variants.items():
        inputs = tuple(j for j, c in enumerate(task.columns) if c in wanted)
        try:
            part = learnable(rows.with_columns(inputs), restricted(task, inputs))
        except NothingToLearnError:
            continue
        if all(part[1].columns != other.columns for _, other in taught.values()):
            taught[name] = part
    choices = spread(choose, [(*part, recipe) for part in taught.values()])
    # Fitted here and not in another process: what is stored would not be the same bytes after the way back.
    return {
        name: PersonClassifier(part, recipe).finish(own, choice)
        for (name, (own, part)), choice in zip(taught.items(), choices, strict=True)
    }


def choose_variant(task: Task, models: Mapping[str, PersonClassifier], have: set[str]) -> str | None:
    """Name the best model all of whose features a recording has, or None; a task with one variant has no choice."""
    there = [name for name in task.variants if name in models]
    if len(task.variants) == 1:
        return there[0]
    return next((name for name in there if set(models[name].columns) <= have), None)


def outside_range(model: PersonClassifier, x: FloatArray) -> list[str]:
    """Name the features that lie outside the training range in most of a person's rows.

    Parameters
    ----------
    model : PersonClassifier
        Knows the range of its training people.
    x : array, shape (n, len(model.columns))
        Rows of one person.

    Returns
    -------
    list of str
    """
    margin = RANGE_MARGIN * (model.high_ - model.low_)
    with np.errstate(invalid="ignore"):
        out = (x < model.low_ - margin) | (x > model.high_ + margin)
    return [c for c, share in zip(model.columns, out.mean(axis=0), strict=True) if share > 0.5] if len(x) else []


def _range_cautions(rows: Rows, task: Task, model: PersonClassifier, index: IntArray, into: TextArray) -> None:
    for person in sorted(set(rows.groups[index].tolist())):
        at = index[rows.groups[index] == person]
        names = outside_range(model, rows.x[at][:, [task.columns.index(c) for c in model.columns]])
        if names:
            into[at] = f"outside the training range: {', '.join(names)}"


def _by_variant(
    rows: Rows, task: Task, models: Mapping[str, PersonClassifier], index: IntArray
) -> dict[str | None, IntArray]:
    """Sort rows by the model that is to predict their recording."""
    have = available(rows, task)
    chosen = {block: choose_variant(task, models, {task.columns[j] for j in have[block]}) for block in have}
    names = np.array([chosen[str(block)] for block in rows.blocks[index].tolist()], dtype=object)
    return {name: index[[own == name for own in names]] for name in dict.fromkeys(names.tolist())}


def decide(
    rows: Rows,
    task: Task,
    recipe: Recipe,
    parameters: LearnParameters,
    *,
    given: Given | None = None,
    standby: Given | None = None,
    more: Rows | None = None,
    say: Callable[[str], None] = silent,
) -> Decision:
    """Predict every row with what may be had.

    Parameters
    ----------
    rows : Rows
        Of everybody.
    task : Task
        What is to be learnt, and in which variants it is stored.
    recipe : Recipe
        How.
    parameters : LearnParameters
        Folds and seed.
    given : Given, optional
        A checked model of another study; nothing is trained then. Every row it decides says why to doubt it here.
    standby : Given, optional
        Such a model that decides only where the rows cannot train one.
    more : Rows, optional
        Labelled rows of other people, which are learnt from and neither predicted nor scored. One labelled participant
        is then enough.
    say : callable
        Told in words what is being done.

    Returns
    -------
    Decision
    """
    n = len(rows)
    fold = np.full(n, -1, dtype=np.intp)
    fitted: CrossFit | None = None
    models: Mapping[str, PersonClassifier] = {}
    own = rows.take(rows.labelled)
    method, reason = "rule", too_few(own if more is None or not len(own) else stack(own, more), task)
    if given is not None and set(given.models) & set(task.variants):
        method, reason, models = "external", external_words(given.caution), given.models
    elif reason is None:
        method, fold = "trained", fold_labels(rows, task, parameters)
        say(f"training on {len(set(rows.groups[rows.labelled].tolist()))} labelled participants, each left out in turn")
        fitted = crossfit(rows, task, recipe, fold, more=more)
        say("training the model that is stored")
        models = train_variants(rows if more is None else stack(rows, more), task, recipe)
        if not models:
            method, reason = "rule", "no feature varies among the labelled participants"
            fitted, fold = None, np.full(n, -1, dtype=np.intp)
    if method == "rule" and standby is not None and set(standby.models) & set(task.variants):
        method, reason, models = "external", standby_words(reason, standby), standby.models
        given = standby
    classes = tuple(dict.fromkeys([*task.classes, *(c for model in models.values() for c in model.task.classes)]))
    p = np.full((n, len(classes)), np.nan)
    compared = np.zeros(n, dtype=np.bool_)
    prediction, caution = np.full(n, "rule", dtype=object), np.full(n, None, dtype=object)

    def give(model: PersonClassifier, index: IntArray, found: FloatArray) -> None:
        places = np.array([classes.index(c) for c in model.task.classes])
        p[index[:, None], places] = found
        compared[index] = bool(set(model.columns) & set(task.odd))

    if fitted is not None:
        prediction[fold >= 0] = "out_of_fold"
        for part in fitted.models:
            give(part.model, part.index, fitted.probabilities[part.index])
            _range_cautions(rows, task, part.model, part.index, caution)
    for name, index in _by_variant(rows, task, models, np.flatnonzero(fold < 0)).items() if models else ():
        if name is None:
            caution[index] = LACKING
            continue
        prediction[index] = "final"
        for block in sorted(set(rows.blocks[index].tolist())):
            at = index[rows.blocks[index] == block]
            give(models[name], at, predict(models[name], rows.take(at), task.columns))
        _range_cautions(rows, task, models[name], index, caution)
    if method == "external" and given is not None and given.caution is not None:
        final = prediction == "final"
        caution[final] = [given.caution if v is None else f"{given.caution}; {v}" for v in caution[final]]
    return Decision(method, reason, classes, p, compared, prediction, caution, fold, fitted, models)
