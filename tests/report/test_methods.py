"""The methods text, held to what runs."""

import numpy as np
import pandas as pd
import pytest
from strainstudy.condition import trace
from strainstudy.condition.parameters import ConditionParameters
from strainstudy.gait import walk
from strainstudy.gait.parameters import GaitParameters
from strainstudy.report.content import Note, Text
from strainstudy.report.elsewhere import elsewhere_of
from strainstudy.report.methods import CONDITION_STEPS, GAIT_STEPS, METHODS, methods_blocks
from strainstudy.report.results import StudyTables
from strainstudy.report.sections import shortfalls
from strainstudy.report.trust import trust_lines
from strainstudy.sections import SECTIONS
from strainstudy.tables import write_table
from strainstudy.tables.classifier import BESIDE, BOUTS
from strainstudy.tables.events import STRIDES
from strainstudy.tables.recordings import ADDED, RECORDINGS
from strainstudy.tables.validation import EVENTS, STATES
from strainstudy_simulator.gaits import Gait
from strainstudy_simulator.knee import Segment, walk_knees

SETTINGS = {name: kind() for name, kind in SECTIONS.items()}
FS = 100.0


@pytest.fixture(scope="module")
def knees():
    script = [Segment("rest", 3.0), Segment("walk", 20.0, Gait()), Segment("rest", 3.0)]
    return dict(walk_knees(script, FS, np.random.default_rng(1)).angles)


def calls(monkeypatch, module, names):
    """Note the order in which functions of a module are first called."""
    order = []

    def watched(name, function):
        def run(*given, **named):
            if name not in order:
                order.append(name)
            return function(*given, **named)

        return run

    for name in names:
        monkeypatch.setattr(module, name, watched(name, getattr(module, name)))
    return order


def words_of(settings, tables):
    texts = [block.words for block in methods_blocks(settings, tables) if isinstance(block, Text)]
    return dict(zip(settings, texts, strict=True))


def test_the_steps_of_gait_detection_are_told_in_the_order_in_which_they_run(monkeypatch, knees):
    order = calls(monkeypatch, walk, GAIT_STEPS)
    assert len(walk.detect_walk(knees, FS, GaitParameters()).strides)
    assert order == list(GAIT_STEPS)


def test_the_steps_of_conditioning_are_told_in_the_order_in_which_they_run(monkeypatch, knees):
    order = calls(monkeypatch, trace, CONDITION_STEPS)
    trace.condition_trace(knees["left"], FS, tracked_point="left_knee", units="a.u.", parameters=ConditionParameters())
    assert order == list(CONDITION_STEPS)


def test_every_section_has_a_sentence_and_a_new_one_without_raises(tmp_path):
    assert set(METHODS) == set(SECTIONS)
    assert set(words_of(SETTINGS, StudyTables(tmp_path))) == set(SECTIONS)
    with pytest.raises(ValueError, match="the settings section elbows has no sentence of method"):
        methods_blocks({"elbows": SETTINGS["bends"]}, StudyTables(tmp_path))


@pytest.mark.parametrize(
    ("predictions", "said", "unsaid"),
    [
        (("rule",), "published limits, without", "left out"),
        (("out_of_fold", "final"), "whole participants left out; in people without labels", "published limits"),
    ],
)
def test_what_called_gait_normal_or_limping_is_read_from_the_bouts(tmp_path, predictions, said, unsaid):
    bouts = pd.DataFrame(
        {"recording_id": "r", "onset": range(len(predictions)), "trial_type": "normal_gait", "prediction": predictions}
    ).reindex(columns=list(BOUTS.names))
    rest = bouts.iloc[:1].assign(onset=99.0, trial_type="rest", prediction="rule")
    write_table(pd.concat([bouts, rest]), BOUTS, tmp_path)
    words = words_of(SETTINGS, StudyTables(tmp_path))["classify"]
    assert said in words
    assert unsaid not in words


def test_over_what_an_interval_is_is_read_from_the_table(tmp_path):
    events = pd.DataFrame(
        {
            "recording_id": ["pooled", "r1", "r2"],
            "interval_method": ["bootstrap over participants (BCa)", "Wilson", "none: nothing was counted"],
        }
    ).reindex(columns=list(EVENTS.names))
    write_table(events, EVENTS, tmp_path)
    words = words_of(SETTINGS, StudyTables(tmp_path))["validate"]
    assert "events, pooled (bootstrap over participants (BCa)), of events of one recording (Wilson)." in words
    assert "nothing was counted" not in words


