import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from strainstudy.signal.plateau import find_plateau
from strainstudy.signal.play import branch


def test_branch_is_minus_one_at_rest_one_after_rising_and_turns_over_twice_the_radius():
    up = np.linspace(0, 1, 101)
    on = branch(np.concatenate([up, up[::-1]]), 0.1)
    assert on[0] == -1
    assert on[10] == pytest.approx(0.0)
    assert on[20:101] == pytest.approx(np.ones(81))
    assert on[111] == pytest.approx(0.0)
    assert on[121:] == pytest.approx(-np.ones(81))


@given(st.lists(st.floats(-10, 10), min_size=1, max_size=60), st.floats(0.01, 5))
def test_branch_is_the_play_operator_run_sample_by_sample(values, radius):
    """Prandtl's play: the state follows only when the signal leaves its dead band (Brokate & Sprekels 1996)."""
    state, expected = values[0] + radius, []
    for value in values:
        state = min(max(state, value - radius), value + radius)
        expected.append((value - state) / radius)
    np.testing.assert_allclose(branch(values, radius), expected, atol=1e-7)


def test_the_plateau_is_the_longest_run_at_the_level_most_visited():
    x = np.concatenate([np.linspace(0, 10, 50), np.full(200, 10.0), np.linspace(10, 0, 50), np.full(60, 0.0)])
    found = find_plateau(x, 0.5, shortest=20)
    assert found is not None
    assert 45 <= found.start <= 50
    assert 250 <= found.stop <= 255
    assert found.level == pytest.approx(10.0)


def test_creep_is_last_fifth_minus_first_fifth():
    x = 1 - 0.1 * np.linspace(0, 1, 1001)
    found = find_plateau(x, 0.2, shortest=10)
    assert found is not None
    assert found.creep == pytest.approx(-0.08, abs=0.002)


def test_no_run_long_enough_is_no_plateau():
    assert find_plateau(np.linspace(0, 1, 100), 0.01, shortest=20) is None
    assert find_plateau([np.nan] * 50, 0.1, shortest=5) is None
