"""Curves at the analysis rate: what is cut off, bridged, resampled and marked."""

import numpy as np
import pytest
from strainstudy.gait.prepare import ANALYSIS_RATE_HZ, CUTOFF_HZ, KneeCurve, for_landmarks, prepare
from strainstudy.signal.filters import lowpass


def wave(t):
    return 30 - 30 * np.cos(2 * np.pi * 0.8 * t)


@pytest.mark.parametrize("fs", [50.0, 100.0, 128.0, 250.0, 500.0, 1000.0])
def test_a_slow_wave_comes_out_at_a_hundred_samples_a_second(fs):
    t = np.arange(round(20 * fs)) / fs
    found = prepare(wave(t), fs)
    grid = np.arange(found.value.size) / ANALYSIS_RATE_HZ
    assert found.value.size == int(np.floor(t[-1] * 100 + 1e-9)) + 1
    assert found.measured.all()
    inside = slice(100, -100)
    np.testing.assert_allclose(found.value[inside], wave(grid)[inside], atol=0.15)
    speed = 30 * 2 * np.pi * 0.8 * np.sin(2 * np.pi * 0.8 * grid)
    np.testing.assert_allclose(found.speed[inside], speed[inside], atol=1.0)
    np.testing.assert_allclose(found.speed, np.gradient(found.value) * 100)


def test_a_wild_value_is_cut_off_one_range_beyond_the_bulk_of_the_data():
    t = np.arange(2000) / 100
    x = wave(t)
    x[[700, 1200]] = 5000.0, -9000.0
    low, high = np.quantile(x, [0.005, 0.995])
    found = prepare(x, 100.0)
    expected = prepare(np.clip(x, 2 * low - high, 2 * high - low), 100.0)
    np.testing.assert_allclose(found.value, expected.value)
    np.testing.assert_allclose(found.value, lowpass(np.clip(x, 2 * low - high, 2 * high - low), 100.0, CUTOFF_HZ))


def test_less_than_two_seconds_or_nothing_that_moves_is_no_curve():
    t = np.arange(400) / 100
    few = np.where(np.arange(400) < 199, wave(t), np.nan)
    assert prepare(few, 100.0) is None
    few[199] = 1.0
    assert prepare(few, 100.0) is not None
    assert prepare(np.full(400, 3.0), 100.0) is None
    assert prepare(np.full(400, np.nan), 100.0) is None


@pytest.mark.parametrize(("fs", "lost", "missing"), [
    (100.0, [500, 501], [500, 501]), (1000.0, [5003], [500]), (1000.0, [5000, 5010], [500, 501]),
    (50.0, [250], [499, 500, 501]), (150.0, [751], [501]),
])  # fmt: skip
def test_grid_samples_made_of_lost_data_are_marked(fs, lost, missing):
    t = np.arange(round(20 * fs)) / fs
    x = wave(t)
    x[lost] = np.nan
    found = prepare(x, fs)
    assert np.flatnonzero(~found.measured).tolist() == missing
    np.testing.assert_allclose(found.value, prepare(wave(t), fs).value, atol=1.0)


def test_a_slow_recording_is_not_filtered():
    t = np.arange(300) / 15.0
    found = prepare(wave(t), 15.0)
    np.testing.assert_allclose(found.value[::20], wave(np.arange(found.value.size)[::20] / 100), atol=0.05)


@pytest.mark.parametrize(("stride", "cutoff"), [(0.7, 6.0), (1.0, 5.0), (1.25, 4.0), (2.5, 3.0)])
def test_landmarks_are_read_from_five_harmonics_between_three_and_six_hertz(stride, cutoff):
    rng = np.random.default_rng(1)
    value = np.cumsum(rng.standard_normal(1000))
    curve = KneeCurve(value, np.gradient(value) * 100, np.ones(1000, dtype=bool))
    found = for_landmarks(curve, stride)
    np.testing.assert_allclose(found.value, lowpass(value, 100.0, cutoff))
    np.testing.assert_allclose(found.speed, np.gradient(found.value) * 100)


def test_the_answer_of_a_first_order_sensor_is_undone():
    """A lag of 0.1 s leaves of a wave of 0.8 Hz its size over root(1 + (2 pi 0.8 0.1)^2), late by atan of that."""
    t = np.arange(2000) / 100
    turn = 2 * np.pi * 0.8 * 0.1
    late = 30 - 30 / np.hypot(1, turn) * np.cos(2 * np.pi * 0.8 * t - np.arctan(turn))
    curve = KneeCurve(late, np.gradient(late) * 100, np.ones(2000, dtype=bool))
    np.testing.assert_allclose(for_landmarks(curve, 1.25, 0.1).value[200:-200], wave(t)[200:-200], atol=0.1)


def test_a_turned_curve_is_upside_down_and_keeps_what_was_measured():
    curve = KneeCurve(np.array([1.0, 2.0]), np.array([3.0, 4.0]), np.array([True, False]))
    turned = curve.turned(-1)
    assert (turned.value.tolist(), turned.speed.tolist()) == ([-1.0, -2.0], [-3.0, -4.0])
    assert turned.measured.tolist() == [True, False]
