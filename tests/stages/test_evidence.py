import math

import numpy as np
import pandas as pd
import pytest
from strainstudy.calibrate.anglefit import fit_angle_map
from strainstudy.calibrate.holds import HOLD_COLUMNS
from strainstudy.calibrate.parameters import CalibrateParameters
from strainstudy.gait.verdict import VerdictParameters
from strainstudy.stages import measure
from strainstudy.stages.measure import state_of
from strainstudy.stages.walk_evidence import walk_evidence

NAMES = [
    "waveform_likeness",
    "phase_mean",
    "response_range_symmetry_index",
    "range_of_motion_symmetry_index",
    "step_time_symmetry_index",
    "swing_peak_timing_difference",
]


def row(**changes):
    values = {}
    for name in NAMES:
        value = changes.get(name, np.nan)
        values |= {name: value, f"{name}_low": value - 1, f"{name}_high": value + 1, f"{name}_error": 0.5}
    return values


def bent(law, loop=0.0):
    """Map of a sensor with a law and a loop, from holds that know both."""
    rows = [
        (angle, law(angle) - loop / 2 * (branch + 1), branch)
        for _ in range(4)
        for angle, branch in ((0, -1), (45, 1), (90, 1), (45, -1))
    ]
    holds = pd.DataFrame(rows, columns=["angle", "level", "branch"], dtype=float)
    holds = holds.assign(
        onset=np.arange(len(rows)) * 8.0, duration=5.0, absolute=holds["level"], creep=0.0, labelled=True,
        direction=np.where(holds["branch"] > 0, "flexing", "extending"),
    )  # fmt: skip
    return fit_angle_map(holds[list(HOLD_COLUMNS)], CalibrateParameters(response_time_s=0.0))


def walking(peak=60.0, extent=60.0):
    """Amounts in degrees of a walk of two like knees."""
    means = {"swing_peak": peak, "range_of_motion": extent}
    return row() | {f"{name}_mean_{side}": value for name, value in means.items() for side in ("left", "right")}


def strides(left, right):
    sides = ["left"] * left + ["right"] * right
    return pd.DataFrame({"side": sides, "steady": [True] * len(sides)})


def test_phase_and_likeness_become_distances_with_their_limits_in_order():
    evidence = walk_evidence(row(phase_mean=190.0, waveform_likeness=0.9), strides(3, 5), {}, ())
    assert evidence.phase.numbers == (10.0, 9.0, 11.0)
    assert evidence.shape.numbers == pytest.approx((0.1, -0.9, 1.1))
    assert evidence.strides == 3
    assert evidence.gain_ratio_source == "none"


def test_an_interval_is_the_row_s_own_and_only_a_row_without_an_error_gets_that_of_the_settings():
    own = row(step_time_symmetry_index=12.0, phase_mean=190.0)
    bare = {name: value for name, value in own.items() if not name.endswith("_error")}
    assert walk_evidence(own, strides(9, 9), {}, ()).step_time.numbers == (12.0, 11.0, 13.0)
    found = walk_evidence(bare, strides(9, 9), {}, ())
    settings = VerdictParameters()
    assert found.step_time.high - 12.0 == pytest.approx(math.hypot(1.0, 1.96 * settings.step_time_error_percent))
    assert found.phase.high - 10.0 == pytest.approx(math.hypot(1.0, 1.96 * settings.phase_error_deg))
    none = VerdictParameters(step_time_error_percent=0.0)
    assert walk_evidence(bare, strides(9, 9), {}, (), parameters=none).step_time.high == pytest.approx(13.0)


def test_a_curve_explains_what_two_sensors_answer_to_the_movement_that_was_walked():
    """Over 0 to 90 degrees the two answer alike; over 0 to 45 the right one half as much."""
    maps = {"left": bent(lambda a: 0.01 * a), "right": bent(lambda a: 0.005 * a + 0.01 * max(a - 45, 0))}
    over = {peak: walk_evidence(walking(peak, peak), strides(9, 9), maps, ()).gain_ratio.value for peak in (45.0, 90.0)}
    assert over[90.0] == pytest.approx(1.0, abs=0.01)
    assert over[45.0] == pytest.approx(0.5, abs=0.01)


def test_a_loop_on_one_side_explains_that_it_answers_less():
    """A loop of 0.09 swallows 0.09 of the 0.6 that 60 degrees make (play operator)."""
    maps = {"left": bent(lambda a: 0.01 * a), "right": bent(lambda a: 0.01 * a, loop=0.09)}
    found = walk_evidence(walking(), strides(9, 9), maps, ()).gain_ratio
    assert found.value == pytest.approx((0.6 - 0.09) / 0.6, abs=0.01)


def test_beyond_the_calibrated_range_the_gain_is_that_within_it_and_without_angles_the_mean_slope():
    maps = {"left": bent(lambda a: 0.01 * a), "right": bent(lambda a: 0.02 * a)}
    for numbers in (walking(120.0, 110.0), walking(200.0, 10.0), row()):
        assert walk_evidence(numbers, strides(9, 9), maps, ()).gain_ratio.value == pytest.approx(2.0, abs=0.01)


def test_without_angles_the_calibrated_amplitude_is_unknown():
    evidence = walk_evidence(row(response_range_symmetry_index=40.0), strides(9, 9), {}, ("s-1",))
    assert evidence.amplitude_recorded.known
    assert not evidence.amplitude_calibrated.known
    assert evidence.flagged_sensors == ("s-1",)


@pytest.mark.parametrize("limping", [False, True])
def test_the_evidence_knows_whether_its_state_is_a_limp(limping):
    assert walk_evidence(row(), strides(9, 9), {}, (), limping=limping).limping is limping


def test_a_stride_belongs_to_the_bout_that_holds_its_middle():
    bouts = pd.DataFrame(
        {
            "recording_id": ["a", "a", "b"],
            "onset": [0.0, 5.0, 0.0],
            "duration": [5.0, 5.0, 20.0],
            "trial_type": ["normal_gait", "limping_gait", "rest"],
        }
    )
    steps = pd.DataFrame(
        {"recording_id": ["a", "a", "a", "c"], "onset": [1.0, 4.4, 11.0, 1.0], "stride_time": [1.0, 1.4, 1.0, 1.0]}
    )
    assert state_of(steps, bouts).tolist() == ["normal_gait", "limping_gait", None, None]
    made_by = bouts.assign(prediction=["rule", "rule", "out_of_fold"])
    assert state_of(steps, made_by, "prediction").tolist() == ["rule", "rule", None, None]


def test_a_column_of_events_that_nobody_fills_is_refused():
    bends = pd.DataFrame({"recording_id": ["a"], "onset": [1.0], "duration": [2.0], "side": ["left"], "angle": [60.0]})
    nothing = pd.DataFrame()
    assert measure._event_rows(nothing, bends.assign(score=1.0), nothing)["value"].tolist() == [60.0]
    with pytest.raises(KeyError, match="score"):
        measure._event_rows(nothing, bends, nothing)
