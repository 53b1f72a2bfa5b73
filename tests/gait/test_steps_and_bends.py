"""Gait is alternation in the shape of steps: squats, curls and jumping in phase are none, the stiffest walk is one."""

import numpy as np
import pytest
from gait_data import SIDES, onsets, plain_walk, simulated, time_in
from strainstudy.gait.parameters import GaitParameters
from strainstudy.gait.walk import detect_walk
from strainstudy_simulator.gaits import Gait, Leg, limp
from strainstudy_simulator.knee import Segment

P = GaitParameters()
FS = 100.0


def rows(period: float, width: float, count: int = 14) -> np.ndarray:
    """Bends of one knee in a row, rest before and after; ``width`` is from straight to straight."""
    t = np.arange(int((count * period + 8) * FS)) / FS
    u = np.mod(t - 4.0, period) / width
    inside = (t > 4.0) & (t < 4.0 + count * period) & (u < 1)
    return np.where(inside, 40 - 40 * np.cos(2 * np.pi * u), 0.0) + 0.2 * np.random.default_rng(1).standard_normal(
        t.size
    )


def walked(states) -> float:
    own = states.loc[states["trial_type"].isin(("gait", "turn")), "duration"].sum()
    return own / states["duration"].sum()


@pytest.mark.parametrize(("period", "width"), [(1.5, 1.5), (1.8, 1.5), (2.2, 1.5), (2.8, 1.5), (2.4, 2.4)])
def test_bends_of_one_knee_in_a_row_are_no_walk(period, width):
    """1.5 s from straight to straight, with and without a pause: longer above half height than any recorded swing."""
    states = detect_walk({"left": rows(period, width)}, FS, P, expected=False).states
    assert walked(states) == 0.0


@pytest.mark.parametrize("period", [0.8, 1.0, 1.5])
def test_knees_in_phase_are_no_walk_however_fast(period):
    """Squats and jumping jacks; each knee alone would pass for a step where it is brief enough."""
    knees = {"left": rows(period, 0.6 * period), "right": 0.8 * rows(period, 0.6 * period)}
    assert walked(detect_walk(knees, FS, P).states) == 0.0


@pytest.mark.parametrize("expected", [True, False])
@pytest.mark.parametrize("mechanism", [None, "stiff", "timing", "both", "guarded"])
def test_a_walk_is_one_whatever_the_sheet_says(mechanism, expected):
    gait = Gait() if mechanism is None else limp(Gait(), "left", mechanism, 0.9)
    recorded = plain_walk(gait)
    for sides in (SIDES, SIDES[:1], SIDES[1:]):
        walk = detect_walk({side: recorded.knees[side] for side in sides}, FS, P, expected=expected)
        inside = time_in(recorded.labels, ("normal_gait", "limping_gait"), 46.0)
        assert time_in(walk.states, ("gait", "turn"), 46.0)[inside].mean() > 0.95


@pytest.mark.parametrize("stride_time", [1.1, 1.5, 2.0])
@pytest.mark.parametrize("least", [10.0, 20.0, 25.0])
def test_a_knee_bent_through_stance_with_a_tenth_of_the_swing_wave_walks(least, stride_time):
    """The knee after stroke: a wave of 5 degrees, bent most in stance; the other knee's wave is large."""
    stiff = Leg(swing_peak_deg=least + 5.0, loading_deg=least + 10.0, minimum_deg=least, contact_dip_deg=1.0)
    gait = Gait(stride_time_s=stride_time, step_phase=0.42, left=stiff, right=Leg(swing_peak_deg=90.0))
    recorded = plain_walk(gait)
    walk = detect_walk(recorded.knees, FS, P)
    inside = time_in(recorded.labels, ("normal_gait",), 46.0)
    assert time_in(walk.states, ("gait", "turn"), 46.0)[inside].mean() > 0.9
    assert walk.states["walk"].max() == 0


def test_a_knee_that_is_stiff_for_a_while_keeps_its_contacts():
    stiff = Leg(swing_peak_deg=13.0, loading_deg=8.0, minimum_deg=5.0, peak_fraction=0.68)
    script = [
        Segment("rest", 3.0), Segment("walk", 25.0, Gait()), Segment("walk", 25.0, Gait(left=stiff)),
        Segment("walk", 25.0, Gait()), Segment("rest", 3.0),
    ]  # fmt: skip
    recorded = simulated(script, 3)
    found = onsets(detect_walk(recorded.knees, FS, P).events, "initial_contact", "left")
    assert abs(found.size - recorded.onsets("initial_contact", "left").size) <= 2


@pytest.mark.parametrize("mechanism", ["stiff", "timing", "both", "guarded"])
def test_a_change_of_state_is_no_turn(mechanism):
    limping = limp(Gait(), "left", mechanism, 0.7)
    script = [
        Segment("rest", 3.0), Segment("walk", 25.0, Gait()), Segment("walk", 25.0, limping),
        Segment("walk", 25.0, Gait()), Segment("rest", 3.0),
    ]  # fmt: skip
    recorded = simulated(script, 11)
    assert "turn" not in set(detect_walk(recorded.knees, FS, P).states["trial_type"])
