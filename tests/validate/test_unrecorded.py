"""Labels of a side that was not recorded."""

import pandas as pd
from labelling import frame
from strainstudy.validate.events import score_events
from strainstudy.validate.parameters import ValidateParameters
from strainstudy.validate.unrecorded import comparable, unrecorded_counts

LABELS = frame(
    (1.0, 0, "initial_contact", "left"), (1.5, 0, "initial_contact", "right"), (2.0, 0, "initial_contact", "left"),
    (3.0, 2, "knee_bend", "right"), (6.0, 1, "swallow"), (0.0, 9, "limping_gait", "right"),
)  # fmt: skip


def recordings(channels, status="good"):
    return pd.DataFrame([{"recording_id": "w", "status": status, "channels": channels}])


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


def test_they_are_counted_over_all_raters_and_not_in_rejected_recordings():
    labels = {"w": {"anna": LABELS, "berta": LABELS.iloc[:2]}}
    assert unrecorded_counts(labels, recordings("left_knee")) == {"w": 3}
    assert unrecorded_counts(labels, recordings("left_knee, right_knee")) == {}
    assert unrecorded_counts(labels, recordings(None, "rejected")) == {}
