import mir_eval
import numpy as np
import pandas as pd
from hypothesis import given, settings
from hypothesis import strategies as st
from strainstudy.swallow.candidate_labels import CANDIDATE_CLASSES, label_candidates, match_swallows


def _frame(rows):
    return pd.DataFrame(rows, columns=["onset", "duration"])


def _labels(rows):
    return pd.DataFrame(rows, columns=["onset", "duration", "trial_type"])


def test_a_candidate_takes_the_word_of_the_interval_it_lies_in():
    candidates = _frame([(1.0, 1.0), (5.2, 0.8), (11.0, 0.5), (20.0, 2.0), (30.0, 1.0)])
    labels = _labels([(1.1, 0.9, "swallow"), (4.0, 4.0, "speech"), (10.8, 1.0, "cough"), (19.5, 3.0, "head_movement")])
    words = label_candidates(candidates, labels)
    assert list(words) == ["swallow", "speech", "cough", "head_movement", "other"]
    assert set(words) <= set(CANDIDATE_CLASSES)


def test_one_labelled_swallow_names_one_candidate_only():
    words = label_candidates(_frame([(1.0, 0.5), (1.5, 0.9)]), _labels([(1.0, 1.4, "swallow")]))
    assert sorted(words) == ["other", "swallow"]
    assert words[1] == "swallow"


def test_a_labelled_instant_names_the_candidate_it_lies_in():
    words = label_candidates(_frame([(1.0, 1.0), (4.0, 1.0)]), _labels([(1.7, 0.0, "swallow")]))
    assert list(words) == ["swallow", "other"]


def test_outside_the_labelled_spans_nothing_is_said():
    labels = _labels([(0.0, 3.0, "labelled"), (1.0, 1.0, "swallow")])
    words = label_candidates(_frame([(1.0, 1.0), (7.0, 1.0)]), labels)
    assert words[0] == "swallow"
    assert words[1] is None


def test_a_rater_who_marked_only_steps_says_nothing_about_swallows():
    labels = _labels([(1.0, 0.0, "initial_contact")])
    assert label_candidates(_frame([(1.0, 1.0)]), labels).isna().all()


def test_a_swallow_within_speech_is_a_swallow():
    labels = _labels([(0.0, 10.0, "speech"), (4.0, 1.0, "swallow")])
    assert list(label_candidates(_frame([(4.1, 0.9), (6.0, 1.0)]), labels)) == ["swallow", "speech"]


@settings(max_examples=60, deadline=None)
@given(
    st.lists(st.tuples(st.floats(0, 30), st.floats(0.5, 1.5)), min_size=1, max_size=12),
    st.lists(st.tuples(st.floats(0, 30), st.floats(0.5, 1.5)), min_size=1, max_size=12),
)
def test_matching_finds_as_many_pairs_as_an_optimal_matching_on_the_same_rule(found, wanted):
    """Size of a maximum bipartite matching, by mir_eval (Raffel C et al. 2014, ISMIR)."""
    onset, length = np.array(found).T
    label_onset, label_length = np.array(wanted).T
    end, label_end = onset + length, label_onset + label_length
    overlap = np.minimum(end[:, None], label_end) - np.maximum(onset[:, None], label_onset)
    union = np.maximum(end[:, None], label_end) - np.minimum(onset[:, None], label_onset)
    near = np.abs((onset + end)[:, None] - (label_onset + label_end)) / 2 <= 0.5
    graph = {}
    for i, j in zip(*np.nonzero((overlap > 0) & (near | (overlap >= 0.5 * union))), strict=True):
        graph.setdefault(int(i), []).append(int(j))
    best = mir_eval.util._bipartite_match(graph)
    pairs = match_swallows(onset, end, label_onset, label_end)
    assert len(pairs) == len(best)
    assert len({i for i, _ in pairs}) == len({j for _, j in pairs}) == len(pairs)


def pairs(found, wanted):
    (a, b), (c, d) = found, wanted
    return match_swallows(np.array([a]), np.array([b]), np.array([c]), np.array([d]))


def test_a_pair_overlaps_and_has_near_centres_or_shares_half_of_its_time():
    """Centres 0.5 s apart, or overlap of half the union, are just enough."""
    assert pairs((0.0, 1.0), (0.5, 1.5)) == [(0, 0)]
    assert pairs((0.0, 1.0), (0.5625, 1.5625)) == []
    assert pairs((0.0, 4.0), (0.0, 2.0)) == [(0, 0)]
    assert pairs((0.0, 4.0), (0.0, 1.875)) == []
    # near centres without overlap, as of two short movements
    assert pairs((0.0, 0.25), (0.25, 0.5)) == []


def test_an_instant_names_what_it_lies_in_or_what_has_its_centre_near():
    assert pairs((0.0, 4.0), (4.0, 4.0)) == [(0, 0)]
    assert pairs((0.0, 0.5), (0.75, 0.75)) == [(0, 0)]
    assert pairs((0.0, 0.5), (0.8125, 0.8125)) == []


def test_of_two_candidates_the_one_that_shares_more_takes_the_label_and_then_the_nearer():
    onset, end = np.array([0.0, 0.25]), np.array([1.0, 1.5])
    assert match_swallows(onset, end, np.array([0.25]), np.array([1.25])) == [(1, 0)]
    # an instant within both is shared by neither: the nearer centre
    wide = match_swallows(np.array([0.0, 0.5]), np.array([2.0, 2.0]), np.array([1.25]), np.array([1.25]))
    assert wide == [(1, 0)]


def test_two_pairs_are_better_than_the_best_one():
    onset, end = np.array([0.0, 0.5]), np.array([1.0, 1.5])
    found = match_swallows(onset, end, np.array([0.5, 0.9]), np.array([1.5, 1.9]))
    assert found == [(0, 0), (1, 1)]


def test_a_confounder_names_what_it_covers_by_half_or_has_the_middle_of():
    candidates = _frame([(10.0, 2.0)])
    assert list(label_candidates(candidates, _labels([(11.0, 5.0, "speech")]))) == ["speech"]
    assert list(label_candidates(candidates, _labels([(11.125, 5.0, "speech")]))) == ["other"]
    assert list(label_candidates(candidates, _labels([(10.875, 0.25, "cough")]))) == ["cough"]
    # of two, the one that covers more; as much as another is no reason to change the word
    both = _labels([(10.0, 1.5, "speech"), (11.0, 1.0, "cough")])
    assert list(label_candidates(candidates, both)) == ["speech"]
    assert list(label_candidates(candidates, _labels([(11.0, 1.0, "cough"), (10.0, 1.5, "speech")]))) == ["speech"]


def test_only_what_has_its_middle_in_what_was_looked_at_is_asked():
    labels = _labels([(2.0, 2.0, "labelled"), (0.0, 9.0, "speech"), (6.0, 1.0, "swallow")])
    words = label_candidates(_frame([(1.5, 1.0), (3.5, 1.0), (1.4, 1.0), (6.0, 1.0)]), labels)
    assert list(words) == ["speech", "speech", None, None]
