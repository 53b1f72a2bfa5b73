"""Throat movements told apart by other people's labels, how that is scored, and what is stored."""

import json
from dataclasses import asdict, replace

import numpy as np
import pandas as pd
import pytest
from sklearn.metrics import brier_score_loss, confusion_matrix, log_loss, precision_recall_fscore_support, recall_score
from strainstudy.classify_parameters import ClassifyParameters
from strainstudy.errors import StudyError
from strainstudy.gait.model_card import GAIT_MODEL
from strainstudy.gait.model_files import GAIT_FILES
from strainstudy.learn.card import write_card
from strainstudy.learn.external import read_external
from strainstudy.learn.model_files import NO_MODEL
from strainstudy.sections import SECTIONS
from strainstudy.swallow.features import SwallowFeature
from strainstudy.swallow.model_card import SWALLOW_MODEL, candidate_card, candidate_card_words
from strainstudy.swallow.model_files import SWALLOW_FILES
from strainstudy.swallow.scores import confusion_rows, score_candidates
from strainstudy.swallow.training import classify_candidates
from strainstudy.upstream import UPSTREAM, upstream_settings

CLASSES = ("swallow", "speech", "cough", "head_movement", "other")
FEATURES = ["texture", "duration"]
SPECS = [SwallowFeature(name, "1", f"what {name} is", "test", "ours") for name in FEATURES]
PARAMETERS = ClassifyParameters(bootstrap_resamples=300, inner_folds=2)


def cohort(people=8, each=40, seed=3):
    """Speech has more texture than swallows, head movements less: no plane leaves swallows alone on one side."""
    rng = np.random.default_rng(seed)
    n = people * each
    words = rng.choice(["swallow", "speech", "head_movement", "cough"], n, p=[0.4, 0.3, 0.2, 0.1]).astype(object)
    centre = {"swallow": (0.0, 1.0), "speech": (2.0, 1.0), "head_movement": (-2.0, 1.0), "cough": (0.0, 0.3)}
    x = np.array([centre[w] for w in words]) + rng.normal(0, [0.45, 0.12], (n, 2))
    person = np.repeat([f"sub-{k:02d}" for k in range(people)], each)
    frame = pd.DataFrame({"recording_id": person, "participant_id": person, "texture": x[:, 0], "duration": x[:, 1]})
    return frame, pd.Series(words, dtype=object)


def decide(frame, words, parameters=PARAMETERS, **how):
    return classify_candidates(frame, words, FEATURES, CLASSES, np.zeros(len(frame), dtype=bool), parameters, **how)


def judged_of(frame, words, result):
    return pd.concat([frame, result.candidates], axis=1).assign(label=words, rule=frame["texture"].abs() < 1)


@pytest.fixture(scope="module")
def study():
    frame, words = cohort()
    return frame, words, decide(frame, words)


def test_people_are_judged_by_the_others_and_those_without_labels_by_the_stored_model():
    frame, words = cohort()
    last = (frame["participant_id"] == "sub-07").to_numpy()
    result = decide(frame, words.where(~last, None))
    assert set(result.candidates.loc[~last, "prediction"]) == {"out_of_fold"}
    assert set(result.candidates.loc[last, "prediction"]) == {"final"}
    assert (result.candidates["called"] == words).mean() > 0.9
    assert (result.candidates["accepted"] == (result.candidates["called"] == "swallow")).all()


def test_a_persons_own_labels_change_nothing_about_how_they_are_judged(study):
    frame, words, result = study
    own = (frame["participant_id"] == "sub-03").to_numpy()
    other = words.copy()
    other[own] = np.roll(words[own].to_numpy(), 7)
    again = decide(frame, other)
    np.testing.assert_array_equal(result.candidates.loc[own, "probability"], again.candidates.loc[own, "probability"])
    assert (result.candidates.loc[~own, "probability"] != again.candidates.loc[~own, "probability"]).any()


def test_probabilities_of_the_labelled_classes_add_up_and_an_unlabelled_class_has_none(study):
    _, words, result = study
    p = result.candidates[[f"probability_{name}" for name in CLASSES]]
    assert p["probability_other"].isna().all()
    np.testing.assert_allclose(p.drop(columns="probability_other").sum(axis=1), 1.0)
    assert words.nunique() == 4


def test_the_same_labels_give_the_same_model(study):
    frame, words, result = study
    assert decide(frame, words).content == result.content


def test_a_higher_limit_calls_fewer_swallows_and_gives_the_next_best_name_to_the_rest(study):
    frame, words, result = study
    strict = decide(frame, words, ClassifyParameters(inner_folds=2, swallow_probability_min=0.98)).candidates
    fewer = result.candidates["accepted"] & ~strict["accepted"]
    assert fewer.any()
    assert not (strict["accepted"] & ~result.candidates["accepted"]).any()
    assert set(strict.loc[fewer, "called"]) <= {"speech", "cough", "head_movement"}


