"""What unequal sensors do to timing: every person in each sensor set of the demo, at equal gain, uncalibrated.

In: recorded walks. Out: one row per walk and set: the verdict and the step-time asymmetry, once with the one answering
time that the settings assume undone on both knees, once with that of each sensor, which a bench would measure. No
classifier takes part: gait is the labelled time.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence

import numpy as np
import pandas as pd
from experiments import strapped_walks
from experiments.strapped_walks import SEED, SIDES, Walk, units_of, volts_of
from strainstudy.calibrate.traces import calibrate_trace
from strainstudy.condition.parameters import ConditionParameters
from strainstudy.condition.trace import condition_trace
from strainstudy.gait.measures import summarise_walk
from strainstudy.gait.parameters import GaitParameters
from strainstudy.gait.walk import detect_walk
from strainstudy.records import Sensor
from strainstudy.sensor.parameters import CalibrateParameters
from strainstudy.sensor.verdict import sensor_or_gait
from strainstudy.simulate.people import SET_NAMES, Unit, settled
from strainstudy.stages.evidence import walk_evidence

__all__ = ["timing_by_set"]

FS = strapped_walks.FS
GAIT = GaitParameters()


def _response(walk: Walk, side: str, unit: Unit) -> np.ndarray:
    bridge = unit.bridge
    sheet = Sensor(
        unit.sensor_id,
        excitation_v=bridge.excitation_v,
        r1_ohm=bridge.r1_ohm,
        r2_ohm=bridge.r2_ohm,
        r3_ohm=bridge.r3_ohm,
        amplifier_gain=bridge.amplifier_gain,
        polarity=bridge.polarity,
        rest_ohm=unit.stated_rest_ohm,
    )
    now = settled(unit, walk.participant_id, 0, walk.recording_id, SEED)
    volts = volts_of(walk.angles[side], now, walk.recording_id, side)
    done = calibrate_trace(volts, FS, units="V", tracked_point=f"{side}_knee", sensor=sheet)
    how = ConditionParameters()
    return condition_trace(done.response, FS, tracked_point=f"{side}_knee", units="V", parameters=how).response


def _row(walk: Walk, knees: Mapping[str, np.ndarray], lags: Mapping[str, float]) -> tuple[str, float]:
    found = detect_walk(knees, FS, GAIT, lags=lags)
    upwards = {side: found.polarity[side].sign * curve for side, curve in knees.items()}
    strides = found.strides.assign(range_of_motion=math.nan, swing_peak=math.nan)
    row = summarise_walk(strides, GAIT, knees=upwards, fs=FS, key=walk.recording_id)
    verdict = sensor_or_gait(walk_evidence(row, strides, {}, ())).verdict
    return verdict, float(row["step_time_symmetry_index"])


def timing_by_set(walks: Sequence[Walk]) -> pd.DataFrame:
    """Verdict and step-time asymmetry of every walk in every set.

    Returns
    -------
    DataFrame
        recording_id, state (of the labels), set, lag_ms (right minus left time constant), lags (``assumed``,
        ``own``), verdict, step_time (symmetry index, percent).
    """
    people = sorted({walk.participant_id for walk in walks})
    assumed = dict.fromkeys(SIDES, CalibrateParameters().lag_s)
    rows = []
    for turn in range(len(SET_NAMES)):
        sets = [SET_NAMES[(turn + k) % len(SET_NAMES)] for k in range(len(people))]
        units = units_of(people, dict.fromkeys(people, 1.0), sets)
        for walk in walks:
            own = {side: units[walk.participant_id, side] for side in SIDES}
            knees = {side: _response(walk, side, unit) for side, unit in own.items()}
            times = {side: unit.model.response_time_s for side, unit in own.items()}
            for name, lags in (("assumed", assumed), ("own", times)):
                verdict, step_time = _row(walk, knees, lags)
                rows.append(
                    {
                        "recording_id": walk.recording_id,
                        "state": walk.state,
                        "set": sets[people.index(walk.participant_id)],
                        "lag_ms": 1000 * (times["right"] - times["left"]),
                        "lags": name,
                        "verdict": verdict,
                        "step_time": step_time,
                    }
                )
    return pd.DataFrame(rows)
