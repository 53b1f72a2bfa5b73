"""Sensor or gait: what the numbers of one walk allow to say."""

import itertools
import math
from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st
from strainstudy.gait.verdict import (
    CANNOT_TELL,
    NO_ASYMMETRY,
    VERDICT_COLUMNS,
    VERDICTS,
    Measured,
    VerdictParameters,
    WalkEvidence,
    gain_ratio_of_bends,
    ratio_of_symmetry_index,
    sensor_or_gait,
    verdict_words,
)


def about(value: float, half: float = 2.0) -> Measured:
    return Measured(value, value - half, value + half)


SYMMETRIC = {"step_time": about(1.0), "phase": about(-2.0), "peak_timing": about(0.5, 0.5), "shape": about(0.01, 0.005)}


def test_amplitude_alone_without_calibration_never_makes_a_limp_and_names_no_side():
    for index in (-180.0, -60.0, 60.0, 180.0):
        verdict = sensor_or_gait(WalkEvidence(strides=40, amplitude_recorded=about(index), **SYMMETRIC))
        assert verdict.verdict == CANNOT_TELL
        assert verdict.side is None
        assert "cannot be told apart without a bend calibration" in verdict.evidence


def test_gauge_factors_of_the_bench_do_not_stand_in_for_a_bend_calibration():
    evidence = WalkEvidence(
        strides=40,
        amplitude_recorded=about(60.0),
        gain_ratio=Measured(1.86, 1.8, 1.92),
        gain_ratio_source="bench",
        **SYMMETRIC,
    )
    assert sensor_or_gait(evidence).verdict == CANNOT_TELL


def test_amplitude_that_agrees_once_calibrated_was_the_sensor():
    evidence = WalkEvidence(
        strides=40,
        amplitude_recorded=about(66.7),
        amplitude_calibrated=about(1.0),
        gain_ratio=Measured(2.0, 1.9, 2.1),
        gain_ratio_source="bends",
        **SYMMETRIC,
    )
    verdict = sensor_or_gait(evidence)
    assert verdict.verdict == "sensor"
    assert "right/left 2.00 as recorded" in verdict.evidence
    assert "would make it 2.00" in verdict.evidence


def of_ratios(recorded: float, gain: float, calibrated: float, half: float = 2.0) -> WalkEvidence:
    def index(ratio):
        return 200.0 * (ratio - 1.0) / (ratio + 1.0)

    return WalkEvidence(
        strides=40,
        amplitude_recorded=about(index(recorded), half),
        amplitude_calibrated=about(index(calibrated), half),
        gain_ratio=Measured(gain, gain * 0.97, gain * 1.03),
        gain_ratio_source="bends",
        **SYMMETRIC,
    )


@pytest.mark.parametrize(("recorded", "gain", "calibrated"), [(0.81, 0.97, 1.0), (0.81, 1.2, 1.0), (1.5, 1.02, 1.0)])
def test_equal_amplitudes_in_degrees_are_not_the_sensor_where_its_gain_explains_nothing(recorded, gain, calibrated):
    verdict = sensor_or_gait(of_ratios(recorded, gain, calibrated))
    assert verdict.verdict == "not certain"
    assert any(words in verdict.evidence for words in ("not what was recorded", "the gains do not explain"))


@pytest.mark.parametrize(
    ("recorded", "gain", "calibrated", "verdict"),
    [
        (0.84, 0.97, 1.06, "not certain"),  # 1.03, not 0.84
        (0.75, 0.62, 1.0, "not certain"),  # most of it is explained, and yet a fifth is not
        (0.44, 1.29, 0.42, "gait and sensor"),  # 0.54; in degrees and as 0.44 / 1.29 the right moves less by far
        (0.84, 1.10, 1.25, "not certain"),  # in degrees the left moves less, as 0.84 / 1.10 the right
        (1.10, 0.97, 1.13, "no asymmetry found"),  # 1.10
    ],
)
def test_where_gain_times_degrees_is_not_what_was_recorded_amplitude_counts_only_if_it_differs_either_way(
    recorded, gain, calibrated, verdict
):
    found = sensor_or_gait(of_ratios(recorded, gain, calibrated))
    assert found.verdict == verdict
    together = gain * calibrated
    misses = abs(together / recorded - 1) > 0.1
    assert (f"their product is {together:.2f}, not what was recorded" in found.evidence) == misses
    assert (found.side is None) == (verdict in ("not certain", NO_ASYMMETRY))
    assert math.isnan(found.columns["amplitude_settled_from"]) == misses


