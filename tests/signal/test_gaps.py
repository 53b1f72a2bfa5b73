import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from strainstudy.signal.gaps import bridge_gaps, runs, spanned


def test_runs_gives_start_and_end_of_each_run():
    mask = np.array([True, True, False, True, False, False, True])
    assert runs(mask).tolist() == [[0, 2], [3, 4], [6, 7]]


@given(st.lists(st.booleans(), max_size=60))
def test_runs_rebuild_the_mask(bits):
    mask = np.array(bits, dtype=bool)
    again = np.zeros(len(mask), dtype=bool)
    for start, stop in runs(mask):
        assert stop > start
        again[start:stop] = True
    assert (again == mask).all()


def test_a_short_gap_is_bridged_and_a_long_one_stays():
    x = np.sin(np.arange(200) / 10)
    holed = x.copy()
    holed[50:55] = np.nan
    holed[100:120] = np.nan
    filled, bridged = bridge_gaps(holed, 10)
    assert bridged == 5
    np.testing.assert_allclose(filled[50:55], x[50:55], atol=0.01)
    assert np.isnan(filled).nonzero()[0].tolist() == list(range(100, 120))


def test_gaps_at_the_ends_stay():
    filled, bridged = bridge_gaps([np.nan, 1.0, 2.0, np.nan], 5)
    assert bridged == 0
    assert np.isnan(filled[[0, 3]]).all()


@given(
    st.lists(st.floats(-100, 100), min_size=8, max_size=40),
    st.sets(st.integers(1, 38), max_size=12),
)
def test_a_bridge_never_leaves_the_range_of_its_neighbours(values, holes):
    """Monotone interpolation (Fritsch & Carlson 1980) cannot overshoot."""
    x = np.array(values)
    holed = x.copy()
    for k in holes:
        if k < len(x) - 1:
            holed[k] = np.nan
    filled, _ = bridge_gaps(holed, len(x))
    for start, stop in runs(np.isnan(holed)):
        if start == 0 or stop == len(x):
            continue
        low, high = sorted((holed[start - 1], holed[stop]))
        slack = 1e-9 * (1 + abs(low) + abs(high))
        assert (filled[start:stop] >= low - slack).all()
        assert (filled[start:stop] <= high + slack).all()


def test_many_gaps_are_each_bridged_from_their_own_neighbours():
    x = np.linspace(0, 1, 10_000) ** 2
    holed = x.copy()
    holed[5::100] = np.nan
    filled, bridged = bridge_gaps(holed, 1)
    assert bridged == 100
    np.testing.assert_allclose(filled, x, atol=1e-8)


def test_spanned_holds_the_ends_and_draws_straight_lines():
    assert spanned(np.array([np.nan, 1.0, np.nan, 3.0, np.nan])).tolist() == [1, 1, 2, 3, 3]
    assert spanned(np.full(3, np.nan)).tolist() == [0, 0, 0]


@pytest.mark.parametrize("values", [[], [np.nan, np.nan]])
def test_nothing_to_bridge_is_given_back(values):
    filled, bridged = bridge_gaps(values, 3)
    assert bridged == 0
    assert len(filled) == len(values)
