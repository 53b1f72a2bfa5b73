"""Chains of swings whose places are written down: what is a walk, and what are bends."""

import numpy as np
import pytest
from strainstudy.gait.bouts import STEP_ALONE_S, STEP_FIT, STEP_IN_TURN_S, find_walks
from strainstudy.gait.prepare import ANALYSIS_RATE_HZ, KneeCurve
from strainstudy.gait.strides import Swings

CYCLE = 2.5
LEFT = 5.0 + CYCLE * np.arange(10)
RIGHT = LEFT + 0.5 * CYCLE


def swings(peak, cycle=CYCLE, *, width=0.7, fit=0.95, loading=0.0):
    peak = np.asarray(peak, dtype=float)
    same = np.ones(peak.size)
    return Swings(
        toe_off=peak - 0.15 * cycle,
        peak=peak,
        contact=peak + 0.25 * cycle,
        stride_time=cycle * same,
        size=50.0 * same,
        width=width * same,
        loading=loading * same,
        fit=fit * same,
        clear=2.0 * same,
        score=same,
        sound=np.ones(peak.size, dtype=bool),
    )


def curve(peak, width):
    """A knee that bends by 50 degrees at each of the peaks."""
    t = np.arange(round(40 * ANALYSIS_RATE_HZ)) / ANALYSIS_RATE_HZ
    value = 50 * np.exp(-(((t[:, None] - np.asarray(peak)) / (width / 2)) ** 2)).sum(axis=1)
    return KneeCurve(value, np.gradient(value) * ANALYSIS_RATE_HZ, np.ones(t.size, dtype=bool))


def walks(knees, cycle=CYCLE, *, width=0.7, expected=True, **kind):
    found = {side: swings(peak, cycle, width=width, **kind) for side, peak in knees.items()}
    curves = {side: curve(peak, width) for side, peak in knees.items()}
    return find_walks(found, curves, 2.0, expected=expected)


def test_slow_swings_that_alternate_are_a_walk():
    numbers, spans = walks({"left": LEFT, "right": RIGHT})
    assert len(spans) == 1
    assert {side: set(found.tolist()) for side, found in numbers.items()} == {"left": {0}, "right": {0}}


def test_a_walk_lasts_from_its_first_toe_off_to_its_last_contact():
    _, (span,) = walks({"left": LEFT, "right": RIGHT})
    assert (span.start, span.stop) == (LEFT[0] - 0.15 * CYCLE, RIGHT[-1] + 0.25 * CYCLE)


@pytest.mark.parametrize("cycle", [1.1, CYCLE])
@pytest.mark.parametrize("lead", [-0.02, 0.0, 0.02])
def test_knees_that_bend_together_never_walk_whichever_comes_a_little_earlier(cycle, lead):
    left = 5.0 + cycle * np.arange(10)
    assert walks({"left": left, "right": left + lead * cycle}, cycle, width=0.3)[1] == []


def test_what_takes_turns_may_last_longer_than_what_one_knee_does_alone():
    """Widths between the two limits: steps where the other knee's come in between, bends where it is still."""
    width = 0.5 * (STEP_ALONE_S[True] + STEP_IN_TURN_S[True])
    assert len(walks({"left": LEFT, "right": RIGHT}, width=width)[1]) == 1
    assert walks({"left": LEFT}, width=width)[1] == []
    assert walks({"left": LEFT, "right": RIGHT}, width=STEP_IN_TURN_S[True] + 0.05)[1] == []


def test_where_no_walk_is_expected_a_wave_must_be_shorter():
    width = 0.5 * (STEP_ALONE_S[True] + STEP_ALONE_S[False])
    assert len(walks({"left": LEFT}, width=width)[1]) == 1
    assert walks({"left": LEFT}, width=width, expected=False)[1] == []


def test_one_knee_alone_can_walk_slowly():
    numbers, spans = walks({"left": LEFT}, width=0.9 * STEP_ALONE_S[True])
    assert len(spans) == 1
    assert set(numbers["left"].tolist()) == {0}


@pytest.mark.parametrize(("more", "count"), [(-0.05, 0), (0.05, 1)])
def test_slow_cycles_unlike_a_step_are_bends(more, count):
    """A sine fits the pattern with 0.75, a slow walk with more than 0.85: the limit lies between."""
    assert 0.75 < STEP_FIT < 0.85
    assert len(walks({"left": LEFT, "right": RIGHT}, fit=STEP_FIT + more)[1]) == count


def test_a_pause_longer_than_a_rest_parts_two_walks():
    late = np.where(np.arange(10) < 5, LEFT, LEFT + 6.0)
    assert len(walks({"left": late, "right": late + 0.5 * CYCLE})[1]) == 2
