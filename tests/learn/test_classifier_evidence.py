import numpy as np
import pandas as pd
import pytest
from registry import wheel_member
from strainstudy.classify_parameters import ClassifyParameters
from strainstudy.gait.shape import loading_wave, scaled, stance_level
from strainstudy.gait.task import gait_rows, gait_task, labelled_windows
from strainstudy.learn.attention import label_next, mistakes, novelty
from strainstudy.learn.evidence import balanced_accuracy, permutation_test, shuffled_labels, thin
from strainstudy.learn.feature_rows import Rows, Task
from strainstudy.tables.classifier import EVIDENCE
from strainstudy.vocabulary import GAIT_STATES


def mistakes_of(frame):
    return mistakes(frame, frame["probability_limping"].to_numpy(float), GAIT_STATES)


def next_of(frame, new, parameters):
    return label_next(frame, frame["probability_limping"].to_numpy(float), GAIT_STATES, new, parameters)


@pytest.fixture(scope="module")
def rows_and_task(study):
    windows, _, labels, _ = study
    parameters, task = ClassifyParameters(), gait_task()
    return gait_rows(labelled_windows(windows, labels, parameters), task, {}, parameters), task


def test_shuffling_exchanges_whole_bouts_within_people_or_whole_people(rows_and_task):
    rows, _ = rows_and_task
    mixed, moved = set(), 0
    for seed in range(20):
        (y,) = shuffled_labels(rows, np.random.default_rng(seed), 1)
        for unit in set(rows.units[rows.labelled]):
            assert len(set(y[(rows.units == unit) & rows.labelled])) == 1
        own = rows.labelled & (rows.groups == "sub-01")
        assert sorted(set(y[own])) == sorted(set(rows.y[own]))
        mixed |= {v for v in y[rows.groups == "sub-02"] if v is not None}
        moved += any(y[rows.labelled] != rows.y[rows.labelled])
    assert len(mixed) > 1
    assert moved > 10


def test_a_real_difference_is_found_and_shuffled_labels_are_not(rows_and_task):
    """A classifier of labels that mean nothing must not beat chance: 20 times, within the interval of chance."""
    rows, task = rows_and_task
    real = permutation_test(rows, task, ClassifyParameters(permutations=39)).iloc[0]
    assert real["p_value"] == pytest.approx(1 / 40)
    values = []
    for seed in range(20):
        shuffled = rows.with_labels(shuffled_labels(rows, np.random.default_rng(100 + seed), 1)[0])
        values.append(permutation_test(shuffled, task, ClassifyParameters(permutations=1))["value"].iloc[0])
    inside = np.mean((np.array(values) >= real["null_low"]) & (np.array(values) <= real["null_high"]))
    assert inside >= 0.75
    assert np.mean(values) == pytest.approx(real["null_mean"], abs=0.12)
    assert real["value"] > max(real["null_high"], np.quantile(values, 0.9))


def test_groups_that_do_not_differ_are_not_told_apart():
    """Knee flexion in stance, 15 controls and 26 people with patellofemoral pain (Besier 2009, J Biomech 42:898).

    The groups do not differ in amplitude (Welch p = 0.45 on the first peak), nor then may a classifier of those of our
    features that a stance phase has: two of shape, two of amplitude. (The time of the first peak, which is none of
    them, does differ: Mann-Whitney p = 0.002.)
    """
    path = wheel_member(
        "spm1d",
        "0.4.55",
        "spm1d/data/datafiles/Besier2009kneeflexion.npz",
        "f4fe1e22238d432700f19b865377cce2151d649ea7a1dacfb22836a2b0f3f464",
    )
    with np.load(path) as data:
        curves, group = data["Y"].astype(float), data["GROUP"]
    assert curves.shape == (41, 100)
    shape = scaled(curves)
    x = np.column_stack([loading_wave(shape), stance_level(shape), np.ptp(curves, axis=1), curves[:, :50].max(axis=1)])
    people = np.array([f"p{k:02d}" for k in range(41)], dtype=object)
    y = np.where(group == np.unique(group)[0], "control", "pain").astype(object)
    rows = Rows(x, y, people, people, people, np.ones(41, dtype=bool))
    names = ("loading_wave", "stance_level", "range_of_motion", "peak")
    found = permutation_test(rows, Task(names, ("control", "pain")), ClassifyParameters(permutations=99)).iloc[0]
    assert found["p_value"] > 0.05
    assert found["n_participants"] == 41


