"""What is learnt from: feature rows, what is known about each, and how left and right mirror.

Of a task with sides a classifier must not learn which side was the odd one in its training people. So every row is
shown twice, as it is and mirrored (features that compare the sides change sign, a class of the left becomes that of the
right), and the model comes out the same for both sides.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Self

import numpy as np
from numpy.typing import NDArray

__all__ = ["FLOOR", "Rows", "Task", "log_loss"]

FloatArray = NDArray[np.float64]
BoolArray = NDArray[np.bool_]
IntArray = NDArray[np.intp]
TextArray = NDArray[np.object_]

FLOOR = 1e-6
"""Least probability that a logarithm is taken of, so that no single row's loss is without bound (ours)."""


def log_loss(given: FloatArray) -> FloatArray:
    """Loss of rows whose true class was given these probabilities: minus their natural logarithm, from `FLOOR` on."""
    return np.asarray(-np.log(np.maximum(given, FLOOR)))


@dataclass(frozen=True)
class Task:
    """What is to be learnt.

    Parameters
    ----------
    columns : tuple of str
        Features, in the order of the columns of `Rows.x`.
    classes : tuple of str
        Classes that a model learns.
    report : mapping of str to str
        Class that each learnt class is reported as; classes reported alike have their probabilities added.
    odd : mapping of str to str
        Features that change sign under mirroring, each with its group.
    swap : mapping of str to str
        Class that each class becomes under mirroring. Empty for a task without sides.
    alone : frozenset of str
        Features used only where no odd feature is there (one side).
    reference : str
        Reported class whose spread is the unit that features are measured in; all rows where it is empty.
    variants : mapping of str to collection of str
        Features of each model that is stored, one for each kind of recording, best first.
    """

    columns: tuple[str, ...]
    classes: tuple[str, ...]
    report: Mapping[str, str] = field(default_factory=dict)
    odd: Mapping[str, str] = field(default_factory=dict)
    swap: Mapping[str, str] = field(default_factory=dict)
    alone: frozenset[str] = frozenset()
    reference: str = ""
    variants: Mapping[str, Collection[str]] = field(default_factory=dict)

    def with_columns(self, columns: tuple[str, ...]) -> Self:
        """Give the same task with some of its features."""
        return replace(self, columns=columns, odd={c: g for c, g in self.odd.items() if c in columns})

    @property
    def side_groups(self) -> tuple[tuple[int, ...], ...]:
        """Places of the odd features, group by group in the order in which groups appear."""
        groups = dict.fromkeys(self.odd[c] for c in self.columns if c in self.odd)
        return tuple(tuple(j for j, c in enumerate(self.columns) if self.odd.get(c) == g) for g in groups)

    @property
    def reported(self) -> tuple[str, ...]:
        """Classes as reported, each once, in the order of `classes`."""
        return tuple(dict.fromkeys(self.report.get(c, c) for c in self.classes))

    def collapse(self, probabilities: FloatArray) -> FloatArray:
        """Add up the probabilities of classes reported alike, shape (n, len(reported))."""
        out = np.zeros((len(probabilities), len(self.reported)))
        for k, c in enumerate(self.classes):
            out[:, self.reported.index(self.report.get(c, c))] += probabilities[:, k]
        return out

    def reported_labels(self, y: TextArray) -> TextArray:
        """Class of each row as reported; None stays None."""
        return np.array([None if v is None else self.report.get(v, v) for v in y], dtype=object)


@dataclass(frozen=True)
class Rows:
    """Feature rows.

    Parameters
    ----------
    x : array, shape (n, p)
        Features; NaN where there is none.
    y : array of str or None, shape (n,)
        Class that a model is to learn; None where unlabelled.
    groups : array of str, shape (n,)
        Participant.
    units : array of str, shape (n,)
        Labelled bout or other unit that carries one label: what a permutation test may exchange.
    blocks : array of str, shape (n,)
        Recording: rows of a block have the same channels and so the same features missing.
    learn : array of bool, shape (n,)
        Rows that training may use; overlapping windows add time to training and nothing else.
    """

    x: FloatArray
    y: TextArray
    groups: TextArray
    units: TextArray
    blocks: TextArray
    learn: BoolArray

    def __len__(self) -> int:
        return len(self.x)

    def take(self, index: IntArray | BoolArray) -> Self:
        """Give the rows at these places."""
        return replace(
            self,
            x=self.x[index],
            y=self.y[index],
            groups=self.groups[index],
            units=self.units[index],
            blocks=self.blocks[index],
            learn=self.learn[index],
        )

    def with_columns(self, keep: Sequence[int]) -> Self:
        """Give the same rows with some of the features."""
        return replace(self, x=self.x[:, list(keep)])

    def with_labels(self, y: TextArray) -> Self:
        """Give the same rows with other labels."""
        return replace(self, y=y)

    @property
    def labelled(self) -> BoolArray:
        """Rows that have a label, shape (n,)."""
        return np.array([v is not None for v in self.y], dtype=np.bool_)

    def mirrored(self, task: Task) -> Self:
        """Give the same rows with left and right exchanged."""
        signs = np.array([-1.0 if c in task.odd else 1.0 for c in task.columns])
        y = np.array([task.swap.get(v, v) if v is not None else None for v in self.y], dtype=object)
        return replace(self, x=self.x * signs, y=y)


def stack(first: Rows, second: Rows) -> Rows:
    """Put two sets of rows with the same features below one another."""
    return Rows(
        x=np.concatenate([first.x, second.x]),
        y=np.concatenate([first.y, second.y]),
        groups=np.concatenate([first.groups, second.groups]),
        units=np.concatenate([first.units, second.units]),
        blocks=np.concatenate([first.blocks, second.blocks]),
        learn=np.concatenate([first.learn, second.learn]),
    )
