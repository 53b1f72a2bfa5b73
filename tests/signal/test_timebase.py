"""Time stamps to a uniform grid. Signals are built on known times, so that the truth is exact."""

from __future__ import annotations

import time

import numpy as np
import pytest
import scipy.stats
from hypothesis import given, settings
from hypothesis import strategies as st
from strainstudy.signal.timebase import TimeBaseError, stamp_unit, time_base, uniform_base

FS = 100.0
N = 2000
T = np.arange(N) / FS
SLOW = np.sin(2 * np.pi * 0.8 * T)


def at(t):
    return np.sin(2 * np.pi * 0.8 * np.asarray(t))


def shuffled(steps):
    """Put steps in a random order that is the same every time."""
    return np.random.Generator(np.random.PCG64(3)).permutation(steps)


def test_regular_stamps_keep_every_sample_as_it_is():
    base = time_base(np.round(T, 2) + 1714700000.0, None, gap_steps=1.5)
    assert base.sampling_frequency == FS
    assert base.n == N
    np.testing.assert_array_equal(base.onto_grid(SLOW), SLOW)
    assert (base.repeated_stamps, base.backward_stamps, base.missing_stamps, len(base.gaps)) == (0, 0, 0, 0)


@pytest.mark.parametrize("rate", [128.0, 60.0, 1000 / 3, 250.0, 48.0])
def test_rounded_stamps_do_not_bend_the_rate(rate):
    """Stamps in whole milliseconds at 128 Hz step by 7 or 8 ms: a median step would say 125 Hz."""
    t = np.arange(5000) / rate
    base = time_base(np.round(t, 3), None, gap_steps=1.5)
    assert base.sampling_frequency == pytest.approx(rate, rel=2e-5)
    assert base.n == len(t)
    np.testing.assert_array_equal(base.onto_grid(at(t)), at(t))


def test_a_clock_that_runs_fast_is_followed_not_stretched():
    t = np.arange(200_000) / 100.003
    base = time_base(t, 100.0, gap_steps=1.5)
    assert base.rate == pytest.approx(100.003, rel=1e-9)
    assert base.duration == pytest.approx(t[-1], abs=0.02)
    grid = np.arange(base.n) / base.sampling_frequency
    np.testing.assert_allclose(base.onto_grid(at(t)), at(grid), atol=1e-3)


def test_jittered_stamps_are_honoured_by_interpolation():
    rng = np.random.Generator(np.random.PCG64(1))
    t = T + rng.normal(0, 0.0015, N)
    base = time_base(t, None, gap_steps=1.5)
    t0 = t[0]
    assert base.sampling_frequency == FS
    assert base.jitter == pytest.approx(0.0015 * np.sqrt(2), rel=0.1)
    grid = np.arange(base.n) / FS
    inside = slice(1, -2)
    # linear interpolation errs by at most step^2 / 8 of the second derivative, (2 pi 0.8)^2
    np.testing.assert_allclose(
        base.onto_grid(at(t))[inside], at(grid + t0)[inside], atol=(2 * np.pi * 0.8) ** 2 * 0.02**2 / 8
    )


def test_a_gap_is_nan_and_what_follows_is_in_its_place():
    keep = (T < 5) | (T >= 7.5)
    base = time_base(T[keep], None, gap_steps=1.5)
    values = base.onto_grid(SLOW[keep])
    np.testing.assert_allclose(base.gaps, [[4.99, 7.5]])
    assert np.isnan(values[500:750]).all()
    np.testing.assert_array_equal(values[keep], SLOW[keep])


def test_a_gap_that_is_no_whole_number_of_steps_does_not_shift_what_follows():
    t = np.concatenate([T[:500], T[500:] + 1.0037])
    base = time_base(t, 100.0, gap_steps=1.5)
    values = base.onto_grid(at(t))
    grid = np.arange(base.n) / base.sampling_frequency
    lost = np.isnan(values)
    assert 99 <= lost.sum() <= 101
    # beside the gap a grid point may have the value of a sample half a step away: slope times that
    np.testing.assert_allclose(values[~lost], at(grid)[~lost], atol=2 * np.pi * 0.8 * 0.5 / FS)


def test_one_lost_sample_is_one_missing_value():
    keep = np.arange(N) != 700
    values = time_base(T[keep], None, gap_steps=1.5).onto_grid(SLOW[keep])
    assert np.flatnonzero(np.isnan(values)).tolist() == [700]


def test_repeated_stamps_are_counted_and_the_first_is_kept():
    t = np.insert(T, [300, 301, 900], [T[299], T[300], T[899]])
    v = np.insert(SLOW, [300, 301, 900], 99.0)
    base = time_base(t, None, gap_steps=1.5)
    assert base.repeated_stamps == 3
    np.testing.assert_array_equal(base.onto_grid(v), SLOW)