def test_labels_of_swallows_alone_are_enough():
    frame, words = cohort()
    result = decide(frame, words.where(words == "swallow", "other"))
    assert result.method == "trained"
    assert set(result.candidates["called"]) == {"swallow", "other"}


def test_without_labels_the_rule_decides_and_says_why():
    frame, words = cohort()
    rule = (frame["texture"].abs() < 1).to_numpy()
    result = classify_candidates(frame, words.where(words == "nothing", None), FEATURES, CLASSES, rule, PARAMETERS)
    assert result.method == "rule"
    assert "swallow is labelled in 0 participants" in result.reason
    np.testing.assert_array_equal(result.candidates["accepted"], rule)
    assert result.candidates.loc[~rule, "called"].isna().all()
    assert result.candidates["probability"].isna().all()
    assert score_candidates(judged_of(frame, words, result), CLASSES, PARAMETERS).empty


def test_scores_are_those_of_scikit_learn(study):
    frame, words, result = study
    judged = judged_of(frame, words, result)
    scores = score_candidates(judged, CLASSES, PARAMETERS)
    pooled = scores[(scores["predictor"] == "classifier") & (scores["scope"] == "pooled")].set_index("trial_type")
    names = [name for name in CLASSES if (words == name).any()]
    wanted = precision_recall_fscore_support(words, judged["called"], labels=names)
    for column, values in zip(("precision", "recall", "f1", "n_labelled"), wanted, strict=True):
        np.testing.assert_allclose(pooled.loc[names, column].astype(float), values)
    total = pooled.loc["all"]
    assert total["balanced_accuracy"] == pytest.approx(recall_score(words, judged["called"], average="macro"))
    swallow = (words == "swallow").to_numpy()
    assert total["log_loss"] == pytest.approx(log_loss(swallow, judged["probability"]))
    assert total["brier"] == pytest.approx(brier_score_loss(swallow, judged["probability"]))
    assert (pooled["f1_low"].dropna() <= pooled["f1"].dropna()).all()
    table = confusion_rows(judged, CLASSES).pivot_table(index="label", columns="called", values="n", sort=False)
    np.testing.assert_array_equal(table.loc[names, names], confusion_matrix(words, judged["called"], labels=names))


def test_baselines_stand_beside_and_every_participant_is_scored(study):
    frame, words, result = study
    scores = score_candidates(judged_of(frame, words, result), CLASSES, PARAMETERS)
    assert set(scores["predictor"]) == {"classifier", "without_labels", "majority"}
    pooled = scores[(scores["scope"] == "pooled") & (scores["trial_type"] == "all")].set_index("predictor")
    assert pooled.loc["majority", "balanced_accuracy"] == pytest.approx(1 / 4)
    assert scores.loc[scores["scope"] == "fold", "participant_id"].nunique() == 8


def shapes_of(frame):
    """Two people wear a sensor that rings, one of the others one that lets go."""
    worn = {"sub-00": "ringing", "sub-01": "ringing", "sub-02": "two_phase"}
    return frame["participant_id"].map(lambda person: worn.get(person, "one_hump")).astype(object)


def test_a_kind_of_signal_that_fewer_than_two_others_taught_is_left_to_the_rule():
    frame, words = cohort()
    rule = (frame["texture"].abs() < 1).to_numpy()
    result = classify_candidates(frame, words, FEATURES, CLASSES, rule, PARAMETERS, kinds=shapes_of(frame)).candidates
    # Of the two people whose sensor rings each has only the other to be learnt from.
    foreign = frame["participant_id"].isin(["sub-00", "sub-01", "sub-02"]).to_numpy()
    assert set(result.loc[foreign, "prediction"]) == {"rule"}
    assert result.loc[foreign, "caution"].str.contains("too few training people").all()
    np.testing.assert_array_equal(result.loc[foreign, "accepted"], rule[foreign])
    assert set(result.loc[~foreign, "prediction"]) == {"out_of_fold"}


def test_two_people_with_like_sensors_judge_each_other():
    frame, words = cohort(people=2, each=120)
    result = decide(frame, words, kinds=pd.Series(["two_phase"] * len(frame), dtype=object))
    assert set(result.candidates["prediction"]) == {"out_of_fold"}
    assert result.kinds == ("two_phase",)


