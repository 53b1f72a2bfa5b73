"""A study folder is checked as a whole; every fault is said once, with file, row, column, value and remedy."""

from __future__ import annotations

import os
from pathlib import Path

import pytest
from broken_studies import BROKEN, Broken
from small_study import FILES, write_study
from strainstudy.errors import StudyError
from strainstudy.study import Channel, label_problems, load_study


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


@pytest.mark.parametrize("case", BROKEN, ids=lambda case: case.fault.replace(" ", "-"))
def test_labels_read_after_the_sheets_have_the_same_faults(root: Path, case: Broken):
    case.breaks(root)
    try:
        later = label_problems(load_study(root, labels_read=False))
    except StudyError as error:
        assert {str(problem) for problem in error.problems} <= set(case.problems)
    else:
        assert [str(problem) for problem in later if not problem.caution] == list(case.problems)


@pytest.mark.parametrize(
    ("file", "old", "new", "said"),
    [
        (
            "sensors.tsv",
            "S1\t3.3",
            "S1\t0.0033",
            "sensors.tsv, row 2, column excitation_v, value '0.0033': implausible: 0.2 to 50 V is usual; "
            "if it is right, leave it.",
        ),
        (
            "sensors.tsv",
            "S1\t3.3",
            "S1\t-100",
            "sensors.tsv, row 2, column excitation_v, value '-100': implausible: 0.2 to 50 V is usual; "
            "if it is right, leave it.",
        ),
        (
            "sensors.tsv",
            "S1\t3.3\t1000\tn/a\t1000\t10",
            "S1\t3.3\t1000\tn/a\t1000\t0.001",
            "sensors.tsv, row 2, column amplifier_gain, value '0.001': implausible: 0.05 to 20000 is usual; did"
            " you mean "
            "that the channel is in mV? Then give it the units mV in channels.tsv and leave the gain 1; "
            "if it is right, leave it.",
        ),
        (
            "sensors.tsv",
            "S1\t3.3\t1000",
            "S1\t3.3\t1",
            "sensors.tsv, row 2, column r1_ohm, value '1': implausible: 50 to 1e+08 ohm is usual; did you mean 1"
            " kohm? "
            "Then write 1000; if it is right, leave it.",
        ),
        (
            "sensors.tsv",
            "980\t40",
            "98000000\t40",
            "sensors.tsv, row 2, column rest_ohm, value '98000000': implausible: r3_ohm is 1000 ohm, and a"
            " bridge of arms "
            "so unequal hardly answers; are both in ohms (not one in kohm)? If it is right, leave it.",
        ),
        (
            "sensors.tsv",
            "980\t40",
            "980\t0.04",
            "sensors.tsv, row 2, column gauge_length_mm, value '0.04': implausible: 1 to 1000 mm is usual; did"
            " you mean "
            "0.04 m? Then write 40; if it is right, leave it.",
        ),
        (
            "recordings.tsv",
            "n/a\t100\ttime_s\ttrainers",
            "n/a\t0.01\ttime_s\ttrainers",
            "recordings.tsv, row 2, column sampling_frequency, value '0.01': implausible: 1 to 100000 Hz is"
            " usual; did you "
            "mean the time between samples? Then write 100; if it is right, leave it.",
        ),
        (
            "recordings.tsv",
            "n/a\t100\ttime_s\ttrainers",
            "n/a\t10\ttime_s\ttrainers",
            "recordings.tsv, row 2, column sampling_frequency, value '10': steps and swallows need at least 20"
            " Hz: sampled "
            "so slowly, the recording is rejected; correct it, or record faster.",
        ),
    ],
)
def test_what_is_unlikely_is_said_and_stops_nothing(root, file, old, new, said):
    text = (root / file).read_text(encoding="utf-8")
    assert old in text
    (root / file).write_text(text.replace(old, new, 1), encoding="utf-8")
    assert [str(caution) for caution in load_study(root).cautions] == [said]


def test_cautions_stand_behind_the_faults_and_are_not_counted_among_them(root):
    text = (root / "sensors.tsv").read_text(encoding="utf-8").replace("S1\t3.3", "S1\t100").replace("10\t-1", "10\t2")
    (root / "sensors.tsv").write_text(text, encoding="utf-8")
    with pytest.raises(StudyError) as caught:
        load_study(root)
    head, fault, then, caution = str(caught.value).splitlines()
    assert head == "1 problem found; nothing was run:"
    assert "polarity" in fault
    assert then == "1 caution, which stops nothing:"
    assert "excitation_v, value '100': implausible" in caution


