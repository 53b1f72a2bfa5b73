"""States against labels, by time."""

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from labelling import frame
from sklearn.metrics import balanced_accuracy_score, cohen_kappa_score
from strainstudy.gait.state_time import state_seconds
from strainstudy.tables.spec import write_table
from strainstudy.tables.validation import CONFUSION, STATES
from strainstudy.validate.parameters import ValidateParameters
from strainstudy.validate.states import CLASSES, score_states

QUICK = ValidateParameters(bootstrap_draws=300)


def bouts(*rows):
    """Detected bouts from (onset, duration, trial_type[, limping_side])."""
    full = [(*row, *(None,)[len(row) - 3 :]) for row in rows]
    return pd.DataFrame(full, columns=["onset", "duration", "trial_type", "limping_side"])


def score(labels, detected):
    return score_states({"r1": labels}, {"r1": detected}, {"r1": "sub-01"}, QUICK)


def value(table, state, measure, recording="r1"):
    found = table[(table.trial_type == state) & (table.measure == measure) & (table.recording_id == recording)]
    assert len(found) == 1
    return found.iloc[0].value


LABELS = frame((0, 10, "rest"), (10, 30, "normal_gait"), (40, 20, "limping_gait", "left"))


def test_seconds_worked_by_hand():
    """Rest ends 2 s late; limping is found 5 s late, then on the wrong side for its last 5 s."""
    detected = bouts(
        (0, 12, "rest"), (12, 33, "normal_gait"), (45, 10, "limping_gait", "left"), (55, 5, "limping_gait", "right")
    )
    states, confusion = score(LABELS, detected)
    assert value(states, "rest", "recall") == 1
    assert value(states, "rest", "precision") == pytest.approx(10 / 12)
    assert value(states, "normal_gait", "recall") == pytest.approx(28 / 30)
    assert value(states, "limping_gait", "recall") == pytest.approx(15 / 20)
    assert value(states, "limping_gait", "side_right") == pytest.approx(10 / 20)
    assert value(states, "all", "balanced_accuracy") == pytest.approx((1 + 28 / 30 + 15 / 20) / 3)
    assert value(states, "normal_against_limping", "balanced_accuracy") == pytest.approx((28 / 30 + 15 / 20) / 2)
    own = confusion[confusion.recording_id == "r1"].set_index(["labelled", "detected"]).seconds
    assert own["normal_gait", "rest"] == pytest.approx(2)
    assert own["limping_gait", "normal_gait"] == pytest.approx(5)
    assert own.sum() == pytest.approx(60)


def test_what_rounding_leaves_where_states_adjoin_is_no_row_of_the_confusion():
    """0.1 + 0.2 is 5.6e-17 above 0.3 (IEEE 754 doubles)."""
    labels = frame((0.0, 0.3, "rest"), (0.3, 1.0, "normal_gait"))
    _, confusion = score(labels, bouts((0.1, 0.2, "rest"), (0.1 + 0.2, 1.0, "normal_gait")))
    own = confusion[confusion.recording_id == "r1"]
    assert list(zip(own.labelled, own.detected, strict=True)) == [
        ("rest", "rest"), ("normal_gait", "normal_gait"),
    ]  # fmt: skip


def test_words_that_raters_do_not_use_count_as_wrong_and_what_was_not_observed_counts_nowhere():
    states, confusion = score(LABELS, bouts((0, 5, "rest"), (10, 30, "knee_bend")))
    assert value(states, "rest", "recall") == 1
    assert value(states, "normal_gait", "recall") == 0
    own = confusion[confusion.recording_id == "r1"]
    assert set(own.detected) == {"rest", "other"}
    assert own.seconds.sum() == pytest.approx(35)


def test_a_recording_in_which_nothing_was_detected_is_missed_whole():
    _, confusion = score(LABELS, bouts())
    assert set(confusion[confusion.recording_id == "r1"].detected) == {"none"}


def test_a_turn_inside_gait_is_a_turn_and_no_class_of_the_overall_values():
    labels = frame((0, 20, "normal_gait"), (8, 4, "turn"), (20, 10, "rest"))
    states, _ = score(labels, bouts((0, 20, "normal_gait"), (20, 10, "rest")))
    assert value(states, "normal_gait", "recall") == 1
    assert value(states, "turn", "recall") == 0
    assert value(states, "all", "balanced_accuracy") == 1


def test_only_time_with_a_state_inside_the_labelled_spans_is_scored():
    labels = pd.concat([frame((0, 15, "labelled")), frame((5, 20, "rest"))])
    part = state_seconds("r1", "p", labels, bouts((0, 100, "rest")))
    assert part.seconds.sum() == pytest.approx(10)
    part = state_seconds("r1", "p", labels, bouts((0, 100, "rest")), spans=np.array([[0.0, 8.0]]))
    assert part.seconds.sum() == pytest.approx(3)


@settings(max_examples=40, deadline=None)
@given(
    st.lists(st.sampled_from(CLASSES), min_size=4, max_size=30),
    st.lists(st.sampled_from([*CLASSES, "other"]), min_size=30, max_size=30),
)
def test_values_equal_scikit_learn_on_whole_seconds(truth, found):
    """scikit-learn's balanced_accuracy_score and cohen_kappa_score, second by second, are the references."""
    found = found[: len(truth)]
    labels = frame(*[(i, 1, state) for i, state in enumerate(truth)])
    states, _ = score(labels, bouts(*[(i, 1, state) for i, state in enumerate(found)]))
    if len(set(truth)) < 2:
        assert not (states.trial_type == "all").any()
        return
    recalls = [np.mean([f == t for f, t in zip(found, truth, strict=True) if t == state]) for state in set(truth)]
    assert value(states, "all", "balanced_accuracy") == pytest.approx(np.mean(recalls))
    if set(found) <= set(truth):
        assert value(states, "all", "balanced_accuracy") == pytest.approx(balanced_accuracy_score(truth, found))
    assert value(states, "all", "kappa") == pytest.approx(cohen_kappa_score(truth, found))


def test_seconds_of_one_recording_have_no_interval_and_pooled_ones_come_from_people():
    rng = np.random.default_rng(0)
    labels = {f"r{i}": LABELS for i in range(5)}
    detected = {
        name: bouts((0, 10 + s, "rest"), (10 + s, 30, "normal_gait"), (40 + s, 20 - s, "limping_gait", "left"))
        for name, s in zip(labels, rng.uniform(0, 3, 5), strict=True)
    }
    states, _ = score_states(labels, detected, {n: f"sub-{n}" for n in labels}, QUICK)
    single = states[states.recording_id == "r1"].iloc[0]
    assert "not independent" in single.interval_method
    pooled = states[(states.recording_id == "pooled") & (states.measure == "kappa")].iloc[0]
    assert pooled.value_low < pooled.value < pooled.value_high
    assert pooled.interval_method.startswith("bootstrap over participants")


def test_without_state_labels_both_tables_are_empty_with_their_header(tmp_path):
    for table, spec in zip(score(frame((1, 0, "toe_off", "left")), bouts()), (STATES, CONFUSION), strict=True):
        assert write_table(table, spec, tmp_path).read_text() == "\t".join(spec.names) + "\n"
