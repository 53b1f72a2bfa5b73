"""Limits of agreement, concordance and repeatability."""

import math

import numpy as np
import pandas as pd
import pingouin
import pytest
import scipy.stats
from hypothesis import given, settings
from hypothesis import strategies as st
from registry import wheel_member
from statsmodels.regression.mixed_linear_model import MixedLM
from strainstudy.stats.agreement import (
    bland_altman,
    bland_altman_repeated,
    concordance,
    within_person_sd,
)

# Bland JM, Altman DG 1986 Lancet 327:307-310, table: peak expiratory flow, two readings by two meters, litres a minute.
WRIGHT = np.array([494, 395, 516, 434, 476, 557, 413, 442, 650, 433, 417, 656, 267, 478, 178, 423, 427], float)
MINI = np.array([512, 430, 520, 428, 500, 600, 364, 380, 658, 445, 432, 626, 260, 477, 259, 350, 451], float)
WRIGHT_2 = np.array([490, 397, 512, 401, 470, 611, 415, 431, 638, 429, 420, 633, 275, 492, 165, 372, 421], float)
MINI_2 = np.array([525, 415, 508, 444, 500, 625, 460, 390, 642, 432, 420, 605, 227, 467, 268, 370, 443], float)

# Bland JM, Altman DG 1999 Stat Methods Med Res 8:135-160, table 4: cardiac output by radionuclide ventriculography and
# impedance cardiography, 60 pairs of 12 people (quoted in open statistical test data).
CARDIAC = {
    1: "7.83 6.57 7.42 5.62 7.89 6.90 7.12 6.57 7.88 6.35",
    2: "6.16 4.06 7.26 4.29 6.71 4.26 6.54 4.09",
    3: "4.75 4.71 5.24 5.50 4.86 5.08 4.78 5.02 6.05 6.01 5.42 5.67",
    4: "4.21 4.14 3.61 4.20 3.72 4.61 3.87 4.68 3.92 5.04",
    5: "3.13 3.03 2.98 2.86 2.85 2.77 3.17 2.46 3.09 2.32 3.12 2.43",
    6: "5.92 5.90 6.42 5.81 5.92 5.70 6.27 5.76",
    7: "7.13 5.09 6.62 4.63 6.58 4.61 6.93 5.09",
    8: "4.54 4.72 4.81 4.61 5.11 4.36 5.29 4.20 5.39 4.36 5.57 4.20",
    9: "4.48 3.17 4.92 3.12 3.97 2.96",
    10: "4.22 4.35 4.65 4.62 4.74 3.16 4.44 3.53 4.50 3.53",
    11: "6.78 7.20 6.07 6.09 6.52 7.00 6.42 7.10 6.41 7.40 5.76 6.80",
    12: "5.06 4.50 4.72 4.20 4.90 3.80 4.80 3.80 4.90 4.20 5.10 4.50",
}
_ROWS = [(person, *pair) for person, text in CARDIAC.items() for pair in np.array(text.split(), float).reshape(-1, 2)]
PERSON, RV, IC = np.array(_ROWS).T


def test_limits_of_agreement_of_the_peak_flow_example():
    """Bland & Altman 1986: mean -2.1, SD 38.8, limits -79.7 and 75.5 with multiplier 2 of the rounded SD."""
    found = bland_altman(WRIGHT, MINI, multiplier=2)
    assert (found.n, found.people) == (17, 17)
    assert found.bias == pytest.approx(-2.117647059)
    assert found.sd == pytest.approx(38.76512987)
    assert (found.low, found.high) == (pytest.approx(-79.64791, abs=5e-6), pytest.approx(75.41261, abs=5e-6))
    assert (found.low, found.high) == (pytest.approx(-79.7, abs=0.1), pytest.approx(75.5, abs=0.1))
    usual = bland_altman(WRIGHT, MINI)
    assert (usual.low, usual.high) == (pytest.approx(-78.09730, abs=5e-6), pytest.approx(73.86201, abs=5e-6))