@pytest.mark.parametrize(("gain", "side"), [(0.7, "right"), (1.5, "left")])
def test_the_verdict_sensor_names_the_one_that_answers_less(gain, side):
    verdict = sensor_or_gait(of_ratios(gain, gain, 1.0))
    assert (verdict.verdict, verdict.side) == ("sensor", side)
    assert f"the {side} sensor answers less per degree" in verdict.evidence


@given(recorded=st.floats(0.2, 5.0), gain=st.floats(0.2, 5.0), calibrated=st.floats(0.2, 5.0), half=st.floats(0.1, 20))
def test_a_sensor_is_blamed_only_where_recorded_gain_and_calibrated_agree(recorded, gain, calibrated, half):
    evidence = of_ratios(recorded, gain, calibrated, half)
    verdict = sensor_or_gait(evidence)
    if verdict.verdict == "sensor":
        limit = VerdictParameters().amplitude_limit_percent
        assert math.log(gain) * math.log(recorded) > 0
        assert abs(200 * (recorded / gain - 1) / (recorded / gain + 1)) <= limit
        left = recorded / (gain * calibrated)
        assert abs(200 * (left - 1) / (left + 1)) <= limit / 2 + 1e-9
        assert abs(evidence.amplitude_calibrated.value) <= limit
        assert (gain < 1) == (verdict.side == "right")


def test_what_would_have_been_found_is_said_and_nothing_smaller_ever_is():
    """Limit 8 %, interval 13 to either side: 21; limit 16 %, interval 2: 18."""
    wide = {**SYMMETRIC, "step_time": about(1.0, 13.0)}
    evidence = WalkEvidence(strides=40, amplitude_recorded=about(0.0), amplitude_calibrated=about(0.0), **wide)
    found = sensor_or_gait(evidence)
    assert found.columns["step_time_settled_from"] == pytest.approx(21.0)
    assert found.columns["amplitude_settled_from"] == pytest.approx(18.0)
    said = "from 21 % of step time or 18 % of the knee's range on"
    assert f"asymmetries {said} would have been found" in found.evidence
    assert verdict_words(found.columns) == f"none found; detectable {said}"
    for index in (20.9, 21.1):
        again = sensor_or_gait(WalkEvidence(strides=40, step_time=about(index, 13.0), amplitude_recorded=about(0.0)))
        assert (again.verdict == "gait") == (index > 21.0)
        assert verdict_words(again.columns) == again.verdict


def test_of_an_uneven_interval_the_longer_arm_says_what_would_have_been_found():
    assert Measured(1.0, -5.0, 3.0).settled_from(8.0) == pytest.approx(14.0)


@pytest.mark.parametrize(
    ("number", "verdict"),
    [
        (Measured(7.9, -5.0, 21.0), NO_ASYMMETRY),
        (Measured(8.1, -5.0, 21.0), "not certain"),
        (Measured(-8.1, -21.0, -7.9), "not certain"),
        (Measured(21.0, 8.1, 34.0), "gait"),
        (Measured(-21.0, -34.0, -8.1), "gait"),
    ],
)
def test_the_rule_is_the_one_that_a_reader_applies_to_value_limits_and_limit(number, verdict):
    """Within the limit of 8: none found. Beyond with the whole interval: found. Beyond and reaching back: neither."""
    found = sensor_or_gait(WalkEvidence(strides=40, amplitude_recorded=about(0.0), step_time=number))
    assert found.verdict == verdict
    assert "a number is beyond its limit but its interval reaches back" in VERDICTS["not certain"]
    assert "every number within its limit" in VERDICTS[NO_ASYMMETRY]
    phrase = {"gait": "with the whole interval", "not certain": "the interval reaches back"}.get(verdict)
    assert phrase is None or phrase in found.evidence


