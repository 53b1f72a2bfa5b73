import numpy as np
import pytest
from strainstudy.draft.columns import alternate, column_by_name, unit_by_size


@pytest.mark.parametrize(
    ("name", "told", "bench", "units", "point"),
    [
        ("left_knee_V", {}, False, "V", "left_knee"),
        ("right_knee_mV", {}, False, "mV", "right_knee"),
        ("Knee R [mV]", {}, False, "mV", "right_knee"),
        ("kneeLeft", {"kneeLeft": "ohms"}, False, "ohm", "left_knee"),
        ("left_goniometer_deg", {}, False, "deg", "left_knee"),
        ("angle R (°)", {}, False, "deg", "right_knee"),
        ("throat_V", {}, False, "V", "throat"),
        ("sensor_V", {}, True, "V", "sensor"),
        ("stage_strain_pct", {}, True, "percent", "reference_strain"),
        ("travel [mm]", {}, True, "mm", "reference_displacement"),
        ("temperature", {}, False, None, None),
        ("ch1 [MV]", {}, False, None, None),
        ("R1", {}, False, None, None),
    ],
)
def test_a_column_is_what_its_name_and_its_file_say(name, told, bench, units, point):
    column = column_by_name(name, told, bench=bench)
    assert (column.units, column.tracked_point) == (units, point)


def knees(stride_s, delay, seconds=40, fs=100, seed=0):
    """Two curves with the two humps that a knee has in each stride (30 % stance, 100 % swing), one ``delay`` later."""
    time = np.arange(seconds * fs) / fs
    rng = np.random.default_rng(seed)

    def knee(shift):
        part = (time / stride_s + shift) % 1
        return np.exp(-(((part - 0.7) / 0.1) ** 2)) + 0.3 * np.exp(-(((part - 0.15) / 0.07) ** 2))

    return knee(0) + rng.normal(0, 0.05, time.size), 3 * knee(delay) + 1 + rng.normal(0, 0.05, time.size), fs


@pytest.mark.parametrize("stride_s", [0.9, 1.1, 1.6])
@pytest.mark.parametrize("delay", [0.45, 0.5, 0.55])
def test_two_knees_half_a_stride_apart_alternate(stride_s, delay):
    assert alternate(*knees(stride_s, delay))


@pytest.mark.parametrize("delay", [0.0, 0.1])
def test_two_sensors_of_one_leg_do_not(delay):
    assert not alternate(*knees(1.1, delay))


def test_noise_rest_and_a_short_or_empty_signal_do_not():
    rng = np.random.default_rng(1)
    noise = rng.normal(size=(2, 4000))
    assert not alternate(noise[0], noise[1], 100)
    assert not alternate(np.zeros(4000), noise[0], 100)
    assert not alternate(np.full(4000, np.nan), noise[0], 100)
    one, other, fs = knees(1.1, 0.5, seconds=2)
    assert not alternate(one, other, fs)


def test_walking_is_found_among_standing_and_gaps():
    one, other, fs = knees(1.1, 0.5, seconds=25)
    still = np.random.default_rng(2).normal(0, 0.02, (2, 6000))
    both = np.concatenate([still[0], one]), np.concatenate([still[1], other])
    both[0][7000:7050] = np.nan
    assert alternate(*both, fs)


def test_the_size_of_values_tells_volts_from_ohms_and_nothing_of_a_constant():
    assert unit_by_size(np.linspace(9800, 12000, 50)) == "ohm"
    assert unit_by_size(np.linspace(-0.2, 3.1, 50)) == "V"
    assert unit_by_size(np.linspace(-400, 900, 50)) is None
    assert unit_by_size(np.full(50, 1.5)) is None
