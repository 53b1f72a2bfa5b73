"""BIDS folders of others as a study: what can be used is, and what is missing is said in one list.

Layout and columns as the standard's own motion examples have them (bids-standard/bids-examples, motion_spotrotation:
optical tracking with POS and ORNT channels, LATENCY in seconds, scans.tsv with acq_time, participants without age).
"""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from strainstudy.errors import StudyError
from strainstudy.ingest.parameters import IngestParameters
from strainstudy.ingest.recording import ingest_recording
from strainstudy.intake.bids import is_bids
from strainstudy.intake.start import check_all
from strainstudy.io.bids import entities, merged_json, sidecars
from strainstudy.io.readers import ReadError, peek, read_raw
from strainstudy.study import load_study

OPTICAL = "name\ttype\tunits\ttracked_point\tcomponent\nHead_x\tPOS\tm\tHead\tx\nHead_w\tORNT\tn/a\tHead\tquat_w\n"
KNEES = (
    "name\tcomponent\ttype\ttracked_point\tunits\n"
    "latency\tn/a\tLATENCY\tn/a\ts\n"
    "angle\tn/a\tJNTANG\tleft_knee\tdeg\n"
    "foot\tx\tACCEL\tleft_foot\tg\n"
)


def write(root: Path, files: dict[str, object]) -> Path:
    for name, content in files.items():
        path = root / name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_text(content if isinstance(content, str) else json.dumps(content), encoding="utf-8")
    return root


def dataset(**more: object) -> dict[str, object]:
    return {"dataset_description.json": {"Name": "of others", "BIDSVersion": "1.9.0"}, **more}


def optical(people: int) -> dict[str, object]:
    files = dataset()
    files["participants.tsv"] = "participant_id\tnr\tsex\n" + "".join(f"sub-{k}\t{k}\tF\n" for k in range(people))
    for k in range(people):
        stem = f"sub-{k}/ses-body/motion/sub-{k}_ses-body_task-Rotation_tracksys-cameras"
        files[f"{stem}_motion.tsv"] = "0.1\t0.2\n" * 50
        files[f"{stem}_channels.tsv"] = OPTICAL
        files[f"{stem}_motion.json"] = {"SamplingFrequency": 90, "TaskName": "Rotation"}
        scans = f"filename\tacq_time\nmotion/{Path(stem).name}_motion.tsv\t1800-12-31T05:05:05\n"
        files[f"sub-{k}/ses-body/sub-{k}_ses-body_scans.tsv"] = scans
    return files


def walking(channels: str = KNEES, about: object = None, **more: object) -> dict[str, object]:
    stem = "sub-01/motion/sub-01_task-walk_tracksys-imu"
    time = np.arange(3000) / 100
    angle = 30 + 30 * np.sin(2 * np.pi * time / 1.1)
    samples = "".join(f"{t:.2f}\t{a:.4f}\t0.1\n" for t, a in zip(time, angle, strict=True))
    given = {"SamplingFrequency": 100, "TaskName": "walk"} if about is None else about
    return dataset(
        **{f"{stem}_motion.tsv": samples, f"{stem}_channels.tsv": channels, f"{stem}_motion.json": given, **more}
    )


def faults(root: Path) -> list[str]:
    with pytest.raises(StudyError) as caught:
        load_study(root)
    return [str(problem) for problem in caught.value.problems]


def test_a_data_set_of_other_sensors_parses_with_one_list_of_what_is_missing_each_said_once(tmp_path):
    first, second = faults(write(tmp_path, optical(20)))
    assert first.startswith(
        "sub-0/ses-body/motion/sub-0_ses-body_task-Rotation_tracksys-cameras_motion.tsv, column task"
    )
    assert "the task 'Rotation' is none of those known here (and in 19 further files)" in first
    assert "add a column task to its scans.tsv, with one of: walk, bend, swallow, free" in first
    assert "the file has ORNT in no unit, POS in m; tracked points Head (and in 19 further files)" in second
    assert "give tracked_point as left_knee, right_knee or throat" in second


def test_an_angle_of_another_laboratory_is_a_study_with_its_other_channels_passed_over(tmp_path):
    study = load_study(write(tmp_path, walking()))
    (recording,) = study.recordings.values()
    assert (recording.recording_id, recording.participant_id) == ("sub-01_task-walk_tracksys-imu", "sub-01")
    assert [(c.name, c.tracked_point, c.units) for c in recording.channels] == [("angle", "left_knee", "deg")]
    assert recording.time_column == "latency"
    (caution,) = study.cautions
    assert "1 channels that are no knee's and no throat's are passed over" in caution.message
    ingested = ingest_recording(recording, IngestParameters())
    assert ingested.quality["status"] == "good"
    assert ingested.quality["duration"] == pytest.approx(30.0, abs=0.02)


