"""Detected events against labels."""

import os
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from labelling import contacts, frame
from strainstudy.io.labels import read_labels
from strainstudy.stats.intervals import cluster_bootstrap, wilson
from strainstudy.stats.spans import intersect, labelled_spans, merged, within
from strainstudy.tables.spec import read_described, write_table
from strainstudy.tables.validation import CONFOUNDERS, EVENTS
from strainstudy.validate.events import score_confounders, score_events, score_shapes
from strainstudy.validate.parameters import ValidateParameters
from strainstudy.validate.scoring import scored_types, tally

QUICK = ValidateParameters(bootstrap_draws=300)


def score(labels, events, parameters=QUICK):
    return score_events({"r1": labels}, {"r1": events}, {"r1": "sub-01"}, parameters)


def row(table, **which):
    found = table
    for name, value in which.items():
        found = found[np.isclose(found[name], value)] if isinstance(value, float) else found[found[name] == value]
    assert len(found) == 1
    return found.iloc[0]


def test_counts_bias_and_limits_of_a_recording_worked_by_hand():
    """Labels at 1, 2, 3, 4 s; found 0.02, 0.04 and 0.06 s late, one missed, one false."""
    found = score(contacts([1, 2, 3, 4], "left"), contacts([1.02, 2.04, 3.06, 7], "left"))
    one = row(found, recording_id="r1", side="left", tolerance=0.1)
    assert (one.n_labelled, one.n_detected) == (4, 4)
    assert (one.true_positive, one.false_positive, one.false_negative) == (3, 1, 1)
    assert (one.precision, one.recall, one.f1) == (0.75, 0.75, 0.75)
    assert one.bias == pytest.approx(0.04)
    assert one["median"] == pytest.approx(0.04)
    assert one.sd == pytest.approx(0.02)
    assert (one.loa_lower, one.loa_upper) == (pytest.approx(0.04 - 1.96 * 0.02), pytest.approx(0.04 + 1.96 * 0.02))
    strict = row(found, recording_id="r1", side="left", tolerance=0.05)
    assert (strict.true_positive, strict.false_positive, strict.false_negative) == (2, 2, 2)


def test_single_recordings_have_wilson_limits_and_f1_follows_by_its_share_of_all_events():
    """Newcombe 1998: 9 of 10 gives .59585 to .98212; F1 = 2 J / (1 + J) with J = TP / (TP + FP + FN)."""
    found = score(contacts(range(10), "left"), contacts(range(9), "left"))
    one = row(found, recording_id="r1", side="left", tolerance=0.1)
    assert (one.recall_low, one.recall_high) == (pytest.approx(0.59585, abs=5e-6), pytest.approx(0.98212, abs=5e-6))
    low, high = wilson(9, 10).low, wilson(9, 10).high
    assert (one.f1_low, one.f1_high) == (pytest.approx(2 * low / (1 + low)), pytest.approx(2 * high / (1 + high)))
    assert one.interval_method == "Wilson"


def test_a_contact_of_the_other_foot_is_no_match():
    found = score(
        pd.concat([contacts([1, 2], "left"), contacts([1.5], "right")]),
        pd.concat([contacts([1], "left"), contacts([2, 1.5], "right")]),
    )
    assert row(found, recording_id="r1", side="left", tolerance=0.1).false_negative == 1
    assert row(found, recording_id="r1", side="right", tolerance=0.1).false_positive == 1
    both = row(found, recording_id="r1", side="all", tolerance=0.1)
    assert (both.true_positive, both.false_positive, both.false_negative) == (2, 1, 1)


def test_only_types_and_sides_the_rater_labelled_are_scored():
    detected = pd.concat([contacts([1, 2], "left"), contacts([1.5], "right"), frame((3, 1, "swallow"))])
    found = score(contacts([1, 2], "left"), detected)
    assert set(found["trial_type"]) == {"initial_contact"}
    assert set(found["side"]) == {"left", "all"}
    assert row(found, recording_id="r1", side="all", tolerance=0.1).false_positive == 0


def test_labels_without_sides_are_matched_whatever_the_side():
    labels = frame((1, 0, "initial_contact"), (2, 0, "initial_contact"))
    found = score(labels, pd.concat([contacts([1], "left"), contacts([2], "right")]))
    assert row(found, recording_id="r1", side="all", tolerance=0.1).f1 == 1


