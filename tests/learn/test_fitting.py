import numpy as np
import pytest
from sklearn.linear_model import LogisticRegression
from sklearn.model_selection import LeaveOneGroupOut, cross_validate
from strainstudy.gait.task import LEFT, RIGHT, gait_rows, gait_task, labelled_windows
from strainstudy.learn import fitting
from strainstudy.learn.calibration import Calibration, calibrate
from strainstudy.learn.crossfit import available, crossfit, fold_labels
from strainstudy.learn.fitting import NothingToLearnError, PersonClassifier, Recipe, fit
from strainstudy.learn.model_families import FAMILIES, candidates
from strainstudy.learn.scaling import Scaling

LOGISTIC = Recipe(("logistic_regression",), 3, 0)


@pytest.fixture
def rows_and_task(study, quick):
    windows, _, labels, _ = study
    task = gait_task()
    return gait_rows(labelled_windows(windows, labels, quick), task, {}, quick), task


def test_a_model_that_saw_left_limps_only_knows_right_limps(make_cohort, make_recording, quick):
    windows, _, labels, _ = make_cohort(sides=("left",))
    task = gait_task()
    rows = gait_rows(labelled_windows(windows, labels, quick), task, {}, quick)
    assert RIGHT not in set(rows.y)
    model = fit(rows, task, LOGISTIC)
    stranger, _, _ = make_recording("new_walk", "sub-99", [("limping_gait", "right")], seed=5)
    p = model.predict_proba(stranger[list(model.columns)].to_numpy(float))
    assert p[:, list(model.classes_).index(RIGHT)].min() > 0.7


def test_mirrored_windows_get_mirrored_probabilities(rows_and_task):
    rows, task = rows_and_task
    model = fit(rows, task, LOGISTIC)
    places = [task.columns.index(c) for c in model.columns]
    plain = model.predict_proba(rows.x[:, places])
    turned = model.predict_proba(rows.mirrored(task).x[:, places])
    assert turned[:, 0] == pytest.approx(plain[:, 0], abs=1e-3)
    assert turned[:, 1] == pytest.approx(plain[:, 2], abs=1e-3)


def test_features_of_one_knee_are_used_only_where_one_knee_was_recorded(rows_and_task, study, quick):
    rows, task = rows_and_task
    both = available(rows, task)
    assert not {task.columns[j] for inputs in both.values() for j in inputs} & task.alone
    windows, _, labels, _ = study
    single = windows.copy()
    single.loc[:, [*task.odd, "waveform_difference", "phase_coordination_index"]] = np.nan
    rows = gait_rows(labelled_windows(single, labels, quick), task, {}, quick)
    assert {task.columns[j] for j in available(rows, task)["sub-01_walk"]} >= set(task.alone)


def test_a_person_without_degrees_is_predicted_by_a_model_without_degrees(rows_and_task, quick):
    rows, task = rows_and_task
    rows.x[
        np.ix_(rows.groups == "sub-03", [j for j, c in enumerate(task.columns) if "swing_peak" in c or "motion" in c])
    ] = np.nan
    found = crossfit(rows, task, LOGISTIC, fold_labels(rows, task, quick))
    columns = {rows.groups[m.index[0]]: m.model.columns for m in found.models}
    assert "range_of_motion" in columns["sub-01"]
    assert "range_of_motion" not in columns["sub-03"]
    assert np.isfinite(found.probabilities).all()


def test_every_fold_reports_what_it_chose_from(rows_and_task, quick):
    rows, task = rows_and_task
    recipe = Recipe(("logistic_regression", "gradient_boosting"), 2, 0)
    few = np.isin(rows.groups, ["sub-01", "sub-02", "sub-03", "sub-04", "sub-06"])
    found = crossfit(rows.take(few), task, recipe, fold_labels(rows.take(few), task, quick))
    per_fold = found.choices.groupby("fold")
    assert (per_fold["chosen"].sum() == 1).all()
    assert (per_fold["family"].nunique() == 2).all()


def test_candidates_tried_together_give_what_each_gives_by_itself(rows_and_task):
    rows, task = rows_and_task
    rows, task = fitting.learnable(rows, task)
    held = np.isin(rows.groups, ["sub-01", "sub-02"])
    options = candidates(tuple(FAMILIES))
    together = fitting._tried(options, rows.take(~held), rows.take(held), task, 3)
    for option, found in zip(options, together, strict=True):
        alone = fitting._train(option, rows.take(~held), task, 3).probabilities(rows.x[held], task.classes)
        np.testing.assert_array_equal(found, alone, err_msg=option.family)


