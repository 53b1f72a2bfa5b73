"""Windows of strides and what is taken over them, against numpy window by window."""

import itertools

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from strainstudy.gait import windows as gait
from strainstudy.gait.window_parameters import FeatureParameters
from strainstudy.gait.windows import POINTS


def side(onset, stride_time):
    onset, stride_time = np.asarray(onset, float), np.broadcast_to(np.asarray(stride_time, float), np.shape(onset))
    nothing = np.full(len(onset), np.nan)
    curves = np.full((len(onset), POINTS), np.nan)
    return gait._Side(onset, stride_time, nothing, nothing, nothing, curves, curves)


def test_strides_that_follow_on_are_one_stretch():
    """A gap of more than a share of the stride parts them, whichever way it goes."""
    share = gait.MAX_GAP_SHARE
    for extra, parts in ((0.9 * share, 1), (1.1 * share, 2), (-1.1 * share, 2)):
        onset = np.concatenate([np.arange(4.0), 4.0 + extra + np.arange(3.0)])
        assert [(run.start, run.stop) for run in gait._stretches(side(onset, 1.0))] == (
            [(0, 7)] if parts == 1 else [(0, 4), (4, 7)]
        )
    assert gait._stretches(side([], 1.0)) == []


@pytest.mark.parametrize(
    ("strides", "windows"),
    [(2, []), (3, [(0, 3)]), (6, [(0, 6)]), (8, [(0, 6), (1, 7), (2, 8)])],
)
def test_windows_roll_stride_by_stride_and_a_short_stretch_is_one(strides, windows):
    how = FeatureParameters(window_strides=6, strides_min=3)
    assert gait._windows(side(np.arange(float(strides)), 1.0), how) == windows


@settings(max_examples=40, deadline=None)
@given(st.integers(0, 10_000), st.integers(1, 9), st.integers(1, 4))
def test_statistics_of_windows_are_those_of_numpy(seed, size, least):
    rng = np.random.default_rng(seed)
    values = rng.normal(5, 1, 14)
    values[rng.random(14) < 0.3] = np.nan
    spans = [(a, min(a + size, 14)) for a in range(0, 14, 3)]
    rows = gait._indices(spans)
    median, (mean, sd) = gait._median(values, rows, least), gait._mean_sd(values, rows, least)
    for k, (a, b) in enumerate(spans):
        own = values[a:b][np.isfinite(values[a:b])]
        if own.size < least:
            assert np.isnan([median[k], mean[k], sd[k]]).all()
            continue
        assert median[k] == pytest.approx(np.median(own))
        assert mean[k] == pytest.approx(own.mean())
        if own.size > 1:
            assert sd[k] == pytest.approx(own.std(ddof=1))


def test_a_mean_curve_and_the_spread_about_it_are_those_of_whole_strides():
    rng = np.random.default_rng(3)
    curves = np.sin(np.linspace(0, 6, POINTS)) + 0.1 * rng.standard_normal((6, POINTS))
    curves[2, 7] = np.nan
    mean, share = gait._mean_curves(curves, gait._indices([(0, 5), (1, 3)]), 2)
    own = curves[[0, 1, 3, 4]]
    np.testing.assert_allclose(mean[0], own.mean(axis=0))
    spread = np.sqrt(((own - own.mean(axis=0)) ** 2).mean(axis=1).sum() / 3)
    assert share[0] == pytest.approx(spread / np.ptp(own.mean(axis=0)))
    assert np.isnan(share[1])
    assert np.isnan(mean[1]).all()


def test_extents_and_means_of_sides_by_hand():
    both = gait._both({"left": np.array([1.0, np.nan, np.nan]), "right": np.array([3.0, 5.0, np.nan])})
    assert both[:2].tolist() == [2.0, 5.0]
    assert np.isnan(both[2])
    curve = np.zeros((1, POINTS))
    curve[0, POINTS // 2 - 1], curve[0, POINTS // 2] = 90.0, 40.0
    curve[0, 3] = -10.0
    assert gait._extent(curve).tolist() == [100.0]
    # the peak of swing is looked for in the second half of the stride
    assert gait._swing_peak(curve).tolist() == [40.0]


def test_curves_are_read_along_each_stride():
    t = np.arange(500) / 100
    strides = pd.DataFrame({"onset": [1.0, 2.5, 4.5], "stride_time": [1.0, 2.0, 1.0]})
    found = gait._over_strides(3 * t, strides, 100.0)
    np.testing.assert_allclose(found[0], 3 * np.linspace(1.0, 2.0, POINTS))
    np.testing.assert_allclose(found[1], 3 * np.linspace(2.5, 4.5, POINTS))
    assert np.isnan(found[2]).any()
    assert np.isnan(gait._over_strides(None, strides, 100.0)).all()


def test_the_index_is_that_of_plotnik_for_each_window():
    """Variability of the phase in percent of its mean plus mean distance from 180 degrees in percent of it."""
    phase = np.array([170.0, 190.0, 185.0, 200.0, 160.0])
    rows = gait._indices([(0, 3), (2, 5)])
    for (a, b), found in zip([(0, 3), (2, 5)], gait._coordination_index(phase, rows, 2), strict=True):
        own = phase[a:b]
        expected = 100 * own.std(ddof=1) / own.mean() + 100 * np.abs(own - 180).mean() / 180
        assert found == pytest.approx(expected)


def test_rows_of_windows_of_unequal_length_are_filled():
    assert gait._indices([(0, 3), (4, 5)]).tolist() == [[0, 1, 2], [4, -1, -1]]
    assert all(a <= b for a, b in itertools.pairwise(gait._indices([(1, 4)])[0].tolist()))
