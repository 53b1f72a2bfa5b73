import numpy as np
import pandas as pd
import pytest
from sklearn.metrics import balanced_accuracy_score, brier_score_loss, f1_score, log_loss, recall_score
from strainstudy.classify_parameters import ClassifyParameters
from strainstudy.gait.baselines import baseline_probabilities
from strainstudy.gait.limits import FALSE_ALARMS, amplitude_threshold, excess_probability, rule_probability, rule_side
from strainstudy.gait.scores import SCHEME, SUMS, state_sums
from strainstudy.gait.state_time import state_seconds
from strainstudy.learn.scores import probability_sums, reliability_table, score_rows

PARAMETERS = ClassifyParameters(bootstrap_resamples=200)


def timing(swing, index, step=0.0):
    return pd.DataFrame({"swing_time_log_ratio": swing, "phase_coordination_index": index, "step_time_log_ratio": step})


SWING_TIMES = (
    (0.4108, 0.4047), (0.4182, 0.4182), (0.3753, 0.3922), (0.4113, 0.3858), (0.3471, 0.3812), (0.3880, 0.3858),
    (0.3895, 0.3416), (0.3999, 0.3932), (0.3784, 0.3227), (0.4483, 0.4376), (0.3432, 0.3657), (0.3711, 0.3646),
    (0.5066, 0.5060), (0.4089, 0.4024), (0.3731, 0.3632), (0.3803, 0.3871),
)  # fmt: skip
"""Mean left and right swing time, s, of the 16 controls of the PhysioNet Gait in Neurodegenerative Disease Database
(open data), with every stride; Control_averaged_data.csv of github averma205/neurodegenerative-gait-patterns."""


def test_the_swing_limit_is_crossed_by_no_more_of_sixteen_healthy_people_than_is_said():
    """One in 17 is expected beyond the largest of 16; the limit of before, 1.06, is crossed by five of them."""
    left, right = np.array(SWING_TIMES).T
    size = 100 * np.log(right / left)
    index = np.full(16, np.nan)
    assert (rule_probability(timing(size, index), PARAMETERS) > 0.5).sum() <= 1
    before = ClassifyParameters(swing_ratio_limit=1.06)
    assert (rule_probability(timing(size, index), before) > 0.5).sum() == 5
    assert "1 in 17" in FALSE_ALARMS


def test_the_rule_changes_its_mind_at_the_published_limits():
    """Largest of 16 healthy people: 16.12 % in config/norms.tsv; index 5.68 + 1.96 x 2.01 = 9.62: Zadik et al. 2022."""
    limit = 100 * np.log(1.175)
    assert limit == pytest.approx(16.12, abs=0.01)
    swing = np.array([0.0, 0.99 * limit, 1.01 * limit, -1.01 * limit, 0.0, 0.0])
    index = np.array([0.0, 0.0, 0.0, 0.0, 9.61, 9.63])
    assert (rule_probability(timing(swing, index), PARAMETERS) > 0.5).tolist() == [
        False, False, True, True, False, True,
    ]  # fmt: skip
    assert ClassifyParameters().coordination_limit_percent == pytest.approx(5.68 + 1.96 * 2.01, abs=0.005)


def test_the_rule_puts_the_limp_on_the_side_that_swings_and_steps_longer():
    side = rule_side(timing(np.array([-10.0, 10.0, np.nan]), 9.0, np.array([-5.0, 5.0, np.nan])), PARAMETERS)
    assert side[0] > 0.5 > side[1]
    assert np.isnan(side[2])


def test_the_rule_knows_nothing_of_one_knee():
    assert np.isnan(rule_probability(timing(np.array([np.nan]), np.array([np.nan])), PARAMETERS)).all()
    assert excess_probability(np.array([5.0, 10.0]), 5.0) == pytest.approx([0.5, 16 / 17])


