"""Confidence intervals."""

import math

import numpy as np
import pytest
import scipy.stats
from hypothesis import given, settings
from hypothesis import strategies as st
from statsmodels.stats.proportion import proportion_confint
from strainstudy.stats.intervals import (
    _percentiles,
    cluster_bootstrap,
    no_interval,
    rate_interval,
    t_interval,
    wilson,
)


@pytest.mark.parametrize(
    ("successes", "n", "low", "high"),
    [(81, 263, 0.2553, 0.3662), (15, 148, 0.0624, 0.1605), (0, 20, 0.0, 0.1611), (1, 29, 0.0061, 0.1718)],
)
def test_wilson_equals_the_examples_of_newcombe(successes, n, low, high):
    """Newcombe RG 1998 Stat Med 17:857-872, method 3 (printed limits from memory, 96 % sure; computed equal)."""
    found = wilson(successes, n)
    assert (round(found.low, 4), round(found.high, 4)) == (low, high)


@pytest.mark.parametrize(
    ("successes", "n", "low", "high"),
    [(9, 10, 0.59585, 0.98212), (10, 10, 0.72247, 1.0), (95, 100, 0.88825, 0.97846)],
)
def test_wilson_for_counts_as_studies_have_them(successes, n, low, high):
    """Computed from the formula of Wilson 1927."""
    found = wilson(successes, n)
    assert found.low == pytest.approx(low, abs=5e-6)
    assert found.high == pytest.approx(high, abs=5e-6)


@given(
    st.integers(1, 2000).flatmap(lambda n: st.tuples(st.integers(0, n), st.just(n))), st.sampled_from([0.8, 0.95, 0.99])
)
def test_wilson_equals_statsmodels(counts, level):
    """Statsmodels ``proportion_confint(method="wilson")`` is the reference."""
    found = wilson(*counts, level=level)
    low, high = proportion_confint(*counts, alpha=1 - level, method="wilson")
    assert found.low == pytest.approx(low, abs=1e-12)
    assert found.high == pytest.approx(high, abs=1e-12)


def test_nothing_counted_gives_no_interval_and_says_so():
    found = wilson(0, 0)
    assert math.isnan(found.low)
    assert found.method == "none: nothing was counted"
    assert rate_interval(0, 0).method == "none: no time was observed"
    assert no_interval("a reason").method == "none: a reason"


def test_more_successes_than_trials_are_refused():
    with pytest.raises(ValueError, match="between 0 and n"):
        wilson(3, 2)


@pytest.mark.parametrize(("count", "low", "high"), [(0, 0.0, 3.6889), (1, 0.0253, 5.5716), (10, 4.7954, 18.3904)])
def test_poisson_limits_equal_the_table_of_garwood(count, low, high):
    """Garwood F 1936 Biometrika 28:437-442 (table, from memory, 95 % sure; the limits solve the Poisson tails)."""
    found = rate_interval(count, 1.0)
    assert found.low == pytest.approx(low, abs=5e-5)
    assert found.high == pytest.approx(high, abs=5e-5)
    if count:
        assert scipy.stats.poisson.sf(count - 1, found.low) == pytest.approx(0.025)
    assert scipy.stats.poisson.cdf(count, found.high) == pytest.approx(0.025)


def test_a_rate_is_per_unit_of_exposure():
    assert rate_interval(10, 4.0).high == pytest.approx(rate_interval(10, 1.0).high / 4)


@given(st.lists(st.floats(-1e3, 1e3), min_size=2, max_size=30))
def test_the_t_interval_equals_scipy(values):
    """scipy.stats.ttest_1samp(...).confidence_interval is the reference."""
    found = t_interval(values)
    if np.std(values) > 1e-9:
        expected = scipy.stats.ttest_1samp(values, 0).confidence_interval()
        assert (found.low, found.high) == (
            pytest.approx(expected.low, abs=1e-9),
            pytest.approx(expected.high, abs=1e-9),
        )
    assert t_interval([1.0, math.nan]).method == "none: fewer than 2 values"


def ratio(sums):
    return sums[:, 0] / sums[:, 1]


def clusters(seed, n=25):
    rng = np.random.default_rng(seed)
    size = rng.integers(20, 60, n).astype(float)
    return np.column_stack([rng.binomial(size.astype(int), rng.beta(18, 2, n)), size])


@pytest.mark.parametrize("method", ["percentile", "bca"])
def test_the_cluster_bootstrap_agrees_with_scipy(method):
    """scipy.stats.bootstrap on paired clusters is the reference; both have sampling error of the resamples."""
    table = clusters(1)
    found = cluster_bootstrap(table, ratio, draws=40000, seed=4, method=method, expand=False)
    expected = scipy.stats.bootstrap(
        (table[:, 0], table[:, 1]),
        lambda a, b, axis=-1: a.sum(axis=axis) / b.sum(axis=axis),
        paired=True,
        vectorized=True,
        n_resamples=40000,
        method=method.replace("bca", "BCa"),
        random_state=np.random.default_rng(5),
    ).confidence_interval
    assert found.low == pytest.approx(expected.low, abs=1.5e-3)
    assert found.high == pytest.approx(expected.high, abs=1.5e-3)


