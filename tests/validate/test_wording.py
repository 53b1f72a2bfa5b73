"""Sentences of the validation tables."""

import math

import pytest
from strainstudy.validate.wording import (
    change_words,
    confounder_words,
    event_words,
    group_words,
    norm_words,
    parameter_words,
    rater_words,
    retest_words,
    state_words,
)

NAN = math.nan
EVENT = {
    "trial_type": "initial_contact", "side": "left", "criterion": "time", "tolerance": 0.1, "n_labelled": 40,
    "n_detected": 41, "true_positive": 39, "false_positive": 2, "recall": 0.975, "recall_low": 0.87,
    "recall_high": 0.996,
    "precision": 0.951, "precision_low": NAN, "precision_high": NAN, "bias": -0.012, "loa_lower": -0.05,
    "loa_upper": 0.026,
}  # fmt: skip


def test_an_event_row_says_counts_limits_and_lateness():
    assert event_words(EVENT) == (
        "Of 40 labelled left initial contacts 39 were found within 0.1 s (recall 0.975, 95 % limits 0.87 to 0.996); "
        "of 41 detected 2 were not labelled (precision 0.951, no limits); found ones came 12 ms early on average, 95 "
        "of 100 between 50 ms early and 26 ms late."
    )


def test_without_a_found_event_nothing_is_said_of_lateness():
    words = event_words(EVENT | {"true_positive": 0, "recall": 0.0, "bias": NAN, "loa_lower": NAN})
    assert "came" not in words
    swallows = event_words(EVENT | {"trial_type": "swallow", "criterion": "overlap", "side": "all", "tolerance": 0.5})
    assert swallows.startswith("Of 40 labelled swallows 39 were found with an overlap over union of at least 0.5 ")


def test_a_confounder_row_says_false_swallows_per_minute():
    row = {"n_false_swallows": 3, "minutes": 2.0, "confounder": "head_movement", "false_per_minute": 1.5,
           "false_per_minute_low": 0.3, "false_per_minute_high": 4.4, "n_taken": 2, "n_labelled": 9}  # fmt: skip
    assert confounder_words(row) == (
        "3 false swallows in 2 min of head movement, 1.5 per minute (95 % limits 0.3 to 4.4); 2 of 9 stretches were "
        "taken for a swallow."
    )
    alone = confounder_words(row | {"n_false_swallows": 1, "n_taken": 1, "n_labelled": 1})
    assert alone.startswith("1 false swallow in ")
    assert alone.endswith("; 1 of 1 stretch was taken for a swallow.")


@pytest.mark.parametrize(
    ("state", "measure", "start"),
    [
        ("rest", "recall", "Share of the 120 s labelled rest that was detected as such: 0.9"),
        ("turn", "precision", "Share of the time detected as turn that was labelled so: 0.9"),
        ("limping_gait", "f1", "Harmonic mean of the two shares for limping gait: 0.9"),
        ("limping_gait", "side_right", "Share of the 120 s labelled as limping on a side"),
        ("all", "kappa", "Agreement on 120 s of rest, normal and limping gait beyond chance"),
        ("all", "balanced_accuracy", "Mean share of right time over the labelled states"),
        ("normal_against_limping", "balanced_accuracy", "Mean share of right time over normal and limping gait"),
    ],
)
def test_a_state_row_says_what_its_measure_is(state, measure, start):
    row = {"trial_type": state, "measure": measure, "value": 0.9, "value_low": 0.8, "value_high": 0.95,
           "n_participants": 1, "labelled_seconds": 120.0}  # fmt: skip
    assert state_words(row).startswith(start)
    assert state_words(row).endswith("0.9 (95 % limits 0.8 to 0.95; 1 participant).")


def test_a_rater_row_says_both_scores_and_the_standing():
    row = {"trial_type": "initial_contact", "criterion": "time", "tolerance": 0.1, "reference_rater": "anna",
           "other_rater": "berta", "f1": 0.95, "pipeline_f1": 0.97,
           "standing": "pipeline not distinguishable from the other rater",
           "pipeline_minus_rater_f1_low": -0.01, "pipeline_minus_rater_f1_high": 0.04, "n_participants": 6}  # fmt: skip
    assert rater_words(row) == (
        "Against anna, initial contacts within 0.1 s: F1 of the pipeline 0.97, of berta 0.95; pipeline not "
        "distinguishable from the other rater (pipeline minus rater: 95 % limits -0.01 to 0.04; 6 participants)."
    )


def test_a_parameter_row_says_bias_and_what_to_expect():
    row = {"bias": 0.5, "bias_low": 0.1, "bias_high": 0.9, "unit": "1/min", "n_pairs": 12, "n_participants": 6,
           "loa_lower": -1.0, "loa_upper": 2.0}  # fmt: skip
    assert parameter_words(row) == (
        "Pipeline minus labels: 0.5 per minute on average (95 % limits 0.1 to 0.9; 12 pairs of 6 participants); 95 of "
        "100 differences are expected between -1 and 2 per minute."
    )
    assert parameter_words(row | {"loa_lower": NAN}).endswith("participants).")


