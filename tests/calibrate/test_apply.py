"""Which answers of sensors are taken, and what is said of angles."""

from unittest.mock import Mock

import numpy as np
import pytest
from strainstudy.calibrate.anglemap import Refusal
from strainstudy.calibrate.answer import Answer
from strainstudy.calibrate.apply import angles_of_knee, known_answers
from strainstudy.calibrate.maps import KneeTrace, MapKey
from strainstudy.calibrate.parameters import CalibrateParameters
from strainstudy.calibrate.referencemap import ReferenceMap

OWN = Answer(0.04, 0.001, ((0.02, 0.1),))


def told(lag_s, error_s=0.006):
    """Stand in for a map by a reference that knows this lag."""
    return Mock(spec=ReferenceMap, lag_s=lag_s, lag_error_s=error_s)


@pytest.mark.parametrize(
    ("bench", "references", "sources"),
    [
        ({"L": OWN, "R": OWN}, {"L": told(0.1), "R": told(0.1)}, {"left_knee": "bench", "right_knee": "bench"}),
        ({"L": OWN}, {"L": told(0.1), "R": told(0.1)}, {"left_knee": "reference", "right_knee": "reference"}),
        ({"L": OWN}, {"R": told(0.1)}, {"left_knee": "bench"}),
        ({}, {"R": told(0.1)}, {}),
        ({}, {"L": told(0.1), "R": told(-0.02)}, {}),
        ({}, {"L": told(0.1), "R": told(0.1, 0.05)}, {}),
    ],
)
def test_a_reference_tells_the_lag_of_all_knees_or_of_none_for_its_clock_may_be_off(bench, references, sources):
    keys = {
        point: MapKey("sub-01", "ses-01", point, sensor) for point, sensor in (("left_knee", "L"), ("right_knee", "R"))
    }
    maps = {key: references[key.sensor_id] for key in keys.values() if key.sensor_id in references}
    found = known_answers(keys, bench, maps, CalibrateParameters())
    assert {point: answer.source for point, answer in found.items()} == sources


def test_a_knee_without_a_map_has_no_angle_and_the_reason_is_said():
    still = np.zeros(5)
    knee = KneeTrace(MapKey("sub-01", "ses-01", "left_knee", "L"), "r1", 100.0, still, still, 1, 1.0)
    angles, said = angles_of_knee(knee, Refusal("nobody held still"))
    assert said == "no angle: nobody held still"
    assert set(angles) == {"angle", "angle_low", "angle_high"}
    assert all(np.isnan(angle).all() for angle in angles.values())
