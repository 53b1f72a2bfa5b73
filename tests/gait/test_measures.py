"""Gait measures of strides whose answers are known."""

import numpy as np
import pandas as pd
import pytest
from gait_data import SIDES, plain_walk
from strainstudy.gait import measures
from strainstudy.gait.curves import stride_curves
from strainstudy.gait.measures import summarise_walk
from strainstudy.gait.parameters import GaitParameters
from strainstudy.gait.strides import STRIDE_COLUMNS
from strainstudy.gait.walk import detect_walk
from strainstudy.tables.gait import GAIT
from strainstudy_simulator.gaits import Gait, Leg

P = GaitParameters(bootstrap_resamples=400)


def strides_of(times: np.ndarray, *, phase: float = 180.0, right_amplitude: float = 1.0) -> pd.DataFrame:
    """Steady strides of both sides, the right foot striking at a constant phase."""
    onset = np.concatenate([[0.0], np.cumsum(times)])[:-1]
    rows = []
    for side, gain in (("left", 1.0), ("right", right_amplitude)):
        own_phase = phase if side == "left" else 360.0 - phase
        late = onset + (phase / 360.0 * times if side == "right" else 0.0)
        rows.append(
            pd.DataFrame(
                {
                    "side": side,
                    "onset": late,
                    "stride_time": times,
                    "step_time": times * (1.0 - own_phase / 360.0),
                    "swing_peak": 60.0 * gain,
                    "range_of_motion": 55.0 * gain,
                    "phase": own_phase,
                    "steady": True,
                    "score": 1.0,
                    "walk": 0,
                    "toe_off": late + 0.62 * times,
                    "stance_time": 0.62 * times,
                    "swing_time": 0.38 * times,
                    "stance_fraction": 0.62,
                    "swing_peak_time": late + 0.72 * times,
                    "amplitude": 54.0 * gain,
                    "response_range": 55.0 * gain,
                }
            )
        )
    return pd.concat(rows, ignore_index=True)[list(STRIDE_COLUMNS)]


def test_published_controls_give_the_published_cadence_and_variability():
    """Stride time 1.08 s, CV 1.94 % (Frenkel-Toledo et al. 2005, J NeuroEng Rehabil 2:23): cadence 111.1 per minute."""
    z = np.random.default_rng(1).standard_normal(60)
    times = 1.08 * (1 + 0.0194 * (z - z.mean()) / z.std(ddof=1))
    found = summarise_walk(strides_of(times), P)
    assert found["cadence"] == pytest.approx(111.1, abs=0.05)
    assert found["stride_time_cv"] == pytest.approx(1.94, abs=0.005)
    assert found["stride_time_cv_low"] < 1.94 < found["stride_time_cv_high"]
    assert found["warning"] is None


def test_constant_phase_of_190_degrees_has_index_5_556_whichever_leg_is_the_reference():
    """Plotnik et al. 2007, Exp Brain Res 181:561: variability 0, deviation 100 * 10 / 180."""
    found = summarise_walk(strides_of(np.full(30, 1.1), phase=190.0), P)
    assert found["coordination_index"] == pytest.approx(5.5556, abs=1e-4)
    assert found["phase_deviation"] == pytest.approx(10.0)


def test_asymmetry_of_amplitude_is_that_of_the_formula():
    """Right 1.2 times the left: index 18.182 %, log ratio 18.232, angle 5.772 % (formulas, worked by hand)."""
    found = summarise_walk(strides_of(np.full(30, 1.1), right_amplitude=1.2), P)
    assert found["amplitude_symmetry_index"] == pytest.approx(18.182, abs=5e-4)
    assert found["amplitude_log_ratio"] == pytest.approx(18.232, abs=5e-4)
    assert found["amplitude_symmetry_angle"] == pytest.approx(5.772, abs=5e-4)
    assert found["amplitude_symmetry_ratio"] == pytest.approx(1.2)
    assert found["step_time_symmetry_index"] == pytest.approx(0.0, abs=1e-9)


def test_late_right_foot_makes_the_right_step_the_longer():
    """Phase 216 degrees: right step 0.6 of the stride, left 0.4; index (0.6 - 0.4) / 0.5 = 40 %."""
    found = summarise_walk(strides_of(np.full(30, 1.1), phase=216.0), P)
    assert found["step_time_symmetry_index"] == pytest.approx(40.0)
    assert found["step_time_mean_right"] == pytest.approx(0.66)


