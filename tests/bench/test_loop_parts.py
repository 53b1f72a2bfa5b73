"""Lines through the middle of loops against numpy's weighted fits, and what a delay's error adds to hysteresis."""

import numpy as np
import pandas as pd
import pytest
import statsmodels.api as sm
from scipy import stats
from strainstudy.bench import loops
from strainstudy.bench.characterise import _detection_limit
from strainstudy.bench.cycles import find_cycles
from strainstudy.bench.intervals import Estimate, effective_dof, ratio_of_means, slope
from strainstudy.bench.lag import NOT_SEPARABLE, Lag, estimate_lag, identifiable_by, loop_basis
from strainstudy_simulator.bench import Cycles, Hold, run_stage

GRID = np.linspace(0, 1, 81)
WEIGHT = np.where((GRID == 0) | (GRID == 1), 0.5, 1.0)


def curves(seed=0, n=4):
    rng = np.random.default_rng(seed)
    return np.array([np.polyval(rng.normal(size=5), GRID) for _ in range(n)])


def line(middle, weight):
    return np.polyfit(GRID, middle, 1, w=np.sqrt(weight))


def test_gauge_factors_of_parts_are_slopes_of_weighted_lines():
    """numpy.polyfit with the trapezoid rule's weights; strain spans of the cycles differ."""
    middle, span = curves(), np.array([0.1, 0.2, 0.3, 0.4])
    for low, high in ((0.0, 1.0), (0.25, 0.5)):
        inside = (low - 1e-9 <= GRID) & (high + 1e-9 >= GRID)
        weight = np.ones(inside.sum())
        weight[[0, -1]] = 0.5
        expected = [np.polyfit(GRID[inside], m[inside], 1, w=np.sqrt(weight))[0] for m in middle] / span
        np.testing.assert_allclose(loops._slopes(middle, span, low, high), expected)


def test_deviations_are_from_the_line_through_the_ends_and_from_the_least_squares_line():
    """IEC 61298-2, ISA-37.1 (from memory): terminal-based and least-squares linearity."""
    middle = curves()
    for own, ends, least in zip(
        middle, loops._terminal_deviation(middle), loops._least_squares_deviation(middle), strict=True
    ):
        np.testing.assert_allclose(ends, own - np.interp(GRID, [0, 1], own[[0, -1]]), atol=1e-12)
        np.testing.assert_allclose(least, own - np.polyval(line(own, WEIGHT), GRID), atol=1e-9)


def test_the_largest_deviation_is_taken_where_the_mean_curve_has_it():
    shape = np.sin(np.pi * GRID) * (1 + GRID)
    rng = np.random.default_rng(1)
    sizes = 2.0 + 0.1 * rng.standard_normal(6)
    span = np.full(6, 4.0)
    place = int(np.argmax(shape))
    expected = 100 * sizes * shape[place] / 4.0
    found = loops._largest(-sizes[:, None] * shape, span)
    low, high = stats.t.interval(0.95, 5, loc=expected.mean(), scale=stats.sem(expected))
    assert found == pytest.approx((expected.mean(), low, high))
    # mid-range stands in unless another place is wider beyond two standard errors
    middle = loops._largest(sizes[:, None] * shape, span, middle_first=True)
    assert middle.value == pytest.approx(expected.mean())
    noisy = 2.0 + 0.02 * rng.standard_normal((6, 81))
    flat = loops._largest(noisy, span, middle_first=True)
    assert flat.value == pytest.approx(100 * noisy[:, 40].mean() / 4.0)


def test_what_the_delay_is_not_known_to_widens_hysteresis_in_squares():
    """A delay of d opens a loop by 2 d / half cycle of the span; its error is 1.96 standard errors."""
    lag = Lag(Estimate(0.1, 0.1 - 0.0392, 0.1 + 0.0392), "cycles with corners")
    assert lag.standard_error == pytest.approx(0.02)
    extra = 100 * 2 * 1.96 * 0.02 / 2.0
    found = loops._with_lag(Estimate(10.0, 9.0, 12.0), lag, 2.0)
    assert found == pytest.approx((10.0, 10.0 - np.hypot(1, extra), 10.0 + np.hypot(2, extra)))
    assert loops._with_lag(Estimate(1.0, 0.9, 1.1), lag, 2.0).low == 0.0
    unknown = Lag(Estimate(), "none")
    assert (unknown.seconds, unknown.standard_error) == (0.0, 0.0)