def test_balanced_accuracy_gives_people_and_classes_the_same_say():
    truth = np.array(["a"] * 6 + ["b"] * 2, dtype=object)
    predicted = np.array(["a", "a", "a", "a", "b", "b", "b", "a"], dtype=object)
    groups = np.array(["p"] * 4 + ["q"] * 2 + ["r", "s"], dtype=object)
    assert balanced_accuracy(predicted, truth, groups) == pytest.approx(((1 + 0) / 2 + (1 + 0) / 2) / 2)


def test_thinning_keeps_a_few_rows_of_every_bout(rows_and_task):
    rows, _ = rows_and_task
    few = thin(rows, 3)
    assert set(few.units) == set(rows.units[rows.labelled])
    assert pd.Series(few.units).value_counts().max() == 3


def test_every_piece_of_evidence_has_its_described_columns(trained):
    for name, frame in trained.evidence.frames().items():
        assert set(frame.columns) == set(EVIDENCE[name].names), name
        assert len(frame) or name == "mistakes", name


def test_what_carries_the_difference_matters_most(trained):
    importance = trained.evidence.importance
    single = importance[~importance["feature"].str.startswith("all ")]
    assert single["feature"].iloc[0] in {
        "step_time_log_ratio", "swing_time_log_ratio", "phase_coordination_index", "waveform_difference",
        "swing_peak_timing_difference", "shape_variability_difference", "shape_variability",
        "range_of_motion_log_ratio", "swing_peak_difference",
    }  # fmt: skip
    nothing = single.set_index("feature")["log_loss_increase"][["swing_width_difference", "loading_wave_difference"]]
    assert nothing.max() < single["log_loss_increase"].iloc[0]
    ablation = trained.evidence.ablation.set_index("features")
    assert {"all", "timing only", "shape only", "amplitude only", "without timing", "without amplitude"} <= set(
        ablation.index
    )
    assert trained.evidence.learning_curve["n_participants"].max() == 7


def predictions(p, label):
    n = len(p)
    return pd.DataFrame(
        {
            "recording_id": "r", "participant_id": "s", "onset": np.arange(n) * 1.1, "duration": 6.6,
            "time": np.arange(n) * 1.1 + 3.3, "label": pd.Series(label, dtype=object), "probability_limping": p,
        }
    )  # fmt: skip


def test_mistakes_are_spans_and_the_surest_come_first():
    p = [0.1, 0.6, 0.7, *[0.1] * 8, 0.99, 0.99, 0.99]
    found = mistakes_of(predictions(p, ["normal_gait"] * 14))
    assert found["rank"].tolist() == [1, 2]
    assert found["onset"].tolist() == pytest.approx([12.1, 1.1])
    assert found["log_loss"].tolist() == pytest.approx([-3 * np.log(0.01), -np.log(0.4) - np.log(0.3)])


def test_unlabelled_unsure_and_unfamiliar_spans_come_first():
    windows = pd.concat(
        [
            predictions([0.5] * 5, [None] * 5).assign(recording_id="unsure"),
            predictions([0.97] * 5, [None] * 5).assign(recording_id="sure"),
            predictions([0.5] * 5, ["limping_gait"] * 5).assign(recording_id="labelled"),
        ],
        ignore_index=True,
    )
    found = next_of(windows, np.full(15, 0.7), ClassifyParameters())
    assert found["recording_id"].tolist() == ["unsure", "labelled", "sure"]
    assert (
        found["reason"].iloc[0] == "the prediction is not sure; unlike anything labelled in other people; no label yet"
    )
    assert len(next_of(windows, np.full(15, 0.7), ClassifyParameters(label_next_rows=1))) == 1


def test_novelty_is_a_half_at_the_usual_distance_between_people():
    rng = np.random.default_rng(0)
    x = np.r_[rng.normal(size=(40, 3)), np.full((2, 3), 30.0)]
    groups = np.array([f"p{k % 4}" for k in range(40)] + ["new", "new"], dtype=object)
    known = np.arange(42) < 40
    new = novelty(x, known, groups)
    assert np.median(new[:40]) == pytest.approx(0.5, abs=0.01)
    assert new[40:].min() > 0.85
    assert novelty(x, np.zeros(42, dtype=bool), groups).tolist() == [1.0] * 42
