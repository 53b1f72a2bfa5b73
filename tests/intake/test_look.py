"""Raw files are opened as far as columns, rate and length need, and labels are held against the length."""

from __future__ import annotations

import gzip
from pathlib import Path

import numpy as np
import pyarrow as pa
import pyarrow.parquet as pq
import pytest
from small_study import FILES, write_study
from strainstudy.config import StudyConfig
from strainstudy.errors import StudyError
from strainstudy.ingest.parameters import IngestParameters
from strainstudy.intake.look import look_into_files
from strainstudy.intake.start import look
from strainstudy.io.readers.extent import read_extent
from strainstudy.study import load_study

HEAD = "onset\tduration\ttrial_type\tside\n"
CONTACTS = [(2.0 + 1.1 * i, 0.0, "initial_contact", "left") for i in range(20)]


def rows(columns: str, seconds: float, rate: float = 100.0, extra: int = 2) -> bytes:
    t = np.arange(round(seconds * rate)) / rate
    body = "".join(f"{x:.3f}" + f",{np.sin(x):.6f}" * extra + "\n" for x in t)
    return f"{columns}\n{body}".encode()


@pytest.fixture
def root(tmp_path: Path) -> Path:
    root = write_study(tmp_path / "study")
    (root / "raw/walk-01.csv").write_bytes(rows("time_s,left_v,right_v", 60.0))
    (root / "raw/bend-01.csv").write_bytes(rows("time_s,left_v,left_deg", 30.0))
    (root / "raw/stretch-S1.csv").write_bytes(rows("t,volts,mm", 30.0))
    walk, *others = [line for line in FILES["recordings.tsv"].splitlines() if "walk-02" not in line]
    (root / "recordings.tsv").write_text("\n".join([walk, *others]) + "\n", encoding="utf-8")
    return root


def labels(root: Path, rows: list[tuple[float, float, str, str]], factor: float = 1.0) -> None:
    text = HEAD + "".join(f"{a * factor:.6g}\t{b * factor:.6g}\t{kind}\t{side}\n" for a, b, kind, side in rows)
    (root / "labels/walk-01/mh_events.tsv").write_text(text, encoding="utf-8")


def said(root: Path, **options: bool) -> list[str]:
    study = load_study(root)
    found = look_into_files(study, gap_steps=1.5, rate_tolerance=0.01, **options)
    return [("caution " if p.caution else "fault ") + str(p) for p in found]


def edit(root: Path, file: str, old: str, new: str) -> None:
    text = (root / file).read_text(encoding="utf-8")
    assert old in text
    (root / file).write_text(text.replace(old, new, 1), encoding="utf-8")


def test_a_study_in_order_has_nothing_to_be_said_of_it(root):
    assert said(root) == []


def test_a_column_that_is_not_in_the_file_is_named_with_the_one_that_is_meant(root):
    edit(root, "channels.tsv", "bend-01\tleft_deg", "bend-01\tLeft_deg")
    assert said(root) == [
        "caution raw/bend-01.csv, column Left_deg: recording bend-01: the column of left_knee in channels.tsv is"
        " not in"
        " the file; is it 'left_deg'?."
    ]


def test_a_row_for_every_recording_that_no_file_has_is_said_once(root):
    edit(root, "channels.tsv", "*\tright_v", "*\tright_volts")
    contacts, row = said(root)
    assert row == (
        "caution channels.tsv, column name, value 'right_volts': this column is in none of the 2 files that"
        " could have"
        " it; correct the name, or remove the row."
    )
    assert contacts.startswith(
        "caution labels/walk-01/mh_events.tsv, row 4, column side, value 'right': initial_contact on"
    )


def test_a_file_with_none_of_the_columns_is_said_with_what_it_has(root):
    (root / "raw/walk-01.csv").write_bytes(rows("time_s,a,b", 60.0))
    (line,) = said(root)
    assert line.startswith(
        "caution raw/walk-01.csv: recording walk-01: none of the columns of channels.tsv (left_v, right_v) is in"
        " the file"
    )
    assert "the file has time_s, a, b" in line


