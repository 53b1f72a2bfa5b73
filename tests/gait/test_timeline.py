import itertools

import numpy as np
import pandas as pd
import pytest
from gait_data import bouts_of
from hypothesis import given, settings
from hypothesis import strategies as st
from strainstudy.classify_parameters import ClassifyParameters
from strainstudy.gait.state_bouts import BOUT_COLUMNS, bouts_of_all
from strainstudy.gait.timeline import LOG_FLOOR, changes, decode, label_windows, owned_spans

PARAMETERS = ClassifyParameters()


def brute_force(p, edges, window_s, bout_min_s, cost):
    """Every path of the classes, its score, the best of those without a short bout."""
    share = np.diff(edges) / window_s
    logs = np.maximum(np.log(p), LOG_FLOOR)
    best, found = -np.inf, None
    for path in itertools.product(range(p.shape[1]), repeat=len(p)):
        starts = [0, *[i for i in range(1, len(p)) if path[i] != path[i - 1]], len(p)]
        if any(edges[b] - edges[a] < bout_min_s for a, b in itertools.pairwise(starts)):
            continue
        score = sum(share[i] * logs[i, c] for i, c in enumerate(path)) - cost * (len(starts) - 2)
        if score > best + 1e-12:
            best, found = score, path
    return best, found


@settings(max_examples=60, deadline=None)
@given(
    st.lists(st.tuples(st.floats(0.02, 0.98), st.floats(0.5, 3.0)), min_size=6, max_size=9),
    st.floats(0.5, 4.0),
    st.floats(0.0, 2.0),
)
def test_decoding_is_the_best_of_all_paths(cells, bout_min_s, cost):
    limping = np.array([p for p, _ in cells])
    p = np.column_stack([1 - limping, limping])
    edges = np.concatenate([[0.0], np.cumsum([d for _, d in cells])])
    if edges[-1] < 2 * bout_min_s:
        return
    window = np.full(len(p), 4.0)
    path = decode(p, edges, window, bout_min_s, cost)
    best, _ = brute_force(p, edges, window, bout_min_s, cost)
    starts = [0, *[i for i in range(1, len(p)) if path[i] != path[i - 1]], len(p)]
    assert all(edges[b] - edges[a] >= bout_min_s for a, b in itertools.pairwise(starts))
    share = np.diff(edges) / window
    own = sum(share[i] * np.log(p[i, c]) for i, c in enumerate(path)) - cost * (len(starts) - 2)
    assert own == pytest.approx(best, abs=1e-9)


@settings(max_examples=30, deadline=None)
@given(st.integers(0, 10_000), st.integers(4, 7), st.floats(0.5, 2.5), st.floats(0.0, 1.0))
def test_decoding_of_three_classes_is_the_best_of_all_paths(seed, n, bout_min_s, cost):
    rng = np.random.default_rng(seed)
    p = rng.dirichlet(np.full(3, 0.5), n).clip(0.02, None)
    # a start that is not 0 tells a length from a time
    edges = 3.0 + np.concatenate([[0.0], np.cumsum(rng.uniform(0.5, 3.0, n))])
    window = np.full(n, 2.0)
    path = decode(p, edges, window, bout_min_s, cost)
    if edges[-1] - edges[0] < 2 * bout_min_s:
        assert len(set(path.tolist())) == 1
        return
    best, _ = brute_force(p, edges, window, bout_min_s, cost)
    changes_ = int(np.count_nonzero(np.diff(path)))
    own = sum(np.diff(edges)[i] / 2.0 * np.log(p[i, c]) for i, c in enumerate(path)) - cost * changes_
    assert own == pytest.approx(best, abs=1e-9)


def test_a_walk_of_exactly_two_bouts_may_change_in_its_middle():
    p = np.array([[0.95, 0.05], [0.95, 0.05], [0.05, 0.95], [0.05, 0.95]])
    window = np.full(4, 1.0)
    assert decode(p, np.arange(5.0), window, 2.0, 0.5).tolist() == [0, 0, 1, 1]
    assert decode(p, np.arange(5.0), window, 2.01, 0.5).tolist() in ([0] * 4, [1] * 4)
    # an impossible window weighs no more than a very unlikely one
    sure = np.array([[1.0, 0.0], [1.0, 0.0], [0.0, 1.0], [1.0, 0.0], [1.0, 0.0]])
    assert decode(sure, np.arange(6.0), np.full(5, 1.0), 1.0, -0.9 * float(LOG_FLOOR)).tolist() == [0] * 5


