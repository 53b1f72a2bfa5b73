import dataclasses
import json

import numpy as np
import pandas as pd
import pytest
from strainstudy.swallow import (
    EdgeModel,
    SwallowParameters,
    detect_candidates,
    edge_differences,
    fit_edges,
    label_candidates,
    move_edges,
)
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
        candidates = detect_candidates(stream, 100.0, SwallowParameters())
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
