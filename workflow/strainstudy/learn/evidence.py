"""What stands behind a score: chance, sample size, feature groups, single features.

In: `Rows` and the crossed fit. Out: frames of the permutation test, the learning curve over
participants, the ablation by feature group and the out-of-fold permutation importance. Where hundreds of fits are
needed a regularised logistic regression with a fixed setting stands in for the whole choice of models, and each
labelled bout is shown as few rows. Scores here are means over participants of what their windows show.
"""

from __future__ import annotations

import warnings
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from sklearn import config_context
from sklearn.linear_model import LogisticRegression
from sklearn.preprocessing import StandardScaler

from .crossfit import CrossFit, FoldModel, available, crossfit, predict, restricted
from .feature_rows import FloatArray, Rows, Task, TextArray, log_loss, stack
from .fitting import NothingToLearnError, Recipe, fit, person_weights
from .folds import assert_apart, participant_folds
from .parameters import LearnParameters
from .scaling import Scaling
from .threads import spread

__all__ = [
    "ablation",
    "balanced_accuracy",
    "importance",
    "learning_curve",
    "permutation_test",
    "shuffled_labels",
    "thin",
]

IntArray = NDArray[np.intp]

ROWS_PER_UNIT = 4
"""Rows kept of each labelled unit, whose rows are alike (ours, for speed)."""
QUICK_C = 0.3
"""Inverse penalty of the quick model, on standardised features (ours)."""
PERMUTATION_FOLDS = 6
"""Folds of the permutation test, over participants (ours, for speed)."""
CURVE_DRAWS = 10
"""Draws of participants for each size of the learning curve (ours, for speed)."""
_AT_ONCE = 20
"""Shuffles scored in one job (ours: enough jobs for any number of cores, few enough to cost nothing)."""
IMPORTANCE_DRAWS = 3
"""Permutations of each group of features, averaged (ours, for speed)."""


@dataclass(frozen=True)
class _Part:
    """Inputs of one fold of the permutation test."""

    train_x: FloatArray
    test_x: FloatArray
    train: IntArray
    test: IntArray


def _units(rows: Rows) -> list[IntArray]:
    """Places of the labelled rows of each unit, in alphabetical order of the units."""
    places: dict[str, list[int]] = {}
    for k in np.flatnonzero(rows.labelled).tolist():
        places.setdefault(rows.units[k], []).append(k)
    return [np.array(places[unit], dtype=np.intp) for unit in sorted(places)]


def thin(rows: Rows, per_unit: int = ROWS_PER_UNIT) -> Rows:
    """Keep at most a few evenly spread labelled rows of each unit."""
    keep: list[int] = []
    for at in _units(rows):
        keep += at[np.unique(np.linspace(0, len(at) - 1, min(per_unit, len(at))).round().astype(int))].tolist()
    return rows.take(np.array(sorted(keep), dtype=np.intp))


def balanced_accuracy(predicted: TextArray, truth: TextArray, groups: TextArray) -> float:
    """Mean over classes of the mean over participants of the share of their rows that is right."""
    person, _ = pd.factorize(groups, sort=True)
    right = (predicted == truth).astype(float)
    recalls = []
    for name in sorted(set(truth.tolist())):
        own = truth == name
        rows = np.bincount(person[own])
        some = rows > 0
        recalls.append(np.mean(np.bincount(person[own], right[own])[some] / rows[some]))
    return float(np.mean(recalls))


def shuffled_labels(rows: Rows, generator: np.random.Generator, count: int) -> list[TextArray]:
    """Exchange the labels of whole units, within a person who has several classes, else between whole people.

    Windows of one bout, and bouts of one person, are alike for reasons that have nothing to do with the label; so
    a bout's windows keep one label, a person's bouts are exchanged among themselves, and people of one class
    exchange that class among each other (restricted permutation).

    Returns
    -------
    list of array of str or None, each shape (n,)
        ``count`` sets of labels, each exchanged anew.
    """
    exchange = _Exchange.of(rows)
    return [exchange.shuffled(generator) for _ in range(count)]


