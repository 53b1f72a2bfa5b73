import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from strainstudy.learn.crossfit import crossfit
from strainstudy.learn.feature_rows import Rows, Task
from strainstudy.learn.fitting import Recipe, person_weights, too_few
from strainstudy.learn.folds import LeakageError, assert_apart, leave_out, participant_folds


def rows_of(x, y, groups):
    n = len(y)
    groups = np.array(groups, dtype=object)
    return Rows(
        x=np.asarray(x, dtype=float),
        y=np.array(y, dtype=object),
        groups=groups,
        units=np.array([f"{g}/{v}" for g, v in zip(groups, y, strict=True)], dtype=object),
        blocks=groups,
        learn=np.ones(n, dtype=bool),
    )


TASK = Task(columns=("a", "b"), classes=("no", "yes"))
LOGISTIC = Recipe(("logistic_regression",), 2, 0)


def test_a_participant_on_both_sides_of_a_split_is_refused():
    with pytest.raises(LeakageError, match="both sides of a split: p2"):
        assert_apart(np.array(["p1", "p2"], dtype=object), np.array(["p2", "p3"], dtype=object))


def test_crossed_fitting_refuses_folds_that_split_a_person():
    rng = np.random.default_rng(0)
    groups = np.repeat([f"p{k}" for k in range(6)], 4)
    rows = rows_of(rng.normal(size=(24, 2)), np.tile(["no", "yes"], 12), groups)
    fold = np.arange(24) % 3
    with pytest.raises(LeakageError):
        crossfit(rows, TASK, LOGISTIC, fold)


@settings(max_examples=60, deadline=None)
@given(st.lists(st.tuples(st.integers(0, 9), st.booleans()), min_size=2, max_size=60), st.integers(2, 6))
def test_a_participant_is_in_one_fold_only(cells, count):
    groups = np.array([f"p{g}" for g, _ in cells], dtype=object)
    y = np.array(["yes" if v else "no" for _, v in cells], dtype=object)
    fold = participant_folds(groups, y, count, seed=3)
    for person in set(groups):
        assert len(set(fold[groups == person])) == 1
    assert set(fold) == set(range(min(count, len(set(groups)))))


def test_small_cohorts_leave_one_out_and_large_ones_are_dealt_into_folds():
    groups = np.array([f"p{k:02d}" for k in range(30)], dtype=object)
    y = np.array(["yes", "no"] * 15, dtype=object)
    assert len(set(leave_out(groups, y, up_to=30, folds=5, seed=0))) == 30
    fold = leave_out(groups, y, up_to=20, folds=5, seed=0)
    assert np.bincount(fold).tolist() == [6] * 5
    for k in range(5):
        assert sorted(y[fold == k]) == ["no"] * 3 + ["yes"] * 3


def test_what_only_identifies_people_scores_chance():
    """Ten rows each of 12 people, one feature per person's whim, labels by coin: perfect by rows, chance by people."""
    rng = np.random.default_rng(4)
    people = np.repeat(np.arange(12), 10)
    whim = rng.normal(size=(12, 2))
    label = np.array(["no", "yes"] * 6)
    rows = rows_of(whim[people] + 0.01 * rng.normal(size=(120, 2)), label[people], [f"p{p:02d}" for p in people])
    forest = Recipe(("random_forest",), 0, 0)
    found = crossfit(rows, TASK, forest, np.asarray(people, dtype=np.intp))
    right = (found.probabilities[:, 1] > 0.5) == (rows.y == "yes")
    inside = np.mean([m.model.predict_proba(rows.x[rows.groups != f"p{m.fold:02d}"])[:, 1].std() for m in found.models])
    assert right.mean() < 0.75
    assert inside > 0.3


def test_weights_give_every_person_and_every_class_the_same_say():
    groups = np.array(["a"] * 6 + ["b"] * 2 + ["c"] * 4, dtype=object)
    y = np.array(["x"] * 6 + ["x"] * 2 + ["z"] * 4, dtype=object)
    weights = person_weights(groups, y)
    assert weights[groups == "a"].sum() == pytest.approx(weights[groups == "b"].sum())
    assert weights[y == "x"].sum() == pytest.approx(weights[y == "z"].sum())
    assert weights.mean() == pytest.approx(1.0)


def test_too_few_people_are_counted_in_words():
    rows = rows_of(np.zeros((3, 2)), ["no", "no", "yes"], ["p1", "p2", "p1"])
    assert too_few(rows, TASK) == (
        "yes is labelled in 1 participant; leaving one participant out needs at least 2 of each class"
    )
    rows = rows_of(np.zeros((4, 2)), ["no", "no", "yes", "yes"], ["p1", "p2", "p1", "p2"])
    assert too_few(rows, TASK) is None
