"""Whose answer is undone when a recording is cut, and what the later stages are told of it."""

import json
import sys
from pathlib import Path

import numpy as np
import pytest
from strainstudy.bends.parameters import BendParameters
from strainstudy.calibrate.answer import Answer
from strainstudy.gait.parameters import GaitParameters
from strainstudy.io.store import Trace
from strainstudy.stages.segment import segment_recording
from strainstudy_simulator.sensor import first_order_lag

sys.path.insert(0, str(Path(__file__).parents[1] / "gait"))
from gait_data import plain_walk

ASSUMED_S = 0.02
OWN = {"left_knee": Answer(0.09, 0.002), "right_knee": Answer(0.01, 0.001, source="reference")}


def cut(lags, *, units="V", answers=None):
    recorded = plain_walk()
    traces = {}
    for side, angle in recorded.knees.items():
        response = angle / 100 if side not in lags else first_order_lag(angle / 100, recorded.fs, lags[side])
        nothing = np.full(len(angle), np.nan)
        columns = {"response": response, "angle": nothing, "angle_low": nothing, "angle_high": nothing}
        traces[f"{side}_knee"] = Trace("r1", f"{side}_knee", units, recorded.fs, columns)
    return segment_recording("walk", traces, GaitParameters(), BendParameters(), lag_s=ASSUMED_S, answers=answers)


def phase(frames):
    return frames["strides"].query("side == 'left' and steady")["phase"].mean()


@pytest.fixture(scope="module")
def true_phase():
    return phase(cut({}, units="deg")[0])


def test_sensors_of_unequal_speed_shift_the_phase_and_their_own_answers_bring_it_back(true_phase):
    """80 ms in a stride of 1.1 s are 26 degrees."""
    lags = {"left": 0.09, "right": 0.01}
    assert abs(phase(cut(lags)[0]) - true_phase) > 20
    assert abs(phase(cut(lags, answers=OWN)[0]) - true_phase) < 2


def test_the_notes_say_what_was_undone_and_how_well_it_is_known():
    notes = json.loads(json.dumps(cut({}, answers={"left_knee": OWN["left_knee"]})[1], allow_nan=False))
    assert notes["answers"] == {
        "left": {"time_constant": 0.09, "error": 0.002, "source": "bench"},
        "right": {"time_constant": ASSUMED_S, "error": None, "source": "assumed"},
    }
    assert cut({}, units="deg")[1]["answers"] == {}


def upside_down(units, **how):
    recorded = plain_walk()
    traces = {}
    for side, angle in recorded.knees.items():
        response = (-1 if side == "left" else 1) * angle / 100
        columns = {"response": response, "angle": angle, "angle_low": angle, "angle_high": angle}
        traces[f"{side}_knee"] = Trace("r1", f"{side}_knee", units, recorded.fs, columns)
    return segment_recording("walk", traces, GaitParameters(), BendParameters(), lag_s=ASSUMED_S, **how)


def test_a_knee_in_volts_that_walks_upside_down_has_times_and_no_sizes():
    frames, notes = upside_down("V")
    assert notes["polarity"]["left"]["reversed"]
    assert not notes["polarity"]["right"]["reversed"]
    strides = frames["strides"]
    sizes = strides[["swing_peak", "range_of_motion", "amplitude", "response_range"]]
    assert sizes[strides["side"] == "left"].isna().all(axis=None)
    assert sizes[strides["side"] == "right"].notna().all(axis=None)
    assert strides["stride_time"].notna().all()


@pytest.mark.parametrize(("units", "how"), [("ohm", {}), ("a.u.", {}), ("V", {"flexion_stretches": False})])
def test_only_a_bridge_can_be_wired_in_reverse_and_only_where_flexion_stretches(units, how):
    frames, notes = upside_down(units, **how)
    assert not notes["polarity"]["left"]["reversed"]
    assert frames["strides"]["response_range"].notna().all()
