"""Bends whose truth is known, walks that hold none, and the same with another scale, sign, rate or noise."""

import os
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from strainstudy.bends import detect
from strainstudy.bends.detect import BEND_COLUMNS, bends_of_knees, detect_bends
from strainstudy.bends.parameters import BendParameters
from strainstudy.condition.parameters import ConditionParameters
from strainstudy.condition.trace import condition_trace
from strainstudy.tables.bends import KNEE_BENDS
from strainstudy_simulator.bends import hold_bends, squats
from strainstudy_simulator.knee import Segment, healthy_gait, limp, walk_knees

PLAIN = BendParameters()
FS = 100


def smooth(u):
    u = np.clip(u, 0, 1)
    return u**3 * (10 - 15 * u + 6 * u * u)


def bent(holds, seconds, fs=FS, ramp=1.2, creep=0.0):
    """Minimum-jerk bends: (start of the movement, time held, height)."""
    t = np.arange(int(seconds * fs)) / fs
    y = np.zeros_like(t)
    for onset, held, height in holds:
        fading = 1 - creep * np.clip((t - onset - ramp) / held, 0, 1)
        y += height * (smooth((t - onset) / ramp) - smooth((t - onset - ramp - held) / ramp)) * fading
    return y


def walk(rng, fs=FS, gait=None, seconds=40):
    gait = healthy_gait(rng) if gait is None else gait
    return walk_knees([Segment("rest", 5), Segment("walk", seconds, gait), Segment("rest", 5)], fs, rng)


def agree(found, expected, tolerance):
    assert len(found) == len(expected)
    np.testing.assert_allclose(found["onset"], expected["onset"], atol=tolerance)
    ends = found["onset"] + found["duration"]
    np.testing.assert_allclose(ends, expected["onset"] + expected["duration"], atol=tolerance)


THREE = [(5.0, 5.0, 45.0), (20.0, 5.0, 90.0), (35.0, 5.0, 60.0)]


def test_onset_plateau_times_and_level_of_known_bends():
    found = detect_bends(bent(THREE, 50, creep=0.05), FS, PLAIN)
    assert len(found) == 3
    # A minimum-jerk way of 1.2 s leaves the first 5 % after 0.19 of its time, and reaches 95 % at 0.81.
    np.testing.assert_allclose(found["movement_onset"], [5.23, 20.23, 35.23], atol=0.1)
    np.testing.assert_allclose(found["plateau_onset"], [5.97, 20.97, 35.97], atol=0.12)
    np.testing.assert_allclose(found["plateau_duration"], 5.4, atol=0.4)
    np.testing.assert_allclose(found["flexing_time"], 0.75, atol=0.12)
    np.testing.assert_allclose(found["extending_time"], 0.75, atol=0.15)
    np.testing.assert_allclose(found["level"], [44, 88, 58.5], rtol=0.03)
    np.testing.assert_allclose(found["creep"], -4, atol=1)
    assert found["angle"].isna().all()


def test_held_angles_come_with_their_limits():
    y = bent(THREE, 50)
    found = detect_bends(y / 50, FS, PLAIN, angle=y, angle_low=y - 5, angle_high=y + 6)
    np.testing.assert_allclose(found["angle"], [45, 90, 60], atol=0.5)
    np.testing.assert_allclose(found["angle_low"], found["angle"] - 5, atol=0.1)
    np.testing.assert_allclose(found["angle_high"], found["angle"] + 6, atol=0.1)


def test_stairs_of_holds_are_one_row_each():
    t = np.arange(40 * FS) / FS
    y = np.interp(t, [0, 5, 6, 11, 12, 17, 18, 23, 24, 40], [0, 0, 45, 45, 90, 90, 45, 45, 0, 0])
    found = detect_bends(y, FS, PLAIN)
    np.testing.assert_allclose(found["level"], [45, 90, 45], atol=1)
    assert found["flexing_time"].isna().tolist() == [False, False, True]
    assert found["extending_time"].isna().tolist() == [True, False, False]
    ends = (found["movement_onset"] + found["movement_duration"]).to_numpy()
    assert (ends[:-1] <= found["movement_onset"].to_numpy()[1:] + 1e-9).all()


