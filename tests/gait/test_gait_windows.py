import subprocess
import sys
from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
from strainstudy.gait.feature_specs import feature_table
from strainstudy.gait.measures import summarise_walk
from strainstudy.gait.parameters import GaitParameters
from strainstudy.gait.strides import STRIDE_COLUMNS
from strainstudy.gait.window_parameters import FeatureParameters
from strainstudy.gait.windows import GAIT_FEATURES, gait_features

NAMES = [s.name for s in GAIT_FEATURES]
BOTH = [s.name for s in GAIT_FEATURES if s.knees == "both"]
AMPLITUDE = [s.name for s in GAIT_FEATURES if s.group == "amplitude"]
ODD = [s.name for s in GAIT_FEATURES if s.mirror == "odd"]


def test_even_stepping_has_no_asymmetry_and_no_coordination_index(make_walk):
    """Phase 180 degrees at every step: index 0 by its definition, Plotnik et al. 2007, Exp Brain Res 181:561-570."""
    walk, knees = make_walk()
    row = gait_features(walk, knees, 100.0).iloc[3]
    assert row["phase_coordination_index"] == pytest.approx(0.0, abs=1e-9)
    for name in ODD:
        if name not in AMPLITUDE:
            assert row[name] == pytest.approx(0.0, abs=0.2), name


def test_phase_of_190_degrees_gives_the_index_of_its_formula(make_walk):
    """CV 0, mean distance 10 of 180 degrees: 5.556 % (formula of Plotnik et al. 2007).

    The right foot's strides have phase 170 degrees; the index is the same from either side.
    """
    walk, knees = make_walk(phase_deg=190.0)
    assert gait_features(walk, knees, 100.0)["phase_coordination_index"].to_numpy() == pytest.approx(100 * 10 / 180)


def test_log_ratios_are_those_of_the_formula(make_walk):
    """100 ln 1.1 = 9.531 % (Plotnik et al. 2005, Ann Neurol 57:656-663): steps of 0.55 / 0.5 of a stride's parts."""
    walk, knees = make_walk(phase_deg=360 * 1.1 / 2.1, stance=(0.56, 0.60))
    windows = gait_features(walk, knees, 100.0)
    assert windows["step_time_log_ratio"].to_numpy() == pytest.approx(9.531, abs=1e-3)
    assert windows["swing_time_log_ratio"].to_numpy() == pytest.approx(-9.531, abs=1e-3)


def test_a_name_that_gait_table_and_features_share_has_one_sign(make_walk):
    """Both right minus left: the right knee swings later and for longer, and steps later, than the left one."""
    walk, knees = make_walk(phase_deg=200.0, stance=(0.66, 0.56))
    late = np.interp(np.arange(len(knees["right"])) - 3.0, np.arange(len(knees["right"])), knees["right"])
    strides = walk.strides.assign(
        swing_time=walk.strides["stride_time"] * (1 - walk.strides["stance_fraction"]),
        stance_time=walk.strides["stride_time"] * walk.strides["stance_fraction"],
        range_of_motion=np.where(walk.strides["side"] == "right", 50.0, 60.0),
        swing_peak_time=walk.strides["onset"]
        + walk.strides["stride_time"] * np.where(walk.strides["side"] == "right", 0.75, 0.72),
    ).reindex(columns=list(STRIDE_COLUMNS))
    table = summarise_walk(strides, GaitParameters(bootstrap_resamples=200))
    windows = gait_features(walk, knees | {"right": late}, 100.0, angles={"left": knees["left"], "right": 0.8 * late})
    shared = [name for name in NAMES if name in table and name in ODD]
    assert set(shared) == {
        "step_time_log_ratio", "swing_time_log_ratio", "range_of_motion_log_ratio", "swing_peak_timing_difference",
    }  # fmt: skip
    for name in shared:
        assert np.sign(windows[name].median()) == np.sign(table[name]) != 0, name


def test_unequal_gains_change_nothing_but_the_response_ratio(make_walk):
    walk, knees = make_walk(phase_deg=168.0, jitter=0.03)
    plain = gait_features(walk, knees, 100.0)
    sensor = gait_features(walk, {"left": 7.3 * knees["left"] - 2.0, "right": 0.21 * knees["right"] + 40.0}, 100.0)
    for name in NAMES:
        if name == "response_log_ratio":
            assert sensor[name].to_numpy() == pytest.approx(plain[name].to_numpy() - 100 * np.log(7.3 / 0.21))
        else:
            np.testing.assert_allclose(sensor[name], plain[name], atol=1e-7, err_msg=name)


def test_a_sensor_mounted_the_other_way_round_gives_the_same_features(make_walk):
    walk, knees = make_walk(jitter=0.03)
    plain = gait_features(walk, knees, 100.0)
    turned = replace(walk, polarity={**walk.polarity, "left": type(walk.polarity["left"])(-1)})
    other = gait_features(turned, {**knees, "left": -knees["left"]}, 100.0)
    pd.testing.assert_frame_equal(plain, other)