def test_nothing_to_learn_is_said(rows_and_task):
    rows, task = rows_and_task
    with pytest.raises(NothingToLearnError, match="classes \\['normal_gait'\\]"):
        fit(rows.take(rows.y == "normal_gait"), task, LOGISTIC)


def test_side_of_a_limp_without_side_is_the_affected_side_else_the_rule_s(study, quick):
    windows, _, labels, _ = study
    blank = {name: sheet.assign(side=None) for name, sheet in labels.items()}
    known = labelled_windows(windows, blank, quick)
    limping = known["label"] == "limping_gait"
    by_rule = gait_rows(known, gait_task(), {}, quick).y[limping]
    by_rater = gait_rows(labelled_windows(windows, labels, quick), gait_task(), {}, quick).y[limping]
    assert (by_rule == by_rater).all()
    by_sheet = gait_rows(known, gait_task(), {"sub-01": "right"}, quick).y[
        limping & (known["participant_id"] == "sub-01")
    ]
    assert set(by_sheet) == {RIGHT}
    assert LEFT in set(by_rater)


def test_scaling_counts_in_spreads_of_the_reference_and_adds_the_largest_departure():
    """asinh(1) = 0.881374; the spread is 1.4826 times the median absolute deviation (Hampel 1974)."""
    x = np.array([[-1.0, 0.0], [0.0, 0.0], [1.0, 0.0]])
    scaling = Scaling.of(x, ((0,),))
    assert scaling.scale == pytest.approx([1.482602218505602, 1.0])
    assert scaling(np.array([[1.482602218505602, np.nan]]))[0] == pytest.approx(
        [0.881373587, np.nan, 0.881373587, 0.881373587], nan_ok=True
    )


def test_calibration_finds_the_sigmoid_that_made_the_labels():
    """Against scikit-learn's unpenalised logistic regression on the log odds (Platt's sigmoid without his prior)."""
    rng = np.random.default_rng(3)
    odds = rng.normal(0, 2, 4000)
    truth = rng.random(4000) < 1 / (1 + np.exp(-(0.4 * odds + 0.5)))
    p = 1 / (1 + np.exp(-odds))
    found = calibrate(np.column_stack([1 - p, p]), truth.astype(np.intp), np.ones(4000), np.array([1e9, 1e9]))
    reference = LogisticRegression(C=np.inf).fit(odds[:, None], truth)
    assert found.slope == pytest.approx(reference.coef_[0, 0], abs=0.01)
    assert found.shift[1] == pytest.approx(reference.intercept_[0], abs=0.01)


def test_few_pieces_of_evidence_keep_probabilities_from_certainty():
    """Platt's target for n pieces of evidence that never erred is (n + 1) / (n + 2)."""
    p = np.repeat([[0.999, 0.001], [0.001, 0.999]], 50, axis=0)
    codes = np.repeat([0, 1], 50).astype(np.intp)
    few = calibrate(p, codes, np.ones(100), np.array([4.0, 4.0]))
    assert few(p)[0, 0] == pytest.approx(5 / 6, abs=0.02)
    assert Calibration()(p) == pytest.approx(p, abs=1e-9)


def test_scikit_learn_leaving_out_groups_gives_the_same_probabilities(rows_and_task):
    """cross_validate with LeaveOneGroupOut clones the classifier and knows nothing of this project."""
    rows, task = rows_and_task
    rows = rows.take(rows.labelled & rows.learn)
    inputs = tuple(j for j, c in enumerate(task.columns) if c not in task.alone)
    rows, task = rows.with_columns(inputs), task.with_columns(tuple(task.columns[j] for j in inputs))
    fold = np.unique(rows.groups.astype(str), return_inverse=True)[1]
    model = PersonClassifier(task, LOGISTIC)
    assert model.get_params() == {"task": task, "recipe": LOGISTIC}
    assert list(model.classes_) == list(task.classes)
    found = cross_validate(
        model, rows.x, rows.y.astype(str), groups=rows.groups, cv=LeaveOneGroupOut(), return_estimator=True,
        return_indices=True, params={"groups": rows.groups, "units": rows.units}, error_score="raise",
    )  # fmt: skip
    given = crossfit(rows, task, LOGISTIC, fold).probabilities
    for estimator, at in zip(found["estimator"], found["indices"]["test"], strict=True):
        np.testing.assert_allclose(estimator.predict_proba(rows.x[at]), given[at], atol=1e-12)
    right = np.array(task.classes)[np.argmax(given, axis=1)] == rows.y
    assert found["test_score"] == pytest.approx([right[at].mean() for at in found["indices"]["test"]])