def test_a_hold_is_its_standstill_and_a_bend_its_whole_movement():
    found = detect_bends(bent([(5, 5, 90), (20, 0.4, 90)], 35), FS, PLAIN)
    assert found["kind"].tolist() == ["hold", "bend"]
    hold, bend = found.iloc[0], found.iloc[1]
    assert (hold["onset"], hold["duration"]) == (hold["plateau_onset"], hold["plateau_duration"])
    assert (bend["onset"], bend["duration"]) == (bend["movement_onset"], bend["movement_duration"])


def test_repeats_of_a_series_are_counted():
    y = bent([(5, 1, 80), (11, 1, 85), (17, 1, 80), (35, 3, 40), (42, 3, 40)], 55)
    found = detect_bends(y, FS, PLAIN)
    assert found["series"].tolist() == [1, 1, 1, 2, 2]
    assert found["repeat"].tolist() == [1, 2, 3, 1, 2]


@pytest.mark.parametrize("factor", [0.2, 5.0, -1.0, 1e-3])
def test_scale_and_sign_do_not_matter(factor):
    y = bent(THREE, 50) + 0.3 * np.random.default_rng(0).normal(size=5000)
    agree(detect_bends(factor * y, FS, PLAIN), detect_bends(y, FS, PLAIN), 1e-9)
    np.testing.assert_allclose(
        detect_bends(factor * y, FS, PLAIN)["level"], factor * detect_bends(y, FS, PLAIN)["level"]
    )


@pytest.mark.parametrize("fs", [50, 250, 1000])
def test_the_sampling_rate_does_not_matter(fs):
    agree(detect_bends(bent(THREE, 50, fs=fs), fs, PLAIN), detect_bends(bent(THREE, 50), FS, PLAIN), 0.06)


def test_ten_percent_noise_does_not_matter_once_conditioned():
    y = bent(THREE, 50)
    noisy = condition_trace(
        y + 9 * np.random.default_rng(2).normal(size=y.size),
        FS,
        tracked_point="left_knee",
        units="V",
        parameters=ConditionParameters(),
    ).response
    agree(detect_bends(noisy, FS, PLAIN), detect_bends(y, FS, PLAIN), 0.3)


@pytest.mark.parametrize("mechanism", [None, "stiff", "timing", "both", "guarded"])
@pytest.mark.parametrize("alone", [True, False])
def test_walking_holds_no_bend(mechanism, alone):
    rng = np.random.default_rng(12)
    gait = healthy_gait(rng)
    motion = walk(rng, gait=gait if mechanism is None else limp(gait, "left", mechanism, 0.9))
    sides = ("left",) if alone else ("left", "right")
    assert bends_of_knees({side: motion.angles[side] for side in sides}, FS, PLAIN).empty


@pytest.mark.parametrize("stride", [0.83, 2.5])
def test_fast_and_slow_walking_hold_no_bend(stride):
    """Strides at 1.2 and 0.4 Hz."""
    rng = np.random.default_rng(1)
    motion = walk(rng, gait=healthy_gait(rng, stride_time_s=stride))
    assert bends_of_knees(motion.angles, FS, PLAIN).empty


def test_squats_between_two_walks_are_found_and_steps_are_not():
    rng = np.random.default_rng(2)
    pieces = [walk(rng).angles, squats(FS, rng, count=4).angles, walk(rng).angles]
    knees = {side: np.concatenate([piece[side] for piece in pieces]) for side in ("left", "right")}
    found = bends_of_knees(knees, FS, PLAIN)
    assert found.groupby("side").size().to_dict() == {"left": 4, "right": 4}
    start = len(pieces[0]["left"]) / FS
    assert found["onset"].between(start, start + len(pieces[1]["left"]) / FS).all()


def steps(first, count, seconds, fs=FS):
    """Swing waves of one knee, one a second, each 0.4 s above half its height."""
    t = np.arange(int(seconds * fs)) / fs
    y = np.zeros_like(t)
    for onset in first + np.arange(count):
        y += 60.0 * np.sin(np.pi * np.clip((t - onset) / 0.6, 0, 1)) ** 2
    return y


@pytest.mark.parametrize("before", [True, False])
def test_a_bend_that_follows_or_precedes_steps_closely_is_kept_if_they_are_on_one_side_only(before):
    """The last step before it, or the first after it, lies 2 s from its top; on its other side they are 15 s away."""
    y = bent([(22.8, 0.4, 80.0)], 60)
    y += steps(15.0, 8, 60) + steps(42.0, 8, 60) if before else steps(1.0, 8, 60) + steps(25.6, 8, 60)
    found = detect_bends(y, FS, PLAIN)
    assert len(found) == 1
    assert found["movement_onset"].item() == pytest.approx(23.0, abs=0.3)


