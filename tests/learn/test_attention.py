"""Where to look and what to label next: worked spans, and distances by brute force."""

import numpy as np
import pandas as pd
import pytest
from strainstudy.classify_parameters import ClassifyParameters
from strainstudy.learn.attention import label_next, mistakes, novelty
from strainstudy.vocabulary import GAIT_STATES

PARAMETERS = ClassifyParameters()


def mistakes_of(frame):
    return mistakes(frame, frame["probability_limping"].to_numpy(float), GAIT_STATES)


def next_of(frame, new, parameters):
    return label_next(frame, frame["probability_limping"].to_numpy(float), GAIT_STATES, new, parameters)


def windows(*rows, step=2.0, duration=6.0):
    """Windows from (recording, label, probability of limping), two seconds apart within a recording."""
    made, seen = [], {}
    for name, label, p in rows:
        k = seen[name] = seen.get(name, -1) + 1
        onset = step * k
        made.append((name, f"sub-{name}", onset, duration, onset + duration / 2, label, p))
    names = ["recording_id", "participant_id", "onset", "duration", "time", "label", "probability_limping"]
    frame = pd.DataFrame(made, columns=names)
    return frame.assign(label=frame["label"].astype(object).where(frame["label"].notna(), None))


NORMAL, LIMPING = "normal_gait", "limping_gait"


def test_novelty_is_the_distance_to_the_nearest_labelled_window_of_another_person():
    """Distances in quartile ranges of the labelled, over themselves plus the median distance between labelled ones."""
    rng = np.random.default_rng(0)
    x = rng.normal(0, [1.0, 20.0, 0.1], (24, 3))
    who = np.repeat(np.array(["a", "b", "c"], dtype=object), 8)
    known = np.arange(24) % 8 < 6
    spread = np.subtract(*np.quantile(x[known], [0.75, 0.25], axis=0))
    z = (x - np.median(x[known], axis=0)) / spread
    nearest = np.array(
        [min(np.linalg.norm(z[i] - z[j]) for j in range(24) if known[j] and who[j] != who[i]) for i in range(24)]
    )
    usual = np.median(nearest[known])
    found = novelty(x, known, who)
    assert found == pytest.approx(nearest / (nearest + usual))
    # a feature that nobody labelled has, or that never changes, says nothing
    more = np.column_stack([x, np.full(24, np.nan), np.full(24, 3.0)])
    assert novelty(more, known, who) == pytest.approx(found)


def test_where_nothing_or_one_person_is_labelled_all_of_others_is_new():
    x = np.arange(8.0)[:, None]
    who = np.repeat(np.array(["a", "b"], dtype=object), 4)
    assert novelty(x, np.zeros(8, bool), who).tolist() == [1.0] * 8
    found = novelty(x, who == "a", who)
    assert found[:4].tolist() == [1.0] * 4
    assert (found[4:] < 1).all()


def test_neighbouring_mistakes_are_one_span_and_the_costliest_comes_first():
    frame = windows(
        ("r1", NORMAL, 0.8), ("r1", NORMAL, 0.9), ("r1", NORMAL, 0.1), ("r1", LIMPING, 0.4), ("r1", None, 0.9),
        ("r2", LIMPING, 0.01), ("r2", LIMPING, 0.9), ("r2", LIMPING, np.nan),
    )  # fmt: skip
    found = mistakes_of(frame)
    assert found["rank"].tolist() == [1, 2, 3]
    assert found["recording_id"].tolist() == ["r2", "r1", "r1"]
    assert found["log_loss"].tolist() == pytest.approx([-np.log(0.01), -np.log(0.2) - np.log(0.1), -np.log(0.4)])
    assert found["onset"].tolist() == [0.0, 0.0, 6.0]
    assert found["duration"].tolist() == [6.0, 8.0, 6.0]
    assert found["label"].tolist() == [LIMPING, NORMAL, LIMPING]
    assert found["predicted"].tolist() == [NORMAL, LIMPING, NORMAL]
    assert found["probability"].tolist() == pytest.approx([0.99, 0.85, 0.6])


def test_a_probability_of_one_half_is_called_limping():
    assert mistakes_of(windows(("r1", NORMAL, 0.5)))["predicted"].tolist() == [LIMPING]
    assert mistakes_of(windows(("r1", LIMPING, 0.5))).empty


