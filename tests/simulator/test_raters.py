"""Invented raters scatter, miss and disagree as much as they are said to."""

import itertools

import numpy as np
import pytest
from strainstudy_simulator.raters import RATERS, Rater, label, only_within
from strainstudy_simulator.truth import Event, label_rows

FIRST, SECOND = RATERS
PERFECT = Rater(
    "perfect", 0, 0, 0, 0, 0, 0, 0, instant_missed=0, instant_invented=0, swallow_missed=0, swallow_invented=0,
    other_missed=0, turn_overlooked=0,
)  # fmt: skip


def rng(seed: int = 1) -> np.random.Generator:
    return np.random.Generator(np.random.PCG64(seed))


def contacts(n):
    return [Event(1.0 + k, 0.0, "initial_contact", "left") for k in range(n)]


@pytest.mark.parametrize("rater", RATERS, ids=lambda r: r.name)
def test_contacts_scatter_are_missed_and_invented_as_said(rater):
    truth = contacts(3000)
    marks = label(truth, rater, 3100, rng())
    times = np.array([m.onset for m in marks])
    nearest = np.abs(times[:, None] - np.arange(1.0, 3001.0)[None, :]).min(axis=1)
    near = nearest < 0.2
    error = times[near] - np.round(times[near])
    assert error.std() == pytest.approx(rater.contact_s, rel=0.1)
    assert error.mean() == pytest.approx(rater.contact_bias_s, abs=0.003)
    assert 1 - near.sum() / 3000 == pytest.approx(rater.instant_missed, abs=0.01)
    assert (~near).sum() / 3000 == pytest.approx(rater.instant_invented, abs=0.004)


def test_a_perfect_rater_marks_the_truth():
    truth = (*contacts(5), Event(0.0, 4.0, "rest"), Event(4.0, 6.0, "limping_gait", "right"))
    assert set(label(truth, PERFECT, 10.0, rng())) == set(truth)


def test_states_still_follow_one_another_without_gap_or_overlap():
    names = ["rest", "normal_gait", "turn", "limping_gait"] * 6
    truth = [Event(5.0 * k, 5.0, name) for k, name in enumerate(names)]
    for seed in range(10):
        marks = label(truth, SECOND, 120.0, rng(seed))
        assert marks[0].onset == 0
        assert marks[-1].end == pytest.approx(120.0)
        for before, after in itertools.pairwise(marks):
            assert before.end == pytest.approx(after.onset)
            assert before.duration > 1.0
            assert before.trial_type != after.trial_type


def test_swallow_bounds_scatter_by_less_than_a_tenth_of_a_second():
    truth = [Event(5.0 * k + 2, 1.1, "swallow") for k in range(800)]
    marks = [m for m in label(truth, FIRST, 4100, rng()) if abs((m.onset - 2 + 0.5) % 5 - 0.5) < 0.5]
    starts = np.array([(m.onset - 2 + 2.5) % 5 - 2.5 for m in marks])
    assert starts.std() == pytest.approx(FIRST.swallow_s, rel=0.1)
    assert len(marks) / 800 == pytest.approx(1 - FIRST.swallow_missed, abs=0.02)


def test_a_partial_label_says_what_it_covers():
    marks = only_within([*contacts(10), Event(0.0, 11.0, "rest")], 3.0, 6.0)
    assert [m.trial_type for m in marks].count("labelled") == 1
    assert [m.onset for m in marks if m.trial_type == "initial_contact"] == [3.0, 4.0, 5.0, 6.0]
    rest = next(m for m in marks if m.trial_type == "rest")
    assert (rest.onset, rest.end) == (3.0, 6.0)


def test_label_rows_have_the_columns_they_need_and_no_more():
    assert label_rows([Event(1.0, 0.5, "swallow")]) == "onset\tduration\ttrial_type\n1.00\t0.50\tswallow\n"
    rows = label_rows([Event(2.0, 3.0, "knee_bend", "left", 45.0), Event(1.0, 0.5, "swallow")]).splitlines()
    assert rows[0].split("\t") == ["onset", "duration", "trial_type", "side", "value"]
    assert rows[1].split("\t") == ["1.00", "0.50", "swallow", "n/a", "n/a"]
    assert rows[2].split("\t") == ["2.00", "3.00", "knee_bend", "left", "45"]
