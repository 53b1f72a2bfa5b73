"""Maps of sessions, on simulated knees through the simulated sensor and bridge."""

import math

import numpy as np
import pandas as pd
import pytest
from angle_recovery import PERIOD_S, PLAIN, bend_of, errors_of_a_walk, labels_of, one_map
from strainstudy.calibrate.anglemap import AngleMap, Refusal
from strainstudy.calibrate.maps import (
    MapKey,
    calibration_rows,
    fit_session_maps,
    maps_from_json,
    maps_to_json,
    side_of_holds,
)
from strainstudy.tables.angles import CALIBRATIONS
from strainstudy_simulator.bends import hold_bends
from strainstudy_simulator.sensor import SensorModel

FS = 100


@pytest.fixture(scope="module")
def many_walks():
    rng = np.random.default_rng(77)
    rows = []
    for seed in range(24):
        model = SensorModel(
            gauge_factor=float(np.exp(rng.uniform(np.log(2), np.log(12)))),
            curvature=float(rng.uniform(-0.3, 0.9)),
            hysteresis_percent=float(rng.uniform(0, 10)),
            full_scale_strain=0.35,
            response_time_s=float(rng.uniform(0.01, 0.05)),
            relaxation=((float(rng.uniform(0.01, 0.04)), 1.0), (float(rng.uniform(0.01, 0.05)), 12.0)),
            drift_per_minute=float(rng.normal(0, 0.004)),
            wander_per_root_minute=0.001,
            flicker=0.0005,
        )
        rows.append(errors_of_a_walk(seed, model, session_drift=0.03))
    return rows


def test_angle_of_walks_is_within_five_degrees_with_hysteresis_up_to_ten_percent(many_walks):
    """Orientation: RMSE below 5 degrees in 7 of 9 people (Poomsalood et al. 2019, doi 10.2478/bhk-2019-0001)."""
    each = np.array([np.sqrt(np.mean(errors**2)) for errors, _ in many_walks])
    assert np.sqrt(np.mean(np.concatenate([errors for errors, _ in many_walks]) ** 2)) < 4
    assert np.mean(each < 5) > 0.9


def test_ninety_percent_intervals_cover_about_ninety_percent(many_walks):
    covered = np.mean([inside.mean() for _, inside in many_walks])
    assert 0.85 < covered < 0.96


@pytest.mark.parametrize("polarity", [1, -1])
def test_a_sensor_whose_polarity_is_wrong_in_the_sheet_is_calibrated_all_the_same(polarity):
    rng = np.random.default_rng(3)
    motion = hold_bends(FS, rng, sides=("left",))
    found = one_map(bend_of(motion, SensorModel(), rng, polarity=polarity))
    assert isinstance(found, AngleMap)
    assert found.sign == polarity


def test_hysteresis_of_the_sensor_is_found_by_holds_both_ways():
    widths = []
    for percent in (0.0, 10.0):
        rng = np.random.default_rng(5)
        motion = hold_bends(FS, rng, sides=("left",), stairs=4, placing_sd_deg=0.5)
        model = SensorModel(hysteresis_percent=percent, full_scale_strain=0.315, relaxation=())
        widths.append(one_map(bend_of(motion, model, rng)).hysteresis_percent)
    assert widths[0] < 2
    assert widths[1] == pytest.approx(10, abs=3)


def test_labels_of_the_other_knee_and_other_types_are_passed_over():
    rng = np.random.default_rng(6)
    motion = hold_bends(FS, rng, sides=("left",))
    other = labels_of(motion, side="right")
    assert "no labelled hold of this knee" in one_map(bend_of(motion, SensorModel(), rng, labels=other)).reason
    speech = labels_of(motion, trial_type="speech")
    assert isinstance(one_map(bend_of(motion, SensorModel(), rng, labels=speech)), Refusal)


def test_holds_labelled_the_wrong_way_round_are_refused():
    rng = np.random.default_rng(6)
    motion = hold_bends(FS, rng, sides=("left",))
    labels = labels_of(motion)
    labels["value"] = labels["value"].map({0.0: 0.0, 45.0: 90.0, 90.0: 45.0})
    found = one_map(bend_of(motion, SensorModel(), rng, labels=labels))
    assert isinstance(found, Refusal)
    assert "a deeper bend must read more" in found.reason


def test_bends_before_and_after_share_one_map_and_tell_the_drift():
    rng = np.random.default_rng(9)
    first, last = (hold_bends(FS, rng, sides=("left",)) for _ in range(2))
    tired = SensorModel(gauge_factor=4.0, rest_ohm=10_200)
    maps = fit_session_maps([bend_of(first, SensorModel(), rng), bend_of(last, tired, rng)], PLAIN, PERIOD_S)
    (found,) = maps.values()
    assert found.session_gain_percent == pytest.approx(-20, abs=4)
    assert found.session_drift_deg > 0


def test_sessions_and_sensors_have_maps_of_their_own():
    rng = np.random.default_rng(4)
    motion = hold_bends(FS, rng)
    bends = [bend_of(motion, SensorModel(), rng, side="right"), bend_of(motion, SensorModel(), rng, sensor_id="t")]
    maps = fit_session_maps(bends, PLAIN, PERIOD_S)
    assert [key.tracked_point for key in maps] == ["left_knee", "right_knee"]
    rows = calibration_rows(maps | {MapKey.of(None, None, "left_knee", None): Refusal("because")})
    assert set(rows.columns) == set(CALIBRATIONS.names)
    assert rows["status"].tolist() == ["fitted", "fitted", "refused"]
    assert rows["participant_id"].iloc[-1] == "n/a"


def test_maps_survive_their_file():
    rng = np.random.default_rng(4)
    maps = fit_session_maps([bend_of(hold_bends(FS, rng, sides=("left",)), SensorModel(), rng)], PLAIN, PERIOD_S)
    maps[MapKey.of("sub-02", None, "left_knee", None)] = Refusal("because")
    text = maps_to_json(maps)
    again = maps_from_json(text)
    assert maps_to_json(again) == text
    assert again[MapKey.of("sub-02", None, "left_knee", None)] == Refusal("because")
    assert calibration_rows({}).empty


def test_side_of_holds_is_the_sign_of_the_covariance():
    holds = pd.DataFrame([(1.0, 2.0, 90.0)], columns=["onset", "duration", "value"])
    x = np.zeros(500)
    x[100:300] = 0.4
    assert side_of_holds(x, FS, holds) == 1
    assert side_of_holds(-x, FS, holds) == -1
    assert side_of_holds(np.full(500, math.nan), FS, holds) == 1