def test_fewer_than_twenty_strides_carry_a_warning():
    """PMC6348278: variability is consistent after at most 20 strides."""
    assert "fewer than 20" in str(summarise_walk(strides_of(np.full(19, 1.1)), P)["warning"])
    assert summarise_walk(strides_of(np.full(20, 1.1)), P)["warning"] is None


def test_strides_that_are_not_steady_are_left_out():
    strides = strides_of(np.full(30, 1.1))
    strides.loc[strides["onset"] > 20.0, ["stride_time", "steady"]] = [9.9, False]
    found = summarise_walk(strides, P)
    assert found["stride_time_mean"] == pytest.approx(1.1)
    assert found["n_strides"] == int(strides["steady"].sum())


def test_interval_of_the_mean_covers_the_truth_as_often_as_it_says():
    """95 % limits over 60 simulated walks of 40 strides: the truth lies inside in 88 to 100 % of them (ours)."""
    inside = 0
    for seed in range(60):
        times = 1.1 * (1 + 0.03 * np.random.default_rng(seed).standard_normal(40))
        strides = strides_of(times)
        found = summarise_walk(strides[strides["side"] == "left"], P, key=str(seed))
        inside += found["stride_time_mean_low"] <= 1.1 <= found["stride_time_mean_high"]
    assert 0.88 <= inside / 60 <= 1.0


def test_pairing_the_sides_keeps_the_interval_as_wide_as_that_of_one_side():
    """Left and right strides of the same steps are no independent evidence."""
    times = 1.1 * (1 + 0.03 * np.random.default_rng(4).standard_normal(60))
    both = strides_of(times)
    found = [summarise_walk(rows, P) for rows in (both, both[both["side"] == "left"])]
    widths = [one["stride_time_mean_high"] - one["stride_time_mean_low"] for one in found]
    assert widths[0] == pytest.approx(widths[1], rel=0.15)


def test_same_key_gives_the_same_row_and_another_key_other_limits():
    strides = strides_of(1.1 + 0.03 * np.random.default_rng(4).standard_normal(30))
    assert str(summarise_walk(strides, P, key="a")) == str(summarise_walk(strides, P, key="a"))
    one, other = (summarise_walk(strides, P, key=key)["cadence_low"] for key in "ab")
    assert one != other


def test_every_column_of_the_table_is_given_even_without_strides():
    empty = strides_of(np.full(3, 1.1)).iloc[:0]
    for strides in (empty, strides_of(np.full(5, 1.1))):
        assert set(summarise_walk(strides, P)) | {"recording_id", "trial_type"} == set(GAIT.names)
    assert np.isnan(summarise_walk(empty, P)["cadence"])


def test_waveforms_of_equal_legs_are_alike_and_of_a_stiff_leg_less():
    likeness = []
    for right in (Leg(), Leg(swing_peak_deg=18.0, loading_deg=14.0, peak_fraction=0.66)):
        recorded = plain_walk(Gait(right=right))
        walk = detect_walk(recorded.knees, recorded.fs, P)
        found = summarise_walk(walk.strides, P, knees=recorded.knees, fs=recorded.fs)
        likeness.append(found["waveform_likeness"])
        assert found["waveform_likeness_low"] <= found["waveform_likeness"] <= found["waveform_likeness_high"]
        assert found["stride_regularity_left"] > 0.9
    assert likeness[0] > 0.98
    assert likeness[1] < likeness[0] - 0.05


def test_regularity_falls_with_the_variability_of_the_strides():
    values = []
    for cv in (0.01, 0.06):
        recorded = plain_walk(Gait(stride_time_cv=cv))
        walk = detect_walk(recorded.knees, recorded.fs, P)
        found = summarise_walk(walk.strides, P, knees=recorded.knees, fs=recorded.fs)
        values.append(found["stride_regularity_right"])
    assert values[0] > values[1] + 0.02