def test_outside_the_labelled_spans_nothing_counts():
    """Detected at 12 s and labelled at 15 s lie outside 0-10 s; 10.03 s matches the label at 10 s on the border."""
    labels = pd.concat([frame((0, 10, "labelled")), contacts([5, 10, 15], "left")])
    one = row(score(labels, contacts([5, 10.03, 12], "left")), recording_id="r1", side="left", tolerance=0.05)
    assert (one.true_positive, one.false_positive, one.false_negative) == (2, 0, 0)


def test_a_label_outside_a_span_claims_its_event_at_the_border_without_being_counted():
    labels = pd.concat([frame((0, 10, "labelled")), contacts([5, 10.02], "left")])
    one = row(score(labels, contacts([5, 9.99], "left")), recording_id="r1", side="left", tolerance=0.05)
    assert (one.n_labelled, one.true_positive, one.false_positive) == (1, 1, 0)


def test_swallows_are_scored_by_overlap_and_by_centre():
    """1-2 s against 1.5-2.5 s: overlap over union 1/3, centres 0.5 s apart."""
    found = score(frame((1, 1, "swallow"), (8, 1, "swallow")), frame((1.5, 1, "swallow"), (8, 1, "swallow")))
    assert row(found, recording_id="r1", criterion="overlap", tolerance=0.3).true_positive == 2
    assert row(found, recording_id="r1", criterion="overlap", tolerance=0.5).true_positive == 1
    centre = row(found, recording_id="r1", criterion="centre", tolerance=0.5)
    assert centre.true_positive == 2
    assert centre.bias == pytest.approx(0.25)
    assert centre.duration_bias == 0


def test_false_swallows_count_where_the_rater_labelled_only_what_may_be_taken_for_one():
    assert scored_types(frame((1, 2, "speech"))) == ("swallow",)
    found = score(frame((1, 2, "speech")), frame((1.5, 1, "swallow")))
    one = row(found, recording_id="r1", criterion="centre", tolerance=0.5)
    assert (one.n_labelled, one.false_positive) == (0, 1)
    assert np.isnan(one.recall)
    assert "nothing was counted" in one.interval_method


def people(n, per_person=20, seed=0):
    """Labels and detections of ``n`` people, detection differing between people."""
    rng = np.random.default_rng(seed)
    labels, events, who = {}, {}, {}
    for person in range(n):
        name = f"r{person:02d}"
        times = np.arange(per_person) + 1.0
        kept = times[rng.uniform(size=per_person) > 0.05 + 0.02 * person]
        labels[name] = contacts(times, "left")
        events[name] = contacts(kept + rng.normal(0.01 * person, 0.01, len(kept)), "left")
        who[name] = f"sub-{person:02d}"
    return labels, events, who


def test_pooled_limits_come_from_people_and_pooled_counts_are_sums():
    labels, events, who = people(6)
    found = score_events(labels, events, who, QUICK)
    pooled = row(found, recording_id="pooled", side="left", tolerance=0.25)
    single = found[(found.recording_id != "pooled") & (found.side == "left") & np.isclose(found.tolerance, 0.25)]
    assert pooled.true_positive == single.true_positive.sum()
    assert (pooled.n_recordings, pooled.n_participants) == (6, 6)
    assert pooled.recall_low < pooled.recall < pooled.recall_high
    assert "recall: bootstrap over participants" in pooled.interval_method
    assert "precision: Wilson, as no participant differs" in pooled.interval_method
    assert pooled.participant_id is None
    # Bias differs between people, so that limits for a person not yet seen are wider than any one person's.
    assert pooled.loa_upper - pooled.loa_lower > (single.loa_upper - single.loa_lower).max()


def test_two_recordings_of_one_person_are_one_person():
    labels, events, _ = people(4)
    found = score_events(labels, events, dict.fromkeys(labels, "sub-01"), QUICK)
    pooled = row(found, recording_id="pooled", side="left", tolerance=0.25)
    assert pooled.n_participants == 1
    assert pooled.interval_method == "none: fewer than 3 participants"
    assert np.isnan(pooled.f1_low)
    assert np.isfinite(pooled.f1)


def test_results_are_the_same_to_the_byte_and_do_not_depend_on_order(tmp_path):
    labels, events, who = people(5)
    first = write_table(score_events(labels, events, who, QUICK), EVENTS, tmp_path / "a").read_bytes()
    backwards = [dict(reversed(list(d.items()))) for d in (labels, events, who)]
    assert write_table(score_events(*backwards, QUICK), EVENTS, tmp_path / "b").read_bytes() == first
    again = read_described(tmp_path / "a" / EVENTS.path)
    assert list(again.columns) == list(EVENTS.names)


