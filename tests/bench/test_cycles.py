"""Cycles, holds and taps read from a bench reference."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from strainstudy.bench.cycles import find_cycles, find_holds, find_taps, moves, turning_points
from strainstudy_simulator.bench import Cycles, Hold, run_stage, standard_program, tap_bench


def reference(program, fs: float, noise: float = 0.02, seed: int = 0) -> np.ndarray:
    rng = np.random.default_rng(seed)
    return run_stage(program, fs, rng, reference_noise_percent=noise).reference_percent / 100


@pytest.mark.parametrize("fs", [20.0, 100.0, 1000.0])
@pytest.mark.parametrize("wave", ["triangle", "sine"])
def test_every_cycle_is_found_once_with_its_times_and_strains(fs, wave):
    cycles = find_cycles(reference((Hold(0, 0, 3), Cycles(0.3, 4.0, 9, wave), Hold(0, 0, 3)), fs), fs)
    assert len(cycles) == 9
    assert cycles["number"].tolist() == list(range(9))
    assert np.allclose(cycles["peak"] / fs, 5.0 + 4.0 * np.arange(9), atol=0.15)
    assert np.allclose((cycles["stop"] - cycles["start"]).iloc[1:-1] / fs, 4.0, atol=0.3)
    assert np.allclose(cycles["strain_high"], 0.3, atol=0.011)
    assert np.allclose(cycles["strain_low"], 0.0, atol=0.011)


def test_cycles_of_another_amplitude_or_speed_start_a_run_of_their_own():
    cycles = find_cycles(reference(standard_program(0.35), 100.0), 100.0)
    runs = cycles.groupby("run").size().tolist()
    assert runs == [2, 2, 5, 4]


def test_steps_are_no_cycles_and_cycles_are_no_holds():
    program = (Hold(0, 0, 5), Hold(0.2, 0.05, 10), Hold(0, 0.05, 10), Cycles(0.2, 30.0, 3, "sine"), Hold(0, 0, 5))
    strain = reference(program, 50.0)
    assert len(find_cycles(strain, 50.0)) == 3
    holds = find_holds(strain, 50.0)
    assert len(holds) == 4
    assert np.allclose(holds["strain_to"], [0, 0.2, 0, 0], atol=0.002)
    assert np.allclose(holds["start"].iloc[:3] / 50.0, [0, 5.05, 15.1], atol=0.05)


def test_a_jump_within_one_sample_separates_two_holds():
    strain = np.repeat([0.0, 0.3, 0.1, 0.0], 200)
    holds = find_holds(strain, 50.0)
    assert holds["start"].tolist() == [0, 200, 400, 600]
    assert np.allclose(holds["strain_from"], [0.0, 0.0, 0.3, 0.1])


def test_a_cycle_with_a_gap_in_the_reference_is_left_out():
    strain = reference((Cycles(0.3, 4.0, 5),), 100.0)
    strain[1000:1010] = np.nan
    assert len(find_cycles(strain, 100.0)) == 4


def test_a_reference_that_is_only_noise_does_not_move():
    assert not moves(0.0002 * np.random.default_rng(0).standard_normal(5000))
    assert moves(reference(standard_program(0.35), 100.0))
    assert find_cycles(np.zeros(100), 100.0).empty
    assert find_holds(np.full(100, np.nan), 100.0).empty


@pytest.mark.parametrize("fs", [100.0, 1000.0])
def test_taps_are_counted_and_measured(fs):
    rng = np.random.default_rng(3)
    run = tap_bench(fs, rng, count=12)
    response = 5.0 * run.strain + 5e-4 * rng.standard_normal(run.strain.size)
    taps = find_taps(response, fs)
    assert len(taps) == 12
    assert np.allclose(taps["amplitude"], 5.0 * run.strain[taps["peak"]], rtol=0.08)


def test_noise_holds_no_taps():
    for seed in range(20):
        assert find_taps(np.random.default_rng(seed).standard_normal(6000), 100.0).empty


@settings(max_examples=60, deadline=None)
@given(
    st.lists(st.floats(-1.0, 1.0), min_size=3, max_size=60),
    st.floats(0.05, 0.8),
    st.integers(1, 5),
)
def test_turning_points_alternate_and_differ_by_more_than_the_dead_band(levels, band, repeat):
    x = np.repeat(np.asarray(levels), repeat)
    turns = turning_points(x, band)
    swings = np.diff(x[turns])
    assert np.all(np.abs(swings) > band)
    assert np.all(swings[1:] * swings[:-1] < 0)


@given(st.floats(0.01, 100.0), st.floats(-5.0, 5.0))
@settings(max_examples=20, deadline=None)
def test_scale_and_offset_of_the_reference_do_not_matter(scale, offset):
    strain = reference((Hold(0, 0, 3), Cycles(0.3, 4.0, 4), Hold(0, 0, 3)), 50.0, noise=0.0)
    plain, changed = find_cycles(strain, 50.0), find_cycles(scale * strain + offset, 50.0)
    assert plain["peak"].tolist() == changed["peak"].tolist()


@pytest.mark.parametrize(
    ("band", "turns"), [(0.3, [0, 1, 2, 3, 4, 5]), (0.6, [0, 3, 4, 5]), (1.2, [0, 3, 4]), (3.5, [])]
)
def test_turning_points_worked_by_hand(band, turns):
    """Ways of 1, 0.5, 1.5, 3 and 1 between the points."""
    assert turning_points(np.array([0.0, 1.0, 0.5, 2.0, -1.0, 0.0]), band).tolist() == turns


def test_a_gap_is_passed_over_and_a_flat_top_turns_where_it_is_left():
    x = np.array([0.0, np.nan, 1.0, 1.0, np.nan, 0.2, 0.2, 0.9])
    assert turning_points(x, 0.5).tolist() == [0, 3, 6, 7]
    assert turning_points(np.full(4, 2.0), 0.5).tolist() == [0]
    assert turning_points(np.full(4, np.nan), 0.5).size == 0


@pytest.mark.parametrize(("times", "moving"), [(10.0, False), (22.0, True)])
def test_a_reference_moves_from_twenty_standard_deviations_of_its_noise_on(times, moving):
    """Alternating steps of one size have no chance in them: 1.4826 x 4 / root 6 = 2.421 of it is their noise."""
    x = np.tile([1.0, -1.0], 500)
    noise = 1.4826 * 4 / np.sqrt(6)
    drift = np.linspace(0, times * noise - 2.0, 1000)
    assert moves(x + drift) == moving


def test_holds_are_found_to_the_sample_with_the_movement_that_led_to_them():
    """Rest, a ramp of 100 samples, a hold, a ramp of 50, a hold."""
    strain = np.concatenate(
        [
            np.zeros(500),
            np.linspace(0, 0.3, 101)[1:],
            np.full(500, 0.3),
            np.linspace(0.3, 0.1, 51)[1:],
            np.full(500, 0.1),
        ]
    )
    found = find_holds(strain, 100.0)
    assert found["strain_from"].tolist() == pytest.approx([0.0, 0.0, 0.3])
    assert found["strain_to"].tolist() == pytest.approx([0.0, 0.3, 0.1])
    # a hold begins where the ramp is within 0.2 % of the range of its level
    assert found["start"].tolist() == [0, 599, 1149]
    assert found["stop"].tolist() == [500, 1100, 1650]
    assert found["move_start"].tolist() == [0, 499, 1099]


def pulses(heights, apart_s=0.5, fs=100.0):
    t = np.arange(round((len(heights) + 2) * apart_s * fs)) / fs
    y = np.zeros_like(t)
    for k, height in enumerate(heights):
        since = t - (k + 1) * apart_s
        y += height * np.where((since >= 0) & (since < 0.1), np.sin(np.pi * np.clip(since, 0, 0.1) / 0.1) ** 2, 0.0)
    return t, y


def test_taps_stand_where_and_as_high_as_they_were_made():
    t, y = pulses([1.0, 0.9, 1.1, 1.0, 0.3, 0.2])
    found = find_taps(y + 7.0 + 1e-6 * np.cos(1e4 * t), 100.0)
    # a pulse of less than a quarter of the large ones is none
    np.testing.assert_allclose(found["peak"] / 100.0, [0.55, 1.05, 1.55, 2.05, 2.55], atol=0.011)
    np.testing.assert_allclose(found["amplitude"], [1.0, 0.9, 1.1, 1.0, 0.3], rtol=0.08)


def test_taps_across_a_gap_are_found_and_a_few_samples_hold_none():
    t, y = pulses([1.0] * 5)
    y = y + 1e-6 * np.cos(1e4 * t)
    y[70:90] = np.nan
    assert len(find_taps(y, 100.0)) == 5
    assert find_taps(y[:7], 100.0).empty


def test_a_low_that_rests_is_narrowed_to_the_end_of_the_rest():
    """Triangles of 400 samples after a rest of 500; the last returns to a rest."""
    triangle = np.concatenate([np.linspace(0, 0.3, 201)[1:], np.linspace(0.3, 0, 201)[1:]])
    strain = np.concatenate([np.zeros(500), np.tile(triangle, 3), np.zeros(500)])
    found = find_cycles(strain, 100.0)
    assert found["peak"].tolist() == [699, 1099, 1499]
    np.testing.assert_allclose(found["start"], [499, 899, 1299], atol=3)
    np.testing.assert_allclose(found["stop"], [899, 1299, 1699], atol=3)
    assert found["run"].tolist() == [0, 0, 0]
    assert found["number"].tolist() == [0, 1, 2]


def test_a_cycle_that_does_not_come_back_is_none():
    """It ends 20 % of its height above its low; with 10 % it is one."""
    for rest, count in ((0.2, 0), (0.1, 1)):
        strain = np.concatenate([np.linspace(0, 1, 201), np.linspace(1, rest, 201)[1:], np.linspace(rest, 1, 201)[1:]])
        assert len(find_cycles(strain, 100.0)) == count