def test_a_slow_wave_among_steps_on_both_sides_is_no_bend():
    y = bent([(25.0, 0.2, 80.0)], 60, ramp=0.8) + steps(15.0, 9, 60) + steps(27.5, 9, 60)
    assert detect_bends(y, FS, PLAIN).empty


def test_every_simulated_hold_and_squat_is_found_once():
    matched = labelled = detected = 0
    for seed in range(6):
        rng = np.random.default_rng(seed)
        for motion in (hold_bends(FS, rng), squats(FS, rng)):
            found = bends_of_knees(motion.angles, FS, PLAIN)
            true = [e for e in motion.truth if e.trial_type == "knee_bend" and e.value]
            labelled, detected = labelled + len(true), detected + len(found)
            for event in true:
                own = found[found["side"] == event.side]
                ends = own["onset"] + own["duration"]
                overlap = np.minimum(ends, event.end) - np.maximum(own["onset"], event.onset)
                union = np.maximum(ends, event.end) - np.minimum(own["onset"], event.onset)
                matched += int((overlap / union > 0.7).sum() == 1)
    assert matched == labelled == detected


def test_a_long_sitting_is_one_held_bend():
    found = detect_bends(bent([(20, 120, 85)], 170), FS, PLAIN)
    assert len(found) == 1
    assert found["plateau_duration"].item() == pytest.approx(120, abs=2)


def test_levels_are_in_the_unit_and_sign_of_each_knees_response():
    knees = {"left": 0.02 * bent(THREE, 50), "right": -0.01 * bent(THREE, 50)}
    found = bends_of_knees(knees, FS, PLAIN)
    deepest = found.assign(level=found["level"].abs()).groupby("side")["level"].max().to_dict()
    assert deepest == {"left": pytest.approx(1.8, rel=0.02), "right": pytest.approx(0.9, rel=0.02)}
    assert (found.loc[found["side"] == "right", "level"] < 0).all()


@pytest.mark.parametrize("values", [np.empty(0), np.full(800, np.nan), np.zeros(800)])
def test_nothing_gives_an_empty_table_with_all_columns(values):
    found = detect_bends(values, FS, PLAIN)
    assert found.empty
    assert tuple(found.columns) == BEND_COLUMNS
    both = bends_of_knees({"left": values, "right": values}, FS, PLAIN)
    assert both.empty
    assert bends_of_knees({}, FS, PLAIN).empty


def test_rows_are_those_of_the_table():
    found = bends_of_knees({"left": bent(THREE, 50)}, FS, PLAIN)
    assert {"recording_id", *found.columns} == set(KNEE_BENDS.names)


def test_measured_walks_hold_no_bend():
    """Pearl et al. 2022, doi 10.21203/rs.3.rs-1902381/v1 (MIT): 16 treadmill walks, half with a stiff knee."""
    folder = os.environ.get("STRAINSTUDY_REAL_WALKS")
    if not folder:
        pytest.skip("STRAINSTUDY_REAL_WALKS is not set: the measured walks are not at hand")
    how = ConditionParameters()
    found = {}
    for path in sorted((Path(folder) / "raw").glob("*.csv")):
        raw = pd.read_csv(path)
        knees = {
            side: condition_trace(
                raw[f"{side}_knee_deg"],
                FS,
                tracked_point=f"{side}_knee",
                units="a.u.",
                parameters=how,
            ).response
            for side in ("left", "right")
        }
        found[path.name] = len(bends_of_knees(knees, FS, PLAIN))
    assert len(found) == 16
    assert sum(found.values()) == 0, found


@pytest.mark.parametrize(("last", "below", "turn", "expected"), [
    (False, False, 1, 3.4), (True, True, 1, 3.4), (False, True, -1, 5.6), (True, False, -1, 5.6),
])  # fmt: skip
def test_a_straight_way_is_crossed_at_its_place_between_the_samples(last, below, turn, expected):
    y = np.arange(10.0)[::turn].copy()
    assert detect._crossing(y, 0, 9, 3.4, last=last, below=below) == pytest.approx(expected)
    assert detect._crossing(y, 2, 8, 3.4, last=last, below=below) == pytest.approx(expected)