def test_without_labels_the_tables_are_empty_with_their_header(tmp_path):
    for table, spec in (
        (score_events({}, {"r1": frame((1, 1, "swallow"))}, {}, QUICK), EVENTS),
        (score_confounders({}, {}, {}, QUICK), CONFOUNDERS),
        (score_events({"r1": frame((0, 1, "rest"))}, {"r1": frame()}, {"r1": "sub-01"}, QUICK), EVENTS),
    ):
        assert len(table) == 0
        text = write_table(table, spec, tmp_path).read_text()
        assert text == "\t".join(spec.names) + "\n"


def test_a_recording_without_any_detection_is_all_misses_and_one_that_was_not_analysed_is_left_out():
    labels = {"r1": contacts([1, 2], "left"), "r2": contacts([1, 2], "left")}
    found = score_events(labels, {"r1": frame()}, {"r1": "sub-01"}, QUICK)
    assert set(found.recording_id) == {"r1", "pooled"}
    assert row(found, recording_id="r1", side="left", tolerance=0.1).false_negative == 2


@settings(max_examples=60, deadline=None)
@given(
    st.lists(st.integers(0, 300), max_size=20),
    st.lists(st.integers(0, 300), max_size=20),
    st.lists(st.tuples(st.integers(0, 250), st.integers(1, 60)), max_size=4),
)
def test_counts_add_up_whatever_the_labels(label_times, event_times, spans):
    labels = pd.concat(
        [contacts([t / 10 for t in label_times], "left"), frame(*[(a / 10, b / 10, "labelled") for a, b in spans])]
    )
    events = contacts([t / 10 for t in event_times], "left")
    limits = labelled_spans(labels)
    for t in tally("r", "p", labels, events, QUICK, spans=limits):
        inside = within(np.array(label_times) / 10, limits).sum()
        assert t.true_positive + t.false_negative == inside
        assert t.true_positive == len(t.timing) == len(t.duration)
        assert 0 <= t.false_positive <= len(event_times)
        assert (np.abs(t.timing) <= t.criterion.tolerance + 1e-9).all()


def test_spans_are_merged_and_intersected():
    spans = merged(np.array([[5.0, 6], [0, 2], [1, 3], [3, 4]]))
    assert spans.tolist() == [[0, 4], [5, 6]]
    assert intersect(spans, np.array([[3.5, 5.5]])).tolist() == [[3.5, 4], [5, 5.5]]
    assert intersect(None, spans) is spans
    assert intersect(None, None) is None


def test_confounders_taken_for_swallows_are_counted_per_minute():
    """Two minutes of speech in two stretches with two false swallows in the first; the true swallow is not one."""
    labels = frame((0, 60, "speech"), (100, 60, "speech"), (70, 1, "swallow"), (80, 2, "cough"))
    events = frame((10, 1, "swallow"), (20, 1, "swallow"), (70.2, 1, "swallow"))
    found = score_confounders({"r1": labels}, {"r1": events}, {"r1": "sub-01"}, QUICK)
    speech = row(found, recording_id="r1", confounder="speech")
    assert (speech.n_labelled, speech.n_taken, speech.n_false_swallows, speech.minutes) == (2, 1, 2, 2)
    assert (speech.share_taken, speech.false_per_minute) == (0.5, 1.0)
    assert speech.false_per_minute_low == pytest.approx(0.2422 / 2, abs=5e-5)  # Garwood 1936, count 2: 0.2422-7.2247
    assert speech.false_per_minute_high == pytest.approx(7.2247 / 2, abs=5e-5)
    assert row(found, recording_id="r1", confounder="cough").n_taken == 0
    together = row(found, recording_id="r1", confounder="all")
    assert (together.n_labelled, together.n_false_swallows) == (3, 2)
    assert together.minutes == pytest.approx(2 + 2 / 60)
    assert row(found, recording_id="pooled", confounder="speech").interval_method == "none: fewer than 3 participants"


def speakers(counts, seconds=60.0):
    """People who spoke for so long in two stretches each, with so many false swallows in the first."""
    labels = {f"r{i}": frame((0, seconds, "speech"), (100, seconds, "speech")) for i in range(len(counts))}
    events = {f"r{i}": frame(*[(5.0 + 6 * k, 1, "swallow") for k in range(n)]) for i, n in enumerate(counts)}
    return labels, events, {f"r{i}": f"sub-{i:02d}" for i in range(len(counts))}


