import numpy as np
import pytest
from strainstudy.condition.bridge import Bridge, volts
from strainstudy.condition.channel import channel_response
from strainstudy.records import Sensor

SENSOR = Sensor("s", excitation_v=3.3, r3_ohm=10_000, rest_ohm=9_000, amplifier_gain=2.0)
OHM = 9_000 * (1 + np.linspace(0, 1.5, 500))


def run(x, units, sensor=SENSOR, point="left_knee"):
    return channel_response(x, 100, units=units, tracked_point=point, sensor=sensor)


@pytest.mark.parametrize(("units", "scale"), [("V", 1.0), ("mV", 1000.0)])
def test_volts_become_relative_change(units, scale):
    bridge = Bridge.of(excitation_v=3.3, r3_ohm=10_000, rest_ohm=9_000, amplifier_gain=2.0)
    done = run(scale * volts(OHM, bridge), units)
    np.testing.assert_allclose(done.response, OHM / 9_000 - 1, rtol=1e-7, atol=1e-12)
    assert (done.impossible, done.notes) == (0, ())


def test_ohms_need_no_bridge():
    ohm = 9_000 * (1 + 0.5 * (np.arange(3000) % 500 > 400))
    done = run(ohm, "ohm", sensor=None)
    assert done.rest_ohm == pytest.approx(9_000, rel=0.02)
    np.testing.assert_allclose(done.response, ohm / done.rest_ohm - 1, rtol=1e-7)
    assert "read from the recording" in done.notes[0]


@pytest.mark.parametrize("units", ["deg", "a.u.", "percent", "mm"])
def test_other_units_pass_by(units):
    done = run(OHM, units)
    np.testing.assert_array_equal(done.response, OHM)
    assert np.isnan(done.rest_ohm)


def test_impossible_volts_are_left_out_and_counted():
    done = run(np.array([0.0, 0.1, 9.9, -9.9, np.nan]), "V")
    assert np.isnan(done.response).tolist() == [False, False, True, True, True]
    assert done.impossible == 2
    assert "2 samples that no resistance can give" in done.notes[0]


def test_a_trimmed_bridge_without_rest_resistance_still_gives_ratios():
    sensor = Sensor("s", excitation_v=3.3, r3_ohm=10_000)
    x = 0.5 * (np.arange(3000) % 500 > 400)
    bridge = Bridge.of(excitation_v=3.3, r3_ohm=10_000, rest_ohm=10_000)
    done = run(volts(10_000 * (1 + x), bridge), "V", sensor=sensor)
    assert np.ptp(done.response) == pytest.approx(0.5, rel=0.02)
    assert "rest_ohm not given" in done.notes[0]
    assert "read from the recording" in done.notes[1]


def test_volts_without_a_sensor_are_refused_in_words():
    with pytest.raises(ValueError, match="needs a sensor_id"):
        run(OHM, "V", sensor=None)