def test_a_long_mistake_is_listed_in_spans_of_fifteen_seconds_and_at_most_twenty():
    found = mistakes_of(windows(*[("r1", NORMAL, 0.9)] * 20))
    # centres 0 to 14 s apart are eight windows, which cover 20 s
    assert found["onset"].tolist() == [0.0, 16.0, 32.0]
    assert found["duration"].tolist() == [20.0, 20.0, 12.0]
    many = windows(*[(f"r{k:02d}", NORMAL, 0.9) for k in range(30)])
    assert len(mistakes_of(many)) == 20
    apart = windows(*[("r1", NORMAL, 0.9)] * 3, step=6.0)
    assert len(mistakes_of(apart)) == 3


def test_worth_is_doubt_times_novelty_less_where_a_label_is_already_there():
    frame = windows(
        ("r1", None, 0.6), ("r2", NORMAL, 0.4), ("r3", NORMAL, 0.95), ("r4", None, np.nan), ("r5", None, 1.0)
    )
    new = np.array([0.5, 0.5, 0.8, 0.7, 0.9])
    found = next_of(frame, new, PARAMETERS).set_index("recording_id")
    # 0.8 x 0.5; agreeing 0.8 x 0.5 x 0.2; disputed at least 0.5 x 0.8 x 0.6; unknown 1 x 0.7; a sure one is worth 0
    assert found["worth"].to_dict() == pytest.approx({"r4": 0.7, "r1": 0.4, "r3": 0.24, "r2": 0.08})
    assert found["rank"].tolist() == [1, 2, 3, 4]
    assert found.index.tolist() == ["r4", "r1", "r3", "r2"]
    assert found["labelled"].to_dict() == {"r4": "no", "r1": "no", "r3": "disputed", "r2": "agrees"}
    assert found["uncertainty"].to_dict() == pytest.approx({"r4": 1.0, "r1": 0.8, "r3": 0.1, "r2": 0.8})
    assert found["predicted"].to_dict() == {"r4": None, "r1": LIMPING, "r3": LIMPING, "r2": NORMAL}
    assert found["probability"].to_dict() == pytest.approx(
        {"r4": np.nan, "r1": 0.6, "r3": 0.95, "r2": 0.6}, nan_ok=True
    )
    assert found["reason"].to_dict() == {
        "r4": "the prediction is not sure; unlike anything labelled in other people; no label yet",
        "r1": "the prediction is not sure; no label yet",
        "r3": "unlike anything labelled in other people; label and prediction disagree: look again",
        "r2": "the prediction is not sure; labelled already, and the prediction agrees",
    }


def test_what_is_labelled_as_predicted_is_listed_only_where_something_else_speaks_for_it():
    frame = windows(("r1", NORMAL, 0.1), ("r2", NORMAL, 0.2), ("r3", NORMAL, 0.1), ("r4", LIMPING, 0.1))
    found = next_of(frame, np.array([0.5, 0.5, 0.7, 0.5]), PARAMETERS)
    assert set(found["recording_id"]) == {"r2", "r3", "r4"}


def test_no_label_yet_is_said_only_where_there_is_none():
    """A window across two labels has no state of its own, but it is labelled; a label alone agrees with nothing."""
    frame = windows(("r1", None, 0.6), ("r2", None, 0.6), ("r3", NORMAL, np.nan)).assign(touched=[False, True, True])
    found = next_of(frame, np.full(3, 0.5), PARAMETERS).set_index("recording_id")
    assert found["labelled"].to_dict() == {"r1": "no", "r3": "unpredicted", "r2": "in part"}
    assert found["reason"].str.contains("no label yet").to_dict() == {"r1": True, "r3": False, "r2": False}
    assert found["reason"]["r3"].endswith("labelled already, and nothing was predicted")


def test_a_second_span_of_a_recording_is_worth_half_and_the_list_ends_where_it_is_told():
    frame = windows(("r1", None, 0.5), ("r1", NORMAL, 0.3), ("r1", None, 0.6), ("r2", None, 0.75))
    found = next_of(frame, np.ones(4), PARAMETERS)
    assert found["recording_id"].tolist() == ["r1", "r2", "r1", "r1"]
    assert found["worth"].tolist() == pytest.approx([1.0, 0.5, 0.8 / 2, 0.6 * 0.2 / 4])
    assert len(next_of(frame, np.ones(4), ClassifyParameters(label_next_rows=2))) == 2