def test_where_no_kind_can_be_tested_nothing_is_trained_and_the_reason_is_given():
    """Four people with four kinds of sensor, and others without labels: no model was ever tested on its own kind."""
    frame, words = cohort(people=6)
    kinds = frame["participant_id"].astype(object)
    unlabelled = frame["participant_id"].isin(["sub-04", "sub-05"])
    result = decide(frame, words.where(~unlabelled, None), kinds=kinds)
    assert (result.method, result.content, result.models) == ("rule", None, {})
    assert "no response shape" in result.reason
    assert set(result.candidates["prediction"]) == {"rule"}
    assert result.candidates["caution"].isna().all()


def test_swallows_of_some_people_and_confounders_of_others_end_in_the_rule_and_not_in_a_crash():
    frame, words = cohort()
    first = frame["participant_id"] < "sub-04"
    result = decide(
        frame, words.where(first == (words == "swallow"), None), kinds=frame["participant_id"].astype(object)
    )
    assert result.method == "rule"


def test_a_class_that_one_person_has_is_taken_for_other():
    frame, words = cohort()
    alone = words.where((words != "cough") | (frame["participant_id"] == "sub-02"), "speech")
    result = decide(frame, alone)
    assert result.candidates["probability_cough"].isna().all()
    assert result.candidates["probability_other"].notna().all()


def test_a_class_that_one_person_has_is_scored_as_what_it_was_learnt_as_and_the_card_says_so():
    frame, words = cohort()
    alone = words.where((words != "cough") | (frame["participant_id"] == "sub-02"), "speech")
    result = decide(frame, alone)
    scored = judged_of(frame, alone, result).assign(label=result.learnt)
    scores = score_candidates(scored, CLASSES, PARAMETERS).query("predictor == 'classifier' and scope == 'pooled'")
    coughs = int((alone == "cough").sum())
    assert scores.set_index("trial_type")["n_labelled"].drop("all").to_dict() == {
        **alone.value_counts().drop("cough").to_dict(), "other": coughs,
    }  # fmt: skip
    assert set(confusion_rows(scored, CLASSES)["label"]) == {"swallow", "speech", "head_movement", "other"}
    merged = result.merged(alone, frame["participant_id"])
    assert merged.to_dict("records") == [{"label": "cough", "learnt": "other", "n": coughs, "n_participants": 1}]
    all_scores = score_candidates(scored, CLASSES, PARAMETERS)
    card = candidate_card(result, alone, frame["participant_id"], {}, all_scores, SPECS, UPSTREAM_OF["swallow"])
    assert "cough" not in card["data"]["movements"]
    assert f"cough: {coughs} movements of 1 participant, learnt and scored as other" in candidate_card_words(card)


def test_a_kind_of_signal_that_is_not_known_is_no_reason_against_the_model():
    frame, words = cohort()
    result = decide(frame, words, kinds=pd.Series([None] * len(frame), dtype=object))
    assert set(result.candidates["prediction"]) == {"out_of_fold"}


DEFAULTS = {name: asdict(kind()) for name, kind in SECTIONS.items()} | {"classify": asdict(PARAMETERS)}
UPSTREAM_OF = {subject: upstream_settings(DEFAULTS, subject) for subject in UPSTREAM}


def stored(folder, study):
    frame, words, _ = study
    result = decide(frame, words, kinds=shapes_of(frame))
    scores = score_candidates(judged_of(frame, words, result), CLASSES, PARAMETERS)
    card = candidate_card(result, words, frame["participant_id"], {}, scores, SPECS, UPSTREAM_OF["swallow"])
    (folder / SWALLOW_FILES.model).write_bytes(result.content)
    (folder / SWALLOW_FILES.card).write_text(write_card(card), encoding="utf-8")
    (folder / GAIT_FILES.card).write_text(
        json.dumps({"card": NO_MODEL, "reason": "no gait was labelled"}), encoding="utf-8"
    )
    return card


def read_back(folder, specs=SPECS, settings=None):
    return read_external(folder, {"gait": GAIT_MODEL, "swallow": replace(SWALLOW_MODEL, specs=specs)}, settings)


def test_the_card_says_from_whom_how_well_and_what_it_is_not_for(tmp_path, study):
    card = stored(tmp_path, study)
    assert card["data"]["participants_by_class"] == dict.fromkeys(("cough", "head_movement", "speech", "swallow"), 8)
    words = candidate_card_words(card)
    assert "do not show aspiration" in words
    assert "8 participants" in words
    assert "sub-" not in words + json.dumps(card)