def test_a_level_never_reached_is_crossed_at_the_nearer_end():
    y = np.arange(10.0)
    assert detect._crossing(y, 2, 7, 50.0, last=False, below=False) == 7.0
    assert detect._crossing(y, 2, 7, 50.0, last=True, below=False) == 2.0
    # where all is above, the first such sample is the end itself
    assert detect._crossing(y, 2, 7, 1.0, last=False, below=False) == 2.0
    assert detect._crossing(y, 2, 7, 9.0, last=True, below=True) == 7.0
    assert detect._crossing(np.array([1.0, 1.0, 2.0]), 0, 2, 1.0, last=True, below=True) == 1.0


def test_a_movement_begins_at_five_percent_of_its_way_but_clear_of_the_noise_of_rest():
    quiet = np.concatenate([np.full(50, 10.0), np.linspace(10, 110, 40)])
    assert detect._foot(quiet, 110.0) == pytest.approx(10 + 0.05 * 100, abs=0.2)
    still = np.concatenate([np.tile([8.0, 12.0], 200), np.linspace(60, 108, 20)])
    # 1.4826 x the median distance of 2 from 10, three times
    assert detect._foot(still, 108.0) == pytest.approx(10 + 3 * 1.4826 * 2, abs=2.1)
    # and no higher than a quarter of the way
    wild = np.concatenate([np.tile([-20.0, 0.0], 200), np.full(20, 90.0)])
    assert detect._foot(wild, 90.0) == pytest.approx(-10 + 0.25 * 100, abs=11)


def linear(points, seconds, fs=FS):
    return np.interp(np.arange(int(seconds * fs)) / fs, *zip(*points, strict=True))


def test_straight_ways_have_their_times_by_algebra():
    """Two seconds down, five held, one up: 5 % of each way is left at either end of the movement and of the plateau."""
    y = linear([(0, 0), (10, 0), (12, 80), (17, 80), (18, 0), (30, 0)], 30)
    (found,) = detect_bends(y, FS, PLAIN).to_dict("records")
    assert found["movement_onset"] == pytest.approx(10.1, abs=0.05)
    assert found["plateau_onset"] == pytest.approx(11.9, abs=0.05)
    assert found["plateau_duration"] == pytest.approx(17.05 - 11.9, abs=0.07)
    assert found["movement_duration"] == pytest.approx(17.95 - 10.1, abs=0.07)
    assert found["flexing_time"] == pytest.approx(1.8, abs=0.07)
    assert found["extending_time"] == pytest.approx(0.9, abs=0.07)
    assert found["level"] == pytest.approx(80, abs=0.2)
    assert found["creep"] == pytest.approx(0, abs=0.5)
    assert found["score"] == 1.0


def test_the_ways_of_stairs_run_from_hold_to_hold():
    """Down to 40 in a second, to 80 in two, up to 40 in one, up in two: 5 % of each step at its ends."""
    y = linear([(0, 0), (8, 0), (9, 40), (13, 40), (15, 80), (19, 80), (20, 40), (24, 40), (26, 0), (40, 0)], 40)
    found = detect_bends(y, FS, PLAIN)
    np.testing.assert_allclose(found["flexing_time"], [0.9, 1.75, np.nan], atol=0.1)
    np.testing.assert_allclose(found["extending_time"], [np.nan, 0.9, 1.8], atol=0.08)
    np.testing.assert_allclose(found["movement_onset"], [8.05, 13.1, 19.05], atol=0.08)
    np.testing.assert_allclose(found["movement_onset"] + found["movement_duration"], [13.1, 19.05, 25.9], atol=0.08)
    # a standstill shallow of the next level takes in a little of the way to it
    np.testing.assert_allclose(found["plateau_onset"], [8.95, 14.85, 19.95], atol=0.12)


def test_a_hold_that_creeps_has_its_change_from_first_to_last_fifth():
    """From 80 to 72 in a straight line: a fifth at each end has its median a tenth inside, 0.8 of the change."""
    y = linear([(0, 0), (10, 0), (11, 80), (21, 72), (22, 0), (35, 0)], 35)
    (found,) = detect_bends(y, FS, PLAIN).to_dict("records")
    assert found["level"] == pytest.approx(76, abs=0.5)
    assert found["creep"] == pytest.approx(-100 * 0.8 * 8 / 76, rel=0.12)