@pytest.mark.parametrize(
    ("files", "said"),
    [
        (dataset(), "no motion recordings"),
        (walking(about={"TaskName": "walk"}, channels=KNEES.replace("LATENCY", "MISC")), "gives no SamplingFrequency"),
        (walking(about="{"), "is not JSON"),
        (walking(about=[1]), "is not a JSON object"),
        (
            walking(channels="name\ttype\tunits\nlatency\tLATENCY\ts\n"),
            "column tracked_point: a required column is missing",
        ),
        (walking(channels=KNEES.replace("left_knee\tdeg", "left_knee\tV")), "a channel in V without a sensor"),
        (walking(about={"SamplingFrequency": 100, "StrainSensors": [1]}), "StrainSensors is no list of sensors"),
    ],
)
def test_what_is_missing_is_said_with_the_file_it_is_missing_from(tmp_path, files, said):
    (fault,) = faults(write(tmp_path, files))
    assert said in fault
    assert fault.startswith(("sub-01/motion/sub-01_task-walk_tracksys-imu_", "dataset_description.json"))


def test_a_fault_of_a_row_names_the_file_and_line_of_the_folder_not_those_of_a_sheet(tmp_path):
    twice = KNEES + "other\tn/a\tJNTANG\tleft_knee\tdeg\n"
    files = walking(channels=twice)
    motion = next(name for name in files if name.endswith("_motion.tsv"))
    files[motion] = str(files[motion]).replace("\n", "\t1\n")
    (fault,) = faults(write(tmp_path, files))
    channels = "sub-01/motion/sub-01_task-walk_tracksys-imu_channels.tsv"
    assert fault.startswith(f"{channels}, row 5, column tracked_point")
    assert f"two channels of left_knee for sub-01_task-walk_tracksys-imu (row 3 of {channels})" in fault


def test_one_sensor_with_two_bridges_is_a_fault(tmp_path):
    files = walking(channels=KNEES.replace("\tdeg", "\tV").replace("tracked_point\tunits", "tracked_point\tunits"))
    bridge = {"excitation_v": 3.3, "r1_ohm": 1000, "r3_ohm": 1000}
    stem = "sub-01/motion/sub-01_task-walk_tracksys-imu"
    channels = "\n".join(line + ("\tS" if k else "\tsensor_id") for k, line in enumerate(KNEES.split("\n")[:-1])) + "\n"
    channels = channels.replace("deg", "V")
    for k, volts in ((1, 3.3), (2, 5.0)):
        about = {"SamplingFrequency": 100, "StrainSensors": {"S": {**bridge, "excitation_v": volts}}}
        files |= {f"{stem}_run-{k}_motion.json": about, f"{stem}_run-{k}_channels.tsv": channels}
        files[f"{stem}_run-{k}_motion.tsv"] = files[f"{stem}_motion.tsv"]
    for end in ("motion.tsv", "motion.json", "channels.tsv"):
        del files[f"{stem}_{end}"]
    (fault,) = faults(write(tmp_path, files))
    assert "other values of sensor S than elsewhere" in fault
    assert "run-1_motion" in fault
    assert "run-2_motion" in fault


def test_events_in_the_words_known_here_are_labels_and_others_are_passed_over_with_a_caution(tmp_path):
    events = "onset\tduration\ttrial_type\n1.0\t5.0\t{}\n"
    for k, (word, raters) in enumerate({"normal_gait": ["events"], "beep": []}.items()):
        more = {"sub-01/motion/sub-01_task-walk_tracksys-imu_events.tsv": events.format(word)}
        study = load_study(write(tmp_path / str(k), walking(**more)))
        (recording,) = study.recordings.values()
        assert list(recording.labels) == raters
        assert any("other words" in caution.message for caution in study.cautions) == (not raters)


@pytest.mark.parametrize("rater", ["a+b", "j(s", ""])
def test_a_folder_of_labels_whose_rater_no_file_can_be_named_after_is_refused_with_its_file(tmp_path, rater):
    file = f"derivatives/labels-{rater}/sub-01/motion/sub-01_task-walk_tracksys-imu_events.tsv"
    root = write(tmp_path, walking(**{file: "onset\tduration\ttrial_type\n1.0\t5.0\tnormal_gait\n"}))
    with pytest.raises(StudyError) as told:
        check_all({"study": str(root), "results": str(tmp_path / "out"), "norms": "config/norms.tsv"}, "mine.yaml")
    assert f"{file}: {rater!r} cannot be the name of a rater; rename it" in " ".join(map(str, told.value.problems))


