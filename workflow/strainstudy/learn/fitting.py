"""Train one model on some people: selection, choice of family and setting, calibration, final fit.

In: `Rows` of the training people only. Out: `PersonClassifier`, which knows all that was learnt from them. Nothing in
here sees a row that is not in the training part, so a fold that calls it with the other people's rows leaks nothing.
The simplest candidate whose inner log loss is within one standard error (over participants) of the best is taken
(Breiman et al. 1984, Classification and Regression Trees; from memory).
"""

from __future__ import annotations

import warnings
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from typing import Self

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from sklearn.base import BaseEstimator, ClassifierMixin
from sklearn.pipeline import Pipeline

from .calibration import Calibration, calibrate
from .feature_rows import FloatArray, Rows, Task, TextArray, log_loss, stack
from .folds import assert_apart, participant_folds
from .model_families import Candidate, candidates
from .scaling import Scaling
from .threads import spread

__all__ = [
    "PEOPLE_MIN",
    "Choice",
    "Learner",
    "NothingToLearnError",
    "PersonClassifier",
    "Recipe",
    "choose",
    "fit",
    "learnable",
    "log_losses",
    "person_weights",
    "too_few",
]

IntArray = NDArray[np.intp]

PEOPLE_MIN = 2
"""Participants of each class: with one, leaving that one out leaves no example."""


class NothingToLearnError(Exception):
    """Training rows hold fewer than two classes, or no feature that varies."""


@dataclass(frozen=True)
class Recipe:
    """How to train: what to choose from, and with how much care.

    Parameters
    ----------
    families : tuple of str
        Families to choose from, simplest first.
    inner_folds : int
        Folds of the training people; 0 takes the middle setting of the first family uncalibrated (for the many
        fits of a permutation test or a learning curve).
    seed : int
        Seed of the models and of the folds.
    """

    families: tuple[str, ...]
    inner_folds: int
    seed: int

    def quick(self) -> Recipe:
        """Give the recipe for many cheap fits: the first family, nothing chosen, nothing calibrated."""
        return Recipe(("logistic_regression",), 0, self.seed)


@dataclass(frozen=True)
class Learner:
    """Scaling and pipeline (imputation, standardisation, model) of one fit."""

    scaling: Scaling
    pipeline: Pipeline

    def probabilities(self, x: FloatArray, classes: Sequence[str]) -> FloatArray:
        """Give probabilities in the order of ``classes``; a class the model never saw has none."""
        return _in_order(self.pipeline.predict_proba(self.scaling(x)), self.pipeline.classes_, classes)


def _in_order(given: FloatArray, learnt: TextArray, classes: Sequence[str]) -> FloatArray:
    """Put probabilities of the classes that a model learnt into the order of ``classes``."""
    out = np.zeros((len(given), len(classes)))
    for k, name in enumerate(learnt):
        out[:, list(classes).index(str(name))] = given[:, k]
    return out


def too_few(rows: Rows, task: Task) -> str | None:
    """Say why these rows cannot train and test a classifier, or None if they can."""
    labels = task.reported_labels(rows.y)
    lacks = []
    for name in task.reported:
        people = sorted(set(rows.groups[labels == name].tolist()))
        if len(people) < PEOPLE_MIN:
            lacks.append(f"{name} is labelled in {len(people)} participant{'' if len(people) == 1 else 's'}")
    if not lacks:
        return None
    return f"{'; '.join(lacks)}; leaving one participant out needs at least {PEOPLE_MIN} of each class"


def person_weights(groups: TextArray, y: TextArray | IntArray | None = None) -> FloatArray:
    """Weights that give every participant (and, with ``y``, every class) the same say; mean 1."""
    key = pd.factorize(groups)[0]
    code = None if y is None else pd.factorize(y)[0]
    if code is not None:
        key = key * (int(code.max()) + 1) + code
    weights = 1.0 / np.bincount(key)[key]
    if code is not None:
        weights /= np.bincount(code, weights)[code]
    return np.asarray(weights / weights.mean())


