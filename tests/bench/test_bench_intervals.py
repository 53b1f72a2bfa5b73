"""Intervals over cycles: do 95 % of them hold the truth?"""

import numpy as np
import pandas as pd
import pytest
import statsmodels.api as sm
from scipy import stats
from strainstudy.bench.intervals import (
    Estimate,
    absolute,
    effective_dof,
    mean,
    ratio_of_means,
    repeated,
    slope,
    spread,
)
from strainstudy.bench.loops import _repeatability
from strainstudy.bench.noise import noise_floor


def share(hits: list[bool]) -> float:
    return float(np.mean(hits))


def test_mean_equals_scipys_t_interval():
    x = np.random.default_rng(1).normal(3, 2, 9)
    low, high = stats.t.interval(0.95, 8, loc=x.mean(), scale=stats.sem(x))
    assert mean(x) == pytest.approx((x.mean(), low, high))
    assert np.isnan(mean(x[:2]).low)


def test_slope_equals_ordinary_least_squares_when_residuals_alternate():
    """Statsmodels OLS; alternating residuals have no positive autocorrelation to allow for."""
    x = np.arange(12.0)
    y = 0.3 * x + 0.1 * (-1.0) ** np.arange(12)
    low, high = sm.OLS(y, sm.add_constant(x)).fit().conf_int()[1]
    assert slope(x, y) == pytest.approx((sm.OLS(y, sm.add_constant(x)).fit().params[1], low, high))


@pytest.mark.parametrize("rho", [0.0, 0.5])
def test_slope_interval_covers_with_autocorrelated_cycles(rho):
    rng = np.random.default_rng(5)
    hits = []
    for _ in range(400):
        e = np.zeros(20)
        for k in range(1, 20):
            e[k] = rho * e[k - 1] + rng.standard_normal()
        _, low, high = slope(np.arange(20.0), 0.1 * np.arange(20.0) + e)
        hits.append(low <= 0.1 <= high)
    assert 0.89 <= share(hits) <= 0.995


@pytest.mark.parametrize("correlation", [0.0, 0.5, 0.95])
def test_repeatability_interval_covers_whether_or_not_the_points_of_a_cycle_move_together(correlation):
    rng = np.random.default_rng(7)
    hits = []
    for _ in range(300):
        common = rng.standard_normal((8, 1))
        own = rng.standard_normal((8, 20))
        readings = 100.0 + np.sqrt(correlation) * common + np.sqrt(1 - correlation) * own
        _, low, high = _repeatability(readings, np.arange(8.0), np.zeros(8, dtype=int), 100.0)
        hits.append(low <= 2.0 <= high)
    assert share(hits) >= 0.91


def test_levels_of_two_sessions_are_no_lack_of_repeatability():
    rng = np.random.default_rng(1)
    readings = rng.standard_normal((40, 20))
    readings[20:] += 50.0
    run = np.repeat([0, 1], 20)
    assert _repeatability(readings, np.tile(np.arange(20.0), 2), run, 100.0).value == pytest.approx(2.0, rel=0.1)


def test_effective_freedom_lies_between_units_and_all_numbers():
    rng = np.random.default_rng(0)
    same = np.repeat(rng.standard_normal((10, 1)), 30, axis=1)
    assert effective_dof(same) == pytest.approx(9.0, rel=0.3)
    assert effective_dof(rng.standard_normal((10, 30))) > 30.0


def test_noise_floor_interval_covers_for_white_and_for_filtered_noise():
    for filtered in (False, True):
        hits = []
        for seed in range(150):
            x = np.random.default_rng(seed).standard_normal(1002)
            x = (x[1:-1] + x[:-2] + x[2:]) / np.sqrt(3) if filtered else x[2:]
            _, low, high = noise_floor([(x, 100.0)])
            hits.append(low <= 1.0 <= high)
        assert 0.90 <= share(hits) <= 0.99


def test_noise_floor_leaves_out_slow_creep():
    t = np.arange(2000) / 100.0
    x = np.exp(-t / 5.0) + 0.001 * np.random.default_rng(0).standard_normal(2000)
    assert noise_floor([(x, 100.0)]).value == pytest.approx(0.001, rel=0.08)


def test_ratio_of_means_covers():
    rng = np.random.default_rng(11)
    hits = []
    for _ in range(400):
        _, low, high = ratio_of_means(rng.normal(10, 0.5, 6), rng.normal(2, 0.3, 12))
        hits.append(low <= 5.0 <= high)
    assert 0.92 <= share(hits) <= 0.98


def test_size_of_a_signed_number_reaches_zero_when_zero_is_possible():
    assert absolute(Estimate(0.1, -0.2, 0.4)) == (0.1, 0.0, 0.4)
    assert absolute(Estimate(-3.0, -4.0, -2.0)) == (3.0, 2.0, 4.0)


def test_one_repeat_falls_back_on_its_own_error_and_many_do_not():
    assert repeated(np.array([2.0]), np.array([0.1])) == pytest.approx((2.0, 2.0 - 0.196, 2.0 + 0.196), abs=1e-3)
    x = np.array([1.0, 2.0, 4.0, 3.0])
    assert repeated(x, np.full(4, 1e-9)) == mean(x)


def test_spread_is_the_chi_squared_interval():
    """NIST/SEMATECH e-Handbook 7.2.3.1: ((n-1) s^2 / chi2)."""
    x = pd.Series(np.random.default_rng(2).standard_normal(10))
    value, low, high = spread(x.var(), 9)
    assert value == pytest.approx(x.std())
    assert low == pytest.approx(np.sqrt(9 * x.var() / stats.chi2.ppf(0.975, 9)))
    assert high == pytest.approx(np.sqrt(9 * x.var() / stats.chi2.ppf(0.025, 9)))
