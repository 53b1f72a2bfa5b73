"""Crossing times, time constants and their limits against algebra, dense least squares and the F distribution."""

from itertools import pairwise

import numpy as np
import pytest
from scipy import stats
from strainstudy.bench import holds
from strainstudy.bench.cycles import find_holds
from strainstudy.bench.holds import LN9, HoldSpan, creep_constants, fit_step, step_table

FS = 100.0


def ramp(first, last, before=30, during=100, after=50):
    return np.concatenate([np.full(before, first), np.linspace(first, last, during + 1), np.full(after, last)])


@pytest.mark.parametrize(("first", "last"), [(0.0, 1.0), (3.0, -2.0)])
def test_a_ramp_of_one_second_takes_0_8_s_from_10_to_90_percent(first, last):
    assert holds._crossing_time(ramp(first, last), FS, first, last) == pytest.approx(0.8)
    assert holds._crossing_time(ramp(first, last), 2 * FS, first, last) == pytest.approx(0.4)


def test_a_first_order_answer_takes_ln_9_time_constants():
    values = 1 - np.exp(-np.arange(2000) / (0.25 * 1000.0))
    assert holds._crossing_time(values, 1000.0, 0.0, 1.0) == pytest.approx(LN9 * 0.25, rel=2e-3)


def test_an_overshoot_that_fades_does_not_delay_the_crossing_and_gaps_do_not_either():
    values = ramp(0.0, 1.0)
    over = values + np.where(np.arange(values.size) > 130, 0.3 * np.exp(-(np.arange(values.size) - 131) / 10), 0.0)
    assert holds._crossing_time(over, FS, 0.0, 1.0) == pytest.approx(0.8, abs=0.01)
    gap = values.copy()
    gap[60:90] = np.nan
    assert holds._crossing_time(gap, FS, 0.0, 1.0) == pytest.approx(0.8)


def test_a_sag_after_the_end_level_was_reached_is_no_later_crossing():
    """The response reaches its end level, falls to 0.7 of it for a second and comes back."""
    values = np.concatenate([ramp(0.0, 1.0, after=10), np.full(100, 0.7), np.full(50, 1.0)])
    assert holds._crossing_time(values, FS, 0.0, 1.0) == pytest.approx(0.8)


def test_a_wobble_on_the_way_up_is_evened_out():
    """The best monotone fit replaces a dip by its mean: the crossings of 10 and 90 % stay where they were."""
    values = ramp(0.0, 1.0)
    values[75:85] = values[75:85][::-1]
    assert holds._crossing_time(values, FS, 0.0, 1.0) == pytest.approx(0.8)


def test_a_change_that_was_under_way_before_or_is_not_completed_has_no_crossing_time():
    values = ramp(0.0, 1.0)
    assert np.isnan(holds._crossing_time(values[45:], FS, 0.0, 1.0))
    assert np.isnan(holds._crossing_time(values[:115], FS, 0.0, 1.0))
    assert np.isnan(holds._crossing_time(np.array([0.0, np.nan, 1.0]), FS, 0.0, 1.0))
    assert np.isfinite(holds._crossing_time(np.array([0.0, 0.5, 1.0]), FS, 0.0, 1.0))


def spans(count=2, noise=0.01, seed=4):
    rng = np.random.default_rng(seed)
    t = np.arange(900) / FS
    return [
        HoldSpan(1 - 0.2 * np.exp(-t / 1.5) + 0.1 * np.exp(-t / 0.1) + noise * rng.standard_normal(t.size), FS, 0.1)
        for _ in range(count)
    ]


def test_blocks_hold_every_sample_once_and_have_their_means():
    response = np.arange(900) / FS
    response[100:140] = np.nan
    piece = holds._blocks(HoldSpan(response, FS, 0.1))
    assert piece.weight.sum() == 860
    np.testing.assert_allclose(piece.mean, piece.time)
    assert (piece.weight @ piece.time) == pytest.approx(np.nansum(response))
    np.testing.assert_array_equal(piece.other[:, 0], 1.0)
    assert piece.other.shape[1] == 2
    assert piece.weight @ piece.other[:, 1] == pytest.approx(
        np.exp(-np.arange(900) / FS / 0.1)[np.isfinite(response)].sum()
    )
    assert holds._blocks(HoldSpan(response, FS, 0.004)).other.shape[1] == 1
    # blocks lengthen with time
    assert piece.weight[0] == 1
    assert piece.weight[-1] > 20


