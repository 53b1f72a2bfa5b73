import numpy as np
import pytest
from strainstudy.io.store import Trace
from strainstudy.records import Channel, Recording, Sensor
from strainstudy.stages.bodies import (
    angles_of,
    knees_of,
    limits_of,
    of_reference_rater,
    polarity_remedy,
    sensor_of,
    wired_sensor,
)


def knee(point, values, angle=np.nan):
    values = np.asarray(values, dtype=float)
    columns = {"response": values, **dict.fromkeys(("angle", "angle_low", "angle_high"), np.full(values.size, angle))}
    return Trace("walk", point, "V", 10.0, columns)


def test_knees_that_end_at_different_times_are_put_on_one_grid():
    knees, fs = knees_of({"left_knee": knee("left_knee", [1, 2, 3, 4]), "right_knee": knee("right_knee", [7, 8])})
    assert fs == 10.0
    np.testing.assert_array_equal(knees["left"], [1, 2, 3, 4])
    np.testing.assert_array_equal(knees["right"], [7, 8, np.nan, np.nan])


def test_a_recording_without_knees_gives_none():
    knees, fs = knees_of({"throat": knee("throat", [1, 2])})
    assert knees == {}
    assert np.isnan(fs)


def test_only_calibrated_knees_have_an_angle():
    traces = {"left_knee": knee("left_knee", [1, 2], angle=30.0), "right_knee": knee("right_knee", [1, 2])}
    assert list(angles_of(traces)) == ["left"]
    angle, low, high = limits_of(traces)["left"]
    np.testing.assert_array_equal([angle, low, high], [[30, 30]] * 3)


def test_the_sensor_is_the_channel_s_own_and_never_that_of_a_reference_angle(tmp_path):
    channels = (
        Channel("goniometer", "left_knee", "deg", "g-1"),
        Channel("left_V", "left_knee", "V", "s-1"),
        Channel("throat_V", "throat", "V"),
    )
    recording = Recording("walk", "walk", tmp_path, "a.csv", sensor_id="s-0", channels=channels)
    assert sensor_of(recording, "left_knee") == "s-1"
    assert sensor_of(recording, "throat") == "s-0"
    assert sensor_of(recording, "right_knee") is None


@pytest.mark.parametrize(("wanted", "given"), [("b", "B"), ("z", "A"), (None, "A")])
def test_the_reference_rater_is_taken_where_there_is_one(wanted, given):
    assert of_reference_rater({"b": "B", "a": "A"}, wanted) == given


def test_without_labels_there_is_no_rater():
    assert of_reference_rater({}, "a") is None


@pytest.mark.parametrize(("own", "wired"), [(None, 1), (-1, -1), (1, 1)])
def test_a_channel_s_own_polarity_goes_before_that_of_its_sensor_and_the_remedy_is_the_other_one(tmp_path, own, wired):
    channel = Channel("left_V", "left_knee", "V", "s-1", polarity=own)
    recording = Recording("w-1", "walk", tmp_path, "a.csv", "sub-01", "ses-02", channels=(channel,))
    sheet = {"s-1": Sensor("s-1", 3.3, 1e4, 1e4, 1e4)}
    sensor = wired_sensor(recording, "left_knee", sheet)
    assert sensor.polarity == wired
    assert sheet["s-1"].polarity == 1
    assert polarity_remedy(recording, channel, sensor) == (
        f"set polarity {-wired} for sensor s-1 as sub-01 wore it in session ses-02 and nowhere else: in channels.tsv,"
        " column polarity (if there is none, add it, n/a in every other place), row of w-1 and left_V"
    )
    assert wired_sensor(recording, "right_knee", sheet) is None