@dataclass(frozen=True)
class _Exchange:
    """What may be exchanged: rows and label of each unit, and of each person with one class.

    Parameters
    ----------
    y : array of str or None, shape (n,)
        Labels as they are.
    units : list of (list of array of int, list of str)
        For each person with several classes the rows and the label of each unit.
    people : list of array of int
        Rows of each person with one class.
    given : list of str
        That class.
    """

    y: TextArray
    units: list[tuple[list[IntArray], list[str]]]
    people: list[IntArray]
    given: list[str]

    @classmethod
    def of(cls, rows: Rows) -> _Exchange:
        """Sort rows by person and unit, both in alphabetical order."""
        at_unit: dict[str, list[int]] = {}
        at_person: dict[str, list[int]] = {}
        for k in np.flatnonzero(rows.labelled).tolist():
            at_unit.setdefault(rows.units[k], []).append(k)
            at_person.setdefault(rows.groups[k], []).append(k)
        units, people, given = [], [], []
        for person in sorted(at_person):
            own = sorted({rows.units[k] for k in at_person[person]})
            labels = [str(rows.y[at_unit[unit][0]]) for unit in own]
            if len(set(labels)) == 1:
                people.append(np.array(at_person[person], dtype=np.intp))
                given.append(labels[0])
            else:
                units.append(([np.array(at_unit[unit], dtype=np.intp) for unit in own], labels))
        return cls(rows.y, units, people, given)

    def shuffled(self, generator: np.random.Generator) -> TextArray:
        """Draw labels of all rows, shape (n,)."""
        y = self.y.copy()
        for places, labels in [*self.units, (self.people, self.given)]:
            for at, draw in zip(places, generator.permutation(len(places)), strict=True):
                y[at] = labels[draw]
        return y


def _whole_units(rows: Rows) -> Rows:
    """Show every unit as one row, the median of its rows."""
    first, medians = [], []
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", RuntimeWarning)  # a feature that the recording does not have stays NaN
        for at in _units(rows):
            first.append(int(at[0]))
            medians.append(np.nanmedian(rows.x[at], axis=0))
    return replace(rows.take(np.array(first, dtype=np.intp)), x=np.array(medians))


def _prepared(rows: Rows, task: Task, fold: IntArray) -> list[_Part]:
    """Make the inputs of the training rows (mirrored ones after the plain ones) and test rows of each fold.

    Neither scaling nor imputation looks at a label here, so all shuffles share them.
    """
    parts = []
    for k in sorted(set(fold.tolist())):
        train, test = np.flatnonzero(fold != k), np.flatnonzero(fold == k)
        assert_apart(rows.groups[train], rows.groups[test])
        own = rows.take(train)
        both = stack(own, own.mirrored(task)) if task.swap else own
        scaling, scaler = Scaling.of(both.x, task.side_groups), StandardScaler()
        seen = scaling(both.x)
        there = np.isfinite(seen).any(axis=0)
        inside = scaler.fit_transform(seen[:, there])
        outside = scaler.transform(scaling(rows.x[test])[:, there])
        parts.append(_Part(np.nan_to_num(inside, nan=0.0), np.nan_to_num(outside, nan=0.0), train, test))
    return parts


def _score(rows: Rows, task: Task, parts: Sequence[_Part], y: TextArray) -> float:
    """Out-of-fold balanced accuracy of the quick classifier with these labels."""
    predicted = np.full(len(rows), "", dtype=object)
    reported = np.array(task.reported, dtype=object)
    # The library sorts classes: numbers in alphabetical order spare it the sorting of many words.
    names = sorted(task.classes)
    number = {name: k for k, name in enumerate(names)}
    mirrored = np.array([number[task.swap.get(name, name)] for name in names], dtype=np.intp)
    report = np.array([reported.tolist().index(task.report.get(name, name)) for name in names], dtype=np.intp)
    code = np.array([number[v] for v in y], dtype=np.intp)
    for part in parts:
        own, groups = code[part.train], rows.groups[part.train]
        if task.swap:
            own, groups = np.concatenate([own, mirrored[own]]), np.concatenate([groups, groups])
        labels = report[own]
        if labels.min() == labels.max():
            predicted[part.test] = reported[labels[0]]
            continue
        model = LogisticRegression(C=QUICK_C, solver="newton-cholesky", max_iter=20, tol=1e-3)
        model.fit(part.train_x, own, sample_weight=person_weights(groups, labels))
        given, told = np.zeros((len(part.test), len(task.classes))), model.predict_proba(part.test_x)
        for k, learnt in enumerate(model.classes_.tolist()):
            given[:, task.classes.index(names[learnt])] = told[:, k]
        predicted[part.test] = reported[np.argmax(task.collapse(given), axis=1)]
    return balanced_accuracy(predicted, reported[report[code]], rows.groups)