def test_another_study_uses_the_stored_model_after_its_card_was_checked(tmp_path, study):
    frame, words, _ = study
    stored(tmp_path, study)
    external = read_back(tmp_path, settings=UPSTREAM_OF)["swallow"]
    assert external.caution is None
    given = decide(frame, words.where(words == "nothing", None), given=external)
    assert given.method == "external"
    assert set(given.candidates["prediction"]) == {"final"}
    assert (given.candidates["called"] == words).mean() > 0.9
    # Nobody with a ringing sensor was judged by the model, so that it is not known to work there.
    assert external.card["data"]["response_shapes"] == ["one_hump"]
    foreign = decide(
        frame,
        words.where(words == "nothing", None),
        kinds=shapes_of(frame),
        given=external,
    ).candidates
    other = frame["participant_id"].isin(["sub-00", "sub-01", "sub-02"])
    assert set(foreign.loc[other, "prediction"]) == {"rule"}
    assert set(foreign.loc[~other, "prediction"]) == {"final"}


def test_a_model_made_under_other_settings_is_used_with_a_caution_that_names_them(tmp_path, study):
    frame, words, _ = study
    stored(tmp_path, study)
    condition = UPSTREAM_OF["swallow"]["condition"] | {"cutoff": "residual"}
    ours = {"swallow": UPSTREAM_OF["swallow"] | {"condition": condition}}
    external = read_back(tmp_path, settings=ours)["swallow"]
    told = "the model was made under other settings: condition.cutoff fixed (here residual)"
    assert external.caution == told
    given = decide(
        frame.assign(texture=frame["texture"] + 1e3),
        words.where(words == "nothing", None),
        given=external,
    )
    assert set(given.candidates["caution"]) == {f"{told}; outside the training range: texture"}
    assert given.reason == f"a model of another study was given; {told}"


def test_a_card_that_tells_no_settings_is_a_caution_by_itself(tmp_path, study):
    card = stored(tmp_path, study)
    (tmp_path / SWALLOW_FILES.card).write_text(write_card(card | {"settings": "seed=6"}), encoding="utf-8")
    external = read_back(tmp_path, settings=UPSTREAM_OF)["swallow"]
    assert external.caution == "its card does not say under which settings the model was made"


def test_a_swallow_model_that_does_not_fit_its_card_or_this_version_is_refused(tmp_path, study):
    card = stored(tmp_path, study)
    changed = [SwallowFeature(*SPECS[0][:2], "something else", *SPECS[0][3:]), SPECS[1]]
    with pytest.raises(StudyError, match="with formula 'what texture is', this version has 'something else'"):
        read_back(tmp_path, changed)
    card["model_sha256"] = "0" * 64
    (tmp_path / SWALLOW_FILES.card).write_text(write_card(card), encoding="utf-8")
    with pytest.raises(StudyError, match=r"swallow\.skops is not the file this card describes"):
        read_back(tmp_path)
    (tmp_path / SWALLOW_FILES.card).unlink()
    with pytest.raises(StudyError, match=r"swallow_card\.json"):
        read_back(tmp_path)


@pytest.mark.parametrize(
    ("card", "said"),
    [
        ("{}", r"model\.skops, column model: is missing beside its card card\.json"),
        (None, r"model\.skops, column model: is missing, and so is card\.json"),
        ("[]", r"card\.json, column model: is damaged"),
        ("{", r"card\.json, column model: is damaged"),
    ],
)
def test_a_folder_whose_gait_model_is_lost_is_refused_as_one_whose_swallow_model_is(tmp_path, study, card, said):
    stored(tmp_path, study)
    if card is None:
        (tmp_path / GAIT_FILES.card).unlink()
    else:
        (tmp_path / GAIT_FILES.card).write_text(card, encoding="utf-8")
    with pytest.raises(StudyError, match=said):
        read_back(tmp_path)


def test_people_unlike_all_training_people_are_marked(study):
    frame, words, _ = study
    strange = frame["participant_id"] == "sub-07"
    result = decide(frame.assign(texture=frame["texture"] + 30.0 * strange), words)
    assert result.candidates.loc[strange, "caution"].str.contains("outside the training range: texture").all()
    assert result.candidates.loc[~strange, "caution"].isna().all()


def test_sips_follow_the_likeliest_of_their_run_but_not_against_all_that_the_model_says():
    frame, words = cohort()
    plain = decide(frame, words).candidates
    p = plain["probability"].to_numpy()
    beside = [np.flatnonzero(p > 0.9)[0], *np.flatnonzero(p < 0.1)[:2]]
    nods = np.flatnonzero(p < 0.1)[2:5]
    sips = np.full(len(frame), -1)
    sips[beside], sips[nods] = 4, 9
    found = decide(frame, words, sips=sips).candidates
    assert found["accepted"].to_numpy()[beside].all()
    assert not found["accepted"].to_numpy()[nods].any()
    others = np.setdiff1d(np.arange(len(frame)), beside)
    pd.testing.assert_frame_equal(found.iloc[others], plain.iloc[others])
    assert set(found["caution"].iloc[beside[1:]]) == {"taken for a swallow as a sip among sips"}
