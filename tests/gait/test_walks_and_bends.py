"""Chains of swings whose places are written down: what is a walk, and what is a series of slow bends."""

import numpy as np
import pytest
from strainstudy.gait.bouts import BEND_MIN_S, TOGETHER, find_walks
from strainstudy.gait.strides import Swings


def swings(peak, cycle, *, fit=0.95, clear=2.0):
    peak = np.asarray(peak, dtype=float)
    same = np.ones(peak.size)
    return Swings(
        toe_off=peak - 0.15 * cycle,
        peak=peak,
        contact=peak + 0.25 * cycle,
        stride_time=cycle * same,
        size=50.0 * same,
        fit=fit * same,
        clear=clear * same,
        score=same,
        sound=np.ones(peak.size, dtype=bool),
    )


def walks(left, right, cycle, **kind):
    numbers, spans = find_walks({"left": swings(left, cycle, **kind), "right": swings(right, cycle, **kind)}, 2.0)
    return len(spans), {side: set(found.tolist()) for side, found in numbers.items()}


CYCLE = 2.5
LEFT = 5.0 + CYCLE * np.arange(10)


def test_slow_swings_that_alternate_are_a_walk():
    count, numbers = walks(LEFT, LEFT + 0.5 * CYCLE, CYCLE)
    assert (count, numbers) == (1, {"left": {0}, "right": {0}})


def test_a_walk_lasts_from_its_first_toe_off_to_its_last_contact():
    _, (span,) = find_walks({"left": swings(LEFT, CYCLE), "right": swings(LEFT + 0.5 * CYCLE, CYCLE)}, 2.0)
    assert (span.start, span.stop) == (LEFT[0] - 0.15 * CYCLE, LEFT[-1] + 0.5 * CYCLE + 0.25 * CYCLE)


@pytest.mark.parametrize(("together", "count"), [(10, 0), (6, 0), (4, 1), (0, 1)])
def test_slow_cycles_are_bends_where_most_come_in_both_knees_at_once(together, count):
    apart = np.where(np.arange(10) < together, 0.3 * TOGETHER, 0.5) * CYCLE
    assert walks(LEFT, LEFT + apart, CYCLE)[0] == count


def test_what_counts_as_most_is_of_the_knee_with_fewer_swings():
    """Four right swings, three of them with a left one, are bends; one of four is none."""
    some = LEFT[[1, 3, 5, 7]]
    assert walks(LEFT, some + np.array([0.05, 0.05, 0.05, 0.5]) * CYCLE, CYCLE)[0] == 0
    assert walks(LEFT, some + np.array([0.05, 0.5, 0.5, 0.5]) * CYCLE, CYCLE)[0] == 1


def test_it_does_not_matter_which_knee_comes_a_little_earlier():
    lead = np.where(np.arange(10) % 2, 0.05, -0.05) * CYCLE
    assert walks(LEFT, LEFT + lead, CYCLE)[0] == 0
    assert walks(LEFT[1:], LEFT - 0.05 * CYCLE, CYCLE)[0] == 0


def test_together_is_told_by_the_stride_time_there():
    """One long stride at the start does not make the even steps after it simultaneous."""
    own = swings(LEFT, CYCLE)
    own.stride_time[0] = 5 * CYCLE
    _, spans = find_walks({"left": own, "right": swings(LEFT + 0.5 * CYCLE, CYCLE)}, 2.0)
    assert len(spans) == 1


def test_at_the_pace_of_walking_nothing_is_a_bend():
    quick = 0.9 * BEND_MIN_S
    left = 5.0 + quick * np.arange(10)
    assert walks(left, left + 0.05 * quick, quick)[0] == 1


@pytest.mark.parametrize(("fit", "count"), [(0.75, 0), (0.86, 1)])
def test_slow_cycles_unlike_a_step_are_bends(fit, count):
    """A sine fits the pattern with 0.75, a slow walk with more than 0.85."""
    assert walks(LEFT, LEFT + 0.5 * CYCLE, CYCLE, fit=fit)[0] == count


def test_one_knee_alone_can_walk_slowly():
    numbers, spans = find_walks({"left": swings(LEFT, CYCLE)}, 2.0)
    assert len(spans) == 1
    assert set(numbers["left"].tolist()) == {0}