def test_a_norm_row_says_position_range_and_how_it_is_known():
    row = {"value": 1.35, "unit": "s", "position": "above", "published_low": 0.904, "published_high": 1.296,
           "published_mean": 1.1, "population": "older adults", "source_read": "from memory (80 %)",
           "range_kind": "mean -/+ 1.96 SD"}  # fmt: skip
    assert norm_words(row) == (
        "1.35 s lies above the published range for older adults: 0.904 to 1.3 s (from memory (80 %)); an orientation, "
        "no diagnosis."
    )
    assert "up to 1.3 s (read in the source)" in norm_words(row | {"published_low": NAN, "source_read": "yes"})
    assert "from 0.904 s on (quoted" in norm_words(row | {"published_high": NAN, "source_read": "quoted"})
    assert norm_words(row | {"position": None, "published_low": NAN, "published_high": NAN}) == (
        "1.35 s; published for older adults: 1.1 s on average and no range for a person (from memory (80 %))."
    )


def test_a_cut_off_is_no_range_of_the_people_it_comes_from():
    """Below 10 ml/s: sensitivity 96 %, specificity 69 % (Nathadwarawala KM et al. 1992, doi 10.1136/jnnp.55.9.822)."""
    row = {"value": 10.7, "unit": "ml/s", "position": "within", "published_low": 10.0, "published_high": NAN,
           "published_mean": NAN, "population": "81 neurological patients", "source_read": "yes",
           "range_kind": "published cut-off"}  # fmt: skip
    assert norm_words(row) == (
        "10.7 ml/s; cut-off published from 81 neurological patients: from 10 ml/s on (read in the source); the value "
        "is on the side that the source calls not abnormal; an orientation, no diagnosis."
    )
    assert "on the other side" in norm_words(row | {"position": "below"})


def test_a_change_row_says_whether_its_error_explains_it_and_which_error():
    row = {"session_id": "ses-01", "later_session_id": "ses-02", "change": -4.0, "unit": "percent", "exceeds": True,
           "value": 9.0, "later_value": 5.0,
           "minimal_detectable_change": 2.5, "error_basis": "repeat recordings within a session"}  # fmt: skip
    assert change_words(row) == (
        "From ses-01 to ses-02 9 to 5 %, down by 4 %: more than repeats explain (detectable from 2.5 % on)."
    )
    assert "no more than repeats explain" in change_words(row | {"exceeds": False})
    assert change_words(row | {"error_basis": "sessions of the other people", "error_freedom": 5}).endswith(
        ": more than the other people's sessions differ (95 % limit by the changes of 6 people: 2.5 %); this is no "
        "error of measurement."
    )
    assert "which leaves out day and sensor" in change_words(row | {"error_basis": "spread within the recordings"})
    within = row | {"error_basis": "spread within the recordings", "others_detectable_change": 0.4}
    both = "(detectable from 2.5 % on; by the other people's sessions alone from 0.4 % on)."
    assert change_words(within).endswith(both)
    assert change_words(row | {"exceeds": None}).endswith("nothing was repeated, so its error is not known.")
    assert "9 to 9 %, no change: no more" in change_words(row | {"change": 0.0, "later_value": 9.0, "exceeds": False})
    # the index gets smaller in size, which its sign alone would call up
    assert "ses-02 -37 to -19 %, up by 18 %" in change_words(
        row | {"value": -37.0, "later_value": -19.0, "change": 18.0}
    )


def test_retest_and_group_rows_say_difference_and_limits():
    retest = {"n_participants": 8, "bias": 0.01, "bias_low": -0.01, "bias_high": 0.03, "unit": "s",
    "icc_agreement": 0.9,
              "icc_agreement_low": 0.6, "icc_agreement_high": 0.98, "minimal_detectable_change": 0.05}  # fmt: skip
    assert retest_words(retest) == (
        "In 8 participants the later session differs by 0.01 s on average (95 % limits -0.01 to 0.03); ICC(2,1) 0.9 "
        "(95 % limits 0.6 to 0.98); a single person's change is detectable from 0.05 s on."
    )
    group = {"group": "control", "mean": 1.1, "mean_low": 1.0, "mean_high": 1.2, "n": 6, "unit": "s"}
    assert group_words(group) == "Mean of control 1.1 s (95 % limits 1 to 1.2; 6 participants)."
    both = group | {"other_group": "stroke", "other_mean": 1.3, "other_n": 6, "difference": -0.2, "hedges_g": -1.1}
    assert group_words(both) == (
        "Mean of control 1.1 s (95 % limits 1 to 1.2; 6 participants), of stroke 1.3 s (6 participants): control "
        "lower, difference -0.2 s (no limits), -1.1 pooled SDs (no limits)."
    )
