from types import SimpleNamespace

import numpy as np
import pytest
from strainstudy.swallow.activity import activity_of, measure_activity
from strainstudy.swallow.cut import cut_together
from strainstudy.swallow.parameters import SwallowParameters
from strainstudy.swallow.restore import _lone_runs, _lone_waves, leak_rate, restore
from throat_signals import answer, movements


def _activity(kind):
    rng = np.random.default_rng(4)
    acts = [("swallow", 3.0 + 5 * k, 1.1, rng.lognormal(0, 0.15)) for k in range(10)]
    displacement = movements(acts, 55.0, 100.0, rng)
    stream = answer(displacement, 100.0, kind)
    stream = stream + 0.003 * np.ptp(stream) * rng.standard_normal(len(stream))
    return activity_of(stream, 100.0), displacement[::2]


def test_a_sensor_that_holds_is_left_alone():
    activity, _ = _activity("holds")
    assert leak_rate([(activity, *cut_together([activity], SwallowParameters()))]) == 0


@pytest.mark.parametrize(("kind", "low", "high"), [("lets_go", 1.5, 4.0), ("rings", 6.0, 30.0)])
def test_restored_stream_is_the_movement(kind, low, high):
    """A first-order lag of 0.4 s leaks at 2.5 per second; charge for change leaks at once."""
    activity, displacement = _activity(kind)
    rate = leak_rate([(activity, *cut_together([activity], SwallowParameters()))])
    assert low <= rate <= high
    whole = measure_activity(restore(activity, rate), activity.observed, activity.fs)
    assert np.corrcoef(whole.slow, displacement)[0, 1] > 0.95
    assert abs(np.corrcoef(activity.slow, displacement)[0, 1]) < 0.8


def test_nothing_that_stands_out_leaves_the_stream_alone():
    activity = activity_of(np.random.default_rng(1).standard_normal(6000), 100.0)
    assert leak_rate([(activity, *cut_together([activity], SwallowParameters()))]) == 0


def humps(count, *, every=100, long=40, size=1.0):
    """Activity at 50 Hz: a block of so many samples in the middle of each two seconds, and its pieces."""
    one = np.where(np.abs(np.arange(every) - every // 2) <= long // 2, 1.0, 0.0)
    sizes = np.broadcast_to(size, count)
    coarse = (sizes[:, None] * one).ravel()
    pieces = [(k * every, (k + 1) * every) for k in range(count)]
    return SimpleNamespace(fs=50.0, coarse=coarse, slow=np.arange(coarse.size, dtype=float) ** 2), pieces


def test_of_many_lone_events_two_hundred_are_asked_from_the_first_to_the_last():
    found = _lone_runs(*humps(450), 3.5)
    assert len(set(found)) == 200
    assert found[0] == (30, 70)
    assert found[-1] == (449 * 100 + 30, 449 * 100 + 70)
    assert len(_lone_runs(*humps(200), 3.5)) == 200


def test_events_that_are_asked_are_long_large_and_alone_enough():
    assert len(_lone_runs(*humps(5, long=20), 3.5)) == 5
    assert _lone_runs(*humps(5, long=18), 3.5) == []
    assert _lone_runs(*humps(5, long=40), 0.75) == []
    # less than 0.15 of what nine in ten stay below; pauses of less than 0.8 s join them into one run
    small = np.array([1.0] * 20 + [0.14, 0.16])
    assert len(_lone_runs(*humps(22, size=small), 3.5)) == 21
    assert len(_lone_runs(*humps(3, every=80), 30.0)) == 1
    assert len(_lone_runs(*humps(3, every=81), 30.0)) == 3


def test_the_wave_of_an_event_starts_and_ends_at_nothing_a_quarter_of_a_second_beyond_it():
    (wave, fs), *_ = _lone_waves([humps(3)], 3.5)
    assert fs == 50.0
    assert wave.size == 41 + 2 * 12
    assert wave[[0, -1]] == pytest.approx([0.0, 0.0])
    # a parabola less the line between its ends
    assert wave.min() == pytest.approx(-(32.0**2))


def test_one_change_of_posture_is_no_sign_of_a_sensor_that_lets_go():
    """Over the line from rest to rest a step has an up and a down, as a swallow under such a sensor."""
    t = np.arange(3000) / 100
    noise = 0.01 * np.random.default_rng(2).standard_normal(t.size)
    activity = activity_of(0.5 * (1 + np.tanh((t - 12) / 0.25)) + noise, 100.0)
    (pieces,) = cut_together([activity], SwallowParameters())
    assert pieces
    assert leak_rate([(activity, pieces)]) == 0