def test_a_short_walk_is_one_bout_and_windows_without_probability_say_nothing():
    p = np.array([[0.9, 0.1], [0.2, 0.8], [np.nan, np.nan]])
    assert decode(p, np.array([0.0, 1.0, 2.0, 3.0]), np.full(3, 6.0), 5.0).tolist() == [0, 0, 0]


def test_windows_own_the_time_nearest_to_them():
    assert owned_spans(np.array([3.0, 5.0, 9.0]), 1.0, 12.0).tolist() == [1.0, 4.0, 7.0, 12.0]


def test_a_window_is_labelled_where_one_label_covers_most_of_it():
    windows = pd.DataFrame({"recording_id": "r", "onset": [0.0, 4.0, 8.0, 20.0], "duration": 5.0})
    sheet = pd.DataFrame(
        {
            "onset": [0.0, 9.0],
            "duration": [8.0, 9.0],
            "trial_type": ["normal_gait", "limping_gait"],
            "side": [None, "right"],
        }
    )
    found = label_windows(windows, {"r": sheet}, 0.8)
    assert found["label"].tolist() == ["normal_gait", "normal_gait", "limping_gait", None]
    assert found["side"].tolist() == [None, None, "right", None]
    assert found["unit"].tolist() == ["r/000", "r/000", "r/001", ""]


def windows_of(times, p, left=0.9, caution=None):
    return pd.DataFrame(
        {
            "time": times,
            "duration": 6.0,
            "probability_limping": p,
            "probability_left": left,
            "caution": pd.Series([caution] * len(times), dtype=object),
        }
    )


STATES = pd.DataFrame(
    {
        "onset": [0.0, 5.0, 25.0, 28.0, 48.0],
        "duration": [5.0, 20.0, 3.0, 20.0, 4.0],
        "trial_type": ["rest", "gait", "turn", "gait", "rest"],
        "walk": [-1, 0, 0, 0, -1],
    }
)


def test_bouts_tile_the_recording_and_keep_rest_and_turns():
    times = np.arange(8.0, 46.0, 1.0)
    bouts = bouts_of("r", STATES, windows_of(times, np.where(times < 26, 0.05, 0.95)), PARAMETERS, "out_of_fold")
    assert bouts["trial_type"].tolist() == ["rest", "normal_gait", "turn", "limping_gait", "rest"]
    end = (bouts["onset"] + bouts["duration"]).to_numpy()
    assert bouts["onset"].to_numpy()[1:] == pytest.approx(end[:-1], abs=0.51)
    assert bouts["prediction"].tolist() == ["rule", "out_of_fold", "rule", "out_of_fold", "rule"]
    limp = bouts.iloc[3]
    assert limp["limping_side"] == "left"
    assert limp["probability"] == pytest.approx(0.95)
    assert limp["side_probability"] == pytest.approx(0.9)
    assert bouts["limping_side"].isna().sum() == 4


def test_gait_and_turns_that_touch_are_one_walk_where_walks_have_no_numbers():
    times = np.arange(8.0, 46.0, 1.0)
    windows = windows_of(times, np.where(times < 26, 0.05, 0.95))
    numbered = bouts_of("r", STATES, windows, PARAMETERS, "final")
    pd.testing.assert_frame_equal(bouts_of("r", STATES.drop(columns="walk"), windows, PARAMETERS, "final"), numbered)
    # a walk of its own number is judged by itself, though it touches the one before
    apart = STATES.assign(walk=[-1, 0, 0, 1, -1])
    odd = windows_of(times, np.where((times > 23) & (times < 31), 0.9, 0.2))
    assert bouts_of("r", apart, odd, PARAMETERS, "final")["trial_type"].tolist()[1] == "normal_gait"


def test_one_odd_window_makes_no_bout():
    times = np.arange(8.0, 46.0, 1.0)
    p = np.where(np.isin(times, [15.0, 33.0]), 0.98, 0.1)
    bouts = bouts_of("r", STATES, windows_of(times, p), PARAMETERS, "final")
    assert "limping_gait" not in set(bouts["trial_type"])


