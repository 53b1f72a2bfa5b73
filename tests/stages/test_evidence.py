import numpy as np
import pandas as pd
import pytest
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
        values |= {name: value, f"{name}_low": value - 1, f"{name}_high": value + 1}
    return values


def strides(left, right):
    sides = ["left"] * left + ["right"] * right
    return pd.DataFrame({"side": sides, "steady": [True] * len(sides)})


def test_phase_and_likeness_become_distances_with_their_limits_in_order():
    evidence = walk_evidence(row(phase_mean=190.0, waveform_likeness=0.9), strides(3, 5), {}, ())
    assert evidence.phase.numbers == (10.0, 9.0, 11.0)
    assert evidence.shape.numbers == pytest.approx((0.1, -0.9, 1.1))
    assert evidence.strides == 3
    assert evidence.gain_ratio_source == "none"


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