def test_interval_of_the_bias_of_the_peak_flow_example():
    """Bland & Altman 1986: -22.0 to 17.8 (from memory, 90 % sure); exact -22.05 to 17.81 with t = 2.120."""
    found = bland_altman(WRIGHT, MINI, multiplier=2).bias_interval
    assert (found.low, found.high) == (pytest.approx(-22.05, abs=0.005), pytest.approx(17.81, abs=0.005))


def test_intervals_of_the_limits_of_the_peak_flow_example():
    """Bland & Altman 1986: -114.3 to -45.1 (quoted) and 40.9 to 110.1 (from memory, 90 % sure), of rounded numbers."""
    found = bland_altman(WRIGHT, MINI, multiplier=2)
    assert found.low_interval.low == pytest.approx(-114.17, abs=0.005)
    assert found.low_interval.high == pytest.approx(-45.13, abs=0.005)
    assert found.high_interval.low == pytest.approx(40.89, abs=0.005)
    assert found.high_interval.high == pytest.approx(109.93, abs=0.005)
    assert found.low_interval.low == pytest.approx(-114.3, abs=0.2)


@pytest.mark.parametrize(("first", "second", "printed"), [(WRIGHT, WRIGHT_2, 43.294), (MINI, MINI_2, 56.316)])
def test_the_sd_within_people_gives_the_repeatability_of_the_two_meters(first, second, printed):
    """Two readings each: sum d^2 / n = 2 s_within^2 (Bland & Altman 1999, section 4), of which twice the root is the
    repeatability that Bland & Altman 1986 print as 43.2 and 56.4 (from memory, 80 % sure); exact 43.294 and 56.316.
    """
    sd, freedom = within_person_sd(np.r_[first, second], np.r_[np.arange(17), np.arange(17)])
    assert freedom == 17
    assert 2 * math.sqrt(2) * sd == pytest.approx(printed, abs=5e-4)


def test_limits_agree_with_pingouin_data():
    """Pingouin's example data ``blandaltman``: bias -27.167, SD 34.806, limits -95.39 to 41.05."""
    data = pingouin.read_dataset("blandaltman")
    found = bland_altman(data["A"], data["B"])
    assert found.bias == pytest.approx(-27.167, abs=5e-4)
    assert found.sd == pytest.approx(34.806, abs=5e-4)
    assert (found.low, found.high) == (pytest.approx(-95.39, abs=5e-3), pytest.approx(41.05, abs=5e-3))


def test_limits_of_two_goniometers():
    """Eliasziw M et al. 1994 Phys Ther 74:777-788 (journal from memory): device means of 29 knees; bias 1.391, SD
    1.732, limits -2.00, 4.79.
    """
    path = wheel_member(
        "pyirr", "0.84.1.2", "pyirr/data/gonio.csv", "fd33c1879b6e0861a6dcfe60d6ace152cb381b6d4c7e451d7bf07a3b268237a1"
    )
    data = pd.read_csv(path, index_col=0).to_numpy(float)
    assert data.shape == (29, 6)
    found = bland_altman(data[:, :3].mean(axis=1), data[:, 3:].mean(axis=1))
    assert found.bias == pytest.approx(1.391, abs=5e-4)
    assert found.sd == pytest.approx(1.732, abs=5e-4)
    assert (found.low, found.high) == (pytest.approx(-2.00, abs=5e-3), pytest.approx(4.79, abs=5e-3))
    # Mean square of repeats within knee and device, 0.856, whose root is the standard error of measurement, 0.925.
    sd, freedom = within_person_sd(data.ravel(), np.repeat(np.arange(58), 3))
    assert freedom == 116
    assert sd == pytest.approx(0.925, abs=5e-4)


