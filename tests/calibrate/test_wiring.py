"""A bridge wired in reverse is seen by the angles of the session and turned round without a trace."""

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st
from strainstudy.calibrate.maps import BendTrace, KneeTrace, MapKey
from strainstudy.calibrate.references import ReferenceTrace
from strainstudy.calibrate.wiring import Wiring, turned, wiring_of
from strainstudy.condition.bridge import Bridge, mirrored, resistance
from strainstudy.condition.channel import bridge_of, channel_response
from strainstudy.condition.parameters import ConditionParameters
from strainstudy.condition.trace import condition_trace
from strainstudy.records import Sensor
from strainstudy_simulator.people import PLACES, Unit, draw_unit, rng_for, worn
from strainstudy_simulator.sessions import bend_take

KEY = MapKey("sub-01", "ses-01", "left_knee", "kneeL")
PERIOD = ConditionParameters().drift_shortest_period_s
HOLDS = pd.DataFrame(
    [(5.0, 4.0, "knee_bend", "left", 45.0), (12.0, 4.0, "knee_bend", "left", 90.0)],
    columns=["onset", "duration", "trial_type", "side", "value"],
)


def bent(fs: float = 100.0) -> np.ndarray:
    t = np.arange(0, 20, 1 / fs)
    return np.where((t >= 5) & (t < 9), 0.5, 0.0) + np.where((t >= 12) & (t < 16), 1.0, 0.0)


def bend(sign: int, recording: str = "bend", key: MapKey = KEY) -> BendTrace:
    x = sign * bent() + np.random.default_rng(1).normal(0, 0.01, 2000)
    return BendTrace(key, recording, 100.0, x, np.zeros(2000), sign, 10_000.0, HOLDS)


@given(
    volts=st.lists(st.floats(-1.2, 1.2), min_size=1, max_size=20),
    gain=st.floats(1.0, 4.0),
    rest=st.floats(6_000, 15_000),
)
def test_the_mirrored_resistance_is_that_of_the_other_polarity_and_mirroring_twice_changes_nothing(volts, gain, rest):
    """V = G p Vex (Rx / (r3 + Rx) - ref), solved for Rx with p and with -p."""
    x = np.array(volts)
    bridge = Bridge.of(excitation_v=3.3, r3_ohm=10_000, rest_ohm=rest, amplifier_gain=gain)
    ohm, _ = resistance(x, bridge)
    other, _ = resistance(x, replace(bridge, polarity=-1))
    found = mirrored(ohm, bridge)
    both = np.isfinite(ohm) & np.isfinite(other)
    np.testing.assert_allclose(found[both], other[both], rtol=1e-9)
    np.testing.assert_allclose(mirrored(found, bridge)[both], ohm[both], rtol=1e-9)


def unit_of(name: str, seed: int) -> dict[str, Unit]:
    return {place: worn(draw_unit(name, place, seed), "sub-01", 0, seed) for place in PLACES}


def conditioned(volts: np.ndarray, sensor: Sensor) -> KneeTrace:
    own = channel_response(volts, 100.0, units="V", tracked_point="left_knee", sensor=sensor)
    clean = condition_trace(own.response, 100.0, tracked_point="left_knee", units="V", parameters=ConditionParameters())
    return KneeTrace(KEY, "bend", 100.0, clean.response, clean.drift, clean.end, own.rest_ohm)


@pytest.mark.parametrize("name", ["A", "B", "C"])
def test_a_knee_turned_round_is_the_knee_of_the_right_polarity(name):
    units = unit_of(name, 7001)
    unit = units["left_knee"]
    take = bend_take(units, rng_for(7001, "bend"))
    volts = take.channels[0].values
    sensor = Sensor(
        "kneeL", 3.3, 10_000, unit.bridge.r2_ohm, 10_000, unit.bridge.amplifier_gain, 1, unit.stated_rest_ohm
    )
    right = conditioned(volts, sensor)
    wrong = conditioned(-volts, sensor)
    found = turned(wrong, bridge_of(sensor), sensor.rest_ohm, PERIOD)
    span = np.nanquantile(right.response, 0.99) - np.nanquantile(right.response, 0.01)
    assert found.end == 1
    assert found.rest_ohm == pytest.approx(right.rest_ohm, rel=2e-3)
    assert np.nanmedian(np.abs(found.response - right.response)) < 0.01 * span
    assert np.nanmax(np.abs(found.response - right.response)) < 0.06 * span


def test_holds_and_references_that_fall_with_the_angle_say_so_and_others_do_not():
    fell = wiring_of([bend(-1)], [])[KEY]
    assert fell.reversed_in("bend") == pytest.approx(-1.0, abs=0.02)
    assert wiring_of([bend(1)], [])[KEY].reversed_in("bend") is None
    reference = ReferenceTrace(
        KEY, "walk", 100.0, -bent(), np.zeros(2000), -1, 10_000.0, reference=90 * bent(), spans=[(0.0, 20.0)]
    )
    assert wiring_of([], [reference])[KEY].reversed_in("walk") == pytest.approx(-1.0)


def test_a_recording_without_an_angle_follows_its_session_where_that_is_of_one_mind():
    assert Wiring({"a": -0.9, "b": -0.8}).reversed_in("walk") == -0.8
    assert Wiring({"a": -0.9, "b": 0.8}).reversed_in("walk") is None
    assert Wiring({"a": -0.9, "b": 0.8}).reversed_in("a") == -0.9
    assert Wiring({"a": -0.9, "b": 0.8}).reversed_in("b") is None


@given(st.dictionaries(st.sampled_from("abcd"), st.floats(-0.49, 0.49), max_size=4), st.sampled_from("abcdw"))
def test_what_hardly_follows_the_angle_is_never_called_reversed(correlations, name):
    assert Wiring(correlations).reversed_in(name) is None
