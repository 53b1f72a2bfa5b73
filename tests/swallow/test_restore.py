import numpy as np
import pytest
from strainstudy.swallow.activity import activity_of, measure_activity
from strainstudy.swallow.cut import cut_together
from strainstudy.swallow.parameters import SwallowParameters
from strainstudy.swallow.restore import leak_rate, restore
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