def test_misfits_of_one_and_two_exponentials_are_those_of_dense_least_squares():
    pieces = [holds._blocks(hold) for hold in spans()]
    taus = np.array([0.3, 1.5, 6.0])
    one, two, none = holds._profile(pieces, taus)

    def dense(*constants):
        total = 0.0
        for piece in pieces:
            root = np.sqrt(piece.weight)
            terms = np.column_stack([piece.other, *(np.exp(-piece.time / tau) for tau in constants)])
            fitted = terms @ np.linalg.lstsq(root[:, None] * terms, root * piece.mean, rcond=None)[0]
            total += float(piece.weight @ (piece.mean - fitted) ** 2)
        return total

    assert none == pytest.approx(dense())
    np.testing.assert_allclose(one, [dense(tau) for tau in taus])
    for i, first in enumerate(taus):
        for j, second in enumerate(taus):
            expected = dense(first, second) if i != j else dense(first)
            assert two[i, j] == pytest.approx(expected, rel=1e-6)


def test_limits_are_where_the_misfit_has_risen_by_the_f_quantile():
    """A parabola m (1 + c (ln tau - ln 2)^2) has risen by F / dof at ln tau = ln 2 -/+ root(F / (dof c))."""
    taus = np.geomspace(0.05, 80, 3001)
    misfit = 3.0 * (1 + 0.9 * (np.log(taus) - np.log(2.0)) ** 2)
    half = np.sqrt(stats.f.ppf(0.95, 1, 40) / 40 / 0.9)
    found = holds._limits(misfit, taus, 40, 0.95)
    assert found == pytest.approx((2.0, 2 * np.exp(-half), 2 * np.exp(half)), rel=2e-3)
    open_ended = holds._limits(np.where(taus < 2, misfit, 3.0), taus, 40, 0.95)
    assert open_ended.high == np.inf
    assert open_ended.low == pytest.approx(2 * np.exp(-half), rel=2e-3)
    assert holds._limits(np.where(taus > 2, misfit, 3.0), taus, 40, 0.95).low == 0.0


@pytest.mark.parametrize(("gain", "kept"), [(0.98, False), (1.02, True)])
def test_a_further_term_is_kept_beyond_the_0_2_percent_point_of_f(gain, kept):
    after, extra, dof = 5.0, 3, 60
    before = after + gain * extra * after / dof * stats.f.isf(0.002, extra, dof)
    assert holds._lowers(before, after, extra, dof) == kept


def test_the_finer_grid_keeps_the_old_and_spans_a_factor_around_its_places():
    taus = np.geomspace(0.1, 10, 5)
    fine = holds._finer(taus, [2], 1.5)
    assert set(np.round(taus, 9)) <= set(np.round(fine, 9))
    new = np.setdiff1d(np.round(fine, 9), np.round(taus, 9))
    assert (new.min(), new.max()) == pytest.approx((1 / 1.5, 1.5))


def test_limits_of_a_time_constant_hold_it_and_are_as_wide_as_it_scatters():
    found = [creep_constants(spans(seed=seed)).constants for seed in range(25)]
    assert {len(constants) for constants in found} == {1}
    values = np.array([constants[0] for constants in found])
    hits = (values[:, 1] <= 1.5) & (values[:, 2] >= 1.5)
    assert hits.sum() >= 21
    width = np.log(values[:, 2] / values[:, 1]).mean() / (2 * 1.96)
    assert 0.6 < width / np.log(values[:, 0]).std(ddof=1) < 1.7


def stairs(levels, hold_s=10.0, move_s=0.2, fs=FS):
    parts = [np.full(round(hold_s * fs), levels[0])]
    for a, b in pairwise(levels):
        parts += [np.linspace(a, b, round(move_s * fs) + 1)[1:], np.full(round(hold_s * fs), b)]
    return np.concatenate(parts)