def test_pooled_confounders_have_the_limits_of_a_bootstrap_where_people_differ_more_than_chance_would_make_them():
    """Five people, two stretches and two minutes of speech each; 0 to 4 false swallows, all in the first stretch."""
    found = row(score_confounders(*speakers([0, 1, 2, 3, 4]), QUICK), recording_id="pooled", confounder="speech")
    assert (found.n_participants, found.n_labelled, found.n_taken, found.minutes) == (5, 10, 4, 10)
    table = np.column_stack([[0, 1, 2, 3, 4], np.full(5, 2.0)])
    limits = cluster_bootstrap(table, lambda s: s[:, 0] / s[:, 1], draws=QUICK.bootstrap_draws, seed=QUICK.seed)
    assert found.false_per_minute == pytest.approx(10 / 10)
    assert [found.false_per_minute_low, found.false_per_minute_high] == pytest.approx([limits.low, limits.high])
    # Wilson 1927: (p + z^2 / 2n -+ z sqrt(p q / n + z^2 / 4n^2)) / (1 + z^2 / n) for 4 of 10, wider than 4 of 5 people
    assert found.share_taken == pytest.approx(4 / 10)
    assert [found.share_taken_low, found.share_taken_high] == pytest.approx([0.1682, 0.6873], abs=5e-5)
    assert found.interval_method == (
        "Wilson, wider than bootstrap over participants (BCa); "
        "bootstrap over participants (BCa), wider than exact Poisson"
    )


def test_one_false_swallow_in_all_has_the_limits_of_a_count_of_one():
    """Garwood 1936: a count of 1 has the limits 0.0253 and 5.5716; five people of 2 min each are 10 min."""
    found = row(score_confounders(*speakers([1, 0, 0, 0, 0]), QUICK), recording_id="pooled", confounder="speech")
    limits = [found.false_per_minute_low, found.false_per_minute_high]
    assert limits == pytest.approx([0.0253 / 10, 5.5716 / 10], abs=5e-5)
    assert "exact Poisson, wider than bootstrap over participants" in found.interval_method


def test_all_false_swallows_stand_beside_all_time_without_swallows():
    """Of 300 s the rater looked at 200: 10 of a swallow, 60 of speech. False: one in speech, two in nothing."""
    labels = frame((0, 200, "labelled"), (20, 60, "speech"), (100, 10, "swallow"))
    events = frame(
        (30, 1, "swallow"), (104, 2, "swallow"), (140, 1, "swallow"), (150, 1, "swallow"), (250, 1, "swallow")
    )
    found = score_confounders({"r1": labels}, {"r1": events}, {"r1": "sub-01"}, QUICK, durations={"r1": 300.0})
    everything = row(found, recording_id="r1", confounder="no_swallow")
    assert everything.minutes == pytest.approx(190 / 60)
    assert everything.n_false_swallows == 3
    unnamed = row(found, recording_id="r1", confounder="other")
    assert unnamed.minutes == pytest.approx(130 / 60)
    assert unnamed.n_false_swallows == 2
    assert pd.isna(unnamed.n_labelled)
    assert pd.isna(unnamed.share_taken)
    # Garwood 1936, count 3: 0.6187 to 8.7673
    assert everything.false_per_minute_high == pytest.approx(8.7673 / (190 / 60), abs=1e-4)
    no_limits = labels[labels["trial_type"] != "labelled"]
    whole = score_confounders({"r1": no_limits}, {"r1": events}, {"r1": "sub-01"}, QUICK, durations={"r1": 300.0})
    assert row(whole, recording_id="r1", confounder="no_swallow").minutes == pytest.approx(290 / 60)
    assert row(whole, recording_id="r1", confounder="no_swallow").n_false_swallows == 4


def test_pooled_confounders_that_fooled_nobody_keep_an_upper_limit():
    """Garwood 1936: no event has an upper 97.5 % limit of 3.6889; Wilson: 0 of n has z^2 / (n + z^2)."""
    found = row(score_confounders(*speakers([0] * 4), QUICK), recording_id="pooled", confounder="speech")
    assert (found.false_per_minute, found.false_per_minute_low) == (0, 0)
    assert found.false_per_minute_high == pytest.approx(3.6889 / 8, abs=1e-4)
    assert found.share_taken_high == pytest.approx(1.96**2 / (8 + 1.96**2), abs=1e-4)