def test_a_stamp_far_ahead_costs_one_sample_not_all_that_follow():
    t = T.copy()
    t[400] = 1e6
    base = time_base(t, None, gap_steps=1.5)
    assert base.backward_stamps == 1
    assert np.flatnonzero(np.isnan(base.onto_grid(SLOW))).tolist() == [400]


def test_a_stamp_far_ahead_directly_before_a_gap_costs_one_sample_too():
    t = np.where(np.arange(N) > 400, T + 5.0, T)
    t[400] = 1e6
    base = time_base(t, None, gap_steps=1.5)
    assert (base.backward_stamps, base.left_out) == (1, 1)
    assert base.n == N + 500
    assert np.flatnonzero(np.isnan(base.onto_grid(SLOW))).tolist() == list(range(400, 901))


def test_samples_whose_stamps_run_backwards_are_left_out():
    t = T.copy()
    t[[500, 501]] = t[[501, 500]]
    base = time_base(t, None, gap_steps=1.5)
    assert base.backward_stamps == 1
    assert base.left_out == 1
    assert base.n == N


def test_missing_stamps_cost_their_samples():
    t = T.copy()
    t[[10, 11, 800]] = np.nan
    base = time_base(t, None, gap_steps=1.5)
    assert base.missing_stamps == 3
    assert np.flatnonzero(np.isnan(base.onto_grid(SLOW))).tolist() == [10, 11, 800]


