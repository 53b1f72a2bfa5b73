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
    assert "the gains do not explain what was recorded" in verdict.evidence


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
        assert abs(evidence.amplitude_calibrated.value) <= limit
        assert (gain < 1) == (verdict.side == "right")


def test_what_could_have_been_settled_is_said_and_nothing_smaller_ever_is():
    """Limit 8 %, SD of the method 6.6 %, two percent of the strides: 8 + sqrt((1.96 x 6.6)^2 + 2^2) = 21.1."""
    evidence = WalkEvidence(strides=40, amplitude_recorded=about(0.0), amplitude_calibrated=about(0.0), **SYMMETRIC)
    found = sensor_or_gait(evidence)
    assert found.columns["step_time_settled_from"] == pytest.approx(21.09, abs=0.01)
    assert found.columns["amplitude_settled_from"] == pytest.approx(18.0)
    assert "an asymmetry is settled from step time 21 % or amplitude 18 % on" in found.evidence
    for index in (21.0, 21.2):
        again = sensor_or_gait(WalkEvidence(strides=40, step_time=about(index), amplitude_recorded=about(0.0)))
        assert (again.verdict == "gait") == (index > 21.09)


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


@pytest.mark.parametrize(("step", "words"), [(25.0, "beyond any gain over"), (10.0, "not settled by")])
def test_the_intervals_of_the_evidence_say_that_they_are_of_these_strides(step, words):
    """The row of ``tables/gait.tsv`` has limits of the person's usual value under the same name."""
    verdict = sensor_or_gait(WalkEvidence(strides=40, step_time=about(step)))
    half = math.hypot(2.0, 1.96 * VerdictParameters().step_time_error_percent)
    said = f"{words} these strides: step time {step:.3g} % ({step - half:.3g} to {step + half:.3g}; limit 8)"
    assert said in verdict.evidence.lower()
    described = next(column.description for column in VERDICT_COLUMNS if column.name == "verdict_evidence")
    assert "over these strides" in described


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


def test_an_interval_across_its_limit_is_not_certain():
    evidence = WalkEvidence(strides=10, amplitude_recorded=about(2.0), **{**SYMMETRIC, "step_time": about(10.0, 6.0)})
    assert sensor_or_gait(evidence).verdict == "not certain"


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
    evidence = WalkEvidence(
        strides=40,
        amplitude_recorded=Measured(2.0, 0.0, 4.0),
        amplitude_calibrated=Measured(1.0, -1.0, 3.0),
        step_time=Measured(11.5, 9.5, 13.5),
        phase=Measured(8.0, 7.0, 9.0),
    )
    assert sensor_or_gait(evidence).verdict == "not certain"
    certain = VerdictParameters(step_time_error_percent=0.0, phase_error_deg=0.0)
    assert sensor_or_gait(evidence, certain).verdict == "gait"