def test_a_rig_of_a_hundred_volts_a_gain_of_ten_thousand_or_a_negative_supply_goes_on(root):
    text = FILES["sensors.tsv"].replace("S1\t3.3", "S1\t100").replace("S2\t3.3", "S2\t-5")
    text = text.replace("1000\t10\t1", "1000\t10000\t1")
    (root / "sensors.tsv").write_text(text, encoding="utf-8")
    study = load_study(root)
    assert (study.sensors["S1"].excitation_v, study.sensors["S1"].amplifier_gain) == (100, 10000)
    assert study.sensors["S2"].excitation_v == -5
    assert [c.column for c in study.cautions] == ["excitation_v"]


def test_states_that_adjoin_by_hand_may_overlap_by_half_a_second(root):
    more = "8.6\t3.0\trest\tn/a\tn/a\n11.2\t2.0\tturn\tn/a\tn/a\n13.0\t5.0\tlimping_gait\tleft\tn/a\n"
    (root / "labels/walk-01/mh_events.tsv").write_text(FILES["labels/walk-01/mh_events.tsv"] + more, encoding="utf-8")
    assert load_study(root).cautions == ()


def test_a_contact_of_the_knee_without_a_channel_is_a_caution(root):
    text = FILES["channels.tsv"].replace("*\tright_v\tright_knee\tV\tS2\tgood\n", "")
    (root / "channels.tsv").write_text(text, encoding="utf-8")
    (caution,) = load_study(root).cautions
    assert str(caution).startswith(
        "labels/walk-01/mh_events.tsv, row 4, column side, value 'right': initial_contact on the side whose knee has no"
    )


def test_one_persons_recording_that_is_there_twice_is_a_caution(root):
    signal = b"time_s,left_v,right_v\n" + b"0.01,1.0,2.0\n" * 100
    for name in ("walk-01.csv", "bend-01.csv"):
        (root / "raw" / name).write_bytes(signal)
    (caution,) = load_study(root).cautions
    assert "the same content as the file of walk-01 (row 2); remove one" in str(caution)


def test_a_study_folder_with_an_impossible_name_is_one_problem():
    for name in ("s" * 300, "a\0b"):
        with pytest.raises(StudyError, match="there is no such study folder"):
            load_study(Path(name))


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


def test_angles_of_bends_in_radians_are_a_caution_and_two_small_bends_beside_a_deep_one_are_not(root):
    text = FILES["labels/bend-01/mh_events.tsv"]
    path = root / "labels/bend-01/mh_events.tsv"
    path.write_text(text.replace("left\t60", "left\t1.05").replace("left\t30", "left\t0.52"), encoding="utf-8")
    (caution,) = load_study(root).cautions
    assert str(caution) == (
        "labels/bend-01/mh_events.tsv, row 2, column value, value '1.05': implausible: of 2 bends none is deeper than"
        " 1.05 degrees; give angles in degrees; these look like radians."
    )
    path.write_text(text.replace("left\t30", "left\t0"), encoding="utf-8")
    assert load_study(root).cautions == ()


def test_labels_of_one_rater_under_a_second_name_are_a_caution_and_two_raters_are_not(root):
    text = FILES["labels/walk-01/mh_events.tsv"]
    text += "".join(f"{1.31 + 1.1 * i:.2f}\t0\tinitial_contact\tright\tn/a\n" for i in range(6))
    for rater in ("mh", "zw"):
        (root / f"labels/walk-01/{rater}_events.tsv").write_text(text, encoding="utf-8")
    (caution,) = load_study(root).cautions
    assert str(caution) == (
        "labels/walk-01/zw_events.tsv: the same 9 labels, to the last digit, as labels/walk-01/mh_events.tsv; remove"
        " one of the two if it is a copy: agreement with a copy is no agreement."
    )
    (root / "labels/walk-01/zw_events.tsv").write_text(text.replace("1.31\t", "1.32\t"), encoding="utf-8")
    assert load_study(root).cautions == ()


def test_a_channel_may_be_wired_the_other_way_in_one_recording(root):
    sheet = FILES["channels.tsv"].replace("\tstatus\n", "\tstatus\tpolarity\n").replace("\tgood\n", "\tgood\tn/a\n")
    path = root / "channels.tsv"
    path.write_text(sheet + "walk-01\tleft_v\tleft_knee\tV\tS1\tgood\t-1\n", encoding="utf-8")
    study = load_study(root)
    assert {c.name: c.polarity for c in study.recordings["walk-01"].channels} == {"left_v": -1, "right_v": None}
    assert {c.name: c.polarity for c in study.recordings["walk-02"].channels} == {"left_v": None, "right_v": None}
    path.write_text(sheet + "walk-01\tleft_v\tleft_knee\tV\tS1\tgood\t0\n", encoding="utf-8")
    with pytest.raises(StudyError, match=r"channels.tsv, row 7, column polarity, value '0'"):
        load_study(root)