def log_losses(probabilities: FloatArray, codes: IntArray, groups: TextArray) -> dict[str, float]:
    """Mean log loss of each participant's rows."""
    loss = log_loss(probabilities[np.arange(len(codes)), codes])
    number, people = pd.factorize(groups, sort=True)
    return {str(person): float(loss[number == k].mean()) for k, person in enumerate(people)}


def _scaled_by(rows: Rows, task: Task) -> tuple[Scaling, TextArray]:
    """Give the scaling that training rows teach, and their labels as reported."""
    labels = task.reported_labels(rows.y)
    reference = labels == task.reference
    return Scaling.of(rows.x[reference] if reference.any() else rows.x, task.side_groups), labels


@contextmanager
def _few_values_are_enough() -> Iterator[None]:
    """Pass over a warning: a feature that counts something has fewer values than bins, and needs no more."""
    with warnings.catch_warnings():
        warnings.filterwarnings("ignore", message="Bins whose width are too small", category=UserWarning)
        yield


def _train(candidate: Candidate, rows: Rows, task: Task, seed: int) -> Learner:
    scaling, labels = _scaled_by(rows, task)
    learner = Learner(scaling, candidate.pipeline(seed))
    weights = person_weights(rows.groups, labels)
    with _few_values_are_enough():
        learner.pipeline.fit(scaling(rows.x), rows.y.astype(str), model__sample_weight=weights)
    return learner


def _with_mirror(rows: Rows, task: Task) -> Rows:
    return stack(rows, rows.mirrored(task)) if task.swap else rows


def _selected(rows: Rows) -> list[int]:
    """Columns that vary and are there in at least half of the training people."""
    keep = []
    people = sorted(set(rows.groups.tolist()))
    for j in range(rows.x.shape[1]):
        there = np.isfinite(rows.x[:, j])
        values = rows.x[there, j]
        have = len(set(rows.groups[there].tolist()))
        if values.size and np.ptp(values) > 0 and 2 * have >= len(people):
            keep.append(j)
    return keep


def _tried(options: Sequence[Candidate], train: Rows, test: Rows, task: Task, seed: int) -> list[FloatArray]:
    """Probabilities that each of some candidates trained on some people gives others.

    What comes before the model is the same for most candidates, and takes as long as the simplest models.
    """
    scaling, labels = _scaled_by(train, task)
    seen, asked = scaling(train.x), scaling(test.x)
    words, weights = train.y.astype(str), person_weights(train.groups, labels)
    ready: dict[str, tuple[FloatArray, FloatArray]] = {}
    found = []
    for option in options:
        pipeline = option.pipeline(seed)
        before, model = pipeline[:-1], pipeline[-1]
        with _few_values_are_enough():
            kind = repr(before.steps)
            if kind not in ready:
                ready[kind] = before.fit_transform(seen), before.transform(asked)
            model.fit(ready[kind][0], words, sample_weight=weights)
        found.append(_in_order(model.predict_proba(ready[kind][1]), model.classes_, task.classes))
    return found


def _inner(
    rows: Rows, task: Task, recipe: Recipe, options: Sequence[Candidate]
) -> tuple[list[FloatArray], Rows] | None:
    """Probabilities of each candidate for training people it was not fitted to; None if there are too few people."""
    labels = task.reported_labels(rows.y)
    fold = participant_folds(rows.groups, labels, recipe.inner_folds, recipe.seed)
    wanted = set(labels.tolist())
    parts = []
    for k in range(int(fold.max()) + 1):
        train, test = rows.take(fold != k), rows.take(fold == k)
        assert_apart(train.groups, test.groups)
        if set(task.reported_labels(train.y).tolist()) == wanted:
            parts.append((_with_mirror(train, task), _with_mirror(test, task)))
    if not parts or wanted != set().union(*(set(task.reported_labels(test.y).tolist()) for _, test in parts)):
        return None
    held = parts[0][1]
    for _, test in parts[1:]:
        held = stack(held, test)
    given = spread(_tried, [(options, *part, task, recipe.seed) for part in parts])
    return [np.concatenate(several) for several in zip(*given, strict=True)], held