def test_stride_curves_run_from_contact_to_contact():
    fs = 50.0
    knee = np.sin(2 * np.pi * np.arange(500) / fs)
    strides = pd.DataFrame({"onset": [1.0, 2.25], "stride_time": [1.0, 0.5]})
    curves = stride_curves(knee, strides, fs, points=5)
    assert curves == pytest.approx(np.array([[0, 1, 0, -1, 0], [1, np.sqrt(0.5), 0, -np.sqrt(0.5), -1]]), abs=0.01)
    assert np.isnan(stride_curves(knee, strides.assign(onset=[1.0, 9.8]), fs)[1]).any()


@pytest.mark.parametrize("side", SIDES)
def test_one_knee_gives_its_own_measures_and_no_asymmetry(side):
    strides = strides_of(np.full(30, 1.1))
    found = summarise_walk(strides[strides["side"] == side].assign(step_time=np.nan, phase=np.nan), P)
    assert found["cadence"] == pytest.approx(120 / 1.1)
    assert np.isnan(found["step_time_symmetry_index"])
    assert np.isnan(found["coordination_index"])


def test_a_log_ratio_has_the_sign_of_the_symmetry_index_and_limits_around_it():
    rng = np.random.default_rng(11)
    for _ in range(20):
        strides = strides_of(1.1 * (1 + 0.03 * rng.standard_normal(40)))
        for name in ("step_time", "swing_time", "stance_time"):
            strides[name] *= 1 + 0.03 * rng.standard_normal(len(strides))
        found = summarise_walk(strides, P)
        for name in ("step_time", "swing_time", "stance_time"):
            value, low, high = (found[f"{name}_log_ratio{part}"] for part in ("", "_low", "_high"))
            assert low <= value <= high
            assert value == pytest.approx(100 * np.log(found[f"{name}_symmetry_ratio"]))
            assert np.sign(value) == np.sign(found[f"{name}_symmetry_index"])


def made_of_sines(strides, left, right, fs=100.0):
    """Curves of both knees from one function of the cycle each."""
    curves = {}
    for side, wave in (("left", left), ("right", right)):
        own = strides[strides["side"] == side]
        edges = np.append(own["onset"], own["onset"].iloc[-1] + own["stride_time"].iloc[-1])
        cycle = np.interp(np.arange(round((edges[-1] + 2) * fs)) / fs, edges, np.arange(edges.size))
        curves[side] = wave(2 * np.pi * cycle)
    return curves


def test_likeness_of_the_knees_is_the_correlation_of_their_mean_curves():
    """cos(a) against cos(a - d) correlates with cos(d); the opposite curve with -1; scale and level do not matter."""
    strides = strides_of(np.full(30, 1.0))
    for lag, size in ((0.0, 3.0), (0.5, 3.0), (np.pi, 3.0), (0.5, 1e-3)):
        curves = made_of_sines(strides, np.cos, lambda x, d=lag, s=size: 7.0 + s * np.cos(x - d))
        found = summarise_walk(strides, P, knees=curves, fs=100.0)
        assert found["waveform_likeness"] == pytest.approx(np.cos(lag), abs=0.01)


def test_every_stride_of_a_pure_rhythm_repeats_itself_and_a_still_knee_has_no_regularity():
    strides = strides_of(np.full(30, 1.0))
    curves = made_of_sines(strides, np.cos, lambda x: 0.0 * x + 4.0)
    found = summarise_walk(strides, P, knees=curves, fs=100.0)
    assert found["stride_regularity_left"] == pytest.approx(1.0, abs=1e-6)
    assert np.isnan(found["stride_regularity_right"])
    assert np.isnan(found["waveform_likeness"])


def test_strides_that_turn_upside_down_every_time_have_a_regularity_of_minus_one():
    strides = strides_of(np.full(30, 1.0))
    curves = made_of_sines(strides, lambda x: np.cos(0.5 * x), np.cos)
    found = summarise_walk(strides, P, knees=curves, fs=100.0)
    # a wave of two strides, moved by one: its negative
    assert found["stride_regularity_left"] == pytest.approx(-1.0, abs=0.08)


def test_the_likeness_of_a_resample_does_not_depend_on_how_many_are_worked_on_at_once():
    sums = np.random.default_rng(0).normal(5.0, 1.0, (250, 2 * (1 + measures.CURVE_POINTS)))
    alone = np.concatenate([measures._likeness(sums[i : i + 1]) for i in range(len(sums))])
    assert measures._likeness(sums).tobytes() == alone.tobytes()
