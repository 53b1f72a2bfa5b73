"""The angle map on holds whose truth is known, and on simulated knees through simulated sensors."""

import json

import numpy as np
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st
from strainstudy.calibrate.anglefit import fit_angle_map
from strainstudy.calibrate.anglemap import AngleMap, Refusal
from strainstudy.calibrate.holds import HOLD_COLUMNS, hold_levels
from strainstudy.calibrate.parameters import CalibrateParameters

PLAIN = CalibrateParameters()
RIGID = CalibrateParameters(response_time_s=0.0)


def table(rows):
    """Holds from (angle, level, branch) triples."""
    frame = pd.DataFrame(rows, columns=["angle", "level", "branch"], dtype=float)
    frame["direction"] = np.where(frame["branch"] > 0, "flexing", "extending")
    return frame.assign(
        onset=np.arange(len(frame)) * 8.0, duration=5.0, absolute=frame["level"], creep=0.0, labelled=True
    )[list(HOLD_COLUMNS)]


def stairs(law, loop=0.0, repeats=3, scatter=0.0, seed=0):
    """Holds at 0, 45, 90, 45, 0 ... of a sensor with a law and a loop of a width, at rest on the lower branch."""
    rng = np.random.default_rng(seed)
    rows = []
    for _ in range(repeats):
        for angle, branch in ((0, -1), (45, 1), (90, 1), (45, -1)):
            rows.append((angle, law(angle) - loop / 2 * (branch + 1) + scatter * rng.normal(), branch))
    return table(rows)


def applied(angle_map, response, fs=100.0):
    x = np.asarray(response, dtype=float)
    return angle_map.apply(x, fs, drift=np.full(len(x), angle_map.zero_level))


def test_the_map_goes_through_its_holds_and_rises_between_them():
    done = fit_angle_map(stairs(lambda a: 0.01 * a + 5e-5 * a * a), RIGID)
    levels = np.linspace(done.levels[0], done.levels[-1], 200)
    assert (np.diff(done.angle_of(levels)) > 0).all()
    np.testing.assert_allclose(done.angle_of(done.levels), [0, 45, 90], atol=1e-9)


@pytest.mark.parametrize("sign", [1, -1])
def test_polarity_is_taken_from_the_holds(sign):
    done = fit_angle_map(stairs(lambda a: sign * 0.01 * a), RIGID)
    assert done.sign == sign
    assert done.response_per_degree == pytest.approx(0.01)
    np.testing.assert_allclose(applied(done, sign * np.array([0.0, 0.3, 0.6])).angle, [0, 30, 60], atol=1e-6)


def test_any_set_of_angles_will_do():
    rows = [(angle, 0.01 * angle, 1) for angle in (10, 30, 60, 120) for _ in range(2)]
    done = fit_angle_map(table(rows), RIGID)
    assert done.range_deg == (10, 120)
    assert done.angle_of(0.75) == pytest.approx(75, abs=1e-6)


def test_two_branches_only_where_holds_differ():
    law = lambda a: 0.01 * a  # noqa: E731
    one = fit_angle_map(stairs(law, loop=0.0, scatter=0.004), RIGID)
    two = fit_angle_map(stairs(law, loop=0.09, scatter=0.004), RIGID)
    assert one.loop_width == 0
    assert two.hysteresis_percent == pytest.approx(10, abs=2)
    assert "two branches" in two.notes[0]


def test_holds_reached_one_way_cannot_show_hysteresis_and_widen_the_interval():
    rows = [(a, 0.01 * a, -1 if a == 0 else 1) for a in (0, 45, 90) for _ in range(3)]
    done = fit_angle_map(table(rows), RIGID)
    both = fit_angle_map(stairs(lambda a: 0.01 * a), RIGID)
    assert np.isnan(done.hysteresis_percent)
    assert "one way" in done.notes[0]
    assert done.loop_error_deg > both.loop_error_deg


