"""Where a knee moves, and whether a walk was under way at the edge of a recording, on curves written down."""

import numpy as np
import pytest
from strainstudy.gait.bouts import LARGE, Span, moving, reach_edges
from strainstudy.gait.prepare import KneeCurve

N = 1000
STRIDE = np.full(N, 1.2)


def reached(start, stop, *, still=(), stride=STRIDE):
    busy = np.ones(N, dtype=bool)
    busy[list(still)] = False
    (found,) = reach_edges([Span(start, stop)], busy, stride)
    return found.start, found.stop


def test_a_walk_less_than_a_stride_from_an_edge_reaches_it_if_nothing_rests_there():
    assert reached(1.0, 8.9) == (0.0, 10.0)
    assert reached(1.2, 8.8) == (1.2, 8.8)
    # rest within the walk is no matter, rest before or after it is
    assert reached(1.0, 8.9, still=[500]) == (0.0, 10.0)
    assert reached(1.0, 8.9, still=[99]) == (1.0, 10.0)
    assert reached(1.0, 8.9, still=[890]) == (0.0, 8.9)
    assert reached(1.0, 8.9, still=[100, 889]) == (0.0, 10.0)


def test_the_stride_that_counts_is_that_at_the_edge():
    changing = np.linspace(1.2, 0.9, N)
    assert reached(1.0, 8.9, stride=changing) == (0.0, 8.9)
    assert reached(1.0, 8.9, stride=changing[::-1]) == (1.0, 10.0)


def test_a_walk_ends_with_the_recording():
    assert reached(-0.2, 10.3) == (0.0, 10.0)


def knee(value, missing=()):
    measured = np.ones(N, dtype=bool)
    measured[list(missing)] = False
    return KneeCurve(value, np.gradient(value), measured)


def change(size):
    """From one level to another within 0.4 s, in the middle."""
    return np.interp(np.arange(N), [480, 520], [0.0, size])


@pytest.mark.parametrize(("part", "seen"), [(2.2, True), (1.8, False), (-2.2, True)])
def test_a_quick_change_for_good_is_movement_in_its_middle_from_twice_that_part_on(part, seen):
    found = np.flatnonzero(moving([knee(change(part * LARGE * 50.0))], [50.0]))
    assert (found.size > 0) == seen
    assert np.all(np.abs(found - 500) <= 5)


def test_each_knee_moves_by_its_own_size():
    assert moving([knee(np.zeros(N)), knee(change(20.0))], [5.0, 20.0]).any()
    assert not moving([knee(change(20.0)), knee(np.zeros(N))], [50.0, 20.0]).any()


def test_a_ramp_moves_as_long_as_it_is_steep_enough():
    """A third of a swing a second is enough, a quarter is not."""
    seconds = np.clip((np.arange(N) - 300) / 100, 0.0, 4.0)
    steep = np.flatnonzero(moving([knee(0.34 * 50 * seconds)], [50.0]))
    assert (steep[0], steep[-1]) == (pytest.approx(390, abs=15), pytest.approx(610, abs=15))
    assert np.all(np.diff(steep) == 1)
    assert not moving([knee(0.25 * 50 * seconds)], [50.0]).any()


def test_what_no_knee_shows_is_taken_for_movement_and_what_one_shows_is_not():
    still, gap = np.zeros(N), range(200, 300)
    assert np.flatnonzero(moving([knee(still, gap)], [50.0])).tolist() == list(gap)
    assert not moving([knee(still, gap), knee(still)], [50.0, 50.0]).any()
