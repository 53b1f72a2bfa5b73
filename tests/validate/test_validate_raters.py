"""Rater against rater beside pipeline against rater."""

import numpy as np
import pandas as pd
import pytest
from labelling import contacts, frame
from strainstudy.errors import StudyError
from strainstudy.stats.intervals import Interval, no_interval
from strainstudy.tables.spec import write_table
from strainstudy.tables.validation import RATERS
from strainstudy.validate.parameters import ValidateParameters
from strainstudy.validate.raters import compare_raters, standing
from strainstudy.validate.row_frames import reference_labels

QUICK = ValidateParameters(bootstrap_draws=300)


def study(people=6, rater_misses=0.02, pipeline_misses=0.02):
    """Invented labels of two raters and detections, each missing events at a rate of its own."""
    rng = np.random.default_rng(1)
    labels, events, bouts, who = {}, {}, {}, {}
    times = np.arange(1, 41, dtype=float)
    states = frame((0, 20, "normal_gait"), (20, 20, "limping_gait", "left"))
    for person in range(people):
        name = f"r{person}"

        def seen(rate):
            kept = times[rng.uniform(size=40) > rate]
            return contacts(kept + rng.normal(0, 0.01, len(kept)), "left")

        labels[name] = {
            "anna": pd.concat([contacts(times, "left"), states]),
            "berta": pd.concat([seen(rater_misses), states.assign(onset=[0.0, 21.0], duration=[21.0, 19.0])]),
        }
        events[name] = seen(pipeline_misses)
        bouts[name] = pd.DataFrame(
            {"onset": [0.0, 23.0], "duration": [23.0, 17.0], "trial_type": ["normal_gait", "limping_gait"]}
        ).assign(limping_side="left")
        who[name] = f"sub-{person}"
    return labels, events, bouts, who


def events_row(table):
    return table[
        (table.trial_type == "initial_contact") & (table.side == "all") & np.isclose(table.tolerance, 0.25)
    ].iloc[0]


def test_pipeline_minus_rater_is_the_difference_of_the_two_scores_against_the_reference():
    found = compare_raters(*study(), QUICK)
    row = events_row(found)
    assert (row.reference_rater, row.other_rater) == ("anna", "berta")
    assert row.pipeline_minus_rater_f1 == pytest.approx(row.pipeline_f1 - row.f1)
    assert row.pipeline_minus_rater_f1_low < row.pipeline_minus_rater_f1 < row.pipeline_minus_rater_f1_high


def test_recordings_of_nobody_known_count_as_people_of_their_own():
    """Six recordings are six people, with or without their names."""
    labels, events, bouts, who = study()
    named, unnamed = compare_raters(labels, events, bouts, who, QUICK), compare_raters(labels, events, bouts, {}, QUICK)
    assert set(unnamed.n_participants) == {6}
    assert (unnamed.f1_low.dropna() == named.f1_low.dropna()).all()


def test_a_pipeline_that_misses_much_more_stands_below_the_rater_and_the_reverse():
    assert "agrees less" in events_row(compare_raters(*study(pipeline_misses=0.4), QUICK)).standing
    assert "agrees better" in events_row(compare_raters(*study(rater_misses=0.4), QUICK)).standing
    assert "not distinguishable" in events_row(compare_raters(*study(), QUICK)).standing


def test_the_second_rater_scored_as_the_pipeline_gives_a_difference_of_zero():
    labels, _, bouts, who = study(rater_misses=0.2)
    events = {name: own["berta"] for name, own in labels.items()}
    row = events_row(compare_raters(labels, events, bouts, who, QUICK))
    assert row.pipeline_minus_rater_f1 == 0
    assert row.standing == "pipeline and the other rater score exactly the same"


def test_states_have_kappa_of_both():
    """Of 40 s the raters differ for 1 s and the pipeline for 3 s; two equal classes, so kappa = 1 - 2 x share at
    balanced margins: p_o = 39/40, p_e = (20 x 21 + 20 x 19) / 1600 = 0.5, kappa = 0.95.
    """
    found = compare_raters(*study(), QUICK)
    row = found[found.trial_type == "states"].iloc[0]
    assert row.kappa == pytest.approx((39 / 40 - 0.5) / 0.5)
    assert row.pipeline_kappa == pytest.approx((37 / 40 - 0.5) / 0.5)
    assert row.pipeline_minus_rater_kappa == pytest.approx(-0.1)
    assert row.labelled_seconds == pytest.approx(40 * 6)


def test_only_time_that_both_raters_looked_at_counts():
    labels, events, bouts, who = study()
    for own in labels.values():
        own["berta"] = pd.concat([own["berta"], frame((0, 10.5, "labelled"))])
    row = events_row(compare_raters(labels, events, bouts, who, QUICK))
    assert row.true_positive + row.false_negative == 10 * 6


def test_one_rater_gives_an_empty_table(tmp_path):
    labels, events, bouts, who = study()
    alone = {name: {"anna": own["anna"]} for name, own in labels.items()}
    for given in (alone, {}):
        table = compare_raters(given, events, bouts, who, QUICK)
        assert write_table(table, RATERS, tmp_path).read_text() == "\t".join(RATERS.names) + "\n"


def test_the_reference_is_the_setting_else_who_labelled_most_else_first_by_name():
    one = contacts([1], "left")
    labels = {"r1": {"berta": one, "anna": one}, "r2": {"berta": one}}
    assert reference_labels(labels, None)[0] == "berta"
    assert reference_labels({"r1": labels["r1"]}, None)[0] == "anna"
    assert reference_labels(labels, "anna") == ("anna", {"r1": one})
    assert reference_labels({}, None) == (None, {})


def test_a_reference_rater_who_labelled_nothing_is_refused_with_the_names_there_are():
    with pytest.raises(StudyError, match=r"validate\.reference_rater.*'carla'.*no labels by this rater.*anna, berta"):
        reference_labels(study()[0], "carla")


def test_words_of_the_standing_follow_the_interval():
    assert "agrees better" in standing(0.05, Interval(0.01, 0.1, ""))
    assert "agrees less" in standing(-0.05, Interval(-0.1, -0.01, ""))
    assert "not distinguishable" in standing(0.0, Interval(-0.1, 0.1, ""))
    assert standing(0.0, no_interval("few")) == "too few participants to tell"
