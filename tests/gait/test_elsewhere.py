"""What rows say that a model decided which no label of the study taught."""

from dataclasses import replace
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from strainstudy.gait.elsewhere import disputed, rule_beside, trained_words, unlike
from strainstudy.gait.task import labelled_windows
from strainstudy.gait.training import train_states
from strainstudy.gait.windows import GAIT_FEATURES
from strainstudy.learn.external import Given
from strainstudy.records import Channel, Participant, Recording

CARD = {
    "data": {"prevalence": 0.5, "participants": 8},
    "elsewhere": {
        "name": "open-walks", "told": "four adults, imitated stiff knee", "units": ["deg"], "walkway": "treadmill",
        "age_from": 18,
    },
}  # fmt: skip
TOLD = "trained elsewhere: four adults, imitated stiff knee"


@pytest.fixture(scope="module")
def standby(trained):
    from strainstudy.learn.model_store import load_models

    return Given(load_models(trained.model.content, "model.skops"), CARD)


@pytest.fixture
def stranger(make_recording):
    return make_recording("new_walk", "sub-99", [("limping_gait", "left"), ("normal_gait", None)], seed=7, habits=0.0)


def decide(recording, quick, **more):
    people = pd.DataFrame({"participant_id": ["sub-99"]})
    return train_states(*recording[:2], {}, people, quick, **more)


def knee(units: str, status: str = "good") -> Channel:
    return Channel("a", "left_knee", units, status=status)


def walk(*channels: Channel, walkway: str | None = None) -> Recording:
    return Recording("w", "walk", Path("w.csv"), "w.csv", participant_id="sub-99", channels=channels, walkway=walkway)


def test_without_labels_the_model_that_stands_in_decides_and_each_row_says_who_taught_it(standby, stranger, quick):
    result = decide(stranger, quick, standby=standby)
    assert result.method == "external"
    assert "normal_gait is labelled in 0 participants" in result.reason
    assert "open-walks stands in" in result.reason
    gait = result.bouts[result.bouts["trial_type"].isin(["normal_gait", "limping_gait"])]
    assert gait["trial_type"].tolist() == ["limping_gait", "normal_gait"]
    for rows in (gait, result.predictions, result.label_next):
        assert set(rows["trained"]) == {TOLD}
    assert result.bouts.loc[result.bouts["trial_type"] == "rest", "trained"].isna().all()


def test_the_rule_beside_it_is_what_the_rule_alone_would_say(standby, stranger, quick):
    windows = stranger[0]
    limping = windows["onset"] + windows["duration"] <= 25.0
    seen = windows.assign(swing_time_log_ratio=windows["swing_time_log_ratio"] - 30.0 * limping), stranger[1]
    beside, alone = decide(seen, quick, standby=standby), decide(seen, quick)
    assert alone.method == "rule"
    pd.testing.assert_frame_equal(beside.rule_bouts, alone.bouts)
    assert beside.bouts["rule_trial_type"].dropna().tolist() == ["limping_gait", "normal_gait"]
    assert beside.bouts["rule_limping_side"].dropna().tolist() == ["left"]


def test_labels_that_teach_leave_nothing_to_a_model_that_stands_in(standby, make_cohort, quick):
    quick = replace(quick, permutations=0)
    result = train_states(*make_cohort(people=4), quick, standby=standby)
    assert result.method == "trained"
    assert result.rule_bouts is None
    pd.testing.assert_frame_equal(result.bouts, train_states(*make_cohort(people=4), quick).bouts)


def test_where_too_much_is_missing_the_rule_decides_and_the_row_says_so(standby, stranger, quick):
    windows, states, _ = stranger
    kept = {"swing_time_log_ratio", "step_time_log_ratio", "phase_coordination_index"}
    gone = [s.name for s in GAIT_FEATURES if s.name not in kept]
    result = decide((windows.assign(**dict.fromkeys(gone, np.nan)), states), quick, standby=standby)
    gait = result.bouts[result.bouts["rule_trial_type"].notna()]
    assert gait["prediction"].tolist() == ["rule"] * len(gait)
    assert gait["caution"].str.contains("features that the model needs are missing: the published rule decides").all()
    assert gait["trained"].isna().all()
    assert gait["probability"].isna().all()
    assert result.predictions[["probability_limping", "probability_normal"]].isna().all(axis=None)