def test_what_is_doubtful_says_why():
    times = np.arange(8.0, 46.0, 1.0)
    doubtful = bouts_of("r", STATES, windows_of(times, np.full(38, 0.55), left=0.5), PARAMETERS, "final")
    assert set(doubtful.loc[doubtful["trial_type"] == "limping_gait", "caution"]) == {"side not known; not sure"}
    strange = windows_of(times, np.full(38, 0.9), caution="outside the training range: stride_time_cv")
    bouts = bouts_of("r", STATES, strange, PARAMETERS, "final")
    assert bouts.loc[1, "caution"] == "outside the training range: stride_time_cv"
    none = bouts_of("r", STATES, windows_of(times, np.full(38, 0.9)).iloc[:0], PARAMETERS, "final")
    assert none.loc[1, ["trial_type", "caution"]].tolist() == ["gait", "too few strides to classify"]


def test_a_rule_gives_no_probability():
    times = np.arange(8.0, 46.0, 1.0)
    bouts = bouts_of("r", STATES, windows_of(times, np.full(38, 0.9)), PARAMETERS, "rule")
    assert bouts["probability"].isna().all()
    assert bouts.loc[1, "limping_side"] == "left"


def medians_over(kinds, size=6):
    """Median of every run of six strides: two features of strides of two kinds."""
    values = np.column_stack([np.where(kinds, 40.0, 0.0), np.where(kinds, 1.3, 1.1)])
    values = values + np.random.default_rng(3).normal(0.0, [2.0, 0.02], values.shape)
    return np.median(np.lib.stride_tricks.sliding_window_view(values, size, axis=0), axis=2)


@pytest.mark.parametrize("bias", [0, 1, 2, 3])
def test_a_change_is_placed_within_a_stride_however_early_the_windows_turn(bias):
    """A window counts as odd from its first odd stride on; the bout must not start or end there."""
    kinds = (np.arange(60) >= 22) & (np.arange(60) < 40)
    x = medians_over(kinds)
    centres = np.arange(len(x)) + 3.0
    window = np.full(len(x), 6.0)
    edges = owned_spans(centres, 0.0, 60.0)
    path = ((centres >= 22 - bias) & (centres < 40 + bias)).astype(int)
    moved = changes(path, edges, centres, window, x)
    assert moved == pytest.approx([22.0, 40.0], abs=1.0)


def test_a_change_that_no_feature_shows_stays_where_the_windows_put_it():
    centres = np.arange(30) + 3.0
    edges = owned_spans(centres, 0.0, 36.0)
    path = (centres >= 17).astype(int)
    for x in (np.full((30, 2), np.nan), np.ones((30, 1)), np.empty((30, 0))):
        assert changes(path, edges, centres, np.full(30, 6.0), x).tolist() == [16.5]
    assert changes(np.zeros(30, dtype=int), edges, centres, np.full(30, 6.0), np.ones((30, 1))).size == 0


def test_bouts_of_many_recordings_are_those_of_each_whatever_the_order_of_rows():
    times = np.arange(8.0, 46.0, 1.0)
    one = windows_of(times, np.where(times < 26, 0.05, 0.95)).assign(recording_id="b", prediction="out_of_fold")
    two = windows_of(times, np.full(38, 0.9), caution="loose").assign(recording_id="a", prediction="final")
    still = STATES.iloc[[0, 4]].assign(recording_id="c")
    states = pd.concat([STATES.assign(recording_id="b"), still, STATES.assign(recording_id="a")])
    windows = pd.concat([one, two])
    shuffled = np.random.default_rng(1).permutation
    mixed = states.iloc[shuffled(len(states))], windows.iloc[shuffled(len(windows))]
    found = bouts_of_all(*mixed, PARAMETERS, "rule")
    assert list(found.columns) == list(BOUT_COLUMNS)
    assert list(dict.fromkeys(found["recording_id"])) == ["a", "b", "c"]
    for name, own, word in (("a", two, "final"), ("b", one, "out_of_fold")):
        part = found[found["recording_id"] == name].reset_index(drop=True)
        pd.testing.assert_frame_equal(part, bouts_of(name, STATES, own, PARAMETERS, word))
    assert found.loc[found["recording_id"] == "c", "trial_type"].tolist() == ["rest", "rest"]


def test_without_states_there_are_no_bouts():
    nothing = STATES.iloc[:0].assign(recording_id=[])
    windows = windows_of(np.empty(0), np.empty(0)).assign(recording_id=[], prediction=[])
    assert list(bouts_of_all(nothing, windows, PARAMETERS, "rule").columns) == list(BOUT_COLUMNS)
