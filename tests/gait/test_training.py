import os
from dataclasses import asdict, replace
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from invented_windows import LIMP
from strainstudy.calibrate.parameters import CalibrateParameters
from strainstudy.condition.bridge import Bridge, resistance
from strainstudy.condition.parameters import ConditionParameters
from strainstudy.condition.trace import condition_trace
from strainstudy.gait.model_card import UNTRAINED, no_model_words
from strainstudy.gait.parameters import GaitParameters
from strainstudy.gait.training import train_states
from strainstudy.gait.walk import detect_walk
from strainstudy.gait.window_parameters import FeatureParameters
from strainstudy.gait.windows import GAIT_FEATURES, gait_features
from strainstudy.io.labels import read_labels
from strainstudy.learn.card_words import untrained_lines
from strainstudy.learn.external import Given
from strainstudy.learn.history import extend
from strainstudy.learn.model_store import load_models
from strainstudy.sections import SECTIONS
from strainstudy.tables import write_table
from strainstudy.tables.classifier import BOUTS, EVIDENCE, LABEL_NEXT, PREDICTIONS
from strainstudy.upstream import upstream_settings
from strainstudy_simulator.sensor import Acquisition, BridgeModel, SensorModel, SleeveFit, through_sensor

REAL_WALKS = os.environ.get("STRAINSTUDY_REAL_WALKS")


def pooled(result, predictor="classifier"):
    table = result.evidence.classifier
    chosen = (table["predictor"] == predictor) & (table["scope"] == "pooled") & (table["trial_type"] == "all")
    return table[chosen].iloc[0]


def test_labelled_people_are_predicted_out_of_fold_only(trained):
    assert trained.method == "trained"
    gait = trained.bouts[trained.bouts["trial_type"].isin(["normal_gait", "limping_gait"])]
    assert set(gait["prediction"]) == {"out_of_fold"}
    assert trained.predictions.groupby("participant_id")["fold"].nunique().eq(1).all()
    assert trained.predictions["fold"].nunique() == 8
    assert pooled(trained)["balanced_accuracy"] > 0.95
    assert pooled(trained)["side_accuracy"] > 0.95


def test_a_limp_that_shows_in_the_shape_alone_is_told_by_the_classifier_and_by_no_baseline(make_cohort, quick):
    shape = {name: shift for name, shift in LIMP.items() if name.startswith(("waveform", "swing_peak_timing", "shape"))}
    result = train_states(*make_cohort(adds=shape), replace(quick, permutations=0))
    assert pooled(result)["balanced_accuracy"] > 0.95
    for name in ("majority", "amplitude_ratio", "published_asymmetry"):
        assert pooled(result, name)["balanced_accuracy"] < 0.75


def test_results_fit_their_tables(trained, tmp_path):
    write_table(trained.bouts, BOUTS, tmp_path)
    write_table(trained.predictions, PREDICTIONS, tmp_path)
    write_table(trained.label_next, LABEL_NEXT, tmp_path)
    for name, frame in trained.evidence.frames().items():
        write_table(frame, EVIDENCE[name], tmp_path)
    assert len(list(tmp_path.glob("*/*.tsv"))) == 11


def test_training_twice_gives_the_same_result(study, quick, trained):
    again = train_states(*study, replace(quick, permutations=0))
    assert again.model.content == trained.model.content
    assert again.model.card["variants"] == trained.model.card["variants"]
    pd.testing.assert_frame_equal(again.bouts, trained.bouts)
    pd.testing.assert_frame_equal(again.evidence.classifier, trained.evidence.classifier)


@pytest.fixture
def stranger(make_recording):
    """Somebody new who is like the mean of all: what is odd about them is what a test makes odd."""
    return make_recording("new_walk", "sub-99", [("limping_gait", "left"), ("normal_gait", None)], seed=7, habits=0.0)


def test_people_without_labels_are_predicted_by_the_stored_model(study, quick, stranger):
    windows, states, labels, people = study
    both = (pd.concat([windows, stranger[0]]), pd.concat([states, stranger[1]]), labels, people)
    result = train_states(*both, replace(quick, permutations=0))
    own = result.bouts[result.bouts["recording_id"] == "new_walk"]
    assert own["trial_type"].tolist() == ["rest", "limping_gait", "normal_gait", "rest"]
    assert own["prediction"].tolist() == ["rule", "final", "final", "rule"]
    assert own["limping_side"].iloc[1] == "left"
    assert "new_walk" in set(result.label_next["recording_id"])