def test_what_a_recording_is_outside_of_stands_in_its_rows(standby, stranger, quick):
    said = decide(stranger, quick, standby=standby, unlike={"new_walk": "knees recorded in V, trained on deg"})
    assert said.predictions["caution"].str.startswith("knees recorded in V, trained on deg").all()


def test_one_knee_says_what_the_card_says_of_it(standby, stranger, quick):
    card = {**CARD, "elsewhere": {**CARD["elsewhere"], "one_knee": "one knee alone: no more than chance"}}
    windows, states, _ = stranger
    gone = [s.name for s in GAIT_FEATURES if s.knees == "both"]
    one = windows.assign(knees="left", **dict.fromkeys(gone, np.nan))
    given = Given(standby.models, card)
    for frame, said in ((one, True), (windows, False)):
        result = decide((frame, states), quick, standby=given)
        assert set(result.predictions["prediction"]) == {"final"}
        found = result.predictions["caution"].fillna("").str.contains("one knee alone: no more than chance")
        assert found.eq(said).all()


@pytest.mark.parametrize(
    ("recording", "age", "told"),
    [
        (walk(knee("deg")), 40, None),
        # A goniometer beside a sensor is its reference by the study format, and the gait is the sensor's.
        (walk(knee("deg"), knee("V")), None, "knees recorded in V, trained on deg"),
        (walk(knee("V", "bad"), knee("deg")), None, None),
        (walk(knee("V"), knee("deg", "bad")), 40, "knees recorded in V, trained on deg"),
        (walk(knee("deg")), 9, "a person of 9 years, trained on people from 18 years on"),
        (walk(knee("deg"), walkway="overground"), 40, "walked overground, trained on a treadmill"),
        (walk(knee("deg"), walkway="treadmill"), 18, None),
    ],
)
def test_people_sensors_and_ground_outside_of_the_training_are_named(recording, age, told):
    assert unlike(CARD, [recording], {"sub-99": Participant("sub-99", age)}).get("w") == told
    assert unlike({}, [recording], {"sub-99": Participant("sub-99", age)}) == {}


def test_a_card_that_does_not_tell_its_people_gives_their_number():
    assert trained_words({"data": {"participants": 12}}) == "trained elsewhere: 12 participants of another study"
    assert trained_words({}) == "trained elsewhere"


def test_the_rule_of_a_span_is_by_the_larger_part_of_its_time():
    ruled = pd.DataFrame(
        [
            ("a", 0.0, 4.0, "normal_gait", None),
            ("a", 4.0, 6.0, "limping_gait", "right"),
            ("a", 10.0, 5.0, "rest", None),
        ],
        columns=["recording_id", "onset", "duration", "trial_type", "limping_side"],
    )
    spans = pd.DataFrame(
        [("a", 0.0, 10.0), ("a", 0.0, 6.0), ("a", 11.0, 2.0), ("b", 0.0, 9.0)],
        columns=["recording_id", "onset", "duration"],
    )
    found = rule_beside(spans, ruled)
    assert found["rule_limping_share"].tolist()[:2] == pytest.approx([0.6, 1 / 3])
    assert found["rule_trial_type"].tolist() == ["limping_gait", "normal_gait", None, None]
    assert found["rule_limping_side"].tolist() == ["right", None, None, None]


def test_a_bout_that_the_rule_calls_otherwise_says_so():
    bouts = pd.DataFrame(
        {
            "trial_type": ["normal_gait", "normal_gait", "limping_gait", "rest"],
            "trained": [TOLD, TOLD, None, None],
            "rule_trial_type": ["limping_gait", "normal_gait", "normal_gait", None],
            "caution": ["not sure", None, None, np.nan],
        }
    )
    found = disputed(bouts)["caution"].tolist()
    assert found[0] == "not sure; the published rule says limping gait"
    assert all(pd.isna(word) for word in found[1:])