def test_a_recording_of_nobody_known_counts_as_a_person_of_its_own():
    labels, events, _ = speakers([1, 1, 1])
    found = score_confounders(labels, events, {"r0": "sub-00", "r1": None}, QUICK)
    own = found[(found.confounder == "speech") & (found.recording_id != "pooled")]
    assert own.set_index("recording_id").participant_id.to_dict() == {"r0": "sub-00", "r1": "r1", "r2": "r2"}
    assert row(found, recording_id="pooled", confounder="speech").n_participants == 3


def test_confounders_labelled_as_instants_have_no_rate():
    found = score_confounders({"r1": frame((5, 0, "cough"))}, {"r1": frame()}, {"r1": "sub-01"}, QUICK)
    assert set(found.minutes) == {0}
    assert found.false_per_minute.isna().all()
    assert (found.n_labelled == 1).all()


def test_swallows_labelled_as_instants_are_scored_by_their_place_alone():
    labels = frame((10, 0, "swallow"), (20, 0, "swallow"))
    found = score(labels, frame((9.6, 1.0, "swallow"), (30, 1.0, "swallow")))
    own = found[(found.recording_id == "r1") & (found.trial_type == "swallow")]
    assert set(own.criterion) == {"centre"}
    assert own.true_positive.tolist() == [1]
    assert own.duration_bias.isna().all()


def test_time_that_is_two_confounders_at_once_counts_once_together():
    labels = frame((0, 60, "speech"), (30, 60, "head_movement"))
    found = score_confounders({"r1": labels}, {"r1": frame((40, 1, "swallow"))}, {"r1": "sub-01"}, QUICK)
    together = row(found, recording_id="r1", confounder="all")
    assert (together.minutes, together.n_false_swallows, together.n_taken) == (1.5, 1, 2)


def test_swallows_are_scored_apart_by_the_shape_of_the_response():
    labels = frame((10, 1, "swallow"), (20, 1, "swallow"))
    found = {"r1": frame((10, 1, "swallow"), (20, 1, "swallow")), "r2": frame((10, 1, "swallow")), "r3": frame()}
    people = {"r1": "sub-01", "r2": "sub-02", "r3": "sub-03"}
    truth = dict.fromkeys(found, labels)
    table = score_shapes(truth, found, people, {"r1": "one_hump", "r2": "ringing"}, QUICK)
    own = table[(table.criterion == "centre") & (table.tolerance == 0.5)].set_index("response_shape")
    assert own.recall.to_dict() == {"one_hump": 1.0, "ringing": 0.5, "unknown": 0.0}
    quiet = score_shapes({"r3": frame((1, 5, "speech"))}, {"r3": frame()}, people, {}, QUICK)
    assert quiet.empty


@pytest.mark.skipif(
    "STRAINSTUDY_REAL_WALKS" not in os.environ, reason="STRAINSTUDY_REAL_WALKS does not name the folder of real walks"
)
def test_a_constant_delay_on_real_contacts_comes_back_as_bias_and_nothing_else():
    """Contacts of real treadmill walking (Pearl et al. 2022, doi 10.21203/rs.3.rs-1902381/v1), all moved by 30 ms."""
    folder = Path(os.environ["STRAINSTUDY_REAL_WALKS"]) / "labels"
    labels = {place.name: read_labels(place / "forceplate_events.tsv") for place in sorted(folder.iterdir())}
    events = {
        name: own[own.trial_type != "labelled"].assign(onset=lambda x: x.onset + 0.03) for name, own in labels.items()
    }
    found = score_events(labels, events, {name: name[:2] for name in labels}, QUICK)
    pooled = row(found, recording_id="pooled", trial_type="initial_contact", side="all", tolerance=0.05)
    assert pooled.n_participants == 4
    assert pooled.f1 == 1
    assert pooled.bias == pytest.approx(0.03)
    assert pooled.sd == pytest.approx(0, abs=1e-9)


def test_a_straight_leg_held_for_calibration_is_no_bend_to_be_found():
    """A hold labelled with 0 degrees is neither a miss nor a match; a bend without a value still counts."""
    labels = frame(
        (1, 4, "knee_bend", "left", 0.0), (6, 4, "knee_bend", "left", 45.0), (12, 4, "knee_bend", "left"),
        (18, 4, "knee_bend", "left", 0.0),
    )  # fmt: skip
    events = frame((6, 4, "knee_bend", "left", 44.0), (12, 4, "knee_bend", "left", 0.0))
    one = row(score(labels, events), recording_id="r1", side="left", criterion="centre")
    assert (one.n_labelled, one.true_positive, one.false_positive, one.false_negative) == (2, 2, 0, 0)
    assert scored_types(labels.iloc[[0, 3]]) == ()