def test_repeated_pairs_of_the_cardiac_output_example():
    """Bland & Altman 2007 J Biopharm Stat 17:571-582, section 3: MSW 0.170714026, variance 0.98133606, SD 0.99062408,
    bias 0.6021667, limits -1.3394565 and 2.5437899 (quoted in open statistical test data).
    """
    found = bland_altman_repeated(RV, IC, PERSON)
    assert (found.n, found.people) == (60, 12)
    assert found.sd_within**2 == pytest.approx(0.170714026, abs=5e-8)
    assert found.sd_between**2 == pytest.approx((4.2090856 - 0.170714026) / 4.9818182, rel=1e-6)
    assert found.sd == pytest.approx(0.99062408, abs=1e-7)
    assert found.bias == pytest.approx(0.6021667, abs=1e-7)
    assert (found.low, found.high) == (pytest.approx(-1.3394565, abs=1e-6), pytest.approx(2.5437899, abs=1e-6))


def test_variances_within_people_of_the_cardiac_output_example():
    """Bland & Altman 1999, section 5.2: variances within people 0.1072 and 0.1379 (quoted)."""
    assert within_person_sd(RV, PERSON)[0] ** 2 == pytest.approx(0.1072278, abs=5e-8)
    assert within_person_sd(IC, PERSON)[0] ** 2 == pytest.approx(0.1378741, abs=5e-8)


def test_variance_parts_agree_with_a_mixed_model_where_people_have_equally_many_pairs():
    """Statsmodels MixedLM by restricted likelihood equals the analysis of variance for balanced data."""
    rng = np.random.default_rng(8)
    person = np.repeat(np.arange(15), 4)
    d = 0.4 + rng.normal(0, 0.9, 15)[person] + rng.normal(0, 0.5, 60)
    found = bland_altman_repeated(d, np.zeros(60), person)
    fit = MixedLM(d, np.ones((60, 1)), groups=person).fit(reml=True)
    assert found.bias == pytest.approx(float(fit.fe_params[0]), abs=1e-6)
    assert found.sd_within**2 == pytest.approx(float(fit.scale), rel=1e-3)
    assert found.sd_between**2 == pytest.approx(float(fit.cov_re[0, 0]), rel=1e-3)


@settings(max_examples=40, deadline=None)
@given(st.lists(st.floats(-100, 100), min_size=3, max_size=20, unique=True))
def test_one_pair_per_person_gives_the_plain_limits(differences):
    d = np.array(differences)
    plain = bland_altman(d, np.zeros(len(d)))
    found = bland_altman_repeated(d, np.zeros(len(d)), np.arange(len(d)))
    assert (found.bias, found.sd, found.low, found.high) == pytest.approx((plain.bias, plain.sd, plain.low, plain.high))
    assert found.bias_interval.low == pytest.approx(plain.bias_interval.low)
    assert math.isnan(found.sd_within)


def test_variance_recovery_gives_the_margin_of_an_open_example():
    """18 pairs, one a person: limits -1.947 and 2.824, outer 90 % bounds -3.0117 and 3.8884 with the normal
    quantile for the mean (example data of an open agreement package, quoted); here Student's t stands for it, which is
    taken out.
    """
    x = np.array(
        [7.83, 7.42, 7.89, 7.12, 6.16, 7.26, 6.71, 4.75, 5.24, 4.86, 4.78, 6.05, 5.42, 4.21, 3.61, 3.72, 3.87, 3.92]
    )
    y = np.array(
        [6.57, 5.62, 6.9, 6.57, 4.06, 4.29, 4.26, 4.71, 5.5, 5.08, 5.02, 6.01, 5.67, 4.14, 4.2, 4.61, 4.68, 5.04]
    )
    found = bland_altman_repeated(x, y, np.arange(18), multiplier=scipy.stats.norm.ppf(0.975), level=0.90)
    assert (round(found.low, 3), round(found.high, 3)) == (-1.947, 2.824)
    se = found.sd / math.sqrt(18)
    instead = (scipy.stats.norm.ppf(0.95) * se) ** 2 - (scipy.stats.t.ppf(0.95, 17) * se) ** 2
    assert found.low - math.sqrt((found.low - found.low_interval.low) ** 2 + instead) == pytest.approx(
        -3.0117, abs=5e-5
    )
    assert found.high + math.sqrt((found.high_interval.high - found.high) ** 2 + instead) == pytest.approx(
        3.8884, abs=5e-5
    )