def test_a_stored_model_predicts_another_study(trained, quick, stranger):
    given = Given(load_models(trained.model.content, "model.skops"), {})
    nobody = pd.DataFrame({"participant_id": ["sub-99"]})
    result = train_states(*stranger[:2], {}, nobody, quick, given=given)
    assert result.method == "external"
    assert result.bouts["trial_type"].tolist()[1:3] == ["limping_gait", "normal_gait"]
    assert not [told for told in result.bouts["caution"].dropna() if "outside" in told]
    assert result.model is None
    strange = stranger[0].assign(stride_time_cv=8.0)
    result = train_states(strange, stranger[1], {}, nobody, quick, given=given)
    gait = result.bouts[result.bouts["prediction"] == "final"]
    assert gait["caution"].str.startswith("outside the training range: stride_time_cv").all()


def test_a_model_of_another_study_made_under_other_settings_is_a_caution_on_every_bout_it_decides(
    trained, quick, stranger
):
    models = load_models(trained.model.content, "model.skops")
    told = "the model was made under other settings: features.window_strides 6 (here 8)"
    nobody = pd.DataFrame({"participant_id": ["sub-99"]})
    result = train_states(*stranger[:2], {}, nobody, quick, given=Given(models, {}, told))
    assert result.reason.endswith(told)
    gait = result.bouts[result.bouts["prediction"] == "final"]
    assert gait["caution"].str.startswith(told).all()
    assert told in no_model_words(untrained_lines(UNTRAINED, result))


def test_a_changed_setting_of_an_earlier_stage_is_another_model_in_history_and_card(study, quick):
    """Windows of another length teach another model, although labels and settings of training are the same."""
    settings = [upstream_settings({name: asdict(kind()) for name, kind in SECTIONS.items()}, "gait") for _ in range(2)]
    settings[1]["features"]["window_strides"] = 8
    first, second = (train_states(*study, replace(quick, permutations=0), settings=kept).model for kept in settings)
    history = extend(None, first.history_entry, first.participant_log_loss, quick)
    assert len(extend(history, first.history_entry, first.participant_log_loss, quick)) == 1
    assert len(extend(history, second.history_entry, second.participant_log_loss, quick)) == 2
    assert second.card["settings"]["features"]["window_strides"] == 8


def test_a_person_with_one_knee_is_predicted_without_made_up_values(trained, quick, stranger):
    models = load_models(trained.model.content, "model.skops")
    single = stranger[0].assign(knees="left")
    both = [c for c in models["both_knees_degrees"].columns if c not in models["one_knee_degrees"].columns]
    single[both] = np.nan
    result = train_states(
        single, stranger[1], {}, pd.DataFrame({"participant_id": ["sub-99"]}), quick, given=Given(models, {})
    )
    gait = result.bouts[result.bouts["prediction"] == "final"]
    assert gait["probability"].notna().all()
    assert gait["limping_side"].isna().all()


def test_of_a_person_with_one_knee_a_baseline_that_compares_knees_has_no_score(study, quick):
    windows, *rest = study
    single = windows["participant_id"] == windows["participant_id"].iloc[0]
    both = [spec.name for spec in GAIT_FEATURES if spec.knees == "both"]
    one = windows.assign(knees=windows["knees"].mask(single, "left"))
    one[both] = one[both].mask(single)
    table = train_states(one, *rest, replace(quick, permutations=0)).evidence.classifier
    person = windows["participant_id"].iloc[0]
    measures = ["balanced_accuracy", "recall", "f1"]
    for name in ("amplitude_ratio", "published_asymmetry"):
        own = table[(table["predictor"] == name) & (table["participant_id"] == person)]
        assert len(own)
        assert own[measures].isna().all(axis=None)
        others = table[(table["predictor"] == name) & (table["scope"] == "fold") & (table["participant_id"] != person)]
        assert others.loc[others["trial_type"] != "all", "recall"].notna().all()
        whole = table[(table["predictor"] == name) & (table["scope"] == "pooled") & (table["trial_type"] == "all")]
        assert whole["n_participants"].tolist() == [windows["participant_id"].nunique() - 1]
        assert whole["balanced_accuracy"].notna().all()
    of_classifier = table[(table["predictor"] == "classifier") & (table["participant_id"] == person)]
    assert of_classifier["recall"].notna().any()


def test_without_labels_published_limits_decide_and_say_so(study, quick):
    windows, states, _, people = study
    result = train_states(windows, states, {}, people, quick)
    assert result.method == "rule"
    assert "normal_gait is labelled in 0 participants" in result.reason
    assert set(result.bouts["prediction"]) == {"rule"}
    assert result.bouts["probability"].isna().all()
    assert result.evidence is None
    assert {"normal_gait", "limping_gait"} <= set(result.bouts["trial_type"])