def test_the_loop_is_taken_off_both_branches():
    """A response of known loop (the play operator itself) comes back as the angle on both branches."""
    from strainstudy.signal.play import branch

    angle = np.concatenate([np.zeros(50), np.linspace(0, 90, 300), np.full(50, 90.0), np.linspace(90, 0, 300)])
    loop = 0.08
    done = fit_angle_map(stairs(lambda a: 0.01 * a, loop=loop), RIGID)
    response = 0.01 * angle - loop / 2 * (branch(0.01 * angle, done.branch_radius) + 1)
    back = applied(done, response)
    assert np.abs(back.angle - angle).max() < 3.5
    one_branch = applied(fit_angle_map(stairs(lambda a: 0.01 * a), RIGID), response)
    assert np.abs(one_branch.angle - angle).max() > 7


def test_the_response_to_a_movement_is_what_gives_that_movement_back():
    """Through the map itself: a response of that extent, there and back and there again, is read as the movement."""
    done = fit_angle_map(stairs(lambda a: 0.01 * a + 5e-5 * a * a, loop=0.06), RIGID)
    extent = 60 * done.response_to(0, 60)
    wave = extent * (1 - np.cos(2 * np.pi * np.arange(600) / 100)) / 2
    # The leg rests on the lower branch, and a zero that is half a degree off at the start is none of the movement.
    angle = applied(done, wave - done.loop_width).angle[200:]
    assert np.ptp(angle) == pytest.approx(60, rel=0.05)
    small, level = done.branch_radius, done.level_of(30)
    high = float(done.angle_of(level + small))
    assert done.response_to(30, high) * (high - 30) == pytest.approx(small - done.loop_width / 2, rel=1e-3)


def test_extrapolation_is_marked_and_its_interval_widens():
    done = fit_angle_map(stairs(lambda a: 0.01 * a), RIGID)
    found = applied(done, [0.5, 0.9, 1.0, 1.2, -0.2])
    assert found.extrapolated.tolist() == [False, False, True, True, True]
    width = found.high - found.low
    assert width[3] > width[2] > width[1]
    assert found.angle[3] == pytest.approx(120, abs=1)


def test_an_angle_that_no_knee_has_is_left_out():
    """Flexion reaches 145 (SD 7) degrees (Roaas & Andersson 1982, from memory); an amplifier that jumps gives 200."""
    done = applied(fit_angle_map(stairs(lambda a: 0.01 * a), RIGID), [0.3, 1.2, 2.0, -0.8, 0.6])
    assert done.impossible.tolist() == [False, False, True, True, False]
    for curve in (done.angle, done.low, done.high):
        assert np.isnan(curve).tolist() == done.impossible.tolist()


def test_the_interval_lies_around_the_angle_and_gaps_stay():
    done = fit_angle_map(stairs(lambda a: 0.01 * a, scatter=0.01), PLAIN)
    found = applied(done, [0.0, 0.1, np.nan, 0.3, 0.4])
    assert np.isnan(found.angle[2])
    inside = np.isfinite(found.angle)
    assert (found.low[inside] < found.angle[inside]).all()
    assert (found.angle[inside] < found.high[inside]).all()


def test_holds_that_contradict_one_another_are_refused_with_the_reason():
    rows = [(45, 0.5, 1), (45, 0.52, 1), (90, 0.4, 1), (90, 0.45, 1), (0, 0.0, -1)]
    done = fit_angle_map(table(rows), PLAIN)
    assert isinstance(done, Refusal)
    assert "90 degrees read 0.425 and those at 45 degrees 0.51" in done.reason


def test_overlapping_holds_are_refused_even_if_their_medians_rise():
    rows = [(45, 0.1, 1), (45, 0.5, 1), (45, 0.9, 1), (90, 0.2, 1), (90, 0.55, 1), (90, 0.95, 1), (0, 0.0, -1)]
    assert isinstance(fit_angle_map(table(rows), PLAIN), Refusal)


def test_no_hold_or_one_angle_is_refused_with_the_reason():
    assert "no labelled bend" in fit_angle_map(table([]), PLAIN).reason
    assert "one angle only" in fit_angle_map(table([(45, 0.5, 1), (45, 0.5, 1)]), PLAIN).reason


