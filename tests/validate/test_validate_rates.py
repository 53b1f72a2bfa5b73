"""Precision, recall, F1 and timing of tallies made by hand."""

import numpy as np
import pytest
from statsmodels.stats.proportion import proportion_confint
from strainstudy.stats.agreement import bland_altman, bland_altman_repeated
from strainstudy.validate.parameters import ValidateParameters
from strainstudy.validate.rates import rates, timing_columns
from strainstudy.validate.scoring import Criterion, Tally

PARAMETERS = ValidateParameters()
INSTANT, CENTRE = Criterion("time", 0.1), Criterion("centre", 0.5)


def tally(person, hit, false, missed, *, criterion=INSTANT, recording="r", timing=(), duration=()):
    return Tally(
        recording, person, "swallow", "all", criterion, hit, false, missed, np.array(timing), np.array(duration)
    )


def test_counts_are_sums_and_limits_of_one_recording_are_those_of_wilson():
    """Statsmodels is the reference; F1 = 2 J / (1 + J) with J = 8 of 13 different events."""
    row = rates([tally("p", 8, 2, 3)], PARAMETERS, pooled=False)
    assert (row["true_positive"], row["false_positive"], row["false_negative"]) == (8, 2, 3)
    assert (row["n_labelled"], row["n_detected"], row["n_participants"], row["n_recordings"]) == (11, 10, 1, 1)
    for name, hit, n in (("precision", 8, 10), ("recall", 8, 11)):
        assert row[name] == pytest.approx(hit / n)
        limits = proportion_confint(hit, n, method="wilson")
        assert (row[f"{name}_low"], row[f"{name}_high"]) == pytest.approx(limits)
    assert row["f1"] == pytest.approx(16 / 21)
    low, high = proportion_confint(8, 13, method="wilson")
    assert (row["f1_low"], row["f1_high"]) == pytest.approx((2 * low / (1 + low), 2 * high / (1 + high)))


def test_recordings_of_one_person_are_summed_before_people_are_drawn():
    whole = [tally("a", 8, 2, 3), tally("b", 5, 1, 1), tally("c", 9, 4, 0)]
    halves = [tally("a", 3, 2, 1), tally("a", 5, 0, 2, recording="s"), *whole[1:]]
    one, two = (rates(tallies, PARAMETERS, pooled=True) for tallies in (whole, halves))
    assert two.pop("n_recordings") == one.pop("n_recordings") + 1
    assert one == two
    assert one["precision_low"] < one["precision"] < one["precision_high"]
    assert one["interval_method"].startswith("bootstrap over participants")


@pytest.mark.parametrize(("people", "said"), [("ab", True), ("abc", False)])
def test_two_people_say_nothing_of_people(people, said):
    row = rates([tally(person, 8 + k, k, 1) for k, person in enumerate(people)], PARAMETERS, pooled=True)
    assert np.isnan(row["f1_low"]) == said
    assert ("fewer than 3 participants" in row["interval_method"]) == said


def test_where_nobody_differs_the_limits_are_those_of_the_pooled_counts():
    row = rates([tally(person, 4, 0, k) for k, person in enumerate("abc")], PARAMETERS, pooled=True)
    assert (row["precision"], row["precision_high"]) == (1.0, 1.0)
    assert row["precision_low"] == pytest.approx(proportion_confint(12, 12, method="wilson")[0])
    parts = row["interval_method"].split("; ")
    assert parts[0] == "precision: Wilson, as no participant differs"
    assert [part.partition(":")[0] for part in parts] == ["precision", "recall", "f1"]
    nothing = rates([tally(person, 0, 2, 2) for person in "abc"], PARAMETERS, pooled=True)
    assert (nothing["f1"], nothing["f1_low"]) == (0.0, 0.0)
    assert nothing["f1_high"] > 0
    assert nothing["interval_method"] == "Wilson, as no participant differs"


def test_nobody_detected_leaves_precision_without_a_value():
    row = rates([tally(person, 0, 0, 2) for person in "abc"], PARAMETERS, pooled=True)
    assert np.isnan([row["precision"], row["precision_low"]]).all()
    assert row["recall"] == 0.0


def test_timing_of_one_recording_and_of_several_people_has_its_own_limits_of_agreement():
    timing = {"a": [0.01, 0.03, -0.02], "b": [0.05, 0.02], "c": [0.0, 0.04, 0.01, 0.02]}
    tallies = [tally(person, len(own), 0, 0, timing=own) for person, own in timing.items()]
    whole, people = np.concatenate(list(timing.values())), np.repeat(list(timing), [3, 2, 4])
    pooled = timing_columns(tallies, PARAMETERS, pooled=True)
    single = timing_columns([tally("a", 9, 0, 0, timing=whole)], PARAMETERS, pooled=False)
    zero = np.zeros(9)
    of_people = bland_altman_repeated(whole, zero, people, multiplier=PARAMETERS.limits_multiplier)
    of_one = bland_altman(whole, zero, multiplier=PARAMETERS.limits_multiplier)
    assert (pooled["loa_lower"], pooled["loa_upper"]) == (of_people.low, of_people.high)
    assert (single["loa_lower"], single["loa_upper"]) == (of_one.low, of_one.high)
    assert pooled["loa_upper"] != single["loa_upper"]
    assert pooled["median"] == single["median"] == 0.02
    # an instant has no duration
    assert np.isnan(single["duration_bias"])


def test_an_interval_has_a_bias_of_its_duration_and_from_two_on_its_spread():
    two = timing_columns(
        [tally("a", 2, 0, 0, criterion=CENTRE, timing=[0.0, 0.1], duration=[0.1, 0.3])], PARAMETERS, pooled=False
    )
    assert (two["duration_bias"], two["duration_sd"]) == (pytest.approx(0.2), pytest.approx(np.sqrt(0.02)))
    one = timing_columns(
        [tally("a", 1, 0, 0, criterion=CENTRE, timing=[0.1], duration=[0.1])], PARAMETERS, pooled=False
    )
    assert one["duration_bias"] == 0.1
    assert np.isnan(one["duration_sd"])
    none = timing_columns([tally("a", 0, 1, 1, criterion=CENTRE)], PARAMETERS, pooled=False)
    assert np.isnan([none["duration_bias"], none["median"], none["bias"]]).all()
