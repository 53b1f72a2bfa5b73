"""What no knee was seen in is in no state, and what one knee missed makes no turn."""

import numpy as np
import pytest
from gait_data import SIDES, bouts_of, plain_walk, simulated
from hypothesis import given, settings
from hypothesis import strategies as st
from strainstudy.gait.parameters import GaitParameters
from strainstudy.gait.state_parameters import StateParameters
from strainstudy.gait.walk import detect_walk
from strainstudy_simulator.gaits import turning
from strainstudy_simulator.knee import Gait, Segment

P = GaitParameters()


def without(recorded, spans, sides=SIDES):
    knees = {side: curve.copy() for side, curve in recorded.knees.items()}
    for side in sides:
        for start, stop in spans:
            knees[side][round(start * recorded.fs) : round(stop * recorded.fs)] = np.nan
    return knees


def shared(states, start, stop):
    """Seconds of states inside a span."""
    first, last = states["onset"], states["onset"] + states["duration"]
    return float(np.maximum(np.minimum(last, stop) - np.maximum(first, start), 0).sum())


@pytest.fixture(scope="module")
def walked():
    return plain_walk(seconds=40.0)


@settings(max_examples=8, deadline=None)
@given(start=st.floats(0, 38), seconds=st.floats(0.6, 8))
def test_states_tile_all_but_what_no_knee_was_seen_in(walked, start, seconds):
    start, stop = round(start, 2), round(start + seconds, 2)
    states = detect_walk(without(walked, [(start, stop)]), walked.fs, P).states
    assert shared(states, start, stop) <= 0.03
    whole = len(walked.knees["left"]) / walked.fs
    assert states["duration"].sum() == pytest.approx(whole - (stop - start), abs=0.05)
    ends = states["onset"] + states["duration"]
    assert (states["onset"].to_numpy()[1:] >= ends.to_numpy()[:-1] - 1e-9).all()


def test_no_stride_and_no_contact_lies_in_what_was_not_seen(walked):
    walk = detect_walk(without(walked, [(20.0, 24.0)]), walked.fs, P)
    assert not walk.events["onset"].between(20.05, 23.95).any()
    middle = walk.strides["onset"] + walk.strides["stride_time"] / 2
    assert not middle.between(20.0, 24.0).any()


def test_bouts_of_a_recording_with_a_hole_leave_the_hole_out(walked):
    states = detect_walk(without(walked, [(20.0, 24.0)]), walked.fs, P).states
    windows = states.iloc[:0].assign(time=[], probability_limping=[], probability_left=[], caution=[])
    bouts = bouts_of("r", states, windows, StateParameters(), "rule")
    assert shared(bouts, 20.0, 24.0) <= 0.03


@pytest.mark.parametrize("side", SIDES)
@pytest.mark.parametrize("seed", [11, 12, 13])
def test_a_lead_that_falls_off_one_knee_is_no_turn(side, seed):
    gait = Gait()
    script = [
        Segment("rest", 4.0), Segment("walk", 16.0, gait), Segment("turn", 3.0, turning(gait, "left")),
        Segment("walk", 30.0, gait), Segment("rest", 4.0),
    ]  # fmt: skip
    recorded = simulated(script, seed)
    walk = detect_walk(without(recorded, [(30.0, 48.0)], (side,)), recorded.fs, P)
    turns = walk.states[walk.states["trial_type"] == "turn"]
    assert shared(turns, 28.0, 49.0) == 0
    assert shared(walk.states[walk.states["trial_type"] == "gait"], 30.0, 48.0) == pytest.approx(18.0, abs=0.1)
    assert not walk.events.query("side == @side")["onset"].between(30.1, 47.9).any()
