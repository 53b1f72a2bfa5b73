import dataclasses
import json

import numpy as np
import pandas as pd
import pytest
from sklearn.linear_model import Ridge
from strainstudy.swallow.candidate_labels import label_candidates
from strainstudy.swallow.candidates import detect_together
from strainstudy.swallow.edges import _FEATURES, EdgeModel, edge_differences, fit_edges, move_edges
from strainstudy.swallow.parameters import SwallowParameters
from throat_signals import throat_stream


@pytest.fixture(scope="module")
def people():
    found = []
    for seed in range(4):
        stream, labels = throat_stream(seed, seconds=150.0)
        # A rater who marks late onsets and waits long for the return.
        swallow = labels["trial_type"] == "swallow"
        labels.loc[swallow, "onset"] += 0.08
        labels.loc[swallow, "duration"] += 0.12
        (candidates,) = detect_together([(stream, 100.0)], SwallowParameters())
        words = label_candidates(candidates, labels)
        found.append((candidates[words == "swallow"], labels))
    return found


def test_edges_learnt_from_others_follow_the_raters_definition(people):
    before, after = [], []
    for k, (candidates, labels) in enumerate(people):
        model = fit_edges([edge_differences(c, lab) for j, (c, lab) in enumerate(people) if j != k])
        before.append(edge_differences(candidates, labels))
        after.append(edge_differences(move_edges(candidates, model), labels))
    raw, moved = pd.concat(before), pd.concat(after)
    assert abs(raw["end_difference"].mean()) > 0.1
    assert abs(moved["onset_difference"].mean()) < 0.03
    assert abs(moved["end_difference"].mean()) < 0.03


def test_too_few_matches_move_nothing(people):
    candidates, labels = people[0]
    model = fit_edges(edge_differences(candidates.head(5), labels))
    assert model == EdgeModel()
    pd.testing.assert_frame_equal(move_edges(candidates, model), candidates)


def test_moved_edges_stay_events(people):
    candidates, labels = people[1]
    model = fit_edges(edge_differences(candidates, labels))
    moved = move_edges(candidates.assign(duration_s=99.0, path_length=1e6), model)
    assert (moved["onset"] >= 0).all()
    assert (moved["duration"] >= candidates["duration"] / 3 - 1e-12).all()
    assert np.abs(moved["onset"] - candidates["onset"]).max() <= 0.5 + 1e-12


def test_what_json_left_of_a_model_moves_edges_as_the_model_did(people):
    candidates, labels = people[0]
    model = fit_edges(edge_differences(candidates, labels))
    assert model.count >= 8
    stored = EdgeModel.of(json.loads(json.dumps(dataclasses.asdict(model))))
    assert stored == model
    pd.testing.assert_frame_equal(move_edges(candidates, stored), move_edges(candidates, model))
    assert EdgeModel.of({}) == EdgeModel()


def measured(n, seed=3):
    """Candidates with made-up features, and differences that depend on two of them."""
    rng = np.random.default_rng(seed)
    frame = pd.DataFrame(rng.normal(size=(n, len(_FEATURES))) * 3 + 5, columns=list(_FEATURES))
    frame = frame.assign(onset=10.0 + 5 * np.arange(n), duration=1.2)
    late = 0.08 + 0.02 * (frame["rise_time_s"] - 5) + rng.normal(scale=0.01, size=n)
    return frame.assign(onset_difference=late, end_difference=-2 * late + 0.1)


def test_the_model_is_the_ridge_regression_of_scikit_learn_with_penalty_ten():
    """Standardised features, an intercept that is not penalised; differences beyond half a second count as that."""
    frame = measured(40)
    frame.loc[[3, 7], "onset_difference"] = [2.0, -0.9]
    model = fit_edges(frame)
    values = frame[list(_FEATURES)].to_numpy()
    scaled = (values - np.median(values, axis=0)) / values.std(axis=0)
    for name, weights in (("onset_difference", model.onset), ("end_difference", model.end)):
        expected = Ridge(alpha=10.0).fit(scaled, frame[name].clip(-0.5, 0.5))
        np.testing.assert_allclose(weights, [expected.intercept_, *expected.coef_], atol=1e-10)
    assert model.count == 40


@pytest.mark.parametrize(("n", "fitted"), [(7, False), (8, True)])
def test_eight_matches_are_enough(n, fitted):
    assert (fit_edges(measured(n)).count == n) == fitted
    # of several recordings together
    assert (fit_edges([measured(3), measured(n - 3, seed=4), measured(0)]).count == n) == fitted


def test_a_feature_that_never_differs_moves_nothing():
    model = fit_edges(measured(20).assign(path_length=4.0))
    place = 1 + _FEATURES.index("path_length")
    assert model.onset[place] == model.end[place] == 0.0


def test_edges_move_by_the_line_up_to_three_spreads_and_half_a_second():
    n = len(_FEATURES)
    slope = tuple(0.1 if name == "rise_time_s" else 0.0 for name in _FEATURES)
    model = EdgeModel(centre=(5.0,) * n, scale=(2.0,) * n, onset=(0.05, *slope), end=(0.0,) * (n + 1), count=20)
    candidates = measured(4).assign(rise_time_s=[5.0, 7.0, 99.0, -99.0])
    moved = move_edges(candidates, model)
    np.testing.assert_allclose(moved["onset"] - candidates["onset"], [0.05, 0.15, 0.35, -0.25])
    np.testing.assert_allclose(moved["onset"] + moved["duration"], candidates["onset"] + candidates["duration"])
    steep = dataclasses.replace(model, onset=(0.9, *slope))
    assert (move_edges(candidates, steep)["onset"] - candidates["onset"]).max() == pytest.approx(0.5)
    # an event keeps a third of its length and starts no earlier than the recording
    early = move_edges(candidates.assign(onset=0.1, duration=0.3), dataclasses.replace(model, end=(-0.4, *slope)))
    assert early["onset"].tolist() == pytest.approx([0.15, 0.25, 0.45, 0.0])
    assert early["duration"].min() == pytest.approx(0.1)


def test_only_labelled_swallows_that_last_say_where_edges_are():
    candidates = measured(4)[["onset", "duration"]]
    labels = candidates.assign(
        onset=candidates["onset"] + 0.1, duration=[0.8, np.nan, 0.0, 0.8], trial_type=["swallow"] * 3 + ["speech"]
    )
    found = edge_differences(candidates, labels)
    assert found.index.tolist() == [0]
    assert found["onset_difference"].tolist() == [pytest.approx(0.1)]
    assert found["end_difference"].tolist() == [pytest.approx(-0.3)]