def _choose(losses: Sequence[dict[str, float]], options: Sequence[Candidate]) -> tuple[int, list[float], list[float]]:
    """Choose the first family that comes within one standard error of the best; of it, the best setting.

    Returns the place of the candidate, the mean loss of each, and the standard error of each one's distance
    from the best, both over participants.
    """
    table = np.array([[loss[g] for g in sorted(loss)] for loss in losses])
    means = table.mean(axis=1)
    best = int(np.argmin(means))
    n = table.shape[1]
    errors = (table - table[best]).std(axis=1, ddof=1) / np.sqrt(n) if n > 1 else np.zeros(len(table))
    near = [i for i in range(len(table)) if means[i] - means[best] <= errors[i]]
    same = [i for i, option in enumerate(options) if option.family == options[near[0]].family]
    return min(same, key=lambda i: means[i]), means.tolist(), errors.tolist()


@dataclass(frozen=True)
class Choice:
    """What the inner folds teach about a training: which candidate, how to calibrate it.

    Parameters
    ----------
    candidate : Candidate
        The one to fit to all training people.
    calibration : Calibration
        Of its probabilities.
    table : DataFrame
        family, setting, log_loss, standard_error, chosen: one row per candidate.
    """

    candidate: Candidate
    calibration: Calibration
    table: pd.DataFrame


