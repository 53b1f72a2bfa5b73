"""A handful of files in and the four sheets out; the demo as a whole is judged by tests/experiments/drafted_demo.py."""

import gzip
import shutil
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest
from strainstudy.draft.__main__ import QUESTIONS, write_draft
from strainstudy.errors import StudyError
from strainstudy.study import load_study

DEMO = Path(__file__).resolve().parents[2] / "demo_raw"
HANDFUL = (
    "sub-01/sub-01_ses-01_bend.csv.gz",
    "sub-01/sub-01_ses-01_walk.csv.gz",
    "sub-01/sub-01_ses-01_water.csv.gz",
    "sub-02/sub-02_ses-01_walk.edf",
    "sub-04/sub-04_ses-02_walk.csv",
    "sub-06/sub-06_ses-01_walk.parquet",
    "sub-10/sub-10_ses-02_water.csv.gz",
    "bench/kneeL-B_ses-01_stretch.csv.gz",
    "bench/kneeL-B_ses-01_tap.tdms",
)


def rows(path):
    header, *lines = [line.split("\t") for line in path.read_text().splitlines()]
    return [dict(zip(header, line, strict=True)) for line in lines]


@pytest.fixture
def bare(tmp_path):
    for name in HANDFUL:
        (tmp_path / "bare/raw" / name).parent.mkdir(parents=True, exist_ok=True)
        shutil.copy(DEMO / "raw" / name, tmp_path / "bare/raw" / name)
    return tmp_path / "bare"


def test_every_cell_of_the_demos_sheets_is_right_or_asked(bare):
    write_draft(bare)
    true = {row["file"]: row for row in rows(DEMO / "recordings.tsv")}
    for row in rows(bare / "recordings.tsv"):
        odd = {c: (v, true[row["file"]][c]) for c, v in row.items() if v not in ("n/a", true[row["file"]][c])}
        # the demo's sheet leaves the rate to the file's stamps, which have it
        assert odd == ({"sampling_frequency": ("100", "n/a")} if "sub-04" in row["file"] else {})
    true = {(row["recording_id"], row["name"]): row for row in rows(DEMO / "channels.tsv")}
    drafted = rows(bare / "channels.tsv")
    # three columns that mean the same everywhere; a file that cannot be opened shows none of its own
    assert len(drafted) == 3 + 13
    for row in drafted:
        own = true[row["recording_id"], row["name"]]
        assert all(value in ("n/a", own[column]) for column, value in row.items())
        assert row["tracked_point"] != "n/a"
        assert row["units"] != "n/a"
    assert [row["participant_id"] for row in rows(bare / "participants.tsv")] == [
        f"sub-{n}" for n in ("01", "02", "04", "06", "10")
    ]
    assert [row["sensor_id"] for row in rows(bare / "sensors.tsv")] == ["kneeL-B"]


def test_what_nothing_tells_is_asked_and_the_broken_file_named(bare):
    draft, _ = write_draft(bare)
    asked = {(q.sheet, q.column): q.rows for q in draft.questions}
    assert asked["recordings.tsv", "sampling_frequency"] == ("sub-06_ses-01_walk", "sub-10_ses-02_water")
    assert len(asked["channels.tsv", "sensor_id"]) == 11
    assert ("recordings.tsv", "participant_id") not in asked
    page = (bare / QUESTIONS).read_text()
    assert "the gzip file ends early" in page
    assert "| raw/sub-04/sub-04_ses-02_walk.csv | 100 |" in page


def test_the_check_names_what_is_left_and_nothing_once_it_is_answered(tmp_path):
    for name in (HANDFUL[1], HANDFUL[7], "bench/kneeR-B_ses-01_stretch.csv.gz"):
        (tmp_path / name).parent.mkdir(exist_ok=True)
        shutil.copy(DEMO / "raw" / name, tmp_path / name)
    write_draft(tmp_path)
    with pytest.raises(StudyError) as caught:
        load_study(tmp_path)
    assert {(p.file, p.column) for p in caught.value.problems} >= {("channels.tsv", "sensor_id")}
    for sheet, old, new in (
        ("sensors.tsv", "-B" + "\tn/a" * 9, "-B\t3.3\t1e4\t1e4\t1e4\t1\t1\tn/a\tn/a\t40"),
        ("channels.tsv", "left_knee\tV\tn/a", "left_knee\tV\tkneeL-B"),
        ("channels.tsv", "right_knee\tV\tn/a", "right_knee\tV\tkneeR-B"),
    ):
        path = tmp_path / sheet
        assert old in path.read_text()
        path.write_text(path.read_text().replace(old, new))
    study = load_study(tmp_path)
    assert study.recordings["kneeL-B_ses-01_stretch"].sensor_id == "kneeL-B"
    assert {c.tracked_point for c in study.recordings["sub-01_ses-01_walk"].channels} >= {"left_knee", "right_knee"}