def test_amplitude_that_differs_in_degrees_is_the_gait_on_the_side_that_moves_less():
    for index, side in ((40.0, "left"), (-40.0, "right")):
        evidence = WalkEvidence(
            strides=40, amplitude_recorded=about(index), amplitude_calibrated=about(index), **SYMMETRIC
        )
        verdict = sensor_or_gait(evidence)
        assert (verdict.verdict, verdict.side) == ("gait", side)


def test_equal_recorded_amplitudes_do_not_hide_a_limp_in_timing():
    evidence = WalkEvidence(
        strides=40,
        amplitude_recorded=about(0.0),
        step_time=about(25.0),
        phase=about(20.0),
        peak_timing=about(1.0),
    )
    verdict = sensor_or_gait(evidence)
    assert (verdict.verdict, verdict.side) == ("gait", "right")
    assert "step time 25 %" in verdict.evidence


@pytest.mark.parametrize(
    ("step", "amplitude", "words"),
    [
        (-25.0, 0.0, "asymmetric in time, longer on the left"),
        (25.0, 0.0, "asymmetric in time, longer on the right"),
        (0.0, 40.0, "asymmetric in range, smaller on the left"),
        (25.0, -40.0, "asymmetric in time, longer on the right and in range, smaller on the right"),
        (-25.0, -40.0, "no side named"),
    ],
)
def test_only_a_state_that_is_a_limp_is_called_one(step, amplitude, words):
    evidence = WalkEvidence(strides=40, step_time=about(step), amplitude_calibrated=about(amplitude))
    normal = sensor_or_gait(evidence)
    limping = sensor_or_gait(replace(evidence, limping=True))
    assert (normal.verdict, normal.side) == (limping.verdict, limping.side) == ("gait", normal.side)
    assert words in normal.evidence
    assert "limp" not in normal.evidence
    assert ("limp on the" in limping.evidence) == (normal.side is not None)


def test_a_number_has_the_interval_in_the_evidence_that_it_was_given():
    for step in (25.0, 9.0):
        verdict = sensor_or_gait(WalkEvidence(strides=40, step_time=about(step)))
        assert f"step time {step:.3g} % (95 % {step - 2:.3g} to {step + 2:.3g}; limit 8)" in verdict.evidence
    described = next(column.description for column in VERDICT_COLUMNS if column.name == "verdict_evidence")
    assert "the row's own limits" in described


def test_limp_and_unequal_sensors_are_both_said():
    evidence = WalkEvidence(
        strides=40,
        amplitude_recorded=about(0.0),
        amplitude_calibrated=about(40.0),
        gain_ratio=Measured(0.6, 0.55, 0.65),
        gain_ratio_source="bends",
        **{**SYMMETRIC, "step_time": about(-25.0)},
    )
    verdict = sensor_or_gait(evidence)
    assert (verdict.verdict, verdict.side) == ("gait and sensor", "left")


def test_no_side_is_named_where_amplitude_and_step_time_disagree():
    evidence = WalkEvidence(strides=40, amplitude_calibrated=about(40.0), step_time=about(25.0))
    verdict = sensor_or_gait(evidence)
    assert (verdict.verdict, verdict.side) == ("gait", None)
    assert "no side named" in verdict.evidence


def test_shape_counts_only_when_calibrated_because_a_sensors_curve_bends_it_too():
    bent = {**SYMMETRIC, "shape": about(0.3, 0.05)}
    uncalibrated = WalkEvidence(strides=40, amplitude_recorded=about(0.0), **bent)
    calibrated = WalkEvidence(strides=40, amplitude_recorded=about(0.0), amplitude_calibrated=about(0.0), **bent)
    assert sensor_or_gait(uncalibrated).verdict == NO_ASYMMETRY
    assert sensor_or_gait(calibrated).verdict == "gait"


def test_few_strides_or_one_knee_give_no_verdict():
    assert sensor_or_gait(WalkEvidence(strides=3, step_time=about(30.0))).verdict == "not enough data"
    assert sensor_or_gait(WalkEvidence(strides=50)).verdict == "not enough data"