def test_amplitude_threshold_is_the_best_of_all():
    rng = np.random.default_rng(2)
    for _ in range(20):
        size, weights = rng.random(25), rng.random(25) + 0.1
        limping = rng.random(25) < 0.3 + 0.4 * size
        limping[:2] = True, False
        limit = amplitude_threshold(size, limping, weights)
        scores = [balanced_accuracy_score(limping, size > v, sample_weight=weights) for v in np.sort(size)]
        assert balanced_accuracy_score(limping, size > limit, sample_weight=weights) == pytest.approx(max(scores))


def test_the_amplitude_threshold_is_learnt_from_the_other_people():
    windows = pd.DataFrame(
        {
            "participant_id": ["a", "a", "b", "b", "c", "c"],
            "label": ["limping_gait"] * 2 + ["limping_gait", "normal_gait"] + ["normal_gait"] * 2,
            "response_log_ratio": [50.0, 60.0, 40.0, -5.0, -3.0, -2.0],
        }
    ).join(timing(np.zeros(6), np.zeros(6)))
    found = baseline_probabilities(windows, np.array([0, 0, 1, 1, 2, 2]), PARAMETERS)
    assert found["majority"][0] == pytest.approx([0.5] * 6)
    p, left = found["amplitude_ratio"]
    assert (p > 0.5).tolist() == [True, True, True, False, False, False]
    assert left.tolist() == [1.0, 1.0, 1.0, 0.0, 0.0, 0.0]


def test_the_majority_says_the_share_of_limping_with_every_person_counted_once():
    """Two people of three windows and one: 1/3 and 1 limping, whatever the number of windows; the untested one not."""
    windows = pd.DataFrame(
        {
            "participant_id": ["a", "a", "a", "b", "c"],
            "label": ["limping_gait", "normal_gait", "normal_gait", "limping_gait", "normal_gait"],
            "response_log_ratio": [50.0, 1.0, 2.0, 40.0, 0.0],
        }
    ).join(timing(np.zeros(5), np.zeros(5)))
    share = baseline_probabilities(windows, np.array([0, 0, 0, 1, -1]), PARAMETERS)["majority"][0]
    np.testing.assert_allclose(share, [2 / 3] * 4 + [np.nan])


def sheet(rows, side="side"):
    return pd.DataFrame(rows, columns=["onset", "duration", "trial_type", side])


def sums_of(labels, bouts):
    return state_sums(state_seconds("r", "p", labels, bouts))


def test_seconds_are_those_of_a_fine_grid_scored_by_scikit_learn():
    labels = sheet([(0, 5, "rest", None), (5, 12.5, "normal_gait", None), (17.5, 10, "limping_gait", "left")])
    bouts = sheet(
        [
            (0, 6.2, "rest", None),
            (6.2, 10, "normal_gait", None),
            (16.2, 6, "limping_gait", "left"),
            (22.2, 6, "limping_gait", "right"),
        ],
        "limping_side",
    )
    rows = score_rows("classifier", {"p": sums_of(labels, bouts)}, {}, {"p": 0}, SCHEME, PARAMETERS)
    table = pd.DataFrame(rows).set_index(["scope", "trial_type"])
    at = np.arange(0.05, 27.5, 0.1)
    kinds = {name: np.select([(at >= o) & (at < o + d) for o, d, *_ in f.itertuples(index=False)], f["trial_type"], "")
             for name, f in (("truth", labels), ("found", bouts))}  # fmt: skip
    for state in ("rest", "normal_gait", "limping_gait"):
        expected = f1_score(kinds["truth"] == state, kinds["found"] == state)
        assert table.loc[("pooled", state), "f1"] == pytest.approx(expected, abs=1e-6)
    gait = ("normal_gait", "limping_gait")
    recalls = [recall_score(kinds["truth"] == state, kinds["found"] == state) for state in gait]
    assert table.loc[("fold", "all"), "balanced_accuracy"] == pytest.approx(np.mean(recalls), abs=0.005)
    assert table.loc[("pooled", "all"), "side_accuracy"] == pytest.approx((22.2 - 17.5) / 10)


