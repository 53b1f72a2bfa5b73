"""Predict every participant with a model that never saw them.

In: `Rows` of all participants. Out: `CrossFit`: out-of-fold probabilities, the fold of each row, what was chosen
in each fold. A test person whose recordings lack features (a missing sensor, no calibration) is predicted by a model
of the same training people that was trained without them, instead of by values made up for them.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from functools import partial

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from .feature_rows import FloatArray, Rows, Task, stack
from .fitting import NothingToLearnError, PersonClassifier, Recipe, fit
from .folds import assert_apart, leave_out
from .parameters import LearnParameters
from .threads import begin

__all__ = ["CrossFit", "FoldModel", "available", "begin_crossfit", "crossfit", "fold_labels", "predict", "recipe_of"]

IntArray = NDArray[np.intp]


@dataclass(frozen=True)
class FoldModel:
    """One model and the test rows it predicted."""

    fold: int
    model: PersonClassifier
    index: IntArray
    inputs: tuple[int, ...]


@dataclass(frozen=True)
class CrossFit:
    """Predictions for people that the predicting model never saw.

    Parameters
    ----------
    task : Task
        What was learnt.
    probabilities : array, shape (n, k)
        Out-of-fold probability of each learnt class; NaN rows for people without any label.
    fold : array of int, shape (n,)
        Fold that each row was tested in, -1 where it was not.
    models : tuple of FoldModel
        Every model with the rows it predicted.
    choices : DataFrame
        fold, features, family, setting, log_loss, standard_error, chosen.
    """

    task: Task
    probabilities: FloatArray
    fold: IntArray
    models: tuple[FoldModel, ...]
    choices: pd.DataFrame

    @property
    def reported(self) -> FloatArray:
        """Out-of-fold probability of each reported class, shape (n, len(task.reported))."""
        return self.task.collapse(self.probabilities)


def recipe_of(parameters: LearnParameters, families: Sequence[str]) -> Recipe:
    """Give the recipe of a full training with the families that a task chooses from."""
    return Recipe(tuple(families), parameters.inner_folds, parameters.seed)


def fold_labels(rows: Rows, task: Task, parameters: LearnParameters) -> IntArray:
    """Fold of every row, -1 for people without a label.

    Returns
    -------
    array of int, shape (n,)
    """
    people = set(rows.groups[rows.labelled].tolist())
    known = np.array([g in people for g in rows.groups], dtype=np.bool_)
    fold = np.full(len(rows), -1, dtype=np.intp)
    if known.any():
        own = rows.take(known)
        labels = np.array([v or "" for v in task.reported_labels(own.y)], dtype=object)
        fold[known] = leave_out(
            own.groups, labels, up_to=parameters.leave_one_out_up_to, folds=parameters.folds, seed=parameters.seed
        )
    return fold


def available(rows: Rows, task: Task) -> dict[str, tuple[int, ...]]:
    """List, for each recording, the features to use: those that at least half of its rows have.

    Features of `Task.alone` are left out where both sides can be compared.
    """
    out = {}
    for block in sorted(set(rows.blocks.tolist())):
        there = np.flatnonzero(np.isfinite(rows.x[rows.blocks == block]).mean(axis=0) >= 0.5).tolist()
        compared = any(task.columns[j] in task.odd for j in there)
        out[str(block)] = tuple(int(j) for j in there if not (compared and task.columns[j] in task.alone))
    return out


def restricted(task: Task, inputs: tuple[int, ...]) -> Task:
    """Give the same task with the features at these places."""
    return task.with_columns(tuple(task.columns[j] for j in inputs))


def predict(model: PersonClassifier, rows: Rows, columns: tuple[str, ...]) -> FloatArray:
    """Give probabilities of rows whose features are ``columns``, of which the model takes its own.

    Returns
    -------
    array, shape (n, k)
        NaN in rows that lack over half of the model's features: filled in, they would come out as most people are.
    """
    x = rows.x[:, [columns.index(c) for c in model.columns]]
    known = np.isfinite(x).mean(axis=1) >= 0.5
    return np.where(known[:, None], model.predict_proba(x), np.nan)


def _fitted(train: Rows, task: Task, recipe: Recipe, test: Rows) -> tuple[PersonClassifier, FloatArray] | None:
    """Train and predict; None where no feature that the tested recordings have varies among the training people."""
    try:
        model = fit(train, task, recipe)
    except NothingToLearnError:
        return None
    return model, predict(model, test, task.columns)


def crossfit(
    rows: Rows,
    task: Task,
    recipe: Recipe,
    fold: IntArray,
    patterns: Mapping[str, tuple[int, ...]] | None = None,
    more: Rows | None = None,
) -> CrossFit:
    """Do what `begin_crossfit` begins."""
    return begin_crossfit(rows, task, recipe, fold, patterns, more)()


def begin_crossfit(
    rows: Rows,
    task: Task,
    recipe: Recipe,
    fold: IntArray,
    patterns: Mapping[str, tuple[int, ...]] | None = None,
    more: Rows | None = None,
) -> Callable[[], CrossFit]:
    """Begin to train once for every fold on the other folds, and to predict it (`threads.begin`).

    Parameters
    ----------
    rows : Rows
        All rows; unlabelled ones of labelled people are predicted too.
    task : Task
        What is to be learnt.
    recipe : Recipe
        How.
    fold : array of int, shape (n,)
        From `fold_labels`; rows with -1 are neither learnt from nor predicted.
    patterns : mapping of recording to tuple of int, optional
        Features each recording has; `available` by default.
    more : Rows, optional
        Labelled rows of other people, learnt from in every fold and never predicted.

    Returns
    -------
    callable
        Gives the CrossFit.

    Raises
    ------
    LeakageError
        Where ``fold`` puts a participant on both sides of a split.
    """
    patterns = available(rows, task) if patterns is None else patterns
    wanted = set(task.reported)
    places: list[tuple[int, tuple[int, ...], IntArray]] = []
    jobs = []
    for k in sorted(set(fold[fold >= 0].tolist())):
        train = rows.take((fold >= 0) & (fold != k) & rows.labelled & rows.learn)
        train = train if more is None else stack(train, more.take(more.labelled & more.learn))
        test = np.flatnonzero(fold == k)
        assert_apart(train.groups, rows.groups[test])
        if set(task.reported_labels(train.y).tolist()) != wanted:
            continue
        kinds = sorted({patterns[str(b)] for b in rows.blocks[test].tolist()})
        for inputs in kinds:
            if not inputs:
                continue
            index = test[[patterns[str(b)] == inputs for b in rows.blocks[test].tolist()]]
            places.append((int(k), inputs, index))
            test_rows = rows.take(index).with_columns(inputs)
            jobs.append((train.with_columns(inputs), restricted(task, inputs), recipe, test_rows))
    return partial(_gathered, task, len(rows), places, begin(_fitted, jobs))


def _gathered(
    task: Task,
    n: int,
    places: Sequence[tuple[int, tuple[int, ...], IntArray]],
    found: Callable[[], list[tuple[PersonClassifier, FloatArray] | None]],
) -> CrossFit:
    """Put what was found for the rows of each fold into one."""
    probabilities = np.full((n, len(task.classes)), np.nan)
    tested = np.full(n, -1, dtype=np.intp)
    models, choices = [], []
    for (k, inputs, index), one in zip(places, found(), strict=True):
        if one is None:
            # It stays unpredicted, as NaN.
            continue
        model, probabilities[index] = one
        tested[index] = k
        models.append(FoldModel(k, model, index, inputs))
        choices.append(model.choice_.assign(fold=k, features=len(model.columns)))
    names = ["fold", "features", "family", "setting", "log_loss", "standard_error", "chosen"]
    table = pd.concat(choices, ignore_index=True)[names] if choices else pd.DataFrame(columns=names)
    return CrossFit(task, probabilities, tested, tuple(models), table)