def test_stamps_that_come_in_packets_are_spread():
    t = np.repeat(np.arange(N // 10) * 0.1, 10)
    base = time_base(t, None, gap_steps=1.5)
    assert base.packets
    assert base.sampling_frequency == pytest.approx(FS)
    np.testing.assert_array_equal(base.onto_grid(SLOW), SLOW)


@pytest.mark.parametrize("rate", [64.0, 100.0, 250.0])
def test_a_clock_of_whole_seconds_that_began_within_one_is_spread(rate):
    t = 0.63 + np.arange(round(40 * rate)) / rate
    base = time_base(np.floor(t), None, gap_steps=1.5)
    assert base.packets
    assert base.sampling_frequency == pytest.approx(rate, rel=1e-3)
    assert base.n == len(t)


def test_a_packet_that_is_lost_leaves_its_gap():
    t = np.repeat(np.arange(N // 10) * 0.1, 10)
    keep = (t < 4.0) | (t > 4.35)
    values = time_base(t[keep], 100.0, gap_steps=1.5).onto_grid(SLOW[keep])
    assert np.isnan(values[400:440]).all()
    np.testing.assert_array_equal(values[440:], SLOW[440:])


@pytest.mark.parametrize(
    ("stamps", "reason"),
    [
        ([0.0, 0.01], "there are fewer than three time stamps"),
        ([5.0] * 100, "all time stamps are equal"),
        (np.arange(100.0)[::-1], "the time stamps never increase"),
        ([np.nan] * 50, "there are fewer than three time stamps"),
    ],
)
def test_stamps_that_tell_no_time_say_why(stamps, reason):
    with pytest.raises(TimeBaseError, match=reason):
        time_base(stamps, None, gap_steps=1.5)


def test_stamps_that_jump_far_ahead_are_refused():
    t = np.concatenate([T, T + 1e7])
    with pytest.raises(TimeBaseError, match="the time stamps span 10000020 s with samples for 40 s only"):
        time_base(t, None, gap_steps=1.5)


@pytest.mark.parametrize(("seconds", "refused"), [(1390.0, False), (1410.0, True)])
def test_stamps_may_span_twenty_times_their_samples_and_a_hundred_thousand_more(seconds, refused):
    """2000 samples at 100 Hz may span 140000 places of the grid: 1400 s."""
    t = np.concatenate([T[:1000], T[:1000] + seconds - 10.0])
    if refused:
        with pytest.raises(TimeBaseError, match="with samples for 20 s only"):
            time_base(t, None, gap_steps=1.5)
    else:
        assert time_base(t, None, gap_steps=1.5).n == seconds * FS


@pytest.mark.parametrize(("late", "gaps"), [(1.55, 0), (1.65, 1), (1.85, 1)])
def test_a_late_sample_is_a_gap_beyond_six_sds_of_the_jitter(late, gaps):
    """Steps with a normal SD of 0.1: six of them make 1.6 steps."""
    d = 1 + 0.1 * scipy.stats.norm.ppf((np.arange(999) + 0.5) / 999)
    d = shuffled(d)
    d[500] = late
    t = np.concatenate([[0.0], np.cumsum(d)]) / FS
    assert len(time_base(t, None, gap_steps=1.2).gaps) == gaps


@pytest.mark.parametrize(("late", "gaps"), [(1.8, 0), (1.95, 1)])
def test_a_step_of_nearly_two_is_a_gap_whatever_the_jitter(late, gaps):
    d = 1 + 0.18 * scipy.stats.norm.ppf((np.arange(999) + 0.5) / 999)
    d = shuffled(np.clip(d, 0.5, 1.5))
    d[500] = late
    t = np.concatenate([[0.0], np.cumsum(d)]) / FS
    assert len(time_base(t, None, gap_steps=1.2).gaps) == gaps


@pytest.mark.parametrize(
    ("stamps", "name", "units", "nominal", "seconds"),
    [
        (T, "time_s", None, None, 1.0),
        (T * 1e3, "time_ms", None, None, 1e-3),
        (T * 1e3, "Time [ms]", None, 100.0, 1e-3),
        (T * 1e6, "micros", None, None, 1e-6),
        (T * 1e3, "t", "ms", None, 1e-3),
        (T / 60, "minutes", None, None, 60.0),
        (T * 1e3, "t", None, 100.0, 1e-3),
        (np.arange(N), "sample", None, 100.0, 0.01),
        (T * 1e3, "stamp", None, None, 1e-3),
        (T, "stamp", None, None, 1.0),
    ],
)
def test_the_unit_of_stamps(stamps, name, units, nominal, seconds):
    assert stamp_unit(np.asarray(stamps, dtype=float), name, units, nominal).seconds == seconds


def test_uniform_samples_need_no_stamps():
    base = uniform_base(50, 20.0)
    assert base.duration == 2.5
    np.testing.assert_array_equal(base.onto_grid(np.arange(50.0)), np.arange(50.0))


@settings(max_examples=60, deadline=None)
@given(
    seed=st.integers(0, 2**32 - 1),
    rate=st.sampled_from([50.0, 100.0, 148.15, 256.0, 1000.0]),
    drop=st.floats(0, 0.3),
    jitter=st.floats(0, 0.2),
)
def test_the_grid_holds_only_values_that_lie_between_samples(seed, rate, drop, jitter):
    rng = np.random.Generator(np.random.PCG64(seed))
    t = (np.arange(400) + rng.uniform(-jitter, jitter, 400)) / rate
    t = t[rng.random(400) >= drop]
    values = rng.normal(size=len(t))
    base = time_base(t, None, gap_steps=1.5)
    grid = base.onto_grid(values)
    assert len(grid) == base.n
    known = grid[np.isfinite(grid)]
    assert known.size
    assert known.min() >= values.min()
    assert known.max() <= values.max()
    assert base.duration == pytest.approx(
        t[-1] - t[0] + 1 / base.sampling_frequency, abs=1.01 / base.sampling_frequency
    )


def test_half_an_hour_at_1_khz_takes_a_fraction_of_a_second():
    """Own target: 1.8 million stamps and four columns in well under half a second of processor time."""
    n = 1_800_000
    t = np.round(np.arange(n) / 1000, 4)
    columns = [np.zeros(n) for _ in range(4)]
    start = time.process_time()
    base = time_base(t, 1000.0, gap_steps=1.5)
    for column in columns:
        base.onto_grid(column)
    assert time.process_time() - start < 0.5


def test_a_named_unit_that_leads_far_beyond_our_days_gives_way_to_one_that_does_not():
    since_1970 = 1_714_731_072_000_000_000
    found = stamp_unit(np.round(T * 1e9), "time_s", None, FS, origin=float(since_1970))
    assert (found.seconds, found.since_1970) == (1e-9, True)
    assert stamp_unit(T * 1e12, "time_s", None, FS).seconds == 1.0


@pytest.mark.parametrize(("step", "seconds"), [(0.1875, 1.0), (0.25, 1e-3), (10.0, 1e-3), (200.0, 1e-3), (250.0, 1.0)])
def test_stamps_that_nothing_names_are_milliseconds_only_where_seconds_are_too_slow_and_they_are_not(step, seconds):
    """Less than 5 Hz is too slow, which 200 ms are not."""
    assert stamp_unit(step * np.arange(50.0), "stamp", None, None).seconds == seconds


@pytest.mark.parametrize(("share", "seconds"), [(0.79, 1.0), (0.81, 1e-3), (1.0, 1e-3), (1.19, 1e-3), (1.21, 1.0)])
def test_a_rate_within_a_fifth_of_the_sheets_tells_the_unit(share, seconds):
    """Steps of 0.01 are 100 Hz in s and 100,000 Hz in ms, which is too fast for the sheet to be that far off."""
    assert stamp_unit(np.arange(50) * 0.01, "stamp", None, 100_000.0 / share).seconds == seconds