def test_swapping_the_knees_turns_odd_features_round_and_leaves_even_ones(make_walk):
    walk, knees = make_walk(phase_deg=165.0, stance=(0.58, 0.64), scale=(0.6, 1.0), jitter=0.02)
    swap = {"left": "right", "right": "left"}
    strides = walk.strides.assign(side=walk.strides["side"].map(swap)).sort_values("onset")
    mirrored = replace(walk, strides=strides)
    plain = gait_features(walk, knees, 100.0, angles=knees)
    other = {swap[side]: curve for side, curve in knees.items()}
    turned = gait_features(mirrored, other, 100.0, angles=other)
    for name in NAMES:
        sign = -1 if name in ODD else 1
        np.testing.assert_allclose(turned[name], sign * plain[name], rtol=0.02, atol=0.02, err_msg=name)


def test_one_knee_alone_has_no_comparison_of_sides(make_walk):
    walk, knees = make_walk(jitter=0.02)
    strides = walk.strides[walk.strides["side"] == "left"].assign(phase=np.nan, step_time=np.nan)
    windows = gait_features(replace(walk, strides=strides), {"left": knees["left"]}, 100.0)
    assert (windows["knees"] == "left").all()
    assert windows[BOTH].isna().all(axis=None)
    assert windows[["stride_time_cv", "swing_peak_timing", "shape_variability"]].notna().all(axis=None)


def test_degrees_are_there_only_where_both_sides_are_calibrated(make_walk):
    walk, knees = make_walk()
    assert gait_features(walk, knees, 100.0)[AMPLITUDE].isna().all(axis=None)
    half = gait_features(
        walk, knees, 100.0, angles={"left": knees["left"], "right": np.full_like(knees["right"], np.nan)}
    )
    assert half[AMPLITUDE].isna().all(axis=None)
    whole = gait_features(walk, knees, 100.0, angles=knees)
    assert whole["range_of_motion"].to_numpy() == pytest.approx(60.5 - 3.8, abs=1.0)


def test_windows_do_not_reach_across_a_pause_or_unsteady_strides(make_walk):
    walk, knees = make_walk(strides=20)
    strides = walk.strides.copy()
    pause = (strides["onset"] > 12) & (strides["onset"] < 14)
    strides.loc[pause, "steady"] = False
    windows = gait_features(replace(walk, strides=strides), knees, 100.0)
    end = windows["onset"] + windows["duration"]
    assert ((end <= 14.0) | (windows["onset"] >= 12.0)).all()
    assert len(windows) > 2


def test_a_short_walk_gives_one_window_and_a_shorter_one_none(make_walk):
    walk, knees = make_walk(strides=4)
    assert len(gait_features(walk, knees, 100.0)) == 1
    few = replace(walk, strides=walk.strides.groupby("side").head(2))
    windows = gait_features(few, knees, 100.0)
    assert len(windows) == 0
    assert list(windows.columns)[-len(NAMES) :] == NAMES


def test_a_gap_in_the_signal_leaves_its_strides_out(make_walk):
    walk, knees = make_walk(strides=16)
    broken = {**knees, "left": knees["left"].copy()}
    broken["left"][500:520] = np.nan
    windows = gait_features(walk, broken, 100.0)
    assert windows["waveform_difference"].notna().all()
    assert windows["step_time_log_ratio"].notna().all()


def test_window_length_is_the_setting(make_walk):
    walk, knees = make_walk(strides=16)
    windows = gait_features(walk, knees, 100.0, FeatureParameters(window_strides=8))
    assert (windows["strides"] == 8).all()
    assert windows["duration"].to_numpy() == pytest.approx(8 * 1.1)


def test_every_feature_is_described_once():
    table = feature_table(GAIT_FEATURES)
    assert table["name"].is_unique
    assert (table["low"] < table["high"]).all()
    assert table[["unit", "formula", "source"]].ne("").all(axis=None)
    assert set(table.loc[table["mirror"] == "odd", "knees"]) == {"both"}


def test_ranges_of_features_are_those_that_definitions_and_joints_allow():
    """A knee flexes to at least 135 degrees (handbooks of joint ranges, from memory) and no more than 160; shares of a
    stride lie between 0 and 100 %; a difference of sides reaches as far to either side as its quantity's range is wide.
    """
    table = feature_table(GAIT_FEATURES).set_index("name")
    motion = table.loc["range_of_motion"]
    assert (motion.low, 135 <= motion.high <= 160) == (0.0, True)
    assert (table.loc["swing_peak", "high"], table.loc["swing_peak_difference", "high"]) == (motion.high, motion.high)
    assert table.loc["relative_phase_deviation", ["low", "high"]].tolist() == [-180.0, 180.0]
    odd = table[table["mirror"] == "odd"]
    assert (odd["low"] == -odd["high"]).all()
    for name in table.index[table.index.str.endswith("_difference")]:
        whole = name.removesuffix("_difference")
        if whole in table.index and table.loc[name, "unit"] in ("%", "1") and table.loc[name, "mirror"] == "odd":
            assert table.loc[name, "high"] == table.loc[whole, "high"] - table.loc[whole, "low"], name
    share = table.loc[["swing_width", "stance_fraction", "swing_peak_timing"]]
    assert (share["low"] >= 0).all()
    assert (share["high"] <= 100).all()
    # what is a share of the curve's range or of time with no least value
    for name, high in (("swing_width", 100), ("waveform_difference", 1), ("loading_wave", 1), ("shape_variability", 2)):
        assert table.loc[name, ["low", "high"]].tolist() == [0, high], name


def test_features_import_no_library_that_only_training_needs():
    heavy = "('sklearn', 'matplotlib', 'pandera')"
    code = f"import sys, strainstudy.gait.windows; print([m for m in {heavy} if m in sys.modules])"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"