def test_sessions_and_scans_add_their_columns_and_the_older_way_of_hiding_an_age_is_read(tmp_path):
    stem = "sub-01/ses-1/motion/sub-01_ses-1_task-stroll_motion.tsv"
    files = dataset(
        **{
            "participants.tsv": "participant_id\tage\nsub-01\t89+\n",
            "motion.json": {"SamplingFrequency": 100},
            "channels.tsv": "name\ttype\ttracked_point\tunits\nangle\tJNTANG\tleft_knee\tdeg\n",
            stem: "1.5\n" * 2000,
            "sub-01/sub-01_sessions.tsv": "session_id\tacq_time\tweeks\nses-1\t1800-01-01\t6\n",
            "sub-01/ses-1/sub-01_ses-1_scans.tsv": f"filename\ttask\tshoes\nmotion/{Path(stem).name}\twalk\tbarefoot\n",
        }
    )
    study = load_study(write(tmp_path, files))
    (recording,) = study.recordings.values()
    assert (recording.task, recording.session_id) == ("walk", "ses-1")
    assert recording.extra == {"weeks": "6", "shoes": "barefoot"}
    assert study.participants["sub-01"].age == 89
    assert recording.sampling_frequency == 100
    assert {path.name for path in study.sheets} >= {"participants.tsv", "motion.json", "channels.tsv"}


def test_a_folder_with_the_four_sheets_is_a_study_of_its_own_whatever_else_lies_there(tmp_path):
    write(tmp_path, dataset(**{"recordings.tsv": "recording_id\n"}))
    assert not is_bids(tmp_path)


def test_sidecars_of_folders_above_apply_and_the_nearest_wins(tmp_path):
    """The Inheritance Principle of the standard, with its own words: general metadata above, specific below."""
    path = tmp_path / "sub-01/motion/sub-01_task-walk_motion.tsv"
    write(
        tmp_path,
        dataset(
            **{
                "motion.json": {"A": 1, "B": 1, "C": 1},
                "task-walk_motion.json": {"B": 2, "C": 2},
                "task-run_motion.json": {"A": 9},
                "sub-01/motion/sub-01_task-walk_motion.json": {"C": 3},
                "sub-01/motion/sub-01_task-walk_motion.tsv": "1\n",
            }
        ),
    )
    assert merged_json(sidecars(path, "motion.json")) == {"A": 1, "B": 2, "C": 3}
    assert entities(path.name) == {"sub": "01", "task": "walk"}


def motion_file(folder: Path, samples: str, channels: str | None = KNEES) -> Path:
    files = {"a_motion.tsv": samples, "a_motion.json": {"SamplingFrequency": 100}}
    write(folder, files if channels is None else {**files, "a_channels.tsv": channels})
    return folder / "a_motion.tsv"


def test_a_motion_file_takes_names_units_and_rate_from_its_sidecars(tmp_path):
    path = motion_file(tmp_path, "0\t1.5\tn/a\n0.01\t1.25\t3\n")
    raw, seen = read_raw(path), peek(path)
    assert raw.names == seen.names == ("latency", "angle", "foot")
    np.testing.assert_array_equal(raw.channels["foot"].values, [np.nan, 3.0])
    assert (raw.channels["angle"].units, raw.channels["angle"].sampling_frequency) == ("deg", 100.0)
    assert (seen.rate, seen.samples, seen.time_like) == (100.0, 2, ("latency",))


@pytest.mark.parametrize(
    ("samples", "said"),
    [
        ("0\t1\n", "line 1 has 2 columns and its channels.tsv names 3"),
        ("0\t1\tabc\n", "a cell that is no number"),
        ("0\t1\t2\n0\t1\t2\t3\n", "line 2 has 4 columns and its channels.tsv names 3"),
        ("0\t1\t\xff\n", "a cell that is no number"),
    ],
)
def test_a_motion_file_that_is_not_what_its_sidecar_says_is_refused_with_the_reason(tmp_path, samples, said):
    path = motion_file(tmp_path, "")
    path.write_bytes(samples.encode("latin-1"))
    with pytest.raises(ReadError, match=said):
        read_raw(path)


def test_a_text_file_of_such_a_name_without_a_list_of_channels_is_read_as_text(tmp_path):
    path = motion_file(tmp_path, "time_s\tleft\n" + "".join(f"{k / 100}\t{k % 7}\n" for k in range(50)), None)
    assert read_raw(path).names == ("time_s", "left")
    assert peek(path).names == ("time_s", "left")
    pd.testing.assert_series_equal(
        pd.Series(read_raw(path).channels["left"].values), pd.Series([k % 7.0 for k in range(50)])
    )