def test_knees_without_a_name_are_found_by_their_signal_and_asked_which_is_left(bare):
    """The demo's walk under the columns of a recorder that numbers them."""
    folder = bare / "other"
    folder.mkdir()
    with gzip.open(bare / "raw" / HANDFUL[1], "rt") as stream:
        lines = stream.read().splitlines()
    body = [",".join(line.split(",")[:3]) for line in lines[1:]]
    (folder / "p9_visit1_gait.csv").write_text("\n".join(["time_s,ch1 [V],ch2 [V]", *body]) + "\n")
    (folder / "p9_visit2.csv").write_text("\n".join(["time_s,left [V],right [V]", *body]) + "\n")
    still = [f"{k / 100},{v:.3f},{w:.3f}" for k, (v, w) in enumerate(np.random.default_rng(0).random((3000, 2)))]
    (folder / "p9_visit3_free.csv").write_text("\n".join(["time_s,left [V],right [V]", *still]) + "\n")
    write_draft(folder)
    points = {(r["recording_id"], r["name"]): r["tracked_point"] for r in rows(folder / "channels.tsv")}
    assert points == {
        ("p9_visit1_gait", "ch1 [V]"): "n/a",
        ("p9_visit1_gait", "ch2 [V]"): "n/a",
        ("p9_visit2", "left [V]"): "left_knee",
        ("p9_visit2", "right [V]"): "right_knee",
        ("p9_visit3_free", "left [V]"): "left_knee",
        ("p9_visit3_free", "right [V]"): "right_knee",
    }
    told = {row["recording_id"]: row for row in rows(folder / "recordings.tsv")}
    assert told["p9_visit2"]["task"] == "walk"
    page = (folder / QUESTIONS).read_text()
    assert "'ch1 [V]' and 'ch2 [V]' alternate as two knees" in page
    assert "task walk: its knees alternate" in page


def test_nothing_that_is_there_is_overwritten(bare, tmp_path):
    (bare / "sensors.tsv").write_text("mine")
    before = {p: p.read_bytes() for p in bare.rglob("*") if p.is_file()}
    with pytest.raises(StudyError, match=r"sensors\.tsv: is there already"):
        write_draft(bare)
    draft, _ = write_draft(bare, into=tmp_path / "new/drafts")
    assert {p: p.read_bytes() for p in bare.rglob("*") if p.is_file()} == before
    assert {p.name for p in (tmp_path / "new/drafts").iterdir()} == {*draft.sheets, QUESTIONS}
    with pytest.raises(StudyError) as caught:
        write_draft(bare, into=tmp_path / "new/drafts")
    assert len(caught.value.problems) == 5


def test_sheets_labels_and_hidden_files_are_no_recordings(bare):
    for name in ("labels/a/rater_events.tsv", ".cache/x.csv", "readme.txt", "contributors.tsv", "raw/b_events.tsv"):
        (bare / name).parent.mkdir(parents=True, exist_ok=True)
        (bare / name).write_text("a\tb\n1\t2\n")
    _, drafted = write_draft(bare)
    assert sorted(one.seen.file for one in drafted) == sorted(f"raw/{name}" for name in HANDFUL)


def test_the_command_refuses_in_words(tmp_path):
    done = subprocess.run(
        [sys.executable, "-m", "strainstudy.draft", str(tmp_path)], capture_output=True, text=True, check=False
    )
    assert done.returncode == 1
    assert "no file that there is a reader for" in done.stderr
    assert "Traceback" not in done.stderr
