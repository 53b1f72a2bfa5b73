"""What becomes of short other movement and of what lies within a turn, sample by sample."""

import numpy as np
import pytest
from strainstudy.gait.prepare import ANALYSIS_RATE_HZ
from strainstudy.gait.walk import GAIT, OTHER, REST, TURN, TURN_GAP_S, _absorb_short, _close_turns


def absorbed(parts, shortest):
    """Parts of (state, samples, walk); the same after short other movement went to what is beside it."""
    states, lengths, walks = zip(*parts, strict=True)
    code, walk = np.repeat(np.array(states, dtype=np.int8), lengths), np.repeat(np.array(walks), lengths)
    _absorb_short(code, walk, shortest)
    edges = np.flatnonzero(np.diff(code) | np.diff(walk)) + 1
    starts = [0, *edges.tolist()]
    return [(int(code[a]), b - a, int(walk[a])) for a, b in zip(starts, [*starts[1:], code.size], strict=True)]


@pytest.mark.parametrize("number", [0, 1])
def test_other_movement_shorter_than_a_pause_is_of_the_walk_it_touches_on_either_side(number):
    walk, rest, short = (GAIT, 5, number), (REST, 4, -1), (OTHER, 3, -1)
    assert absorbed([walk, short, rest], 4) == [(GAIT, 8, number), rest]
    assert absorbed([rest, short, walk], 4) == [rest, (GAIT, 8, number)]
    # at the start and at the end of a recording
    assert absorbed([short, walk], 4) == [(GAIT, 8, number)]
    assert absorbed([walk, short], 4) == [(GAIT, 8, number)]


def test_other_movement_as_long_as_a_pause_stays():
    parts = [(GAIT, 5, 0), (OTHER, 3, -1), (REST, 4, -1)]
    assert absorbed(parts, 3) == parts
    assert absorbed([(OTHER, 3, -1)], 9) == [(OTHER, 3, -1)]


def test_what_is_beside_a_turn_is_gait_and_what_is_within_rest_is_rest():
    assert absorbed([(TURN, 5, 2), (OTHER, 3, -1), (REST, 4, -1)], 4) == [(TURN, 5, 2), (GAIT, 3, 2), (REST, 4, -1)]
    assert absorbed([(REST, 5, -1), (OTHER, 3, -1), (REST, 4, -1)], 4) == [(REST, 12, -1)]


def test_between_two_walks_it_is_of_the_first():
    assert absorbed([(GAIT, 5, 0), (OTHER, 1, -1), (GAIT, 5, 1)], 4) == [(GAIT, 6, 0), (GAIT, 5, 1)]


def test_what_lies_between_the_strides_of_one_turn_turns():
    gap = round(TURN_GAP_S * ANALYSIS_RATE_HZ)
    for between, closed in ((gap - 1, True), (gap, False), (0, True)):
        code = np.array([GAIT, TURN, *[GAIT] * between, TURN, GAIT], dtype=np.int8)
        _close_turns(code)
        inside = TURN if closed else GAIT
        assert code.tolist() == [GAIT, TURN, *[inside] * between, TURN, GAIT]