def test_variance_recovery_follows_its_formula_where_people_have_equally_many_pairs():
    """Zou 2013: the squared margins of the two independent parts of the total variance add, MSB / m with k - 1 and
    (1 - 1/m) MSW with k (m - 1) degrees of freedom; mean squares from scipy's analysis of variance by its F and SSW.
    """
    k, m = 9, 4
    rng = np.random.default_rng(11)
    groups = 0.2 + rng.normal(0, 0.7, (k, 1)) + rng.normal(0, 0.6, (k, m))
    within = float(np.mean(np.var(groups, axis=1, ddof=1)))
    between = float(scipy.stats.f_oneway(*groups).statistic) * within
    parts = ((between / m, k - 1), ((1 - 1 / m) * within, k * (m - 1)))
    total = sum(variance for variance, _ in parts)
    lower = [v * (1 - f / scipy.stats.chi2.ppf(0.975, f)) for v, f in parts]
    upper = [v * (f / scipy.stats.chi2.ppf(0.025, f) - 1) for v, f in parts]
    smallest, largest = math.sqrt(total - math.hypot(*lower)), math.sqrt(total + math.hypot(*upper))
    mean = scipy.stats.t.ppf(0.975, k - 1) * math.sqrt(between / (k * m))
    found = bland_altman_repeated(groups.ravel(), np.zeros(k * m), np.repeat(np.arange(k), m))
    assert found.sd == pytest.approx(math.sqrt(total))
    assert found.bias_interval.high - found.bias == pytest.approx(mean)
    outer, inner = (math.hypot(mean, 1.96 * d) for d in (largest - found.sd, found.sd - smallest))
    assert (found.low_interval.low, found.low_interval.high) == pytest.approx((found.low - outer, found.low + inner))
    assert (found.high_interval.low, found.high_interval.high) == pytest.approx(
        (found.high - inner, found.high + outer)
    )


def test_limits_hold_the_true_limit_about_as_often_as_they_say():
    """Simulation after Zou GY 2013 Stat Methods Med Res 22:630-642: 8 people, 2 to 6 pairs each, 300 studies."""
    rng = np.random.default_rng(5)
    truth = 0.3 + 1.96 * math.hypot(0.8, 0.5)
    hits = {"limit": 0, "bias": 0}
    for _ in range(300):
        person = np.repeat(np.arange(8), rng.integers(2, 7, 8))
        d = 0.3 + rng.normal(0, 0.8, 8)[person] + rng.normal(0, 0.5, len(person))
        found = bland_altman_repeated(d, np.zeros(len(d)), person)
        hits["limit"] += found.high_interval.low <= truth <= found.high_interval.high
        hits["bias"] += found.bias_interval.low <= 0.3 <= found.bias_interval.high
    assert 0.92 <= hits["limit"] / 300 <= 1
    assert 0.92 <= hits["bias"] / 300 <= 1


def test_repeats_of_one_person_do_not_pass_for_many_people():
    """A person measured 100 times tells no more of people than one measured a few times."""
    rng = np.random.default_rng(1)
    shift = rng.normal(0, 2, 5)
    narrow = [bland_altman_repeated(np.repeat(shift, n) + rng.normal(0, 0.1, 5 * n), np.zeros(5 * n),
                                    np.repeat(np.arange(5), n)).bias_interval for n in (3, 100)]  # fmt: skip
    width = [interval.high - interval.low for interval in narrow]
    assert width[1] == pytest.approx(width[0], rel=0.1)


def test_concordance_of_the_peak_flow_example():
    """Lin LI-K 1989 Biometrics 45:255-268, variances with 1/n (computed from the formula)."""
    assert concordance(WRIGHT, MINI).value == pytest.approx(0.942742, abs=5e-7)