def test_a_straight_leg_and_one_angle_are_enough():
    done = fit_angle_map(table([(0, 0.0, -1), (90, 0.9, 1), (90, 0.9, 1)]), RIGID)
    assert done.angle_of(0.45) == pytest.approx(45)


def test_json_gives_the_same_map_back():
    for holds in (stairs(lambda a: 0.01 * a, loop=0.05, scatter=0.01), table([(0, 0.0, -1), (90, 0.9, 1)])):
        done = fit_angle_map(holds, PLAIN)
        again = AngleMap.from_dict(json.loads(json.dumps(done.to_dict(), allow_nan=False)))
        x = np.linspace(0, 1, 50)
        np.testing.assert_array_equal(applied(again, x).high, applied(done, x).high)
        assert again.to_dict() == done.to_dict()


CURVED = fit_angle_map(stairs(lambda a: 0.01 * a + 5e-5 * a * a), RIGID)


@given(st.floats(-30, 130))
def test_level_of_undoes_angle_of(angle):
    assert CURVED.angle_of(CURVED.level_of(angle)) == pytest.approx(angle, abs=1e-6)


def test_zero_lies_between_what_the_sensor_reads_and_a_straight_leg():
    """Two readings of one quantity are combined by their variances (JCGM 100:2008, weighted mean)."""
    steady = stairs(lambda a: 0.01 * a, repeats=4)
    steady["absolute"] = steady["level"] + np.resize([0.0, 0.001], len(steady))
    restless = steady.copy()
    restless.loc[restless["angle"] == 0, "absolute"] = [0.0, 0.5, -0.4, 0.3]
    resting_on_bent_knees = np.full(100, 0.05)
    trusting, _ = fit_angle_map(steady, RIGID).zero(resting_on_bent_knees)
    doubting, error = fit_angle_map(restless, RIGID).zero(resting_on_bent_knees)
    assert trusting == pytest.approx(5, abs=0.5)
    assert abs(doubting) < 1
    assert error == pytest.approx(PLAIN.straight_leg_sd_deg, rel=0.05)


def test_a_reading_that_neither_posture_nor_drift_explains_is_set_to_zero():
    """A sleeve that slipped by 40 degrees' worth of response between two recordings."""
    steady = stairs(lambda a: 0.01 * a, repeats=4)
    steady["absolute"] = steady["level"] + np.resize([0.0, 0.001], len(steady))
    angle_map = fit_angle_map(steady, RIGID)
    resting, error = angle_map.zero(np.full(100, 0.40))
    assert abs(resting) < 1.5
    assert error == pytest.approx(PLAIN.straight_leg_sd_deg, rel=0.1)


def test_rest_resistance_read_anew_in_each_recording_does_not_shift_the_zero():
    holds = stairs(lambda a: 0.01 * a, repeats=4)
    holds["absolute"] += np.resize([0.0, 0.001], len(holds))
    done = fit_angle_map(holds, RIGID, rest_ohm=10_000)
    same, _ = done.zero(np.zeros(10), rest_ohm=10_000)
    read_lower = done.zero(np.full(10, 10_000 / 9_000 - 1), rest_ohm=9_000)[0]
    assert read_lower == pytest.approx(same, abs=1e-9)


def test_a_lag_of_known_length_is_taken_off():
    """First order: a ramp comes out late by the time constant, ln 9 of which make the 10-90 % response time."""
    fs = 100.0
    lag = 0.05 / np.log(9)
    angle = np.clip(60 * (np.arange(400) / fs - 1), 0, 90)
    late = np.clip(60 * (np.arange(400) / fs - 1 - lag), 0, 90)
    done = fit_angle_map(stairs(lambda a: 0.01 * a), PLAIN)
    found = applied(done, 0.01 * late, fs)
    np.testing.assert_allclose(found.angle[130:220], angle[130:220], atol=1e-6)