def test_a_flagged_sensor_is_named_in_the_evidence():
    evidence = WalkEvidence(strides=40, amplitude_recorded=about(0.0), flagged_sensors=("S03",), **SYMMETRIC)
    assert "sensor S03 is outside its control limits" in sensor_or_gait(evidence).evidence


@given(
    gain=st.floats(0.2, 5.0),
    recorded=st.floats(-190, 190),
    half=st.floats(0.1, 30),
    step=st.floats(-5, 5),
)
def test_without_calibration_no_gain_turns_a_symmetric_walk_into_a_limp(gain, recorded, half, step):
    evidence = WalkEvidence(
        strides=30,
        amplitude_recorded=about(recorded, half),
        gain_ratio=Measured(gain, gain * 0.9, gain * 1.1),
        gain_ratio_source="bench",
        step_time=about(step),
        phase=about(step),
        peak_timing=about(0.0, 1.0),
    )
    verdict = sensor_or_gait(evidence)
    assert verdict.verdict in (CANNOT_TELL, NO_ASYMMETRY)
    assert verdict.side is None


@given(index=st.floats(-180, 180))
def test_mirroring_the_walk_mirrors_the_side_and_nothing_else(index):
    def verdict(sign: float):
        return sensor_or_gait(
            WalkEvidence(
                strides=30,
                amplitude_recorded=about(sign * index),
                amplitude_calibrated=about(sign * index),
                step_time=about(-sign * index / 3),
            )
        )

    one, other = verdict(1.0), verdict(-1.0)
    assert one.verdict == other.verdict
    assert {"left": "right", "right": "left", None: None}[one.side] == other.side


@pytest.mark.parametrize(
    ("ratio", "index"), [(1.1, 9.524), (1.2, 18.182), (2.0, 66.667), (0.39 / 0.25, 43.75), (0.59 / 0.40, 38.38)]
)
def test_ratio_and_symmetry_index_agree(ratio, index):
    """Robinson RO, Herzog W, Nigg BM 1987, J Manipulative Physiol Ther 10:172-176 (SI formula).

    The last two: step lengths of subjects 1 and 2, Int J Phys Med Rehabil 2:201, Table 1.
    """
    assert ratio_of_symmetry_index(index) == pytest.approx(ratio, rel=2e-4)


def test_gain_ratio_of_bends_has_a_relative_interval():
    """First-order propagation for a quotient: relative variances add (JCGM 100:2008, 5.1.6)."""
    ratio = gain_ratio_of_bends((0.02, 0.001), (0.01, 0.0005))
    spread = 1.96 * math.hypot(0.05, 0.05)
    assert ratio.value == pytest.approx(2.0)
    assert math.log(ratio.high / ratio.value) == pytest.approx(spread)
    assert not gain_ratio_of_bends((0.02, 0.001), (-0.01, 0.0005)).known


def test_columns_are_those_described_for_every_kind_of_walk():
    names = {column.name for column in VERDICT_COLUMNS}
    numbers = [Measured(), about(0.0), about(50.0), about(10.0, 20.0)]
    for raw, calibrated, step in itertools.product(numbers, repeat=3):
        verdict = sensor_or_gait(
            WalkEvidence(strides=30, amplitude_recorded=raw, amplitude_calibrated=calibrated, step_time=step)
        )
        assert set(verdict.columns) == names
        assert verdict.verdict in VERDICTS
        assert verdict.evidence.endswith(".")


def test_the_error_of_reading_steps_from_knees_widens_the_interval_in_quadrature():
    widened = Measured(10.0, 7.0, 13.0).widened(4.0 / 1.96)
    assert widened.numbers == pytest.approx((10.0, 5.0, 15.0))


def test_a_step_time_difference_within_the_error_of_knees_makes_no_limp():
    """Index 11.5 % found where labels had 0.3 %: the spread over strides alone does not hold such errors."""
    narrow = Measured(11.5, 9.5, 13.5)
    for step, verdict in ((narrow, "gait"), (narrow.widened(6.6), "not certain")):
        evidence = WalkEvidence(
            strides=40,
            amplitude_recorded=Measured(2.0, 0.0, 4.0),
            amplitude_calibrated=Measured(1.0, -1.0, 3.0),
            step_time=step,
        )
        assert sensor_or_gait(evidence).verdict == verdict