@settings(max_examples=50, deadline=None)
@given(st.integers(0, 10_000), st.integers(4, 40), st.floats(-2, 2), st.floats(0.2, 2))
def test_concordance_is_correlation_times_a_bias_factor(seed, n, shift, scale):
    """Lin 1989: rho_c = r C_b with C_b = 2 / (v + 1/v + u^2); numpy's correlation is the reference."""
    rng = np.random.default_rng(seed)
    x = rng.normal(size=n)
    y = shift + scale * x + rng.normal(size=n)
    v = x.std() / y.std()
    u = (x.mean() - y.mean()) / math.sqrt(x.std() * y.std())
    found = concordance(x, y)
    assert found.value == pytest.approx(np.corrcoef(x, y)[0, 1] * 2 / (v + 1 / v + u**2))
    assert -1 <= found.interval.low <= found.value <= found.interval.high <= 1


@pytest.mark.parametrize("shift", [0.0, 0.7, -2.5])
def test_concordance_limits_are_those_of_the_delta_method(shift):
    """Fisher's z as a function of the moments of a bivariate normal, whose covariances are known; n - 2 as in Lin."""
    rng = np.random.default_rng(4)
    x = rng.normal(size=30)
    y = shift + 1.4 * x + rng.normal(size=30)
    n, (sx, sxy, sy) = len(x), np.cov(x, y, ddof=0)[[0, 0, 1], [0, 1, 1]]
    moments = np.array([x.mean() - y.mean(), sx, sy, sxy])
    spread = np.zeros((4, 4))
    spread[0, 0] = sx + sy - 2 * sxy
    spread[1:, 1:] = [
        [2 * sx**2, 2 * sxy**2, 2 * sx * sxy],
        [2 * sxy**2, 2 * sy**2, 2 * sy * sxy],
        [2 * sx * sxy, 2 * sy * sxy, sx * sy + sxy**2],
    ]

    def z(m):
        return math.atanh(2 * m[3] / (m[1] + m[2] + m[0] ** 2))

    steps = 1e-6 * np.eye(4)
    slope = np.array([(z(moments + step) - z(moments - step)) / 2e-6 for step in steps])
    half = scipy.stats.norm.ppf(0.95) * math.sqrt(slope @ spread @ slope / (n - 2))
    found = concordance(x, y, level=0.9).interval
    assert math.atanh(found.low) == pytest.approx(z(moments) - half, rel=1e-6)
    assert math.atanh(found.high) == pytest.approx(z(moments) + half, rel=1e-6)


def test_concordance_limits_hold_the_truth_about_as_often_as_they_say():
    """Simulation: bivariate normal with rho_c = 2 * 0.8 / (1 + 1 + 0.25) = 0.7111, 40 pairs, 400 studies."""
    rng = np.random.default_rng(2)
    truth, hits = 2 * 0.8 / 2.25, 0
    for _ in range(400):
        x, e = rng.normal(size=40), rng.normal(size=40)
        found = concordance(x, 0.5 + 0.8 * x + 0.6 * e).interval
        hits += found.low <= truth <= found.high
    assert 0.91 <= hits / 400 <= 0.985


def test_too_little_data_gives_nan_and_a_reason():
    assert bland_altman([1.0], [2.0]).bias == -1
    assert bland_altman([1.0], [2.0]).low_interval.method == "none: fewer than 2 pairs"
    assert math.isnan(bland_altman([], []).bias)
    assert concordance([1, 2], [1, 2]).interval.method == "none: fewer than 3 pairs"
    assert concordance([1, 1, 1], [1, 2, 3]).interval.method.startswith("none: a method gives the same value")
    assert math.isnan(within_person_sd([1.0, 2.0], ["a", "b"])[0])


def test_pairs_with_nan_are_left_out():
    gap = np.r_[WRIGHT, np.nan]
    assert bland_altman(gap, np.r_[MINI, 1.0]).sd == bland_altman(WRIGHT, MINI).sd


def test_lists_of_unequal_length_are_refused():
    with pytest.raises(ValueError, match="same length"):
        bland_altman([1, 2], [1])
