"""Sensors of unequal gain on real people: no limp is called on gain alone, and none is hidden by it.

Walks of Pearl et al. 2022 (doi 10.21203/rs.3.rs-1902381/v1) through sleeves, sensors and bridges, then all stages; the
person judged is left out of training. All gains and more sensors: tests/experiments/gain_study.py.
"""

import os
from pathlib import Path

import pytest
from experiments.gain_study import HEALTHY, LIMPING, QUICK, strapped
from experiments.strapped_walks import cancelling_gains, read_walks
from strainstudy.gait.verdict import CANNOT_TELL

FAMILY = {**QUICK, "families": ["logistic_regression"]}
GAINS = {"sub-01": 0.3, "sub-02": 3.0, "sub-03": 0.5, "sub-04": 2.0}


@pytest.fixture(scope="module")
def walks():
    place = os.environ.get("STRAINSTUDY_REAL_WALKS")
    if not place:
        pytest.skip("STRAINSTUDY_REAL_WALKS does not name the folder of recorded walks")
    # The first normal and the first limping walk of each person, for time.
    return [walk for walk in read_walks(Path(place)) if walk.recording_id.endswith("-a")]


def test_with_bends_a_gain_of_a_third_to_three_is_the_sensors_and_never_a_limp(walks, tmp_path):
    found = strapped(tmp_path / "mixed", walks, GAINS, bends=True, classify=FAMILY)
    assert found.amplitude_rule < 0.8  # the gains do mislead who trusts amplitude
    assert max(found.false_limping.values()) <= 0.02
    assert found.balanced_accuracy >= 0.92
    assert min(found.side_right.values()) >= 0.95
    # An interval may cross the limit of step time, for the sensors' answering times differ as well.
    assert set(found.verdicts[HEALTHY]) <= {"sensor", "not certain"}
    assert found.verdicts[HEALTHY]["sensor"] >= 3
    # Nor is a limp the sensors' alone, or none; intervals hold loops that holds cannot exclude: one reaches back.
    assert set(found.verdicts[LIMPING]) <= {"gait", "gait and sensor", "not certain"}
    assert found.verdicts[LIMPING]["not certain"] <= 1


def test_limps_whose_amplitudes_the_gain_makes_equal_are_found_without_bends(walks, tmp_path):
    found = strapped(tmp_path / "hidden", walks, cancelling_gains(walks), bends=False, classify=FAMILY)
    assert min(found.recall.values()) >= 0.92
    assert min(found.side_right.values()) >= 0.92
    assert found.balanced_accuracy >= 0.92
    assert max(found.false_limping.values()) <= 0.02
    assert set(found.verdicts[HEALTHY]) <= {CANNOT_TELL, "not certain"}
    assert found.verdicts[HEALTHY][CANNOT_TELL] >= 3