def test_the_correction_for_skewness_is_that_of_scipy_where_it_matters():
    """A mean of very skewed numbers; without the acceleration the upper limit would lie a sixth of the width lower."""
    x = np.random.default_rng(7).lognormal(0.0, 1.5, 20)
    found = cluster_bootstrap(np.column_stack([x, np.ones(20)]), ratio, draws=40000, seed=4, method="bca", expand=False)
    expected = scipy.stats.bootstrap(
        (x,), np.mean, n_resamples=40000, method="BCa", random_state=np.random.default_rng(5)
    ).confidence_interval
    width = expected.high - expected.low
    assert found.low == pytest.approx(expected.low, abs=0.01 * width)
    assert found.high == pytest.approx(expected.high, abs=0.015 * width)


def test_the_same_seed_gives_the_same_limits_and_another_seed_others():
    table = clusters(2)
    first = cluster_bootstrap(table, ratio, draws=500, seed=9)
    assert first == cluster_bootstrap(table, ratio, draws=500, seed=9)
    assert first != cluster_bootstrap(table, ratio, draws=500, seed=10)


@pytest.mark.parametrize("n", [4, 12])
def test_for_few_people_percentiles_are_those_of_students_t_and_one_degree_less(n):
    """Hesterberg 2015, Am Stat 69:371-386: the normal quantile is that of t, times the square root of n / (n - 1)."""
    table = clusters(6, n=n)
    reach = scipy.stats.t.ppf(0.95, n - 1) * math.sqrt(n / (n - 1))
    widened = cluster_bootstrap(table, ratio, draws=2000, seed=3, level=0.9, method="percentile")
    plain = cluster_bootstrap(
        table, ratio, draws=2000, seed=3, level=2 * scipy.stats.norm.cdf(reach) - 1, method="percentile", expand=False
    )
    assert (widened.low, widened.high) == pytest.approx((plain.low, plain.high), abs=1e-12)


def test_two_participants_give_no_interval():
    found = cluster_bootstrap(clusters(3, n=2), ratio, draws=200, seed=1)
    assert found.method == "none: fewer than 3 participants"
    assert math.isnan(found.high)


def test_a_statistic_that_often_does_not_exist_gives_no_interval():
    table = np.array([[1.0, 2.0], [0.0, 0.0], [0.0, 0.0], [0.0, 0.0]])
    assert "does not exist" in cluster_bootstrap(table, ratio, draws=500, seed=1).method


def test_people_who_all_score_the_same_give_no_interval_instead_of_one_without_width():
    found = cluster_bootstrap(np.array([[5.0, 10.0]] * 6), ratio, draws=200, seed=1)
    assert math.isnan(found.low)
    assert found.method == "none: no participant differs, so that resampling shows no spread"


def test_where_the_correction_does_not_exist_plain_percentiles_are_used_and_named():
    """The share of people seen at least once: leaving out any one changes it alike, so that no skewness is known."""
    found = cluster_bootstrap(np.eye(5), lambda sums: (sums > 0).mean(axis=1), draws=400, seed=1)
    assert found.method == "bootstrap over participants (percentile)"
    assert found.low < found.high


def test_expansion_widens_limits_of_few_people_and_hardly_those_of_many():
    """Hesterberg TC 2015 Am Stat 69:371-386, section 5.3 (from memory, 80 % sure of the section)."""
    for n, least, most in ((6, 1.15, 2.5), (200, 0.97, 1.06)):
        table = clusters(4, n=n)
        plain = cluster_bootstrap(table, ratio, draws=4000, seed=1, expand=False)
        wide = cluster_bootstrap(table, ratio, draws=4000, seed=1)
        assert least < (wide.high - wide.low) / (plain.high - plain.low) < most


def test_limits_hold_the_truth_about_as_often_as_they_say():
    """Simulation: 12 people whose detection rates differ (beta with mean 0.9); 95 % limits over 150 studies."""
    hits = 0
    for study in range(150):
        rng = np.random.default_rng(study)
        size = rng.integers(30, 60, 12)
        table = np.column_stack([rng.binomial(size, rng.beta(18, 2, 12)), size])
        found = cluster_bootstrap(table, ratio, draws=400, seed=1)
        hits += found.low <= 0.9 <= found.high
    assert 0.88 <= hits / 150 <= 1.0


@settings(max_examples=25, deadline=None)
@given(st.lists(st.tuples(st.integers(0, 20), st.integers(1, 20)), min_size=3, max_size=8))
def test_limits_of_a_proportion_stay_between_0_and_1(people):
    table = np.array([(a, a + b) for a, b in people], dtype=float)
    found = cluster_bootstrap(table, ratio, draws=200, seed=1)
    assert found.method.startswith("none: no participant differs") or 0 <= found.low <= found.high <= 1


@given(
    st.lists(st.floats(-1e6, 1e6), min_size=1, max_size=40),
    st.lists(st.floats(0, 1), min_size=2, max_size=2),
)
def test_percentiles_are_those_of_numpy_to_the_last_bit(values, levels):
    found = _percentiles(np.array(values), np.array(levels))
    assert np.array(found).tobytes() == np.quantile(np.array(values), levels).tobytes()
