"""A study folder is checked as a whole; every fault is said once, with file, row, column, value and remedy."""

from __future__ import annotations

import os
from pathlib import Path

import pytest
from broken_studies import BROKEN, Broken
from small_study import FILES, write_study
from strainstudy.errors import StudyError
from strainstudy.study import Channel, load_study


@pytest.fixture
def root(tmp_path):
    return write_study(tmp_path / "study")


@pytest.mark.parametrize("case", BROKEN, ids=lambda case: case.fault.replace(" ", "-"))
def test_a_broken_study_says_exactly_what_is_wrong(root: Path, case: Broken):
    case.breaks(root)
    with pytest.raises(StudyError) as caught:
        load_study(root)
    assert [str(problem) for problem in caught.value.problems] == list(case.problems)
    assert str(caught.value).startswith(f"{len(case.problems)} problem")


def test_no_study_folder_is_one_problem(tmp_path):
    with pytest.raises(StudyError) as caught:
        load_study(tmp_path / "nowhere")
    assert str(caught.value).endswith("there is no such study folder; correct the setting study.")


def test_the_small_study_is_read_as_it_is_meant(root):
    study = load_study(root)
    assert list(study.participants) == ["sub-01", "sub-02"]
    assert study.participants["sub-02"].sex == "male"
    assert study.participants["sub-01"].age == 64
    assert study.sensors["S1"].r2_ohm is None
    assert study.sensors["S2"].polarity == -1
    walk = study.recordings["walk-01"]
    assert walk.path == root / "raw/walk-01.csv"
    assert walk.extra == {"shoes": "trainers"}
    assert walk.labels == {"mh": root / "labels/walk-01/mh_events.tsv"}
    assert walk.channels == (
        Channel("left_v", "left_knee", "V", "S1", "good", True),
        Channel("right_v", "right_knee", "V", "S2", "good", True),
    )


def test_a_reference_stands_beside_the_strain_channel_of_its_knee(root):
    channels = load_study(root).recordings["bend-01"].channels
    assert [(c.tracked_point, c.units) for c in channels] == [
        ("left_knee", "V"),
        ("right_knee", "V"),
        ("left_knee", "deg"),
    ]


def test_rows_for_every_recording_keep_to_the_tasks_of_their_tracked_point(root):
    bench = load_study(root).recordings["stretch-S1"]
    assert [c.name for c in bench.channels] == ["volts", "mm"]
    assert {c.sensor_id for c in bench.channels} == {"S1"}


def test_a_row_of_its_own_takes_the_place_of_the_row_for_every_recording(root):
    path = root / "channels.tsv"
    path.write_text(FILES["channels.tsv"] + "walk-01\tleft_new\tleft_knee\tV\tS2\tbad\n", encoding="utf-8")
    channels = load_study(root).recordings["walk-01"].channels
    assert channels == (
        Channel("right_v", "right_knee", "V", "S2", "good", True),
        Channel("left_new", "left_knee", "V", "S2", "bad", False),
    )


def test_byte_order_mark_line_ends_blank_lines_and_quotes_are_no_fault(root):
    text = FILES["participants.tsv"].replace("control", '"control, matched"').replace("\nsub-02", "\n\n\nsub-02")
    (root / "participants.tsv").write_bytes(b"\xef\xbb\xbf" + text.replace("\n", "\r\n").encode())
    assert load_study(root).participants["sub-02"].group == "control, matched"


def test_rows_are_counted_as_an_editor_counts_them(root):
    text = FILES["participants.tsv"].replace("\nsub-02\t59", "\n\n\nsub-02\t590")
    (root / "participants.tsv").write_text(text, encoding="utf-8")
    with pytest.raises(StudyError, match=r"participants.tsv, row 5, column age, value '590'"):
        load_study(root)


def test_order_of_rows_does_not_change_the_study(root, tmp_path):
    other = write_study(tmp_path / "other")
    for name in ("participants.tsv", "sensors.tsv", "recordings.tsv"):
        head, *rows = FILES[name].splitlines()
        (other / name).write_text("\n".join([head, *reversed(rows)]) + "\n", encoding="utf-8")
    first, second = load_study(root), load_study(other)
    assert list(first.recordings) == list(second.recordings)
    assert first.participants == second.participants
    assert first.sensors == second.sensors


def test_extra_files_beside_the_labels_are_passed_over(root):
    for name in (".hidden", "mh_events.json", "notes.md"):
        (root / "labels/walk-01" / name).write_text("", encoding="utf-8")
    assert list(load_study(root).recordings["walk-01"].labels) == ["mh"]


def test_a_sensors_sheet_with_its_header_only_is_a_study_without_bridges():
    """Open data: knee angles of people walking (Pearl et al. 2022, doi 10.21203/rs.3.rs-1902381/v1)."""
    folder = os.environ.get("STRAINSTUDY_REAL_WALKS")
    if folder is None:
        pytest.skip("STRAINSTUDY_REAL_WALKS does not name the folder of real walks")
    study = load_study(Path(folder))
    assert len(study.recordings) == 16
    assert study.sensors == {}
    assert all({c.units for c in r.channels} == {"deg"} for r in study.recordings.values())
