"""The parts of the drift curve against dense algebra and worked numbers."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from strainstudy.signal import drift
from strainstudy.signal.drift import central_drift, resting_drift


def dense(level, weight, bending, moving, prior):
    """Least squares of curve and offset by numpy, every term a row: data, bending, flatness, prior of the offset."""
    n = len(level)
    root = np.sqrt(weight)
    data = np.column_stack([np.diag(root), root * moving])
    second = np.column_stack([np.diff(np.eye(n), 2, axis=0), np.zeros(n - 2)]) * np.sqrt(bending)
    first = np.column_stack([np.diff(np.eye(n), axis=0), np.zeros(n - 1)]) * 0.1  # flatness 0.01
    own = np.append(np.zeros(n), 1.0)[None, :]
    rows = np.vstack([data, second, first, own])
    right = np.concatenate([root * level, np.zeros(2 * n - 3), [prior]])
    found = np.linalg.lstsq(rows, right, rcond=None)[0]
    return found[:-1], found[-1]


@settings(max_examples=30, deadline=None)
@given(st.integers(0, 10_000), st.integers(3, 40), st.floats(0.1, 100), st.floats(-2, 2))
def test_curve_and_offset_are_those_of_dense_least_squares(seed, n, bending, prior):
    rng = np.random.default_rng(seed)
    level, weight = rng.normal(0, 3, n), rng.uniform(0.1, 1, n)
    moving = (rng.random(n) < 0.5).astype(float)
    curve, offset = drift._smooth(level, weight, bending, moving, prior)
    expected, own = dense(level, weight, bending, moving, prior)
    np.testing.assert_allclose(curve, expected, atol=1e-6)
    assert offset == pytest.approx(own, abs=1e-6)


def test_two_levels_give_their_weighted_mean():
    curve, offset = drift._smooth(np.array([1.0, 4.0]), np.array([1.0, 2.0]), 1.0, np.zeros(2), 0.5)
    assert curve.tolist() == [3.0, 3.0]
    assert offset == 0.0


@pytest.mark.parametrize("period", [20.0, 60.0])
def test_an_oscillation_of_the_shortest_period_passes_with_half_its_size(period):
    """Whittaker smoother: gain 1 / (1 + lambda omega^4) for slow oscillations, lambda omega^4 = 1 there."""
    n = np.arange(round(12 * period))
    wave = np.cos(2 * np.pi * n / period)
    curve, _ = drift._smooth(wave, np.ones(n.size), drift._bending(period), np.zeros(n.size), 0.0)
    inner = slice(round(4 * period), round(8 * period))
    assert curve[inner].max() == pytest.approx(0.5, abs=0.01)


def test_reduction_takes_means_of_a_twentieth_of_a_second_over_what_is_there():
    x = np.arange(23.0)
    x[[4, 10, 11, 12, 13, 14]] = np.nan
    reduced, rate = drift._reduced(x, 100.0)
    assert rate == 20.0
    np.testing.assert_array_equal(reduced, [1.5, 7.0, np.nan, 17.0])
    whole, _ = drift._reduced(np.arange(20.0), 100.0)
    np.testing.assert_array_equal(whole, [2.0, 7.0, 12.0, 17.0])
    assert drift._reduced(np.arange(3.0), 10.0)[1] == 10.0
    assert drift._reduced(np.arange(3.0), 100.0)[0].size == 0


def test_windows_lie_around_their_centres_and_quantiles_are_of_the_nearest_rank():
    """Numpy's quantile by the closest observation is the reference."""
    rng = np.random.default_rng(3)
    x = rng.normal(size=200)
    x[rng.random(200) < 0.2] = np.nan
    centres = np.arange(0, 200, 7)
    ordered = drift._windows(x, centres, 21)
    assert ordered.shape == (centres.size, 21)
    shares = (0.05, 0.5, 0.95)
    for q, found in zip(shares, drift._quantiles(ordered, *shares), strict=True):
        for at, value in zip(centres, found, strict=True):
            own = x[max(at - 10, 0) : at + 11]
            own = np.sort(own[np.isfinite(own)])
            assert value == own[round(q * (own.size - 1))]
    (nothing,) = drift._quantiles(np.full((1, 5), np.nan), 0.5)
    assert np.isnan(nothing).all()


@settings(max_examples=30, deadline=None)
@given(st.lists(st.floats(-100, 100), min_size=3, max_size=20))
def test_slope_is_that_of_numpys_line(level):
    assert drift._slope(np.array(level)) == pytest.approx(np.polyfit(range(len(level)), level, 1)[0], abs=1e-8)
    assert drift._slope(np.array(level[:2])) == 0.0