def test_a_study_without_walking_gives_empty_tables(study, quick):
    windows, states, _, people = study
    rest = states[states["trial_type"] == "rest"]
    result = train_states(windows.iloc[:0], rest, {}, people, quick)
    assert set(result.bouts["trial_type"]) == {"rest"}
    assert len(result.predictions) == len(result.label_next) == 0


def through_sensors(knees, fs, person):
    """Each person wears sensors of their own: other gains, hysteresis and curvature on each knee, no calibration."""
    out = {}
    for k, (side, angle) in enumerate(knees.items()):
        rng = np.random.default_rng([int(person[-2:]), k])
        sensor = SensorModel(
            gauge_factor=rng.uniform(2, 8), curvature=rng.uniform(0, 1), hysteresis_percent=rng.uniform(3, 12)
        )
        sleeve = SleeveFit(transfer=rng.uniform(0.5, 0.85))
        bridge = BridgeModel()
        volts = through_sensor(
            angle, fs, sensor=sensor, bridge=bridge, acquisition=Acquisition(), rng=rng, sleeve=sleeve
        )
        known = Bridge.of(excitation_v=bridge.excitation_v, r3_ohm=bridge.r3_ohm, rest_ohm=sensor.rest_ohm)
        ohm, _ = resistance(volts, known)
        point = f"{side}_knee"
        out[side] = condition_trace(
            ohm / sensor.rest_ohm - 1, fs, tracked_point=point, units="V", parameters=ConditionParameters()
        ).response
    return out


def read_walks(change=None):
    folder = Path(REAL_WALKS)
    sheet = pd.read_csv(folder / "recordings.tsv", sep="\t", dtype=str)
    windows, states, labels = [], [], {}
    for row in sheet.itertuples():
        raw = pd.read_csv(folder / row.file)
        fs = float(row.sampling_frequency)
        knees = {}
        for side in ("left", "right"):
            signal = raw[f"{side}_knee_deg"]
            spike = (signal - signal.rolling(7, center=True, min_periods=1).median()).abs() > 8.0
            knees[side] = signal.mask(spike).interpolate(limit_direction="both").to_numpy()
        angles, lags = knees, None
        if change is not None:
            knees, angles = change(knees, fs, row.participant_id), None
            lags = dict.fromkeys(knees, CalibrateParameters().lag_s)
        walk = detect_walk(knees, fs, GaitParameters(), lags=lags)
        found = gait_features(walk, knees, fs, FeatureParameters(), angles)
        windows.append(found.assign(recording_id=row.recording_id, participant_id=row.participant_id))
        states.append(walk.states.assign(recording_id=row.recording_id))
        labels[row.recording_id] = read_labels(folder / "labels" / row.recording_id / "forceplate_events.tsv")
    people = pd.DataFrame({"participant_id": sorted(set(sheet["participant_id"]))})
    return pd.concat(windows, ignore_index=True), pd.concat(states), labels, people


needs_real_walks = pytest.mark.skipif(
    not REAL_WALKS, reason="STRAINSTUDY_REAL_WALKS does not name the folder of real walks"
)


@needs_real_walks
def test_real_people_left_out_are_told_limping_from_normal(quick):
    """Four people at normal gait and with one knee held stiff: Pearl et al. 2022, doi 10.21203/rs.3.rs-1902381/v1."""
    found = pooled(train_states(*read_walks(), replace(quick, permutations=0)))
    assert found["n_participants"] == 4
    assert found["balanced_accuracy"] >= 0.95
    assert found["side_accuracy"] >= 0.95


@needs_real_walks
def test_real_people_with_uncalibrated_sensors_are_told_apart_by_timing_and_shape(quick):
    """The same walks as sensors of unequal gain would have stored them."""
    result = train_states(*read_walks(through_sensors), replace(quick, permutations=0))
    assert pooled(result)["balanced_accuracy"] >= 0.92
    assert pooled(result)["balanced_accuracy"] > pooled(result, "amplitude_ratio")["balanced_accuracy"]


def test_a_share_of_the_classes_is_a_probability_and_a_limit_is_none(trained):
    loss = {name: pooled(trained, name)["log_loss"] for name in ("classifier", "majority", "amplitude_ratio")}
    assert loss["classifier"] < loss["majority"] < np.inf
    assert np.isnan(loss["amplitude_ratio"])