def _scores(rows: Rows, task: Task, parts: Sequence[_Part], several: Sequence[TextArray]) -> list[float]:
    """Score several sets of labels; what goes in was checked once, and is finite."""
    with config_context(assume_finite=True, skip_parameter_validation=True):
        return [_score(rows, task, parts, y) for y in several]


def permutation_test(rows: Rows, task: Task, parameters: LearnParameters) -> pd.DataFrame:
    """Compare the score with scores for exchanged labels.

    Parameters
    ----------
    rows : Rows
        All windows; each labelled bout is shown as one row, the median of its windows.
    task : Task
        What is learnt.
    parameters : LearnParameters
        ``permutations``, ``seed``.

    Returns
    -------
    DataFrame
        One row: statistic, value, permutations, null_mean, null_low, null_high (2.5 and 97.5 %), p_value
        (Phipson & Smyth 2010: (b + 1) / (m + 1)), n_participants, n_units.
    """
    names = [
        "statistic", "value", "permutations", "null_mean", "null_low", "null_high", "p_value",
        "n_participants", "n_units",
    ]  # fmt: skip
    if not parameters.permutations or not rows.labelled.any():
        return pd.DataFrame(columns=names)
    few = _whole_units(rows)
    labels = task.reported_labels(few.y)
    parts = _prepared(few, task, participant_folds(few.groups, labels, PERMUTATION_FOLDS, parameters.seed))
    (value,) = _scores(few, task, parts, [few.y])
    generator = np.random.Generator(np.random.PCG64(np.random.SeedSequence([parameters.seed, 1])))
    drawn = shuffled_labels(few, generator, parameters.permutations)
    shares = [drawn[start : start + _AT_ONCE] for start in range(0, len(drawn), _AT_ONCE)]
    null = np.concatenate(spread(_scores, [(few, task, parts, share) for share in shares]))
    row = (
        "balanced_accuracy",
        value,
        len(null),
        float(null.mean()),
        float(np.quantile(null, 0.025)),
        float(np.quantile(null, 0.975)),
        # Scores are means of few shares: equal ones must not differ by rounding.
        float((np.sum(null >= value - 1e-9) + 1) / (len(null) + 1)),
        len(set(few.groups.tolist())),
        len(set(few.units.tolist())),
    )
    return pd.DataFrame([row], columns=names)


def _person_scores(fitted: CrossFit, rows: Rows) -> tuple[dict[str, float], dict[str, float]]:
    """Share right and mean log loss of each participant's labelled and predicted rows."""
    task = fitted.task
    labels = task.reported_labels(rows.y)
    p = fitted.reported
    good = rows.labelled & np.isfinite(p).all(axis=1)
    right, loss = {}, {}
    for person in sorted(set(rows.groups[good].tolist())):
        at = np.flatnonzero(good & (rows.groups == person))
        codes = np.array([task.reported.index(v) for v in labels[at]])
        right[person] = float(np.mean(np.argmax(p[at], axis=1) == codes))
        loss[person] = float(log_loss(p[at, codes]).mean())
    return right, loss


def _summary(fitted: CrossFit, rows: Rows) -> tuple[float, float, int]:
    labels = fitted.task.reported_labels(rows.y)
    p = fitted.reported
    good = rows.labelled & np.isfinite(p).all(axis=1)
    if not good.any():
        return float("nan"), float("nan"), 0
    predicted = np.array(fitted.task.reported, dtype=object)[np.argmax(p[good], axis=1)]
    _, loss = _person_scores(fitted, rows)
    return (
        balanced_accuracy(predicted, labels[good], rows.groups[good]),
        float(np.mean(list(loss.values()))),
        len(loss),
    )


def _crossed(rows: Rows, task: Task, recipe: Recipe, fold: IntArray) -> tuple[float, float, int]:
    """Balanced accuracy, log loss and number of people of a crossed fit with some of the features."""
    return _summary(crossfit(rows, task, recipe, fold), rows)


