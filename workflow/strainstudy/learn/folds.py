"""Split people, never rows: folds of participants, and the guard that no one is on both sides.

In: the participant of every row. Out: the fold of every row. Windows of one person resemble one another, so a
split of rows would report how well people are recognised.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

__all__ = ["LeakageError", "assert_apart", "leave_out", "participant_folds"]

IntArray = NDArray[np.intp]
TextArray = NDArray[np.object_]


class LeakageError(ValueError):
    """A participant is in the training part and in the tested part of one split."""


def assert_apart(train: TextArray, test: TextArray) -> None:
    """Raise unless training and test rows are of different people.

    Raises
    ------
    LeakageError
        Naming the people on both sides.
    """
    both = sorted(set(train.tolist()) & set(test.tolist()))
    if both:
        raise LeakageError(
            f"participants on both sides of a split: {', '.join(both)}; a score from such a split would say "
            "how well people are recognised, not how well the classifier works on new people"
        )


def participant_folds(groups: TextArray, y: TextArray, count: int, seed: int) -> IntArray:
    """Deal participants into folds so that the classes are spread.

    Parameters
    ----------
    groups : array of str, shape (n,)
        Participant of each row.
    y : array of str, shape (n,)
        Class of each row.
    count : int
        Number of folds; at most one per participant is made.
    seed : int
        Decides between participants with the same classes.

    Returns
    -------
    array of int, shape (n,)
        Fold of each row; all rows of a participant have the same.
    """
    people = sorted(set(groups.tolist()))
    order = np.random.default_rng(np.random.SeedSequence([seed, len(people)])).permutation(len(people))
    classes = sorted(set(y.tolist()))
    seen = {person: [bool(((groups == person) & (y == c)).any()) for c in classes] for person in people}
    dealt = sorted((people[i] for i in order), key=lambda person: seen[person])
    fold = {person: i % min(count, len(people)) for i, person in enumerate(dealt)}
    return np.array([fold[g] for g in groups], dtype=np.intp)


def leave_out(groups: TextArray, y: TextArray, *, up_to: int, folds: int, seed: int) -> IntArray:
    """Leave one participant out, or in cohorts of more than ``up_to`` one fold of participants.

    Returns
    -------
    array of int, shape (n,)
        Fold of each row.
    """
    people = len(set(groups.tolist()))
    return participant_folds(groups, y, people if people <= up_to else folds, seed)
