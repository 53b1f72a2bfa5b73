import os
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from scipy.stats import norm
from strainstudy.signal.filters import lowpass
from strainstudy.signal.hampel import MAD_TO_SD, _deviation, _row_medians, find_spikes, noise_level


def knee(t, stride=1.1):
    """A knee-like wave, smooth from cycle to cycle: a swing wave and a small loading wave."""
    wave = np.zeros_like(t)
    for at, height, width in ((0.72, 55, 0.09), (0.12, 15, 0.07)):
        distance = (t / stride - at + 0.5) % 1 - 0.5
        wave += height * np.exp(-((distance / width) ** 2))
    return wave


def test_the_factor_is_one_over_the_upper_quartile_of_the_normal_distribution():
    """Hampel 1974: 1.4826 makes the median absolute deviation estimate a normal standard deviation."""
    assert pytest.approx(1 / norm.ppf(0.75), rel=1e-14) == MAD_TO_SD


@pytest.mark.parametrize("fs", [50, 100, 1000])
def test_real_peaks_of_walking_are_left_alone(fs):
    t = np.arange(60 * fs) / fs
    assert not find_spikes(knee(t), longest=max(1, int(0.02 * fs))).any()


@pytest.mark.parametrize("fs", [100, 1000])
def test_spikes_are_found_where_they_are_and_nowhere_else(fs):
    t = np.arange(60 * fs) / fs
    rng = np.random.default_rng(3)
    x = knee(t) + 0.2 * rng.normal(size=t.size)
    at = np.arange(137, t.size - 100, 389)
    spiked = x.copy()
    spiked[at] += np.where(rng.random(at.size) < 0.5, 15.0, -15.0)
    found = find_spikes(spiked, longest=max(1, int(0.02 * fs)))
    assert found[at].all()
    assert found.sum() - at.size < 0.005 * t.size


def test_a_spike_of_two_samples_is_found_whole():
    x = np.sin(np.arange(400) / 20)
    x[200:202] += 3
    assert find_spikes(x, longest=2).nonzero()[0].tolist() == [200, 201]


def test_a_wider_burst_is_movement():
    """A piezo-like burst of 60 ms at 1 kHz is longer than any spike."""
    t = np.arange(4000) / 1000
    x = 0.01 * np.random.default_rng(0).normal(size=t.size) + np.exp(-(((t - 2) / 0.02) ** 2))
    assert not find_spikes(x, longest=20)[1950:2050].any()


def test_quantised_rest_is_no_spike():
    """In a constant window the median absolute deviation is 0; a flicker of the last bit must not count."""
    x = np.zeros(2000)
    x[::7] = 1.0
    assert not find_spikes(x, longest=2).any()


def test_missing_samples_are_never_marked_and_do_not_hide_a_spike():
    x = np.sin(np.arange(400) / 20)
    x[100] += 4
    x[104:110] = np.nan
    assert find_spikes(x, longest=2).nonzero()[0].tolist() == [100]


def test_noise_level_of_white_noise_on_a_movement():
    t = np.arange(6000) / 100
    x = knee(t) + np.random.default_rng(1).normal(size=t.size)
    assert noise_level(x) == pytest.approx(1.0, rel=0.15)


def test_too_short_a_signal_has_no_spikes():
    assert not find_spikes([0.0, 9.0, 0.0], longest=1).any()


def test_the_one_sample_spikes_of_a_measured_walk_are_found_and_its_peaks_kept():
    """Pearl et al. 2022, doi 10.21203/rs.3.rs-1902381/v1 (MIT): inertial knee angles with spikes left in."""
    folder = os.environ.get("STRAINSTUDY_REAL_WALKS")
    if not folder:
        pytest.skip("STRAINSTUDY_REAL_WALKS is not set: the measured walks are not at hand")
    walk = pd.read_csv(Path(folder) / "raw" / "01-normal-b.csv")
    x = walk["left_knee_deg"].to_numpy()
    found = find_spikes(x, longest=2)
    jumps = np.minimum(np.abs(np.diff(x))[:-1], np.abs(np.diff(x))[1:])
    opposite = np.sign(np.diff(x))[:-1] != np.sign(np.diff(x))[1:]
    single = (jumps > 10) & opposite
    assert single.sum() >= 3
    assert found[1:-1][single].all()
    assert found.mean() < 0.01
    clean = walk["right_knee_deg"].to_numpy()
    tops = clean > np.quantile(lowpass(clean, 100, 6.0), 0.95)
    assert not find_spikes(clean, longest=2)[tops].any()


@pytest.mark.parametrize("width", [1, 2, 5, 8])
def test_medians_of_rows_are_those_of_numpy(width):
    rows = np.random.default_rng(width).standard_normal((20, width))
    np.testing.assert_allclose(_row_medians(rows.copy()), np.median(rows, axis=1))


def test_a_slope_is_no_deviation_and_its_spread_is_the_scaled_one_about_the_line():
    """Window of 11 about its centre: the way between the medians of its two halves is taken off, six samples apart."""
    rng = np.random.default_rng(6)
    windows = rng.standard_normal((30, 11)) + 3.0 * np.arange(11)
    centres = windows[:, 5].copy()
    rise = (np.median(windows[:, 6:], axis=1) - np.median(windows[:, :5], axis=1)) / 6
    flat = windows - rise[:, None] * np.arange(-5, 6)
    middle = np.median(flat, axis=1)
    away, spread = _deviation(windows.copy(), centres, 5)
    np.testing.assert_allclose(away, np.abs(centres - middle))
    np.testing.assert_allclose(spread, 1.482602218505602 * np.median(np.abs(flat - middle[:, None]), axis=1))


def test_noise_level_is_the_standard_deviation_of_white_noise_and_at_least_half_a_step():
    x = np.random.default_rng(2).standard_normal(200_000)
    assert noise_level(x) == pytest.approx(1.0, rel=0.02)
    # a movement of a straight line does not count, a step of the converter does
    assert noise_level(5.0 * np.arange(2000)) == pytest.approx(2.5)
    assert noise_level(np.repeat(np.arange(300) * 0.2, 8)) == pytest.approx(0.1)