def test_the_score_is_half_at_the_least_width_and_full_at_twice_that():
    """A triangle is above half its height for half its length."""

    def triangle(width):
        return linear([(0, 0), (10, 0), (10 + width, 80), (10 + 2 * width, 0), (25, 0)], 25)

    found = detect_bends(triangle(1.5 * PLAIN.least_width_s), FS, PLAIN)
    assert found["score"].item() == pytest.approx(0.75, abs=0.06)
    assert detect_bends(triangle(3 * PLAIN.least_width_s), FS, PLAIN)["score"].item() == 1.0
    assert detect_bends(triangle(0.8 * PLAIN.least_width_s), FS, PLAIN).empty


@pytest.mark.parametrize(("pause", "height", "series"), [
    (4.0, 80, [1, 1]), (6.5, 80, [1, 2]), (4.0, 66, [1, 1]), (4.0, 60, [1, 2]), (4.0, 94, [1, 1]), (4.0, 100, [1, 2]),
])  # fmt: skip
def test_a_series_goes_on_over_pauses_of_five_seconds_to_levels_a_fifth_apart(pause, height, series):
    first, second = 10.0, 10.0 + 2 * 1.2 + 3 + pause
    found = detect_bends(bent([(first, 3, 80), (second, 3, height)], 40), FS, PLAIN)
    assert found["series"].tolist() == series
    assert found["repeat"].tolist() == ([1, 2] if series == [1, 1] else [1, 1])


def test_angles_are_medians_over_the_plateau():
    y = bent([(10, 5, 80)], 30)
    angle = np.full(y.size, np.nan)
    angle[1000:1700] = np.arange(700.0)
    (found,) = detect_bends(y, FS, PLAIN, angle=angle).to_dict("records")
    inside = np.arange(
        round(found["plateau_onset"] * FS), round((found["plateau_onset"] + found["plateau_duration"]) * FS)
    )
    assert found["angle"] == np.median(inside - 1000.0)
    assert np.isnan(found["angle_low"])


@pytest.mark.parametrize(
    ("other", "walks"), [([5.5], True), ([5.2], False), ([5.8], False), ([6.5], True), ([], False)]
)
def test_a_peak_alternates_where_the_other_knee_flexes_half_way_to_a_neighbour(other, walks):
    """Between a quarter and three quarters of the way, of cycles of up to four seconds."""
    times = np.array([5.0, 6.0, 7.0])
    assert detect._alternates(times, 1, np.array(other)) == walks
    slow = np.array([5.0, 9.5, 14.0])
    assert not detect._alternates(slow, 1, np.array([7.2, 11.8]))
    assert detect._alternates(0.8 * slow, 1, 0.8 * np.array([7.2]))


@pytest.mark.parametrize("sign", [1, -1])
@pytest.mark.parametrize("rest_s", [(3.0, 0.0), (0.0, 3.0), (3.0, 3.0)])
def test_bends_without_a_pause_are_read_from_the_rest_at_either_end(sign, rest_s):
    """The zero of a conditioned response is its own middle there, so what is larger says nothing."""
    count, period = 12, 2.0
    t = np.arange(int(count * period * 100)) / 100
    row = (np.sin(np.pi * t / period) ** 2) ** 0.6
    first, last = (np.zeros(int(s * 100)) for s in rest_s)
    noise = 0.005 * np.random.default_rng(0).standard_normal(len(row) + len(first) + len(last))
    curve = sign * (np.concatenate([first, row, last]) - 0.6) + noise
    found = detect_bends(curve, 100.0, BendParameters())
    centres = (found["onset"] + found["duration"] / 2 - rest_s[0] - period / 2) / period
    np.testing.assert_allclose(centres, np.arange(count), atol=0.15)
    assert found["direction_known"].all()


def test_where_neither_an_angle_nor_a_rest_tells_flexion_the_table_says_so():
    t = np.arange(2400) / 100
    curve = (np.sin(np.pi * t / 2.0) ** 2) - 0.2
    found = detect_bends(curve, 100.0, BendParameters())
    assert len(found) and not found["direction_known"].any()
    angle = 90 * (curve + 0.2)
    assert detect_bends(curve, 100.0, BendParameters(), angle=angle)["direction_known"].all()