def ablation(rows: Rows, task: Task, groups: Mapping[str, str], recipe: Recipe, fold: IntArray) -> pd.DataFrame:
    """Score with each group of features alone, without it, and with all.

    Parameters
    ----------
    rows, task, recipe, fold
        As for `crossfit`; the quick recipe is used.
    groups : mapping of feature to group
        From the feature specifications.

    Returns
    -------
    DataFrame
        features (``all``, ``<group> only``, ``without <group>``), n_features, n_participants,
        balanced_accuracy, log_loss.
    """
    present = [g for g in dict.fromkeys(groups[c] for c in task.columns)
               if np.isfinite(rows.x[:, [groups[c] == g for c in task.columns]]).any()]  # fmt: skip
    cases: list[tuple[str, tuple[int, ...]]] = [("all", tuple(range(len(task.columns))))]
    for g in present:
        cases.append((f"{g} only", tuple(j for j, c in enumerate(task.columns) if groups[c] == g)))
    if len(present) > 1:
        for g in present:
            cases.append((f"without {g}", tuple(j for j, c in enumerate(task.columns) if groups[c] != g)))
    jobs = [(rows.with_columns(columns), restricted(task, columns), recipe.quick(), fold) for _, columns in cases]
    out = [
        (name, len(columns), people, score, loss)
        for (name, columns), (score, loss, people) in zip(cases, spread(_crossed, jobs), strict=True)
    ]
    return pd.DataFrame(out, columns=["features", "n_features", "n_participants", "balanced_accuracy", "log_loss"])


def _on_others(rows: Rows, task: Task, recipe: Recipe, chosen: frozenset[str]) -> tuple[float, float] | None:
    """Balanced accuracy and log loss of a model of the chosen people on the others; None where it can say nothing."""
    inside = np.array([g in chosen for g in rows.groups.tolist()], dtype=np.bool_)
    train, test = rows.take(inside), rows.take(~inside)
    assert_apart(train.groups, test.groups)
    try:
        model = fit(train, task, recipe)
    except NothingToLearnError:
        return None
    p = task.collapse(predict(model, test, task.columns))
    good = np.flatnonzero(np.isfinite(p).all(axis=1))
    if not good.size:
        # Nobody of those left out was recorded as this model needs it.
        return None
    test, p = test.take(good), p[good]
    labels = task.reported_labels(test.y)
    codes = np.array([task.reported.index(v) for v in labels])
    predicted = np.array(task.reported, dtype=object)[np.argmax(p, axis=1)]
    loss = log_loss(p[np.arange(len(p)), codes])
    score = balanced_accuracy(predicted, labels, test.groups)
    return score, float((loss * person_weights(test.groups)).mean())


def learning_curve(rows: Rows, task: Task, recipe: Recipe) -> pd.DataFrame:
    """Score on the participants left out when training on a growing number of others.

    Returns
    -------
    DataFrame
        n_participants (trained on), draws, balanced_accuracy, low, high (range over the draws), log_loss.
    """
    few = thin(rows.take(rows.labelled))
    patterns = list(available(few, task).values())
    usual = max(patterns, key=lambda inputs: (patterns.count(inputs), len(inputs)), default=())
    few, task = few.with_columns(usual), restricted(task, usual)
    people = sorted(set(few.groups.tolist()))
    sizes = sorted({round(v) for v in np.geomspace(2, len(people) - 1, 6)}) if len(people) > 2 else []
    generator = np.random.Generator(np.random.PCG64(np.random.SeedSequence([recipe.seed, 2])))
    jobs = [
        (few, task, recipe.quick(), frozenset(people[i] for i in generator.permutation(len(people))[:size]))
        for size in sizes
        for _ in range(CURVE_DRAWS)
    ]
    found = spread(_on_others, jobs)
    out = []
    for k, size in enumerate(sizes):
        known = [one for one in found[k * CURVE_DRAWS : (k + 1) * CURVE_DRAWS] if one is not None]
        if known:
            scores, losses = zip(*known, strict=True)
            out.append((size, len(scores), np.mean(scores), min(scores), max(scores), np.mean(losses)))
    return pd.DataFrame(out, columns=["n_participants", "draws", "balanced_accuracy", "low", "high", "log_loss"])