def test_a_time_column_that_is_not_in_the_file_is_named_with_the_likely_one(root):
    edit(root, "recordings.tsv", "n/a\t100\ttime_s\ttrainers", "n/a\t100\ttimes\ttrainers")
    (line,) = said(root)
    assert "the time column 'times' is not in the file; is it 'time_s'?" in line


@pytest.mark.parametrize("rate", [50.0, 125.0])
def test_stamps_that_give_another_rate_than_the_sheet_are_said(root, rate):
    (root / "raw/walk-01.csv").write_bytes(rows("time_s,left_v,right_v", 60.0, rate))
    (line,) = said(root)
    assert f"time stamps of 'time_s' give {rate:g}" in line
    assert "sampling_frequency in recordings.tsv says 100" in line


def test_a_file_that_cannot_be_read_is_a_caution_and_under_strict_a_fault(root):
    (root / "raw/walk-01.csv").write_bytes(b"\x1f\x8b no text")
    (line,) = said(root)
    assert line.startswith("caution raw/walk-01.csv: recording walk-01: a gzip file without the suffix .gz")
    assert line.endswith("the run goes on without the recording.")
    (line,) = said(root, strict=True)
    assert line.startswith("fault ")
    assert line.endswith("under the setting strict a run stops there.")


def test_one_sensor_in_two_places_is_seen_in_the_file_where_the_sheet_alone_does_not_tell(root):
    edit(root, "channels.tsv", "*\tright_v\tright_knee\tV\tS2", "*\tright_v\tright_knee\tV\tS1")
    (line,) = said(root)
    assert line.startswith("fault raw/walk-01.csv, column right_v: recording walk-01: sensor S1 is on left_knee")
    (root / "raw/walk-01.csv").write_bytes(rows("time_s,left_v", 60.0, extra=1))
    assert not [line for line in said(root) if "sensor S1" in line]


@pytest.mark.parametrize(("factor", "unit"), [(1000.0, "milliseconds"), (100.0, "samples")])
def test_labels_nearly_all_beyond_the_end_name_the_likely_unit(root, factor, unit):
    walk = [(1.0 + i, 0.0, "toe_off", "right") for i in range(55)]
    labels(root, walk, factor)
    (line,) = said(root)
    first = next(onset for onset, *_ in walk if onset * factor > 61.0) * factor
    assert line.startswith(f"fault labels/walk-01/mh_events.tsv, row {2 + walk.index((first / factor, *walk[0][1:]))},")
    assert f"column onset, value '{first:.6g}'" in line
    assert "labels begin beyond the end: the recording is 60 s long (raw/walk-01.csv)" in line
    assert f"these look like {unit}; give seconds" in line


def test_a_single_label_beyond_the_end_or_longer_than_the_recording_is_a_fault_with_its_row(root):
    labels(root, [*CONTACTS, (100.0, 0.0, "toe_off", "left"), (30.0, 1e9, "normal_gait", "n/a")])
    assert said(root) == [
        "fault labels/walk-01/mh_events.tsv, row 22, column onset, value '100': toe_off begins beyond the end: the"
        " recording is 60 s long (raw/walk-01.csv); correct it, or remove it if the raw file was cut.",
        "fault labels/walk-01/mh_events.tsv, row 23, column duration, value '1e+09': normal_gait ends 1e+09 s"
        " beyond the"
        " end: the recording is 60 s long (raw/walk-01.csv); correct its duration, in seconds.",
    ]


def test_labels_beyond_a_file_that_ends_within_a_row_stop_nothing_unless_they_are_in_another_unit(root):
    path = root / "raw/walk-01.csv"
    path.write_bytes(path.read_bytes()[: -len(b",0.123456\n") - 2])
    labels(root, [*CONTACTS, *((100.0 + i, 0.0, "toe_off", "left") for i in range(3))])
    assert said(root) == [
        "caution labels/walk-01/mh_events.tsv, row 22, column onset, value '100': toe_off begins beyond the end: the"
        " recording is 59.99 s long (raw/walk-01.csv) (and 2 further rows); the file ends early: copy it again from the"
        " recorder, else what lies beyond it is passed over.",
    ]
    labels(root, CONTACTS, 1000.0)
    (line,) = said(root)
    assert line.startswith("fault ")
    assert "these look like milliseconds" in line


