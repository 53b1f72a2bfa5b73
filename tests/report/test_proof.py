"""What the report says of proof: the headline of the classifier, its matrix, the agreement of every outcome."""

import matplotlib.pyplot as plt
import pandas as pd
import pytest
from strainstudy.report.content import Table, Text
from strainstudy.report.people_sections import _sources_at_odds
from strainstudy.report.proof_figures import _confusion
from strainstudy.report.proof_sections import _headline, _outcomes
from strainstudy.report.results import StudyTables
from strainstudy.tables import write_table
from strainstudy.tables.classifier import EVIDENCE
from strainstudy.tables.standing import NORMS
from strainstudy.tables.validation import CONFUSION, PARAMETERS, STATES

SECONDS = {
    ("normal_gait", "normal_gait"): 180.0, ("normal_gait", "turn"): 15.0, ("normal_gait", "limping_gait"): 5.0,
    ("limping_gait", "limping_gait"): 95.0, ("limping_gait", "turn"): 5.0, ("turn", "turn"): 30.0,
    ("rest", "rest"): 60.0,
}  # fmt: skip


def write(root, rows, spec):
    write_table(pd.DataFrame(rows).reindex(columns=list(spec.names)), spec, root)


@pytest.fixture
def tables(tmp_path):
    head = {"recording_id": "pooled"}
    cells = [{**head, "labelled": a, "detected": b, "seconds": s, "share": 0.5} for (a, b), s in SECONDS.items()]
    write(tmp_path, cells, CONFUSION)
    whole = {**head, "trial_type": "normal_against_limping", "measure": "balanced_accuracy", "value": 0.925}
    write(tmp_path, [{**whole, "labelled_seconds": 300.0, "n_participants": 8}], STATES)
    within = {"balanced_accuracy_within_gait": 0.986, "balanced_accuracy_within_gait_low": 0.97,
              "balanced_accuracy_within_gait_high": 0.99}  # fmt: skip
    row = {"predictor": "classifier", "scope": "pooled", "trial_type": "all", "n_participants": 8, **within}
    write(tmp_path, [row], EVIDENCE["classifier"])
    names = ("cadence", "stride_time_cv", "step_time_symmetry_index")
    found = [
        {
            "measure": n,
            "trial_type": "normal_gait",
            "detected_from": d,
            "unit": "percent",
            "n_pairs": 22,
            "bias": -0.46,
            "loa_lower": -9.0,
            "loa_upper": 8.0,
        }
        for n in names
        for d in ("events", "result tables")
    ]
    found.append({"measure": "knee_bend_angle", "detected_from": "events", "unit": "deg", "bias": 0.9})  # fmt: skip
    write(tmp_path, found, PARAMETERS)
    return StudyTables(tmp_path)


def test_the_headline_says_within_gait_first_then_the_whole_and_what_the_loss_is_made_of(tables):
    """Of 300 s labelled normal or limping 20 s went to turns (6.7 %) and 5 s to the other gait (1.7 %)."""
    scores = tables(EVIDENCE["classifier"])
    (block,) = _headline(tables, scores)
    assert isinstance(block, Text)
    assert "within time found as gait: 0.986 (0.970 to 0.990), n = 8 people" in block.words
    assert "By all time labelled so: 0.925" in block.words
    assert (
        "of 300.0 s labelled so, called otherwise: 20.0 s (6.7 %) turns, 5.00 s (1.7 %) the other gait." in block.words
    )


def test_a_study_without_a_classifier_has_no_headline(tables):
    assert _headline(tables, EVIDENCE["classifier"].empty()) == []


def test_the_matrix_has_a_row_for_every_state_that_is_counted(tables):
    axis = plt.figure().subplots()
    _confusion(axis, tables(CONFUSION))
    assert [t.get_text() for t in axis.get_yticklabels()] == ["rest", "normal\ngait", "limping\ngait", "turn"]


def test_the_agreement_of_every_outcome_is_shown_and_the_asymmetry_of_step_time_first(tables):
    (table,) = _outcomes(tables)
    assert isinstance(table, Table)
    assert [row[0] for row in table.rows] == [
        "step-time asymmetry, right minus left (%)",
        "stride-time variability (CV) (%)",
        "cadence (steps per minute)",
        "knee bend, angle held (degrees)",
    ]
    assert "−9.00 to 8.00" in table.rows[0]


def test_all_sources_of_a_measure_whose_sources_are_at_odds_are_listed_once(tmp_path):
    base = {
        "participant_id": "sub-01",
        "measure": "stride_time_mean",
        "unit": "s",
        "value": 1.1,
        "population": "adults",
    }
    rows = [
        {**base, "source": source, "measure": measure, "published_mean": mean, "sources_disagree": words}
        for source, mean in (("A", 1.0), ("B", 1.4))
        for measure, words in (("step_time_mean_left", "A: 1; B: 2"), ("step_time_mean_right", None), ("cadence", None))
    ]
    write(tmp_path, rows, NORMS)
    _, table = _sources_at_odds(StudyTables(tmp_path))
    assert [(row[0], row[-1]) for row in table.rows] == [("step time, mean (s)", "A"), ("step time, mean (s)", "B")]
