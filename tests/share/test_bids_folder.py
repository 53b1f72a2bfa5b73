"""A shared folder: held to the standard by its own validator, without names and dates, and read back as it was."""

from __future__ import annotations

import json
import shutil
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from sharing import PRIVATE, TABLES, every_column, shared, validated, write_named_study
from strainstudy.ingest.parameters import IngestParameters
from strainstudy.ingest.recording import ingest_recording
from strainstudy.io.labels import read_labels
from strainstudy.io.ledger import begin, read_ledger, settle
from strainstudy.share.names import layout, share_files
from strainstudy.share.parameters import ShareParameters
from strainstudy.share.words import WARNINGS
from strainstudy.study import load_study
from strainstudy_simulator.cohort import write_study

PLAIN = {
    "people": 2,
    "sessions": 2,
    "minutes": 0.3,
    "tasks": ("walk", "bend", "swallow"),
    "bench": True,
    "faults": False,
}


@pytest.fixture(scope="module")
def named(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return write_named_study(tmp_path_factory.mktemp("named") / "study")


@pytest.fixture(scope="module")
def silent(named, tmp_path_factory):
    """The study with names, shared as it is when nobody allowed anything."""
    return shared(named, tmp_path_factory.mktemp("silent"), ShareParameters())


@pytest.fixture(scope="module")
def plain(tmp_path_factory):
    """A study of ids that say nothing, and its shared folder with all columns allowed."""
    root = tmp_path_factory.mktemp("plain")
    write_study(root / "study", **PLAIN)
    study = load_study(root / "study")
    return study, shared(study.root, root / "results", ShareParameters(allow_columns=every_column(study)))


@pytest.mark.parametrize("which", ["silent", "plain"])
def test_the_validator_of_the_standard_finds_no_error_and_no_warning_without_a_reason(which, request):
    folder = request.getfixturevalue(which)
    issues = validated(folder if which == "silent" else folder[1])
    assert [issue for issue in issues if issue["severity"] == "error"] == []
    assert {issue["code"] for issue in issues} <= set(WARNINGS)


def test_the_validator_would_say_so_if_a_column_were_not_described(silent, tmp_path):
    copy = tmp_path / "bids"
    shutil.copytree(silent, copy)
    (copy / "channels.json").unlink()
    assert "error" in {issue["severity"] for issue in validated(copy)}


def test_no_name_date_or_word_of_the_labs_own_leaves_unless_it_was_allowed(silent):
    files = [path for path in silent.rglob("*") if path.is_file()]
    assert len(files) > 30
    found = [
        (word, path.relative_to(silent).as_posix())
        for path in files
        for word in PRIVATE
        if word in path.relative_to(silent).as_posix() or word.encode() in path.read_bytes()
    ]
    assert found == []


def test_only_the_allowed_columns_leave_and_the_list_says_which_stay(named, tmp_path):
    folder = shared(named, tmp_path / "results", ShareParameters(allow_columns=("participants.clinic",)))
    people = pd.read_csv(folder / "participants.tsv", sep="\t")
    assert list(people.columns) == ["participant_id", "age", "sex", "affected_side", "clinic"]
    listed = pd.read_csv(tmp_path / "results/share/columns.tsv", sep="\t", index_col="column")
    assert listed.index[listed["leaves"]].tolist() == ["participants.clinic"]
    assert set(listed.index) == {
        "participants.participant_id", "participants.group", "participants.clinic", "recordings.recording_id",
        "recordings.session_id", "recordings.comment", "channels.name", "sensors.sensor_id", "labels.rater",
    }  # fmt: skip


def test_times_count_from_the_first_sample_in_seconds_whatever_the_stamps_were(named, silent):
    study = load_study(named)
    places = layout(study, ShareParameters())
    for name in ("anna-20240501-walk", "anna-20240501-again"):
        times = pd.read_csv(silent / places.motion(study.recordings[name]), sep="\t", header=None)[0]
        assert times.iloc[0] == 0.0
        assert np.median(np.diff(times)) == pytest.approx(0.01)


def test_ages_from_89_on_are_told_as_89(silent):
    assert set(pd.read_csv(silent / "participants.tsv", sep="\t")["age"]) == {89, 59.5}


def test_a_recording_that_cannot_be_read_is_named_in_the_log_and_counted_in_the_folder(silent):
    log = (silent.parents[1] / "logs/share.log").read_text(encoding="utf-8")
    assert "berta-broken (raw/b-broken.csv.gz) is not shared: " in log
    assert "Not in here: 1 recording that could not be read." in (silent / "README.md").read_text(encoding="utf-8")


def test_every_shared_table_has_the_columns_of_its_schema_and_no_date_or_file_name(silent):
    tables = sorted((silent / "derivatives/strainstudy/tables").glob("*.tsv"))
    assert len(tables) == len(TABLES)
    for path in tables:
        schema = json.loads(path.with_suffix(".json").read_text(encoding="utf-8"))
        columns = list(pd.read_csv(path, sep="\t").columns)
        assert columns == [field["name"] for field in schema["fields"]]
        assert not {"file", "started", "group"} & set(columns)


@pytest.mark.parametrize("everything", [False, True])
def test_every_file_written_is_in_the_plan(named, tmp_path, everything):
    study = load_study(named)
    allowed = tuple(c for c in every_column(study) if c not in ("recordings.recording_id", "recordings.session_id"))
    parameters = ShareParameters(allow_columns=allowed if everything else None)
    folder = shared(named, tmp_path / "results", parameters)
    results = folder.parents[1]
    written = {p.relative_to(results).as_posix() for p in (results / "share").rglob("*") if p.is_file()}
    assert written <= set(share_files(study, parameters, TABLES))


def test_what_is_no_longer_shared_is_removed_and_files_of_others_stay(named, tmp_path):
    folder = shared(named, tmp_path / "results", ShareParameters())
    stale = folder / "sub-2/motion/sub-2_task-walk_tracksys-strain_run-1_motion.tsv"
    (folder / "sub-2").mkdir(exist_ok=True)
    stale.write_text("0\n", encoding="utf-8")
    mine = folder / "notes.txt"
    mine.write_text("mine", encoding="utf-8")
    again = shared_again(named, folder.parents[1])
    assert not stale.exists()
    assert mine.read_text(encoding="utf-8") == "mine"
    assert (again / "participants.tsv").is_file()


def shared_again(root: Path, results: Path) -> Path:
    shutil.rmtree(results / "logs")
    return shared(root, results, ShareParameters())


def test_what_goes_out_comes_back_the_same(plain):
    study, folder = plain
    back = load_study(folder)
    assert back.participants == study.participants
    assert back.sensors == study.sensors
    assert list(back.recordings) == list(study.recordings)
    for name, recording in study.recordings.items():
        other = back.recordings[name]
        assert (other.task, other.participant_id, other.session_id, other.sensor_id, other.volume_ml, other.extra) == (
            recording.task, recording.participant_id, recording.session_id, recording.sensor_id, recording.volume_ml,
            recording.extra,
        )  # fmt: skip
        assert set(other.labels) == set(recording.labels)
        for rater, path in recording.labels.items():
            pd.testing.assert_frame_equal(read_labels(other.labels[rater]), read_labels(path))
        before, after = (ingest_recording(one, IngestParameters()) for one in (recording, other))
        assert len(before.traces) == len(after.traces)
        for one, two in zip(before.traces, after.traces, strict=True):
            assert (one.tracked_point, one.units, one.sampling_frequency) == (
                two.tracked_point, two.units, two.sampling_frequency,
            )  # fmt: skip
            np.testing.assert_array_equal(one["raw"], two["raw"])
        of_file = {"file", "file_format", "started", "time_source"}
        assert {k: v for k, v in after.quality.items() if k not in of_file} == {
            k: v for k, v in before.quality.items() if k not in of_file
        }


def test_samples_of_every_format_and_kind_of_stamp_come_back_bit_for_bit(named, silent):
    study, back = load_study(named), load_study(silent)
    stems = layout(study, ShareParameters()).stems
    compared = 0
    for name, recording in study.recordings.items():
        if name != "berta-broken":
            other = back.recordings[Path(stems[name]).name]
            pairs = zip(*(ingest_recording(one, IngestParameters()).traces for one in (recording, other)), strict=True)
            for one, two in pairs:
                assert (one.tracked_point, one.units) == (two.tracked_point, two.units)
                assert one.sampling_frequency == two.sampling_frequency
                np.testing.assert_array_equal(one["raw"], two["raw"])
                compared += 1
    assert compared == 9


def test_a_folder_that_was_read_is_shared_again_byte_for_byte(plain, tmp_path):
    _, folder = plain
    study = load_study(folder)
    again = shared(folder, tmp_path / "results", ShareParameters(allow_columns=every_column(study)))

    def contents(root: Path) -> dict[str, bytes]:
        return {p.relative_to(root).as_posix(): p.read_bytes() for p in root.rglob("*") if p.is_file()}

    before, after = contents(folder), contents(again)
    assert set(after) == set(before)
    # the table of the pipeline names the raw file, which another one is now
    assert {name for name in before if before[name] != after[name]} <= {"derivatives/strainstudy/tables/recordings.tsv"}


def test_what_is_shared_after_the_ledger_was_settled_still_stands_in_it(named, tmp_path):
    results = tmp_path / "results"
    begin(results, share_files(load_study(named), ShareParameters(), TABLES), named)
    settle(results)
    folder = shared(named, results, ShareParameters())
    settle(results)
    written = {path.relative_to(results).as_posix() for path in folder.parent.rglob("*") if path.is_file()}
    assert written | {"logs/share.log"} == read_ledger(results).now