def test_time_in_turns_counts_for_nobody():
    """Neither time called a turn, nor time labelled a turn and called normal; time called rest is wrong."""
    labels = sheet([(0, 10, "normal_gait", None), (10, 10, "limping_gait", "left"), (20, 4, "turn", None)])
    bouts = sheet(
        [
            (0, 8, "normal_gait", None), (8, 4, "turn", None), (12, 6, "limping_gait", "left"), (18, 2, "rest", None),
            (20, 4, "normal_gait", None),
        ],
        "limping_side",
    )  # fmt: skip
    rows = pd.DataFrame(score_rows("classifier", {"p": sums_of(labels, bouts)}, {}, {"p": 0}, SCHEME, PARAMETERS))
    table = rows[rows["scope"] == "pooled"].set_index("trial_type")
    assert table.loc["normal_gait", "recall"] == pytest.approx(1.0)
    assert table.loc["normal_gait", "precision"] == pytest.approx(1.0)
    assert table.loc["limping_gait", "recall"] == pytest.approx(6 / 8)
    assert table.loc["all", "balanced_accuracy_within_gait"] == pytest.approx(1.0)


def test_unlabelled_time_is_not_scored():
    labels = sheet([(0, 4, "normal_gait", None)])
    bouts = sheet([(0, 4, "normal_gait", None), (4, 40, "limping_gait", "left")], "limping_side")
    assert sums_of(labels, bouts)[3:9].tolist() == [4, 4, 4, 0, 0, 0]


def test_time_outside_what_the_rater_looked_at_is_not_scored():
    labels = sheet([(0, 6, "labelled", None), (0, 20, "normal_gait", None)])
    bouts = sheet([(0, 4, "normal_gait", None), (4, 16, "limping_gait", "left")], "limping_side")
    assert sums_of(labels, bouts)[3:6].tolist() == [6, 4, 4]
    assert sums_of(labels, bouts)[6:9].tolist() == [0, 2, 0]


def test_probability_scores_are_those_of_scikit_learn():
    rng = np.random.default_rng(5)
    p = rng.random(200)
    truth = rng.random(200) < p
    sums = probability_sums(p, truth)
    assert sums[1] == pytest.approx(log_loss(truth, p))
    assert sums[2] == pytest.approx(brier_score_loss(truth, p))


def test_reliability_and_calibration_error_are_those_of_their_definition():
    """Three people, each with all windows in one bin: |0.25 - 0.5| in the third, |0.85 - 1| in the ninth."""
    people = {
        "a": probability_sums(np.full(4, 0.25), np.array([True, False, True, False])),
        "b": probability_sums(np.full(8, 0.25), np.array([True, False] * 4)),
        "c": probability_sums(np.full(2, 0.85), np.array([True, True])),
    }
    table = reliability_table(people, PARAMETERS)
    assert table["observed"].tolist() == [0.5, 1.0]
    assert table["n_participants"].tolist() == [2, 1]
    assert table["windows_share"].tolist() == pytest.approx([2 / 3, 1 / 3])
    seconds = dict.fromkeys(people, np.ones(SUMS))
    rows = pd.DataFrame(score_rows("classifier", seconds, people, dict.fromkeys(people, 0), SCHEME, PARAMETERS))
    pooled = rows[(rows["scope"] == "pooled") & (rows["trial_type"] == "all")].iloc[0]
    assert pooled["calibration_error"] == pytest.approx((2 * 0.25 + 0.15) / 3)


def test_rounding_of_sums_is_no_calibration_error():
    """Of ten windows three limp, and 0.3 is what each was given: in doubles the sum of ten times 0.3 is not 3."""
    people = {"a": probability_sums(np.full(10, 0.3), np.arange(10) < 3)}
    rows = score_rows("classifier", {"a": np.ones(SUMS)}, people, {"a": 0}, SCHEME, PARAMETERS)
    assert {row["calibration_error"] for row in rows if row["trial_type"] == "all"} == {0.0}


def test_nobody_gives_a_reliability_table_without_rows():
    table = reliability_table({}, PARAMETERS)
    assert table.empty
    assert list(table.columns)[:4] == ["low", "high", "predicted", "observed"]