def test_a_study_without_bench_holds_or_gait_claims_none(tmp_path):
    words = words_of(SETTINGS, StudyTables(tmp_path))
    assert "no bench recordings" in words["bench"]
    assert "No knee was recorded" in words["calibrate"]
    assert "No gait was found" in words["classify"]


TOLD = "trained elsewhere: four adults, imitated stiff knee"


@pytest.fixture
def decided_elsewhere(tmp_path):
    """Two bouts that a model of others decided, of which the published rule calls one otherwise."""
    bouts = pd.DataFrame(
        {"recording_id": "r", "onset": [0.0, 30.0], "duration": 30.0, "trial_type": ["normal_gait", "limping_gait"],
         "prediction": "final", "trained": TOLD, "rule_trial_type": "normal_gait", "rule_limping_share": 0.0}
    ).reindex(columns=[*BOUTS.names, *(column.name for column in BESIDE)])  # fmt: skip
    write_table(bouts, BOUTS, tmp_path, BESIDE)
    return StudyTables(tmp_path)


def test_whose_model_decided_is_said_with_how_the_rule_stands_to_it(decided_elsewhere):
    words = words_of(SETTINGS, decided_elsewhere)["classify"]
    assert f"by a stored model {TOLD}, with published limits beside it" in words
    (line,) = trust_lines(decided_elsewhere, promised=0.9)
    assert (line.evidence, line.verdict) == (TOLD, "Not known here")
    assert line.more.endswith("the published rule calls 1 of its 2 bouts otherwise")
    notes = [block.words for block in shortfalls(decided_elsewhere).blocks if isinstance(block, Note)]
    assert any(f"states come from a model {TOLD}; the published rule calls 1 of its 2" in words for words in notes)
    assert any("How well either works on these people nothing says." in words for words in notes)


@pytest.mark.parametrize(
    ("limits", "verdict"),
    [
        ((np.nan, np.nan), "Not shown: too few people"),
        ((0.92, 0.99), "Yes"),
        ((0.6, 0.99), "With care"),
        ((0.45, 0.99), "No better than chance"),
    ],
)
def test_labels_that_taught_it_nothing_still_test_a_model_of_others(decided_elsewhere, tmp_path, limits, verdict):
    row = {
        "recording_id": "pooled", "trial_type": "normal_against_limping", "measure": "balanced_accuracy",
        "n_participants": 8, "labelled_seconds": 60.0, "value": 0.95, "value_low": limits[0], "value_high": limits[1],
    }  # fmt: skip
    write_table(pd.DataFrame([row]).reindex(columns=STATES.names), STATES, tmp_path)
    tables = StudyTables(tmp_path)
    (line,) = trust_lines(tables, promised=0.9)
    assert line.verdict == verdict
    assert line.evidence.startswith("0.95 (") and line.evidence.endswith(TOLD)
    assert "8 people whose labels taught it nothing" in line.more
    notes = [block.words for block in shortfalls(tables).blocks if isinstance(block, Note)]
    assert [words for words in notes if "How well either works" in words] == []


def test_a_study_whose_labels_taught_its_model_says_nothing_of_others(tmp_path):
    assert elsewhere_of(StudyTables(tmp_path)) is None
    assert trust_lines(StudyTables(tmp_path), promised=0.9) == []


def test_a_study_of_knees_in_degrees_calibrates_nothing_and_one_of_throats_looks_for_no_gait(tmp_path):
    row = {"recording_id": "w", "status": "good", "task": "walk"}
    columns = [*RECORDINGS.names, *(column.name for column in ADDED)]
    for name, points in (("throat", "throat"), ("deg", "left_knee, right_knee")):
        table = pd.DataFrame([row | {"channels": points}]).reindex(columns=columns)
        write_table(table, RECORDINGS, tmp_path / name, ADDED)
    strides = pd.DataFrame([{"recording_id": "w", "range_of_motion": 55.0}]).reindex(columns=list(STRIDES.names))
    write_table(strides, STRIDES, tmp_path / "deg")
    throat, deg = (words_of(SETTINGS, StudyTables(tmp_path / name)) for name in ("throat", "deg"))
    assert throat["gait"] == "No knee was recorded: no gait was looked for."
    assert throat["swallow"].startswith("Swallow candidates were taken")
    assert deg["swallow"] == "No throat was recorded: no swallow was looked for."
    assert deg["calibrate"] == "Knee angles were recorded in degrees: there was nothing to calibrate."
    assert deg["health"].startswith("No sensor was followed")
    assert deg["validate"].startswith("Nothing was labelled")
