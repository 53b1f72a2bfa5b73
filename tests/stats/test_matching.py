"""One-to-one matching."""

import itertools

import mir_eval
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from strainstudy.stats.matching import match_centres, match_instants, match_overlaps, overlap_over_union

times = st.lists(st.integers(0, 4000).map(lambda k: k / 200), max_size=25, unique=True)
spans = st.lists(st.tuples(st.integers(0, 300), st.integers(1, 60)), max_size=12).map(
    lambda pairs: np.array([(a / 10, (a + b) / 10) for a, b in pairs]).reshape(-1, 2)
)


def best_by_trying_all(distance, allowed):
    """Most pairs, then least total distance, over every one-to-one pairing."""
    n, m = distance.shape
    best = (0, 0.0)
    for size in range(1, min(n, m) + 1):
        found = [
            sum(distance[i, j] for i, j in zip(rows, columns, strict=True))
            for rows in itertools.combinations(range(n), size)
            for columns in itertools.permutations(range(m), size)
            if all(allowed[i, j] for i, j in zip(rows, columns, strict=True))
        ]
        if found:
            best = (size, min(found))
    return best


@settings(max_examples=100, deadline=None)
@given(times, times, st.sampled_from([0.0, 0.013, 0.1021, 0.7]))
def test_as_many_pairs_as_mir_eval_finds(reference, estimate, tolerance):
    """mir_eval 0.8 ``util.match_events`` (bipartite matching of onsets) is the reference for the count."""
    found = match_instants(reference, estimate, tolerance)
    expected = (
        mir_eval.util.match_events(np.sort(np.array(reference)), np.sort(np.array(estimate)), tolerance + 1e-9)
        if reference and estimate
        else []
    )
    assert len(found) == len(expected)
    assert len(set(found.reference)) == len(set(found.estimate)) == len(found)
    assert (found.distance <= tolerance + 1e-9).all()


@settings(max_examples=60, deadline=None)
@given(st.lists(st.integers(0, 40), max_size=5), st.lists(st.integers(0, 40), max_size=5), st.integers(0, 15))
def test_no_pairing_has_more_pairs_or_with_as_many_less_distance(reference, estimate, tolerance):
    a, b = np.array(reference, float), np.array(estimate, float)
    distance = np.abs(a[:, None] - b[None, :])
    found = match_instants(a, b, tolerance)
    assert (len(found), pytest.approx(found.distance.sum())) == best_by_trying_all(distance, distance <= tolerance)


def test_a_greedy_choice_would_lose_a_pair():
    """Nearest first would take 1.0-1.04 and leave 0.9 and 1.2 alone."""
    found = match_instants([0.9, 1.0], [1.04, 0.8], 0.15)
    assert found.reference.tolist() == [0, 1]
    assert found.estimate.tolist() == [1, 0]


def test_the_order_of_events_does_not_matter():
    rng = np.random.default_rng(3)
    a, b = rng.uniform(0, 30, 60), rng.uniform(0, 30, 70)
    first = match_instants(a, b, 0.4)
    shuffle_a, shuffle_b = rng.permutation(60), rng.permutation(70)
    second = match_instants(a[shuffle_a], b[shuffle_b], 0.4)
    pairs = {(shuffle_a[i], shuffle_b[j]) for i, j in zip(second.reference, second.estimate, strict=True)}
    assert pairs == set(zip(first.reference, first.estimate, strict=True))


def test_a_distance_equal_to_the_tolerance_counts_in_decimal_fractions_too():
    assert 1.18 - 1.13 > 0.05
    assert len(match_instants([1.13], [1.18], 0.05)) == 1


def test_thousands_of_events_in_one_chain_are_matched_in_seconds():
    rng = np.random.default_rng(0)
    steps = np.cumsum(rng.uniform(0.3, 0.7, 5000))
    found = match_instants(steps, steps + rng.normal(0, 0.1, 5000), 1.0)
    assert len(found) == 5000


@settings(max_examples=80, deadline=None)
@given(spans, spans, st.sampled_from([0.1, 0.3, 0.5, 0.7, 1.0]))
def test_overlap_matching_is_the_best_assignment_of_the_full_table(reference, estimate, threshold):
    """scipy.optimize.linear_sum_assignment on the dense table of overlaps is the reference."""
    from scipy.optimize import linear_sum_assignment

    found = match_overlaps(reference, estimate, threshold)
    if not len(reference) or not len(estimate):
        assert len(found) == 0
        return
    table = np.array([[overlap_over_union(r[None], e[None])[0] for e in estimate] for r in reference])
    cost = np.where(table >= threshold - 1e-9, 1 - table, 1000.0)
    rows, columns = linear_sum_assignment(cost)
    kept = cost[rows, columns] < 1000
    assert len(found) == kept.sum()
    assert found.distance.sum() == pytest.approx(cost[rows, columns][kept].sum())


def test_overlap_over_union_of_one_second_in_three_is_a_third():
    assert overlap_over_union(np.array([[0.0, 2.0]]), np.array([[1.0, 3.0]]))[0] == pytest.approx(1 / 3)
    assert overlap_over_union(np.array([[0.0, 1.0]]), np.array([[2.0, 3.0]]))[0] == 0


def test_centres_decide_whatever_the_durations():
    found = match_centres([[0, 10]], [[4.9, 5.3]], 0.2)
    assert found.distance.tolist() == [pytest.approx(0.1)]


@pytest.mark.parametrize(
    ("call", "words"),
    [
        (lambda: match_instants([np.nan], [1.0], 0.1), "reference must be a flat list of finite times"),
        (lambda: match_instants([0.0], [1.0], -0.1), "tolerance must not be negative"),
        (lambda: match_overlaps([[1, 0]], [[0, 1]], 0.5), "onset and end, in this order"),
        (lambda: match_overlaps([[0, 1]], [[0, 1]], 0.0), "threshold must be above 0"),
    ],
)
def test_input_that_makes_no_sense_is_refused(call, words):
    with pytest.raises(ValueError, match=words):
        call()