def choose(rows: Rows, task: Task, recipe: Recipe) -> Choice:
    """Choose a candidate and calibrate it on training people left out in turn.

    Parameters
    ----------
    rows, task : Rows, Task
        As `learnable` gives them.
    recipe : Recipe
        Families, inner folds, seed.

    Returns
    -------
    Choice
    """
    options = candidates(recipe.families)
    inner = _inner(rows, task, recipe, options) if recipe.inner_folds else None
    calibration = Calibration()
    middle = [i for i, option in enumerate(options) if option.family == options[0].family]
    chosen = middle[len(middle) // 2]
    means = errors = [float("nan")] * len(options)
    if inner is not None:
        probabilities, held = inner
        reported = [task.collapse(p) for p in probabilities]
        said = task.reported_labels(held.y)
        codes = np.array([task.reported.index(v) for v in said], dtype=np.intp)
        chosen, means, errors = _choose([log_losses(p, codes, held.groups) for p in reported], options)
        own = np.array([task.classes.index(v) for v in held.y], dtype=np.intp)
        evidence = np.array([len(set(held.units[held.y == c].tolist())) for c in task.classes], dtype=float)
        calibration = calibrate(probabilities[chosen], own, person_weights(held.groups), evidence)
    table = pd.DataFrame(
        {
            "family": [option.family for option in options],
            "setting": [option.words for option in options],
            "log_loss": means,
            "standard_error": errors,
            "chosen": [i == chosen for i in range(len(options))],
        }
    )
    return Choice(options[chosen], calibration, table)


class PersonClassifier(ClassifierMixin, BaseEstimator):  # type: ignore[misc]
    """Classifier of rows of people, by the conventions of scikit-learn.

    Every participant has the same say in it, and every class of each. Of a task with sides each row is shown as it is
    and mirrored. Family and setting are chosen, and probabilities calibrated, on training people left out in turn.

    Parameters
    ----------
    task : Task
        What is to be learnt; ``task.columns`` are the features of ``X``.
    recipe : Recipe
        Families, inner folds, seed.

    Attributes
    ----------
    classes_ : array of str, shape (k,)
        Classes in the order of the probabilities, that of the task.
    learner_ : Learner
        Scaling, imputation and model.
    calibration_ : Calibration
        From the inner folds.
    choice_ : DataFrame
        family, setting, log_loss, standard_error, chosen: one row per candidate.
    low_, high_ : array, shape (p,)
        Range of each feature over the training people.
    people_ : tuple of str
        Training participants.
    """

    def __init__(self, task: Task, recipe: Recipe) -> None:
        self.task = task
        self.recipe = recipe

    @property
    def columns(self) -> tuple[str, ...]:
        """Features of ``X``."""
        return self.task.columns

    @property
    def classes_(self) -> TextArray:
        """Classes in the order of the probabilities."""
        return np.array(self.task.classes, dtype=object)

    def fit(
        self,
        X: FloatArray,  # noqa: N803
        y: TextArray,
        groups: TextArray | None = None,
        units: TextArray | None = None,
    ) -> Self:
        """Train.

        Parameters
        ----------
        X : array, shape (n, p)
            Features; NaN where there is none.
        y : array of str, shape (n,)
            Some of the classes of the task.
        groups : array of str, shape (n,), optional
            Participant; every row somebody else by default.
        units : array of str, shape (n,), optional
            Unit that carries one label; every participant one by default.

        Returns
        -------
        PersonClassifier
        """
        x, labels = np.asarray(X, dtype=float), np.asarray(y, dtype=object)
        who = np.arange(len(x)).astype(str) if groups is None else groups
        who = np.asarray(who, dtype=object)
        unit = who if units is None else np.asarray(units, dtype=object)
        rows = Rows(x, labels, who, unit, who, np.ones(len(x), dtype=np.bool_))
        return self.finish(rows, choose(rows, self.task, self.recipe))

    def finish(self, rows: Rows, choice: Choice) -> Self:
        """Train what was chosen on all rows."""
        self.calibration_, self.choice_ = choice.calibration, choice.table
        train = _with_mirror(rows, self.task)
        with np.errstate(all="ignore"):
            self.low_, self.high_ = np.nanmin(train.x, axis=0), np.nanmax(train.x, axis=0)
        self.learner_ = _train(choice.candidate, train, self.task, self.recipe.seed)
        self.people_ = tuple(sorted(set(rows.groups.tolist())))
        self.n_features_in_ = rows.x.shape[1]
        return self

    def predict_proba(self, X: FloatArray) -> FloatArray:  # noqa: N803
        """Calibrated probabilities, shape (n, k), of rows of shape (n, p)."""
        return self.calibration_(self.learner_.probabilities(X, self.task.classes))

    def predict(self, X: FloatArray) -> TextArray:  # noqa: N803
        """Most probable class of each row, shape (n,)."""
        most: TextArray = self.classes_[np.argmax(self.predict_proba(X), axis=1)]
        return most


def learnable(rows: Rows, task: Task) -> tuple[Rows, Task]:
    """Give what can be learnt from: labelled rows with the features that vary among the training people.

    Parameters
    ----------
    rows : Rows
        Of the training people; unlabelled rows and rows not marked ``learn`` are left out.
    task : Task
        What is to be learnt; ``task.columns`` belong to ``rows.x``.

    Returns
    -------
    Rows
    Task
        With the columns of these rows.

    Raises
    ------
    NothingToLearnError
        Where the rows hold fewer than two classes or no feature that varies.
    """
    rows = rows.take(rows.labelled & rows.learn)
    keep = _selected(rows)
    present = set(task.reported_labels(rows.y).tolist())
    if len(present) < 2 or not keep:
        raise NothingToLearnError(f"nothing to learn: classes {sorted(present)}, {len(keep)} features that vary")
    return rows.with_columns(keep), task.with_columns(tuple(task.columns[j] for j in keep))


def fit(rows: Rows, task: Task, recipe: Recipe) -> PersonClassifier:
    """Train on the labelled rows of some people, with the features that vary among them.

    Parameters
    ----------
    rows, task : Rows, Task
        As for `learnable`.
    recipe : Recipe
        Families, inner folds, seed.

    Returns
    -------
    PersonClassifier

    Raises
    ------
    NothingToLearnError
        As for `learnable`.
    """
    rows, task = learnable(rows, task)
    return PersonClassifier(task, recipe).finish(rows, choose(rows, task, recipe))
