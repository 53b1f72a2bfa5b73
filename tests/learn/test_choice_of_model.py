"""Which stored model predicts a recording, and when its rows are unlike those it was trained on."""

from types import SimpleNamespace

import numpy as np
import pytest
from strainstudy.learn.decide import RANGE_MARGIN, choose_variant, doubt_of, external_words, outside_range
from strainstudy.learn.feature_rows import FLOOR, Task, log_loss


def model(*columns, low=0.0, high=10.0):
    n = len(columns)
    return SimpleNamespace(columns=columns, low_=np.full(n, low), high_=np.full(n, high))


def task(**variants):
    return Task(columns=("a", "b", "c"), classes=("x", "y"), variants=variants)


def test_the_best_model_is_taken_whose_features_are_all_there():
    several = task(both=("a", "b", "c"), one=("a", "b"), least=("a",))
    models = {"least": model("a"), "both": model("a", "b", "c"), "one": model("a", "b")}
    assert choose_variant(several, models, {"a", "b", "c"}) == "both"
    assert choose_variant(several, models, {"a", "b"}) == "one"
    assert choose_variant(several, models, {"a", "c"}) == "least"
    assert choose_variant(several, models, {"b", "c"}) is None
    # one that was not trained is passed over
    assert choose_variant(several, {"least": model("a")}, {"a", "b", "c"}) == "least"


def test_a_task_with_one_variant_has_no_choice():
    assert choose_variant(task(all=("a", "b")), {"all": model("a", "b")}, {"a"}) == "all"


def test_a_feature_is_outside_if_more_than_half_of_a_persons_rows_are_by_more_than_a_margin():
    """The range of training is 0 to 10; on either side a share of it is allowed."""
    edge = 10.0 * RANGE_MARGIN
    own = model("a", "b")
    inside, above, below = [-edge, 10.0 + edge], [5.0, 10.1 + edge], [-0.1 - edge, 5.0]
    assert outside_range(own, np.array([inside, inside])) == []
    assert outside_range(own, np.array([above, above, inside])) == ["b"]
    assert outside_range(own, np.array([below, below, above])) == ["a"]
    # just half is not most, and what is missing is not outside
    assert outside_range(own, np.array([above, inside])) == []
    assert outside_range(own, np.array([[np.nan, np.nan]])) == []
    assert outside_range(own, np.empty((0, 2))) == []


@pytest.mark.parametrize("caution", [None, "made under other settings; and older"])
def test_the_doubt_about_a_model_of_another_study_comes_back_from_its_words(caution):
    assert doubt_of(external_words(caution)) == caution
    assert doubt_of(None) is None


def test_a_loss_is_that_of_the_probability_given_and_never_without_bound():
    np.testing.assert_allclose(log_loss(np.array([1.0, np.exp(-2.0), 0.0])), [0.0, 2.0, -np.log(FLOOR)])
