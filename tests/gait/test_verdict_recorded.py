"""Sensor or gait on walks of real people, with gains of the two sensors that are known because they were put in.

Four healthy adults, walking normally and with the left knee held stiff (Pearl et al. 2022,
doi 10.21203/rs.3.rs-1902381/v1).
"""

from dataclasses import replace
from functools import cache

import pytest
from gait_data import Recorded, real_walks
from strainstudy.gait.landmark_errors import FORCE_PLATES, with_measurement_error, with_persistence
from strainstudy.gait.measures import summarise_walk
from strainstudy.gait.parameters import GaitParameters
from strainstudy.gait.verdict import CANNOT_TELL, NO_ASYMMETRY, Measured, Verdict, WalkEvidence, sensor_or_gait
from strainstudy.gait.walk import detect_walk
from strainstudy.stages.walk_evidence import walk_evidence


@cache
def walks(kind: str) -> dict[str, Recorded]:
    """Recorded walks by name."""
    return {recorded.name: recorded for recorded in real_walks(kind)}


@cache
def evidence(kind: str, name: str, left_gain: float) -> WalkEvidence:
    """Numbers of one walk with the left knee scaled, with the intervals that its row of ``tables/gait.tsv`` has."""
    recorded, parameters = walks(kind)[name], GaitParameters()
    knees = {side: curve * (left_gain if side == "left" else 1.0) for side, curve in recorded.knees.items()}
    strides = detect_walk(knees, recorded.fs, parameters).strides
    row = summarise_walk(strides, parameters, knees=knees, fs=recorded.fs, key=name)
    row = with_persistence(row, parameters.stride_persistence)
    row = with_measurement_error(row, strides, FORCE_PLATES, angles={})
    return walk_evidence(row, strides, {}, ())


def judge(kind: str, name: str, left_gain: float, *, calibrated: bool) -> Verdict:
    """Judge with the amplitude in degrees and the gains that a perfect bend calibration gives back, or without any."""
    known = replace(evidence(kind, name, left_gain), amplitude_calibrated=Measured())
    if calibrated:
        amplitude, ratio = evidence(kind, name, 1.0).amplitude_calibrated, 1.0 / left_gain
        gain = Measured(ratio, 0.98 * ratio, 1.02 * ratio)
        known = replace(known, amplitude_calibrated=amplitude, gain_ratio=gain, gain_ratio_source="bends")
    return sensor_or_gait(known)


@pytest.mark.parametrize("gain", [0.3, 0.5, 2.0, 3.0])
def test_unequal_gains_make_no_limp_of_a_healthy_walk(gain):
    for name in walks("normal"):
        blind, seeing = (judge("normal", name, gain, calibrated=known) for known in (False, True))
        assert (blind.verdict, blind.side) == (CANNOT_TELL, None)
        assert (seeing.verdict, seeing.side) == ("sensor", "left" if gain < 1 else "right")


def test_equal_gains_and_a_healthy_walk_show_no_asymmetry():
    for name in walks("normal"):
        assert judge("normal", name, 1.0, calibrated=False).verdict == NO_ASYMMETRY
        assert judge("normal", name, 1.0, calibrated=True).verdict == NO_ASYMMETRY


def test_a_stiff_knee_is_found_on_its_side_once_calibrated_and_before_its_timing_mostly_says_that_it_may_be_there():
    """Step times and phases of one walk err by as much as a stiff knee changes them: few are settled by timing."""
    blind, seeing = [], []
    for name in walks("limp"):
        # A threefold gain on the stiff side cancels or turns round the difference of the amplitudes.
        blind.append(judge("limp", name, 3.0, calibrated=False))
        seeing.append(judge("limp", name, 3.0, calibrated=True))
    assert all(verdict.verdict in ("gait", "gait and sensor") and verdict.side == "left" for verdict in seeing)
    assert all(verdict.verdict in ("gait", "not certain", CANNOT_TELL) for verdict in blind)
    assert sum(verdict.verdict != CANNOT_TELL for verdict in blind) >= 0.75 * len(blind)
    assert all(verdict.side in ("left", None) for verdict in blind)