def test_a_last_label_that_outlasts_the_recording_by_less_than_a_second_is_let_through(root):
    labels(root, [*CONTACTS, (50.0, 10.9, "normal_gait", "n/a")])
    assert said(root) == []


@pytest.mark.parametrize("packed", [True, False])
def test_a_large_file_is_read_to_its_end_only_where_labels_go_on_for_too_long(root, packed, monkeypatch):
    monkeypatch.setattr("strainstudy.io.readers.extent._MOST_PACKED", 1000)
    monkeypatch.setattr("strainstudy.io.readers.extent._MOST_COUNTED", 1000)
    edit(root, "recordings.tsv", "n/a\t100\ttime_s\ttrainers", "n/a\t100\tn/a\ttrainers")
    if packed:
        edit(root, "recordings.tsv", "raw/walk-01.csv", "raw/walk-01.csv.gz")
        (root / "raw/walk-01.csv.gz").write_bytes(gzip.compress((root / "raw/walk-01.csv").read_bytes()))
    labels(root, CONTACTS, 1000.0)
    (line,) = [line for line in said(root) if line.startswith("fault")]
    assert "these look like milliseconds" in line


def test_the_length_of_a_file_with_a_pause_is_that_of_its_stamps(root):
    text = rows("time_s,left_v,right_v", 60.0).decode().splitlines()
    (root / "raw/walk-01.csv").write_text("\n".join([*text, "3600.00,0,0"]) + "\n", encoding="utf-8")
    labels(root, [(3000.0, 0.0, "toe_off", "left")])
    assert said(root) == []


def test_stamps_of_a_clock_in_a_parquet_file_tell_its_length(root):
    stamps = pa.array(1_700_000_000_000 + 10 * np.arange(6000), pa.timestamp("ms"))
    table = pa.table({"time_s": stamps, "left_v": np.sin(np.arange(6000)), "right_v": np.cos(np.arange(6000))})
    pq.write_table(table, root / "raw/walk-01.parquet")
    edit(root, "recordings.tsv", "raw/walk-01.csv", "raw/walk-01.parquet")
    labels(root, [*CONTACTS, (100.0, 0.0, "toe_off", "left")])
    (line,) = said(root)
    assert "toe_off begins beyond the end: the recording is 60 s long" in line


def test_the_start_of_a_run_looks_at_labelled_recordings_for_faults_alone(root):
    (root / "raw/walk-01.csv").write_bytes(b"damaged")
    study = load_study(root)
    assert look(study, StudyConfig(), IngestParameters()) == ()
    assert len(look(study, StudyConfig(), IngestParameters(), thorough=True)) == 1
    with pytest.raises(StudyError, match="under the setting strict a run stops there"):
        look(study, StudyConfig(strict=True), IngestParameters())


def test_the_extent_of_clock_times_is_in_seconds(tmp_path):
    path = tmp_path / "a.csv"
    lines = [f"2024-05-03T23:59:{40 + i // 10:02d}.{i % 10}00,1.{i}" for i in range(100)]
    path.write_text("\n".join(["clock,v", *lines, "2024-05-04T00:01:00.000,1"]) + "\n", encoding="utf-8")
    extent = read_extent(path, ["v"], "clock")
    assert extent is not None
    assert extent.clock
    assert extent.last == pytest.approx(80.0)
    assert extent.rows == 101


def test_a_small_file_that_unpacks_without_end_is_left_to_the_reader(tmp_path):
    path = tmp_path / "bomb.csv.gz"
    path.write_bytes(gzip.compress(rows("time_s,v", 5.0, extra=1) + b"1,1\n" * 10_000_000, 9))
    assert path.stat().st_size < 300_000
    extent = read_extent(path, ["v"], "time_s")
    assert extent is not None
    assert (extent.rows, extent.last) == (None, None)