def test_a_closed_loop_is_straight_between_its_knots_and_shares_its_ends():
    u = np.array([0.0, 0.125, 0.25, 0.5, 0.875, 1.0, 1.2, -0.1])
    up, down = loop_basis(u, np.ones(8), 5), loop_basis(u, -np.ones(8), 5)
    assert up.shape == (8, 8)
    knots = np.array([2.0, 3.0, 5.0, 4.0, 1.0])
    weights = np.concatenate([knots[[0, -1]], knots[1:-1], np.zeros(3)])
    expected = np.interp(np.clip(u, 0, 1), np.linspace(0, 1, 5), knots)
    np.testing.assert_allclose(up @ weights, expected)
    np.testing.assert_allclose(down @ np.concatenate([knots[[0, -1]], np.zeros(3), knots[1:-1]]), expected)


@pytest.mark.parametrize(
    ("program", "method"),
    [
        ((Cycles(0.3, 4.0, 5),), "cycles with corners"),
        ((Cycles(0.3, 4.0, 5, "sine"),), NOT_SEPARABLE),
        ((Cycles(0.3, 4.0, 4, "sine"), Cycles(0.3, 2.4, 4, "sine")), "cycles at several speeds"),
        ((Cycles(0.3, 4.0, 4, "sine"), Cycles(0.3, 3.0, 4, "sine")), NOT_SEPARABLE),
    ],
)
def test_a_protocol_tells_a_delay_from_hysteresis_by_corners_or_speeds_1_5_apart(program, method):
    run = run_stage((Hold(0, 0, 3), *program, Hold(0, 0, 3)), 100.0, np.random.default_rng(0))
    reference = run.reference_percent / 100
    assert identifiable_by(reference, find_cycles(reference, 100.0)) == method


def test_the_error_of_a_slope_is_widened_for_what_its_residuals_have_in_common():
    """Statsmodels' standard error, times (1 + r) / (1 - r) in squares (Bayley & Hammersley 1946), with fewer degrees of
    freedom by that; r by its definition, corrected for few cycles.
    """
    rng = np.random.default_rng(3)
    e = np.convolve(rng.standard_normal(43), [1, 0.8, 0.6, 0.4], mode="valid")
    x = np.arange(40.0)
    y = 0.3 * x + e
    fit = sm.OLS(y, sm.add_constant(x)).fit()
    r = np.clip((np.sum(fit.resid[1:] * fit.resid[:-1]) / np.sum(fit.resid**2) * 40 + 2) / 36, 0, 0.9)
    assert 0.3 < r < 0.9
    inflation = (1 + r) / (1 - r)
    half = stats.t.ppf(0.975, 40 / inflation - 2) * fit.bse[1] * np.sqrt(inflation)
    found = slope(x, y)
    assert found == pytest.approx((fit.params[1], fit.params[1] - half, fit.params[1] + half))


def test_ratio_of_means_has_the_freedom_of_welch_and_satterthwaite():
    """Variance of a logarithm of a mean by the delta method; degrees of freedom as scipy's Welch test has them."""
    rng = np.random.default_rng(5)
    a, b = rng.normal(10, 1.5, 5), rng.normal(4, 0.4, 9)
    scaled = stats.ttest_ind(a / a.mean(), b / b.mean(), equal_var=False)
    error = np.sqrt(a.var(ddof=1) / 5 / a.mean() ** 2 + b.var(ddof=1) / 9 / b.mean() ** 2)
    half = stats.t.ppf(0.975, scaled.df) * error
    ratio = a.mean() / b.mean()
    assert ratio_of_means(a, b) == pytest.approx((ratio, ratio * np.exp(-half), ratio * np.exp(half)))
    assert np.isnan(ratio_of_means(a[:2], b).low)
    assert ratio_of_means(np.full(3, 6.0), np.full(3, 2.0)) == (3.0, 3.0, 3.0)
    assert np.isnan(ratio_of_means(-a, b).value)