def test_steps_of_a_sensor_without_faults_are_those_of_the_bench():
    strain = stairs([0.0, 0.3, 0.1, 0.0])
    table = step_table(5 * strain, strain, FS, find_holds(strain, FS))
    assert table["direction"].tolist() == ["stretch", "release", "release"]
    np.testing.assert_allclose(table["strain_from"], [0.0, 0.3, 0.1], atol=1e-9)
    np.testing.assert_allclose(table["strain_to"], [0.3, 0.1, 0.0], atol=1e-9)
    np.testing.assert_allclose(table["response_from"], [0.0, 1.5, 0.5], atol=1e-9)
    np.testing.assert_allclose(table["response_to"], [1.5, 0.5, 0.0], atol=1e-9)
    np.testing.assert_allclose(table["onset"], [10.2, 20.4, 30.6], atol=0.011)
    np.testing.assert_allclose(table["duration"], 10.0, atol=0.02)
    np.testing.assert_allclose(table["bench_time"], 0.16, atol=0.002)
    np.testing.assert_allclose(table["rise_time"], 0.16, atol=0.002)
    np.testing.assert_allclose(table["delay"], 0.0, atol=2e-3)
    np.testing.assert_allclose(table["creep"], 0.0, atol=1e-6)


def test_a_small_step_is_left_out():
    """Less than a fifth of the range of the reference."""
    strain = stairs([0.0, 0.3, 0.25, 0.15, 0.0])
    table = step_table(5 * strain, strain, FS, find_holds(strain, FS))
    np.testing.assert_allclose(table["strain_to"], [0.3, 0.15, 0.0], atol=1e-9)


def test_creep_is_the_change_in_a_hold_in_percent_of_the_step_and_positive_as_it_goes_on():
    """A response that goes on by 10 % of the step with a time constant of 2 s; read from the start of the hold."""
    strain = stairs([0.0, 0.3, 0.0], hold_s=20.0)
    rng = np.random.default_rng(2)
    response = 5 * strain
    for begin, step in ((2020, 1.5), (4040, -1.5)):
        t = np.clip(np.arange(strain.size) - begin, 0, None) / FS
        response = response + 0.1 * step * (1 - np.exp(-t / 2.0))
    noise = 1e-3 * rng.standard_normal(strain.size)
    table = step_table(response + noise, strain, FS, find_holds(strain, FS))
    tail = 50
    early = (np.arange(2020, 2020 + tail) - 2020) / FS
    late = (np.arange(4020 - tail, 4020) - 2020) / FS
    curve = lambda t: 1.5 + 0.15 * (1 - np.exp(-t / 2.0))  # noqa: E731
    expected = 100 * (curve(late).mean() - curve(early).mean()) / curve(late).mean()
    assert table["creep"][0] == pytest.approx(expected, rel=0.1)
    assert table["creep"][1] > 0.5 * expected
    # the difference of two means of `tail` samples of white noise, in percent of the step
    np.testing.assert_allclose(table["creep_se"], 100 / 1.65 * 1e-3 * np.sqrt(2 / tail), rtol=0.35)


def test_standard_errors_of_delay_and_time_constant_are_as_large_as_their_scatter():
    """White noise of 1 % of the step, delay 30 ms, time constant 150 ms."""
    strain = stairs([0.0, 0.3], hold_s=6.0, move_s=0.05)
    start = 605
    t = np.arange(strain.size) / FS
    alpha = np.exp(-1 / FS / 0.15)
    late = np.interp(t - 0.03, t, strain)
    answer = np.zeros_like(late)
    for k in range(1, late.size):
        # exact for a straight line between samples
        slope = late[k] - late[k - 1]
        gain = 1 - alpha
        answer[k] = alpha * answer[k - 1] + gain * late[k - 1] + slope * (1 - 0.15 * FS * gain)
    rng = np.random.default_rng(0)
    fits = [
        fit_step(5 * answer + 0.015 * rng.standard_normal(t.size), strain, FS, 600, start, strain.size)
        for _ in range(16)
    ]
    delay, tau = (np.array([getattr(fit, name) for fit in fits]) for name in ("delay", "time_constant"))
    assert delay.mean() == pytest.approx(0.03, abs=3 * delay.std(ddof=1) / 4 + 0.002)
    assert tau.mean() == pytest.approx(0.15, rel=0.1)
    for values, name in ((delay, "delay_se"), (np.log(tau), "log_time_constant_se"), (delay + tau, "sum_se")):
        claimed = np.mean([getattr(fit, name) for fit in fits])
        assert 0.5 < claimed / values.std(ddof=1) < 2.0, name