def importance(rows: Rows, fitted: CrossFit, groups: Mapping[str, str], parameters: LearnParameters) -> pd.DataFrame:
    """How much worse out-of-fold predictions get when a feature is replaced by that of somebody else's window.

    Each test row gets the value of a labelled row drawn from all participants; drawn from the same person, a feature
    that hardly changes within a person would seem to matter little (Breiman 2001, Mach Learn 45:5-32; from memory).

    Returns
    -------
    DataFrame
        feature, group, log_loss_increase, low, high (range over the draws), sorted by increase; rows of whole
        groups (feature ``all <group>``) come first.
    """
    task = fitted.task
    usable = rows.labelled & rows.learn & (fitted.fold >= 0)
    pool = np.flatnonzero(usable)
    tested = _Tested.of(rows, fitted, pool)
    base = tested.loss({})
    columns = [c for c in task.columns if any(c in part.model.columns for part in fitted.models)]
    present = list(dict.fromkeys(groups[c] for c in columns))
    cases: list[tuple[str, str, Sequence[str]]] = [
        (f"all {g}", g, [c for c in columns if groups[c] == g]) for g in present
    ]
    cases += [(c, groups[c], [c]) for c in columns]
    out = []
    for number, (name, group, members) in enumerate(cases):
        increases = []
        for draw in range(IMPORTANCE_DRAWS):
            seeds = np.random.SeedSequence([parameters.seed, 3, number, draw])
            generator = np.random.Generator(np.random.PCG64(seeds))
            sources = {c: generator.permutation(pool) for c in members} if pool.size else {}
            increases.append(tested.loss(sources) - base)
        out.append((name, group, float(np.mean(increases)), min(increases), max(increases)))
    frame = pd.DataFrame(out, columns=["feature", "group", "log_loss_increase", "low", "high"])
    whole = frame["feature"].str.startswith("all ").to_numpy()
    order = np.lexsort((-frame["log_loss_increase"].to_numpy(), ~whole))
    return frame.iloc[order].reset_index(drop=True)


@dataclass(frozen=True)
class _Tested:
    """Rows that importance is measured on, by the model that is tested on them.

    Parameters
    ----------
    rows : Rows
        All rows.
    task : Task
        What was learnt.
    parts : list of (FoldModel, array of int, array of int, array of int)
        A model; its labelled test rows; their places in the pool that values are drawn from; the codes of their labels.
    people : list of array of int
        Places of each person's rows among those of all parts, one part after the other.
    """

    rows: Rows
    task: Task
    parts: list[tuple[FoldModel, IntArray, IntArray, IntArray]]
    people: list[IntArray]

    @classmethod
    def of(cls, rows: Rows, fitted: CrossFit, pool: IntArray) -> _Tested:
        labels = fitted.task.reported_labels(rows.y)
        parts = []
        places: dict[str, list[int]] = {}
        count = 0
        for part in fitted.models:
            index = part.index[(rows.labelled & rows.learn)[part.index]]
            if not index.size:
                continue
            codes = np.array([fitted.task.reported.index(v) for v in labels[index]], dtype=np.intp)
            parts.append((part, index, np.searchsorted(pool, index), codes))
            for person in sorted(set(rows.groups[index].tolist())):
                places.setdefault(person, []).extend((count + np.flatnonzero(rows.groups[index] == person)).tolist())
            count += len(index)
        return cls(rows, fitted.task, parts, [np.array(at, dtype=np.intp) for at in places.values()])

    def loss(self, sources: Mapping[str, IntArray]) -> float:
        """Mean over participants of the out-of-fold log loss, with some features taken from other rows of the pool."""
        losses = []
        for part, index, place, codes in self.parts:
            x = self.rows.x[index]
            for name, order in sources.items():
                j = self.task.columns.index(name)
                x[:, j] = self.rows.x[order[place], j]
            own = x[:, [self.task.columns.index(c) for c in part.model.columns]]
            p = self.task.collapse(part.model.predict_proba(own))
            losses.append(log_loss(p[np.arange(len(p)), codes]))
        if not losses:
            return float("nan")
        every = np.concatenate(losses)
        return float(np.mean([np.mean(every[at]) for at in self.people]))
