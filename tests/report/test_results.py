"""What the report reads: a table that is not there is empty, one that is there is what it is specified to be."""

import pandas as pd
import pytest
from strainstudy.condition.bridge import ASSUMED_EQUAL_ARMS
from strainstudy.errors import StudyError
from strainstudy.gait.verdict import VERDICT_COLUMNS
from strainstudy.report.results import StudyTables
from strainstudy.report.sections import shortfalls
from strainstudy.tables import write_table
from strainstudy.tables.gait import GAIT
from strainstudy.tables.recordings import ADDED, RECORDINGS


def written(root, frame, spec, extra=()):
    columns = [*spec.names, *(column.name for column in extra)]
    return write_table(pd.DataFrame(frame).reindex(columns=columns), spec, root, extra)


def test_a_renamed_column_is_no_empty_column(tmp_path):
    """A warning that nobody can read any more must not become a report without warnings."""
    path = written(tmp_path, [{"recording_id": "w", "warning": "few strides"}], GAIT, VERDICT_COLUMNS)
    assert "1 of 1 gait rows carries a warning" in " ".join(b.words for b in shortfalls(StudyTables(tmp_path)).blocks)
    path.write_text(path.read_text(encoding="utf-8").replace("\twarning\t", "\tremark\t"), encoding="utf-8")
    with pytest.raises(StudyError, match=r"tables/gait.tsv.*'warning'"):
        shortfalls(StudyTables(tmp_path))


def test_a_table_without_what_a_stage_adds_to_it_is_refused(tmp_path):
    written(tmp_path, [{"recording_id": "w"}], GAIT)
    tables = StudyTables(tmp_path)
    assert len(tables(GAIT)) == 1
    with pytest.raises(StudyError, match="'verdict'"):
        tables(GAIT, *VERDICT_COLUMNS)


def test_a_table_of_a_study_without_that_data_is_empty_with_its_columns(tmp_path):
    nothing = StudyTables(tmp_path)(GAIT, *VERDICT_COLUMNS)
    assert nothing.empty
    assert tuple(nothing.columns) == (*GAIT.names, *(column.name for column in VERDICT_COLUMNS))


def test_a_table_that_a_job_has_not_declared_is_refused(tmp_path):
    assert StudyTables(tmp_path, [GAIT])(GAIT).empty
    with pytest.raises(KeyError, match=r"tables/recordings\.tsv is read by a figure whose kind does not name it"):
        StudyTables(tmp_path, [GAIT])(RECORDINGS)


def test_a_bench_alone_has_no_groups_of_people(tmp_path):
    written(tmp_path, [{"recording_id": "b", "status": "good"}], RECORDINGS, ADDED)
    recordings = StudyTables(tmp_path).recordings
    assert recordings["group"].isna().all()
    assert recordings["status"].tolist() == ["good"]


def test_an_assumed_rest_resistance_and_labels_of_a_side_without_a_sensor_are_told_among_the_faults(tmp_path):
    rows = [
        {
            "recording_id": "w",
            "status": "good",
            "channels": "left_knee, throat",
            "notes": f"left_knee: {ASSUMED_EQUAL_ARMS}",
        },
        {"recording_id": "v", "status": "good", "channels": "left_knee, right_knee", "notes": "ok"},
    ]
    written(tmp_path, rows, RECORDINGS, ADDED)
    notes = shortfalls(StudyTables(tmp_path), {"w": 1}).blocks
    told = [note.words for note in notes if note.level == "fault"]
    assert any(words.startswith("Rest resistance is assumed in 1 of 2 recordings") for words in told)
    assert [words[:11] for words in told if "not recorded" in words] == ["w: 1 labels"]
    assert not any("assumed" in n.words for n in shortfalls(StudyTables(tmp_path / "none"), {}).blocks)
