"""Group differences."""

import io
import math

import numpy as np
import pingouin
import pytest
import scipy.stats
from hypothesis import given, settings
from hypothesis import strategies as st
from registry import wheel_member
from strainstudy.stats.effects import group_difference


@settings(max_examples=40, deadline=None)
@given(st.integers(0, 10_000), st.integers(2, 20), st.integers(2, 20), st.floats(-3, 3))
def test_g_and_the_difference_equal_pingouin_and_scipy(seed, n, m, shift):
    """Pingouin ``compute_effsize(eftype="hedges")`` and scipy's Welch interval are the references."""
    rng = np.random.default_rng(seed)
    x, y = rng.normal(shift, 1, n), rng.normal(0, 2, m)
    found = group_difference(x, y)
    assert found.hedges_g == pytest.approx(pingouin.compute_effsize(x, y, eftype="hedges"), rel=1e-9)
    welch = scipy.stats.ttest_ind(x, y, equal_var=False).confidence_interval()
    assert (found.interval.low, found.interval.high) == (pytest.approx(welch.low), pytest.approx(welch.high))
    assert found.g_interval.low <= found.hedges_g <= found.g_interval.high


def test_the_noncentral_limits_are_where_the_tails_are_two_and_a_half_percent():
    """Steiger JH, Fouladi RT 1997: the limits solve the tails of the noncentral t distribution; scipy's is the
    check.
    """
    rng = np.random.default_rng(0)
    x, y = rng.normal(1, 1, 9), rng.normal(0, 1, 12)
    found = group_difference(x, y)
    scale, correction = math.sqrt(1 / 9 + 1 / 12), 1 - 3 / (4 * 19 - 1)
    t = scipy.stats.ttest_ind(x, y).statistic
    low, high = found.g_interval.low / (correction * scale), found.g_interval.high / (correction * scale)
    assert scipy.stats.nct.sf(t, 19, low) == pytest.approx(0.025, abs=1e-6)
    assert scipy.stats.nct.cdf(t, 19, high) == pytest.approx(0.025, abs=1e-6)


def test_limits_of_g_hold_the_truth_about_as_often_as_they_say():
    """Simulation: true standardised difference 0.8, groups of 6 and 6, 250 studies."""
    rng = np.random.default_rng(6)
    hits = 0
    for _ in range(250):
        found = group_difference(rng.normal(0.8, 1, 6), rng.normal(0, 1, 6)).g_interval
        hits += found.low <= 0.8 <= found.high
    assert 0.91 <= hits / 250 <= 1.0


def test_two_groups_that_do_not_differ_are_not_told_apart():
    """Besier TF et al. 2009 (J Biomech 42:898-905, from memory): stance knee flexion of 15 controls and 26 people with
    patellofemoral pain (data of the wheel's file); the peaks of the first half of stance do not differ, Welch p = 0.45.
    """
    path = wheel_member(
        "spm1d",
        "0.4.55",
        "spm1d/data/datafiles/Besier2009kneeflexion.npz",
        "f4fe1e22238d432700f19b865377cce2151d649ea7a1dacfb22836a2b0f3f464",
    )
    with np.load(io.BytesIO(path.read_bytes())) as data:
        curves, group = data["Y"], data["GROUP"]
    assert curves.shape == (41, 100)
    assert np.bincount(group).tolist() == [15, 26]
    peaks = curves[:, :50].max(axis=1)
    assert (peaks.mean(), peaks.std(ddof=1)) == (pytest.approx(25.1, abs=0.05), pytest.approx(6.0, abs=0.05))
    control, pain = peaks[group == 0], peaks[group == 1]
    assert scipy.stats.ttest_ind(control, pain, equal_var=False).pvalue == pytest.approx(0.45, abs=0.005)
    found = group_difference(control, pain)
    assert found.interval.low < 0 < found.interval.high
    assert found.g_interval.low < 0 < found.g_interval.high


def test_too_few_people_or_no_spread_give_a_reason():
    assert group_difference([1.0], [2.0, 3.0]).interval.method == "none: fewer than 2 participants in a group"
    flat = group_difference([1.0, 1.0], [2.0, 2.0])
    assert flat.difference == -1
    assert flat.g_interval.method == "none: no spread within the groups"