def test_a_prevalence_moves_probabilities_of_trained_and_given_models_alike(standby, stranger, make_cohort, quick):
    study = make_cohort(people=4)
    rare = replace(quick, permutations=0, prevalence=0.05)
    for made in (lambda p: decide(stranger, p, standby=standby), lambda p: train_states(*study, p)):
        before, after = made(replace(rare, prevalence=None)).predictions, made(rare).predictions
        assert (after["probability_limping"] < before["probability_limping"]).all()
        np.testing.assert_allclose(after["probability_normal"] + after["probability_limping"], 1.0)
    own = made(replace(rare, prevalence=None)).model.card["data"]["prevalence"]
    assert own == pytest.approx(1.5 / 4, abs=0.02)  # one of four limps all the time, one half of it


def test_an_expected_prevalence_scores_the_model_and_not_the_setting(make_cohort, quick):
    """Labelled walks keep their own mix, whatever is expected of other walking: loss and history must not move."""
    study, plain = make_cohort(people=4), replace(quick, permutations=0)
    before, after = train_states(*study, plain), train_states(*study, replace(plain, prevalence=0.02))
    assert (after.predictions["probability_limping"] < before.predictions["probability_limping"]).all()
    assert after.model.participant_log_loss == before.model.participant_log_loss
    pd.testing.assert_frame_equal(after.evidence.reliability, before.evidence.reliability)
    assert after.model.history_entry["log_loss"] == before.model.history_entry["log_loss"]


def test_probabilities_that_too_few_people_calibrate_are_for_the_mix_of_their_weights(make_cohort, quick):
    """Two people limp: without one of them no inner fold has limping on both sides, and weights make states even."""
    study, even = make_cohort(people=4), replace(quick, permutations=0, prevalence=0.5)
    made, plain = (
        result.predictions[result.predictions["participant_id"].isin(["sub-01", "sub-03"])]["probability_limping"]
        for result in (train_states(*study, even), train_states(*study, replace(even, prevalence=None)))
    )
    assert len(made)
    np.testing.assert_allclose(made, plain)


def company(make_cohort, quick):
    windows, _, labels, _ = make_cohort(people=4, seed=3)
    known = labelled_windows(windows, labels, quick)
    return known[known["label"].notna()].assign(participant_id="open-walks/" + known["participant_id"])


def test_data_that_come_along_are_learnt_from_and_nobody_in_them_is_scored(study, quick, make_cohort, trained):
    quick = replace(quick, permutations=0)
    result = train_states(*study, quick, more=company(make_cohort, quick), more_words="open-walks (four)")
    assert set(result.predictions["participant_id"]) == set(study[0]["participant_id"])
    assert set(result.model.participant_log_loss) == set(trained.model.participant_log_loss)
    assert result.model.history_entry["n_participants"] == trained.model.history_entry["n_participants"]
    assert result.model.history_entry["setting"].endswith("; trained with open-walks (four)")
    assert result.model.history_entry["label_hash"] != trained.model.history_entry["label_hash"]
    assert {v["n_participants"] for v in result.model.card["variants"].values()} == {12}
    assert any("open-walks (four)" in caution for caution in result.model.card["cautions"])


def test_one_labelled_person_is_enough_beside_data_that_come_along(study, quick, make_cohort):
    windows, states, labels, people = study
    one = {name: sheet for name, sheet in labels.items() if name == "sub-01_walk"}
    assert train_states(windows, states, one, people, quick).method == "rule"
    result = train_states(windows, states, one, people, quick, more=company(make_cohort, quick), more_words="ours")
    assert result.method == "trained"
    own = result.predictions.groupby("participant_id")["prediction"].first()
    assert own["sub-01"] == "out_of_fold"
    assert set(own.drop("sub-01")) == {"final"}
    assert list(result.model.participant_log_loss) == ["sub-01"]


def test_no_label_at_all_leaves_data_that_come_along_unused(stranger, quick, make_cohort, standby):
    result = decide(stranger, quick, more=company(make_cohort, quick), more_words="ours", standby=standby)
    assert result.method == "external"