def test_effective_freedom_of_one_point_is_that_of_its_units():
    """One point: m (tr C)^2 / tr C^2 = m exactly, whatever the estimate says beyond it."""
    rng = np.random.default_rng(2)
    one = rng.standard_normal((12, 1))
    assert effective_dof(one - one.mean()) == pytest.approx(11.0)
    assert effective_dof(np.zeros((5, 3))) == 4.0


def test_curve_parts_have_their_strains_slopes_and_squared_correlation():
    rng = np.random.default_rng(7)
    fits, middles = [], []
    for _ in range(5):
        strain = rng.uniform(0.1, 0.3, 400)
        middle = 5.0 * 0.2 * GRID
        fits.append(loops._Fit(middle, 0 * GRID, strain, 5.0 * (strain - 0.1) + 0.05 * rng.standard_normal(400)))
        middles.append(middle)
    table = loops._curve(np.array(middles), fits, np.full(5, 0.1), np.full(5, 0.2), 4)
    assert isinstance(table, pd.DataFrame)
    np.testing.assert_allclose(table["strain_low"], [0.1, 0.15, 0.2, 0.25])
    np.testing.assert_allclose(table["strain_high"], [0.15, 0.2, 0.25, 0.3])
    np.testing.assert_allclose(table["gauge_factor"], 5.0)
    assert (table["n"] == 5).all()
    strain, response = np.concatenate([f.strain for f in fits]), np.concatenate([f.response for f in fits])
    for k, r2 in enumerate(table["r2"]):
        inside = (strain >= 0.1 + 0.05 * k) & (strain <= 0.15 + 0.05 * k)
        assert r2 == pytest.approx(stats.linregress(strain[inside], response[inside]).rvalue ** 2)


def test_a_delay_from_two_speeds_has_limits_as_wide_as_it_scatters():
    """A sensor without hysteresis, 50 ms late, noise of 2 % of the span: eight recordings."""
    program = (Hold(0, 0, 2), Cycles(0.3, 4.0, 3, "sine"), Cycles(0.3, 2.0, 3, "sine"), Hold(0, 0, 2))
    found = []
    for seed in range(8):
        rng = np.random.default_rng(seed)
        run = run_stage(program, 50.0, rng, lag_s=0.05)
        reference = run.reference_percent / 100
        response = 5 * run.strain + 0.03 * rng.standard_normal(run.strain.size)
        found.append(estimate_lag(response, reference, 50.0, find_cycles(reference, 50.0)).estimate)
    values = np.array(found)
    assert values[:, 0].mean() == pytest.approx(0.05, abs=0.005)
    claimed = np.mean(values[:, 2] - values[:, 1]) / (2 * stats.t.ppf(0.975, 5))
    assert 0.4 < claimed / values[:, 0].std(ddof=1) < 2.5
    np.testing.assert_allclose(values[:, 2] - values[:, 0], values[:, 0] - values[:, 1])


def test_the_detection_limit_adds_the_relative_errors_of_noise_and_slope():
    """Three times the noise over the slope of the lowest interval (IUPAC), relative errors in squares as logarithms."""
    from types import SimpleNamespace

    curve = pd.DataFrame({"gauge_factor": [-4.0], "gauge_factor_low": [-4.4], "gauge_factor_high": [-3.6]})
    noise = Estimate(2e-3, 1.6e-3, 2.6e-3)
    found = _detection_limit(noise, SimpleNamespace(curve=curve))
    value = 100 * 3 * 2e-3 / 4
    below, above = np.hypot(np.log(2 / 1.6), 0.1), np.hypot(np.log(2.6 / 2), 0.1)
    assert found == pytest.approx((value, value * np.exp(-below), value * np.exp(above)))
    assert np.isnan(_detection_limit(Estimate(), SimpleNamespace(curve=curve)).value)
    assert np.isnan(_detection_limit(noise, None).value)
