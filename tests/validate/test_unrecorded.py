"""Labels of a side that was not recorded."""

import numpy as np
import pandas as pd
from hypothesis import given
from hypothesis import strategies as st
from labelling import frame
from strainstudy.ingest.silence import unobserved_spans, unobserved_words
from strainstudy.signal.runs import runs
from strainstudy.validate.events import score_events
from strainstudy.validate.parameters import ValidateParameters
from strainstudy.validate.unrecorded import comparable, unrecorded_counts

LABELS = frame(
    (1.0, 0, "initial_contact", "left"), (1.5, 0, "initial_contact", "right"), (2.0, 0, "initial_contact", "left"),
    (3.0, 2, "knee_bend", "right"), (6.0, 1, "swallow"), (0.0, 9, "limping_gait", "right"),
)  # fmt: skip


def recordings(channels, status="good", unobserved=None):
    return pd.DataFrame([{"recording_id": "w", "status": status, "channels": channels, "unobserved": unobserved}])


def test_labels_of_the_knee_without_a_channel_are_in_no_denominator():
    kept = comparable({"w": {"anna": LABELS}}, recordings("left_knee, left_knee:reference, throat"))
    found = score_events({"w": kept["w"]["anna"]}, {"w": LABELS[LABELS.side == "left"]}, {}, ValidateParameters())
    contacts = found[(found.trial_type == "initial_contact") & (found.recording_id == "w") & (found.side == "all")]
    assert set(contacts.n_labelled) == {2}
    assert set(contacts.recall) == {1.0}
    assert "knee_bend" not in set(found.trial_type)


def test_states_swallows_and_what_was_recorded_stay():
    both = comparable({"w": {"anna": LABELS}}, recordings("left_knee, right_knee"))
    assert both["w"]["anna"].equals(LABELS)
    one = comparable({"w": {"anna": LABELS}}, recordings("left_knee"))["w"]["anna"]
    assert one.trial_type.tolist() == ["initial_contact", "initial_contact", "swallow", "limping_gait"]


def test_events_while_their_own_knee_gave_no_value_are_in_no_denominator_and_those_of_the_other_stay():
    words = unobserved_words(
        {
            "left_knee": np.where(np.arange(900) < 180, np.nan, 0.0),
            "right_knee": np.zeros(900),
            "throat": np.zeros(900),
        },
        100.0,
    )
    assert words == "left_knee 0.00-1.80"
    kept = comparable({"w": {"anna": LABELS}}, recordings("left_knee, right_knee, throat", unobserved=words))
    assert kept["w"]["anna"].onset.tolist() == [1.5, 2.0, 3.0, 6.0, 0.0]
    kept = comparable({"w": {"anna": LABELS}}, recordings("left_knee, throat", unobserved="throat 6.10-7.00"))
    assert "swallow" not in set(kept["w"]["anna"].trial_type)


@given(st.lists(st.tuples(st.integers(0, 400), st.integers(1, 300)), max_size=5))
def test_stretches_without_a_value_go_into_words_and_back(pieces):
    x = np.zeros(1000)
    for first, length in pieces:
        x[first : first + length] = np.nan
    told = unobserved_spans(unobserved_words({"throat": x}, 100.0)).get("throat", np.empty((0, 2)))
    missing = runs(np.isnan(x))
    expected = missing[missing[:, 1] - missing[:, 0] >= 50] / 100.0
    np.testing.assert_allclose(told, expected)


def test_they_are_counted_over_all_raters_and_not_in_rejected_recordings():
    labels = {"w": {"anna": LABELS, "berta": LABELS.iloc[:2]}}
    assert unrecorded_counts(labels, recordings("left_knee")) == {"w": 3}
    assert unrecorded_counts(labels, recordings("left_knee, right_knee")) == {}
    assert unrecorded_counts(labels, recordings(None, "rejected")) == {}
