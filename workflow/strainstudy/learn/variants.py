"""One stored model for each kind of recording: both knees or one, with degrees or without.

In: rows of all labelled people. Out: a model for each set of features that a recording may have, so that a person
with one sensor, or without calibration, is not given made-up values. And for a recording, which of them to use and
which of its features lie outside what the model has seen.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np

from ..gait.features import FeatureSpec
from .crossfit import restricted
from .fitting import Fitted, NothingToLearnError, Recipe, fit
from .rows import FloatArray, Rows, Task

__all__ = ["VARIANTS", "choose_variant", "outside_range", "train_variants"]

VARIANTS = ("both_knees_degrees", "both_knees", "one_knee_degrees", "one_knee")
"""Best first."""
RANGE_MARGIN = 0.25
"""Share of the training range by which a value may lie beyond it: few people do not show all there is."""


def _columns(name: str, specs: Sequence[FeatureSpec]) -> list[str]:
    return [
        s.name
        for s in specs
        if s.knees in (("one", "both") if name.startswith("both") else ("one", "alone"))
        and (s.group != "amplitude" or name.endswith("degrees"))
    ]


def train_variants(rows: Rows, task: Task, recipe: Recipe, specs: Sequence[FeatureSpec]) -> dict[str, Fitted]:
    """Train a model for every kind of recording that the labelled people can teach.

    Returns
    -------
    dict of str to Fitted
        Some of `VARIANTS`; a variant that comes out with the features of another is left out.
    """
    models: dict[str, Fitted] = {}
    for name in VARIANTS:
        wanted = set(_columns(name, specs))
        inputs = tuple(j for j, c in enumerate(task.columns) if c in wanted)
        try:
            model = fit(rows.with_columns(inputs), restricted(task, inputs), recipe)
        except NothingToLearnError:
            continue
        if all(model.columns != other.columns for other in models.values()):
            models[name] = model
    return models


def choose_variant(models: Mapping[str, Fitted], have: set[str]) -> str | None:
    """Name the best model all of whose features a recording has, or None."""
    return next((name for name in VARIANTS if name in models and set(models[name].columns) <= have), None)


def outside_range(model: Fitted, x: FloatArray) -> list[str]:
    """Name the features that lie outside the training range in most of a person's windows.

    Parameters
    ----------
    model : Fitted
        Knows the range of its training people.
    x : array, shape (n, len(model.columns))
        Windows of one person.

    Returns
    -------
    list of str
    """
    margin = RANGE_MARGIN * (model.high - model.low)
    with np.errstate(invalid="ignore"):
        out = (x < model.low - margin) | (x > model.high + margin)
    return [c for c, share in zip(model.columns, out.mean(axis=0), strict=True) if share > 0.5] if len(x) else []