def test_before_and_after_give_the_drift_of_the_session():
    before = stairs(lambda a: 0.010 * a).assign(recording=0)
    after = stairs(lambda a: 0.012 * a).assign(recording=1)
    after["absolute"] += 0.05
    done = fit_angle_map(pd.concat([before, after], ignore_index=True), RIGID)
    assert done.session_drift_deg == pytest.approx(0.05 / 0.011, rel=0.02)
    assert done.session_gain_percent == pytest.approx(20)
    assert np.isnan(fit_angle_map(before, RIGID).session_drift_deg)


def hold_trace(holds, fs=100, sign=1.0, creep=0.0):
    """Response of holds (onset, seconds, angle) with ramps of 1 s and creep towards the straight leg."""
    t = np.arange(int((holds[-1][0] + holds[-1][1] + 6) * fs)) / fs
    y = np.zeros_like(t)
    for onset, seconds, angle in holds:
        rise = np.clip((t - onset + 1) / 1, 0, 1)
        fall = np.clip((t - onset - seconds) / 1, 0, 1)
        fading = 1 - creep * np.clip((t - onset) / seconds, 0, 1)
        y += 0.01 * angle * (rise - fall) * fading
    return sign * y


@pytest.mark.parametrize("sign", [1, -1])
def test_holds_are_read_where_they_are(sign):
    holds = [(5, 4, 45), (15, 4, 90), (25, 4, 45)]
    x = hold_trace(holds, sign=sign)
    labels = pd.DataFrame(holds, columns=["onset", "duration", "value"])
    found = hold_levels(x, np.zeros(len(x)), 100, labels, PLAIN)
    marked = found[found["labelled"]]
    assert marked["angle"].tolist() == [45, 90, 45]
    np.testing.assert_allclose(marked["level"], sign * np.array([0.45, 0.9, 0.45]), atol=0.01)
    assert (marked["direction"] == "flexing").all()
    straight = found[~found["labelled"].astype(bool)]
    assert len(straight) == 4
    np.testing.assert_allclose(straight["level"], 0, atol=0.01)


def test_a_label_that_takes_in_the_ways_still_finds_the_hold():
    x = hold_trace([(6, 4, 90)])
    generous = pd.DataFrame([(3.0, 9.0, 90.0)], columns=["onset", "duration", "value"])
    found = hold_levels(x, np.zeros(len(x)), 100, generous, PLAIN)
    assert found.loc[found["labelled"], "level"].item() == pytest.approx(0.9, abs=0.01)


def test_stairs_of_holds_tell_flexing_from_extending():
    t = np.arange(3000) / 100
    y = np.interp(t, [0, 4, 5, 9, 10, 14, 15, 19, 20, 30], np.array([0, 0, 45, 45, 90, 90, 45, 45, 0, 0]) * 0.01)
    labels = pd.DataFrame([(5, 4, 45), (10, 4, 90), (15, 4, 45)], columns=["onset", "duration", "value"], dtype=float)
    found = hold_levels(y, np.zeros(3000), 100, labels, PLAIN)
    assert found.loc[found["labelled"], "direction"].tolist() == ["flexing", "flexing", "extending"]


def test_creep_of_a_hold_is_its_change_while_it_lasts():
    x = hold_trace([(5, 10, 90)], creep=0.05)
    found = hold_levels(
        x, np.zeros(len(x)), 100, pd.DataFrame([(5, 10, 90)], columns=["onset", "duration", "value"]), PLAIN
    )
    marked = found[found["labelled"]].iloc[0]
    assert marked["creep"] == pytest.approx(-0.9 * 0.05 * 0.8, rel=0.1)
    assert marked["level"] == pytest.approx(0.9, abs=0.01)


def test_labels_without_angles_or_without_data_give_no_hold():
    x = hold_trace([(5, 4, 45)])
    unvalued = pd.DataFrame([(5.0, 4.0, np.nan)], columns=["onset", "duration", "value"])
    assert hold_levels(x, np.zeros(len(x)), 100, unvalued, PLAIN).empty
    valued = pd.DataFrame([(5.0, 4.0, 45.0)], columns=["onset", "duration", "value"])
    assert hold_levels(np.full(500, np.nan), np.zeros(500), 100, valued, PLAIN).empty
