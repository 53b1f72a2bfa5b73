"""Drift against signals whose drift is known because it was put there."""

import numpy as np
import pytest
from strainstudy.signal.drift import central_drift, resting_drift

FS = 50


def walking(t, stride=1.1):
    phase = (t / stride) % 1
    return 55 * np.exp(-(((phase - 0.72) / 0.09) ** 2)) + 12 * np.exp(-(((phase - 0.12) / 0.07) ** 2)) + 4


def bends(t, holds, ramp=1.0):
    y = np.zeros_like(t)
    for onset, seconds, angle in holds:
        rise = np.clip((t - onset) / ramp, 0, 1)
        fall = np.clip((t - onset - seconds) / ramp, 0, 1)
        y += angle * (np.cos(np.pi * fall) - np.cos(np.pi * rise)) / 2
    return y


def noise(n, size=0.3):
    return size * np.random.default_rng(4).normal(size=n)


@pytest.mark.parametrize("sign", [1, -1])
@pytest.mark.parametrize("rate", [0.0, 2.0, -2.0])
def test_drift_of_twice_the_amplitude_per_minute_is_taken_out_of_walking(rate, sign):
    t = np.arange(120 * FS) / FS
    y = np.where((t > 5) & (t < 110), walking(t), 0.0)
    added = rate * 59 * t / 60
    plain = resting_drift(sign * y + noise(t.size), FS, shortest_period_s=120)
    found = resting_drift(sign * y + added + noise(t.size), FS, shortest_period_s=120)
    assert found.end == sign
    assert np.abs(found.curve - plain.curve - added).max() < 0.06 * 59


@pytest.mark.parametrize("sign", [1, -1])
@pytest.mark.parametrize(
    "holds",
    [
        [(5, 6, 45), (15, 6, 90), (25, 6, 45), (35, 6, 90), (45, 6, 45)],
        [(10, 30, 45), (45, 30, 90), (80, 30, 45), (115, 30, 90)],
        [(40, 500, 80)],
        [(10, 40, 45), (20, 20, 45), (70, 40, 45), (80, 20, 45)],
    ],
    ids=["short holds", "long holds", "sits down for good", "stairs of holds"],
)
def test_a_held_bend_is_not_taken_for_drift(holds, sign):
    t = np.arange(180 * FS) / FS
    found = resting_drift(sign * bends(t, holds) + noise(t.size), FS, shortest_period_s=120)
    assert found.end == sign
    assert np.abs(found.curve).max() < 1.5


def test_drift_under_long_holds_is_found():
    t = np.arange(180 * FS) / FS
    added = 45 * t / 60 + 10 * np.sin(2 * np.pi * t / 120)
    y = bends(t, [(10, 30, 45), (45, 30, 90), (80, 30, 45), (115, 30, 90)])
    found = resting_drift(y + added + noise(t.size), FS, shortest_period_s=30)
    assert np.abs(found.curve - added).max() < 2.5


def test_rest_before_and_after_a_walk_shows_where_zero_is():
    """Walking comes back to 4 degrees only; the drift curve must stay at the standing level."""
    t = np.arange(90 * FS) / FS
    y = np.where((t > 15) & (t < 75), walking(t), 0.0)
    found = resting_drift(y + noise(t.size), FS, shortest_period_s=120)
    assert np.abs(found.curve).max() < 1.5


def test_a_knee_that_hardly_moves_keeps_its_end():
    """A stiff knee: the swing wave is a quarter of the usual and there is no loading wave."""
    t = np.arange(60 * FS) / FS
    phase = (t / 1.3) % 1
    y = 14 * np.exp(-(((phase - 0.7) / 0.09) ** 2)) + 5
    assert resting_drift(y + noise(t.size), FS, shortest_period_s=120).end == 1
    assert resting_drift(-y + noise(t.size), FS, shortest_period_s=120).end == -1


def test_a_given_end_is_kept():
    t = np.arange(60 * FS) / FS
    found = resting_drift(walking(t), FS, shortest_period_s=120, end=-1)
    assert found.end == -1


@pytest.mark.parametrize("fs", [50, 100, 1000])
def test_the_curve_does_not_hang_on_the_sampling_rate(fs):
    t = np.arange(60 * fs) / fs
    curve = resting_drift(walking(t) + 0.5 * t, fs, shortest_period_s=120).curve
    reference = np.arange(60 * 50) / 50
    expected = resting_drift(walking(reference) + 0.5 * reference, 50, shortest_period_s=120).curve
    np.testing.assert_allclose(np.interp(reference, t, curve), expected, atol=0.6)


def test_bursts_both_ways_leave_the_middle_level_alone():
    t = np.arange(120 * FS) / FS
    added = 0.02 * t + 2 * np.sin(2 * np.pi * t / 100)
    bursts = sum(
        3 * np.exp(-(((t - at) / 0.4) ** 2)) - 2 * np.exp(-(((t - at - 1) / 0.4) ** 2)) for at in range(8, 115, 9)
    )
    found = central_drift(bursts + added + noise(t.size, 0.1), FS, shortest_period_s=30)
    assert found.end == 0
    assert np.abs(found.curve - added)[5 * FS : -5 * FS].max() < 0.4


@pytest.mark.parametrize("values", [np.full(500, np.nan), np.zeros(500), np.zeros(2), np.empty(0)])
def test_nothing_moves_nothing_drifts(values):
    for found in (resting_drift(values, FS, shortest_period_s=120), central_drift(values, FS, shortest_period_s=30)):
        assert found.curve.shape == values.shape
        assert np.abs(found.curve).max(initial=0) < 1e-9


def test_a_long_gap_does_not_matter():
    t = np.arange(90 * FS) / FS
    x = walking(t) + 0.3 * t
    holed = x.copy()
    holed[30 * FS : 45 * FS] = np.nan
    whole = resting_drift(x, FS, shortest_period_s=120).curve
    assert np.abs(resting_drift(holed, FS, shortest_period_s=120).curve - whole).max() < 1.0
