"""Scores of throat candidates against scikit-learn, and their limits against the bootstrap of counts made by hand."""

import numpy as np
import pandas as pd
import pytest
from sklearn.metrics import (
    balanced_accuracy_score,
    brier_score_loss,
    confusion_matrix,
    log_loss,
    precision_recall_fscore_support,
)
from strainstudy.classify_parameters import ClassifyParameters
from strainstudy.stats.intervals import cluster_bootstrap
from strainstudy.swallow.scores import confusion_rows, score_candidates

CLASSES = ("swallow", "speech", "cough", "other")
PARAMETERS = ClassifyParameters(bootstrap_resamples=300)


@pytest.fixture(scope="module")
def candidates():
    """Five people; the last rows were not labelled, or not predicted out of fold."""
    rng = np.random.default_rng(6)
    n = 200
    label = rng.choice(["swallow", "speech", "other"], n, p=[0.5, 0.3, 0.2]).astype(object)
    wrong = rng.random(n) < 0.3
    frame = pd.DataFrame(
        {
            "participant_id": np.array([f"sub-{k:02d}" for k in rng.integers(0, 5, n)], dtype=object),
            "label": label,
            "called": np.where(wrong, rng.choice(CLASSES, n), label),
            "probability": rng.uniform(0.05, 0.95, n),
            "prediction": "out_of_fold",
            "rule": rng.random(n) < 0.5,
        }
    )
    frame["fold"] = frame["participant_id"].str[-1].astype(int)
    frame.loc[180:189, "label"] = None
    frame.loc[190:, "prediction"] = "final"
    return frame


def test_scores_by_class_are_those_of_scikit_learn(candidates):
    known = candidates.iloc[:180]
    table = score_candidates(candidates, CLASSES, PARAMETERS)
    pooled = table[table["scope"] == "pooled"].set_index(["predictor", "trial_type"])
    present = ["swallow", "speech", "other"]
    expected = precision_recall_fscore_support(known["label"], known["called"], labels=present, zero_division=0)
    for k, name in enumerate(present):
        row = pooled.loc[("classifier", name)]
        assert (row["precision"], row["recall"], row["f1"]) == pytest.approx([part[k] for part in expected[:3]])
        assert (row["n_labelled"], row["n_called"]) == (expected[3][k], (known["called"] == name).sum())
        assert row["n_participants"] == known.loc[known["label"] == name, "participant_id"].nunique()
    assert ("classifier", "cough") not in pooled.index
    recalls = [expected[1][k] for k in range(3)]
    whole = pooled.loc[("classifier", "all")]
    assert whole["balanced_accuracy"] == pytest.approx(np.mean(recalls))
    truth = known["label"] == "swallow"
    assert whole["log_loss"] == pytest.approx(log_loss(truth, known["probability"]))
    assert whole["brier"] == pytest.approx(brier_score_loss(truth, known["probability"]))
    assert (whole["n_labelled"], whole["n_participants"]) == (180, 5)


def test_baselines_are_the_detector_without_labels_and_the_commonest_class(candidates):
    known = candidates.iloc[:180]
    table = score_candidates(candidates, CLASSES, PARAMETERS)
    pooled = table[table["scope"] == "pooled"].set_index(["predictor", "trial_type"])
    rule = pooled.loc[("without_labels", "swallow")]
    both = ((known["label"] == "swallow") & known["rule"]).sum()
    assert rule["precision"] == pytest.approx(both / known["rule"].sum())
    assert rule["recall"] == pytest.approx(both / (known["label"] == "swallow").sum())
    # it tells swallows only, so that it has no balanced accuracy and no other row
    assert set(table.loc[table["predictor"] == "without_labels", "trial_type"]) == {"swallow", "all"}
    assert np.isnan(pooled.loc[("without_labels", "all"), "balanced_accuracy"])
    majority = pooled.loc[("majority", "all"), "balanced_accuracy"]
    assert majority == pytest.approx(balanced_accuracy_score(known["label"], ["swallow"] * 180))
    assert np.isnan(pooled.loc[("majority", "all"), "log_loss"])


def test_limits_come_from_people_and_a_person_alone_has_none(candidates):
    known = candidates.iloc[:180]
    table = score_candidates(candidates, CLASSES, PARAMETERS)
    people = known.groupby("participant_id")
    counts = np.array(
        [
            [((g["label"] == "speech") & (g["called"] == "speech")).sum(), (g["label"] == "speech").sum()]
            for _, g in people
        ],
        dtype=float,
    )
    limits = cluster_bootstrap(
        counts, lambda s: s[:, 0] / s[:, 1], draws=PARAMETERS.bootstrap_resamples, seed=PARAMETERS.seed
    )
    own = table[(table["predictor"] == "classifier") & (table["trial_type"] == "speech")]
    pooled = own[own["scope"] == "pooled"].iloc[0]
    assert (pooled["recall_low"], pooled["recall_high"]) == pytest.approx((limits.low, limits.high))
    single = own[own["scope"] == "fold"].set_index("participant_id")
    for person, recall in zip(sorted(known["participant_id"].unique()), counts[:, 0] / counts[:, 1], strict=True):
        assert single.loc[person, "recall"] == pytest.approx(recall)
        assert np.isnan(single.loc[person, "recall_low"])
        assert single.loc[person, "fold"] == int(person[-1])


def test_the_confusion_of_classes_is_that_of_scikit_learn(candidates):
    known = candidates.iloc[:180]
    found = confusion_rows(candidates, CLASSES)
    matrix = confusion_matrix(known["label"], known["called"], labels=list(CLASSES))
    for label, called, n, share, people in found.itertuples(index=False):
        row = matrix[CLASSES.index(label)]
        assert n == row[CLASSES.index(called)]
        assert share == pytest.approx(n / row.sum())
        assert people == known.loc[known["label"] == label, "participant_id"].nunique()
    assert len(found) == 3 * 4


def test_nothing_tested_gives_no_rows(candidates):
    nothing = candidates.assign(prediction="final")
    assert score_candidates(nothing, CLASSES, PARAMETERS).empty
    assert confusion_rows(nothing, CLASSES).empty