def test_heights_are_steps_between_units_with_drift_taken_off():
    """Three holds at 0, 40 and 10 on a drift of 0.5 a node; ways of 3 and 2 nodes."""
    height = np.concatenate([np.full(6, 0.0), [13, 26, 30], np.full(8, 40.0), [20, 15], np.full(5, 10.0)])
    level = height + 0.5 * np.arange(height.size)
    units = np.array([[0, 6], [9, 17], [19, 24]])
    nothing = np.zeros(height.size)
    flag = np.ones(height.size, dtype=bool)
    nodes = drift._Nodes(np.arange(height.size), level, nothing, nothing, flag, flag, 40.0, 0.5)
    np.testing.assert_allclose(drift._heights(nodes, units), [0.0, 40.0, 10.0], atol=1e-9)


def test_the_lowest_height_that_lasts_is_no_passing_dip():
    heights, seconds = np.array([-5.0, 0.0, 0.4, 30.0]), np.array([2.0, 30.0, 10.0, 60.0])
    assert drift._lowest_lasting(heights, seconds, 1.0) == pytest.approx(4.0 / 40.0)
    assert drift._lowest_lasting(heights, np.array([20.0, 30.0, 10.0, 60.0]), 1.0) == -5.0
    # a tenth of the time is enough
    assert drift._lowest_lasting(np.array([-5.0, 3.0]), np.array([1.0, 9.0]), 1.0) == -5.0
    assert drift._lowest_lasting(np.array([-5.0, 3.0]), np.array([0.99, 9.01]), 1.0) == 3.0


@pytest.mark.parametrize("fs", [50.0, 100.0])
def test_a_straight_drift_of_a_still_signal_comes_back_as_it_is(fs):
    """What is penalised is bending: a line is free but for the slight pull to flatness."""
    t = np.arange(round(60 * fs)) / fs
    line = 3.0 + 0.2 * t
    for found in (resting_drift(line, fs, shortest_period_s=20, end=1), central_drift(line, fs, shortest_period_s=20)):
        np.testing.assert_allclose(
            found.curve[t.size // 10 : -t.size // 10], line[t.size // 10 : -t.size // 10], atol=0.15
        )


def test_the_span_is_that_of_the_movement():
    """A movement of 60 degrees up and down within three seconds spans about that."""
    t = np.arange(60 * 50) / 50
    wave = 30 * (1 - np.cos(2 * np.pi * t / 2))
    assert resting_drift(wave, 50.0, shortest_period_s=60).span == pytest.approx(60.0, rel=0.03)


@pytest.mark.parametrize(("share", "end"), [(0.25, 1), (0.75, -1)])
def test_walking_rests_at_the_end_near_which_it_spends_its_time(share, end):
    """The median of a healthy stride lies a quarter of its span above its lowest (Schwartz et al. 2008)."""
    t = np.arange(60 * 50) / 50
    low = (1 + np.cos(2 * np.pi * t / 1.1)) / 2
    power = np.log(share) / np.log(0.5)
    found = resting_drift(60 * low**power, 50.0, shortest_period_s=60)
    assert found.end == end


def test_a_choice_of_end_fits_ill_by_what_lies_beneath_rest_and_by_where_it_begins_and_ends():
    """Still for 60 s at 0, 5 s at -20, 35 s at 0: a twentieth of the time beneath, of a span of 40."""

    def misfit(first, dip, last):
        level = np.concatenate([np.full(60, first), [0.0, 0.0], np.full(5, dip), [0.0, 0.0], np.full(35, last)])
        still = np.ones(level.size, dtype=bool)
        still[[60, 61, 67, 68]] = False
        trust = np.where(still, 1.0, 1e-3)
        nodes = drift._Nodes(np.arange(level.size), level, 0 * level, trust, still, still | True, 40.0, 0.5)
        return drift._rest_curve(nodes, drift._bending(60.0))[1]

    assert misfit(0.0, -20.0, 0.0) == pytest.approx(0.05 * 40)
    assert misfit(0.0, 20.0, 0.0) == pytest.approx(0.0)
    # away from rest at the start counts in full, at the end by half
    assert misfit(30.0, 0.0, 0.0) == pytest.approx(30.0)
    assert misfit(0.0, 0.0, 30.0) == pytest.approx(15.0)
