"""Study folders with one fault each (and one with five): what breaks the small study, and what is then said of it."""

from __future__ import annotations

import os
import shutil
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

from small_study import FILES

__all__ = ["BROKEN", "Broken"]

Breaks = Callable[[Path], None]
PEOPLE, SENSORS, RECORDINGS, CHANNELS = "participants.tsv", "sensors.tsv", "recordings.tsv", "channels.tsv"
SIGNAL = "time_s,left_v,right_v\n" + "".join(f"{i / 100},0.{i},1.{i}\n" for i in range(200))
WALK, BEND = "labels/walk-01/mh_events.tsv", "labels/bend-01/mh_events.tsv"


@dataclass(frozen=True)
class Broken:
    """A fault, how it is made, and every line that the check must print."""

    fault: str
    breaks: Breaks
    problems: tuple[str, ...]


def replaced(file: str, old: str, new: str) -> Breaks:
    """Replace the first ``old`` in a file of the study."""

    def breaks(root: Path) -> None:
        text = (root / file).read_text(encoding="utf-8")
        assert old in text
        (root / file).write_text(text.replace(old, new, 1), encoding="utf-8")

    return breaks


def put(file: str, content: str | bytes) -> Breaks:
    """Write a file of the study."""

    def breaks(root: Path) -> None:
        (root / file).parent.mkdir(parents=True, exist_ok=True)
        (root / file).write_bytes(content if isinstance(content, bytes) else content.encode())

    return breaks


def removed(file: str) -> Breaks:
    """Remove a file of the study."""
    return lambda root: (root / file).unlink()


def folder(file: str) -> Breaks:
    """Make a folder in the study."""
    return lambda root: (root / file).mkdir()


def linked(file: str) -> Breaks:
    """Put a link to a file outside the study in a file's place."""

    def breaks(root: Path) -> None:
        outside = root.parent / "outside.csv"
        outside.write_text("time_s,left_v\n", encoding="utf-8")
        (root / file).unlink(missing_ok=True)
        (root / file).symlink_to(outside)

    return breaks


def looped(file: str) -> Breaks:
    """Put a link to itself in a file's place."""

    def breaks(root: Path) -> None:
        (root / file).unlink(missing_ok=True)
        (root / file).symlink_to((root / file).name)

    return breaks


def hard_linked(file: str, source: str) -> Breaks:
    """Put another name of a file of the study in a file's place."""

    def breaks(root: Path) -> None:
        (root / file).unlink(missing_ok=True)
        (root / file).hardlink_to(root / source)

    return breaks


def piped(file: str) -> Breaks:
    """Put a named pipe in a file's place, from which reading would wait for ever."""

    def breaks(root: Path) -> None:
        (root / file).unlink()
        os.mkfifo(root / file)

    return breaks


def together(*several: Breaks) -> Breaks:
    """Break a study in several places."""

    def breaks(root: Path) -> None:
        for one in several:
            one(root)

    return breaks


BROKEN = (
    Broken(
        "a sheet is not there",
        removed(SENSORS),
        ("sensors.tsv: the file is not there; make it, with a header row with sensor_id.",),
    ),
    Broken(
        "a sheet is empty",
        put(PEOPLE, ""),
        ("participants.tsv: the file is empty; give it a header row with participant_id.",),
    ),
    Broken(
        "a sheet has commas",
        replaced(PEOPLE, FILES[PEOPLE], FILES[PEOPLE].replace("\t", ",")),
        ("participants.tsv, row 1: the columns are separated by commas, not by tabs; save it as tab-separated text.",),
    ),
    Broken(
        "a sheet has semicolons",
        replaced(PEOPLE, FILES[PEOPLE], FILES[PEOPLE].replace("\t", ";")),
        (
            "participants.tsv, row 1: the columns are separated by semicolons, not by tabs; save it as "
            "tab-separated text.",
        ),
    ),
    Broken(
        "a sheet is UTF-16",
        put(PEOPLE, FILES[PEOPLE].encode("utf-16")),
        ("participants.tsv: UTF-16 text, not UTF-8; save it as tab-separated text in UTF-8.",),
    ),
    Broken(
        "a sheet is not UTF-8",
        put(PEOPLE, FILES[PEOPLE].replace("stroke", "Schläge").encode("latin-1")),
        (
            "participants.tsv, row 2: a character that is not UTF-8 (byte 0xe4); save it as tab-separated"
            " text in UTF-8.",
        ),
    ),
    Broken(
        "a sheet is a spreadsheet",
        put(PEOPLE, b"PK\x03\x04\0\0\0"),
        (
            "participants.tsv: not a text file (a spreadsheet's own format, perhaps); save it as "
            "tab-separated text in UTF-8.",
        ),
    ),
    Broken(
        "a row has too few cells",
        replaced(PEOPLE, "sub-02\t59\tM\tcontrol\tnone", "sub-02\t59\tcontrol\tnone"),
        (
            "participants.tsv, row 3: 4 cells where the header has 5; give every column a cell (n/a where"
            " there is no value), one tab between them.",
        ),
    ),
    Broken(
        "a row has too many cells",
        replaced(PEOPLE, "sub-02\t59\tM\tcontrol\tnone", "sub-02\t59\tM\tcontrol\tnone\tleft"),
        (
            "participants.tsv, row 3: 6 cells where the header has 5; give every column a cell (n/a where"
            " there is no value), one tab between them.",
        ),
    ),
    Broken(
        "a column is there twice",
        replaced(PEOPLE, "age\tsex", "age\tage"),
        ("participants.tsv, row 1, column age: the column is there twice; keep one.",),
    ),
    Broken(
        "a column has no name",
        replaced(PEOPLE, "age\tsex", "\tsex"),
        ("participants.tsv, row 1: column 2 has no name; give it one or remove it.",),
    ),
    Broken(
        "a required column is missing",
        replaced(RECORDINGS, "task", "job"),
        ("recordings.tsv, row 1, column task: a required column is missing; add it.",),
    ),
    Broken(
        "a required column is misspelt",
        replaced(CHANNELS, "tracked_point", "traked_point"),
        (
            "channels.tsv, row 1, column tracked_point: a required column is missing; is it "
            "'traked_point'? Then rename that one.",
        ),
    ),
    Broken(
        "a sensor column is misspelt",
        replaced(SENSORS, "excitation_v", "exitation_v"),
        (
            "sensors.tsv, row 1, column exitation_v: unknown column; did you mean 'excitation_v'? Then "
            "rename it, else give it a name less like it.",
            "sensors.tsv, row 2, column excitation_v: no excitation_v for sensor S1, which has a channel "
            "in V (channels.tsv, row 2); give it, or units ohm if the channel holds the resistance.",
            "sensors.tsv, row 3, column excitation_v: no excitation_v for sensor S2, which has a channel "
            "in V (channels.tsv, row 3); give it, or units ohm if the channel holds the resistance.",
        ),
    ),
    Broken(
        "a participant is there twice",
        replaced(PEOPLE, "sub-02", "sub-01"),
        (
            "participants.tsv, row 3, column participant_id, value 'sub-01': there twice; give every row its own.",
            "recordings.tsv, row 4, column participant_id, value 'sub-02': not in participants.tsv; add "
            "it to participants.tsv or correct it.",
        ),
    ),
    Broken(
        "a recording is there twice",
        replaced(RECORDINGS, "walk-02\twalk", "walk-01\twalk"),
        ("recordings.tsv, row 4, column recording_id, value 'walk-01': there twice; give every row its own.",),
    ),
    Broken(
        "a sensor is there twice",
        replaced(SENSORS, "S2\t", "S1\t"),
        (
            "sensors.tsv, row 3, column sensor_id, value 'S1': there twice; give every row its own.",
            "sensors.tsv, row 3, column gauge_length_mm: no gauge_length_mm for sensor S1, which has the "
            "reference_displacement in mm (channels.tsv, row 6); give it.",
            "channels.tsv, row 3, column sensor_id, value 'S2': not in sensors.tsv; add it to sensors.tsv"
            " or correct it.",
        ),
    ),
    Broken(
        "a participant id is not sub- and alphanumeric",
        together(replaced(PEOPLE, "sub-02", "P 2"), replaced(RECORDINGS, "sub-02", "P 2")),
        (
            "participants.tsv, row 3, column participant_id, value 'P 2': not a participant id; write "
            "sub-, then letters and digits.",
        ),
    ),
    Broken(
        "a recording id has a space",
        replaced(RECORDINGS, "walk-02\t", "walk 02\t"),
        (
            "recordings.tsv, row 4, column recording_id, value 'walk 02': not a valid id; use letters, "
            "digits, '-' and '_' only.",
        ),
    ),
    Broken(
        "a session id is not ses- and alphanumeric",
        replaced(RECORDINGS, "ses-1", "day1"),
        (
            "recordings.tsv, row 2, column session_id, value 'day1': not a session id; write ses-, then "
            "letters and digits.",
        ),
    ),
    Broken(
        "a sensor id has a sign",
        replaced(SENSORS, "S2", "S#2"),
        (
            "sensors.tsv, row 3, column sensor_id, value 'S#2': not a valid id; use letters, digits, '-' and '_' only.",
            "channels.tsv, row 3, column sensor_id, value 'S2': not in sensors.tsv; add it to sensors.tsv"
            " or correct it.",
        ),
    ),
    Broken(
        "a recording has no id",
        replaced(RECORDINGS, "walk-02\twalk", "n/a\twalk"),
        ("recordings.tsv, row 4, column recording_id: no value; fill it in.",),
    ),
    Broken(
        "unknown task",
        replaced(RECORDINGS, "walk-02\twalk", "walk-02\twalking"),
        (
            "recordings.tsv, row 4, column task, value 'walking': not one of the known words; use one of:"
            " walk, bend, swallow, free, stretch, tap.",
        ),
    ),
    Broken(
        "unknown tracked point",
        replaced(CHANNELS, "right_knee", "knee_right"),
        (
            "channels.tsv, row 3, column tracked_point, value 'knee_right': not one of the known words; "
            "use one of: left_knee, right_knee, throat, sensor, reference_strain, reference_displacement.",
        ),
    ),
    Broken(
        "unknown units",
        replaced(CHANNELS, "right_knee\tV", "right_knee\tvolt"),
        (
            "channels.tsv, row 3, column units, value 'volt': not one of the known words; use one of: V, "
            "mV, ohm, a.u., deg, percent, mm.",
        ),
    ),
    Broken(
        "unknown sex",
        replaced(PEOPLE, "female", "woman"),
        (
            "participants.tsv, row 2, column sex, value 'woman': not one of the known words; use one of: "
            "male, female, other (BIDS spellings).",
        ),
    ),
    Broken(
        "unknown affected side",
        replaced(PEOPLE, "stroke\tleft", "stroke\tL"),
        (
            "participants.tsv, row 2, column affected_side, value 'L': not one of the known words; use "
            "one of: left, right, both, none.",
        ),
    ),
    Broken(
        "unknown channel status",
        replaced(CHANNELS, "S1\tgood", "S1\tok"),
        ("channels.tsv, row 2, column status, value 'ok': not one of the known words; use one of: good, bad.",),
    ),
    Broken(
        "an age in words",
        replaced(PEOPLE, "64", "sixty-four"),
        (
            "participants.tsv, row 2, column age, value 'sixty-four': not a number; give an age from 0 to"
            " 130 in years, or n/a if it is not known.",
        ),
    ),
    Broken(
        "a decimal comma in a sheet",
        replaced(SENSORS, "S1\t3.3", "S1\t3,3"),
        (
            "sensors.tsv, row 2, column excitation_v, value '3,3': a decimal comma; write the number with"
            " a decimal point.",
        ),
    ),
    Broken(
        "an infinite voltage",
        replaced(SENSORS, "S1\t3.3", "S1\tinf"),
        (
            "sensors.tsv, row 2, column excitation_v, value 'inf': not a number; give a number other than"
            " 0 in volts, or n/a if it is not known.",
        ),
    ),
    Broken(
        "an age of 640",
        replaced(PEOPLE, "64", "640"),
        ("participants.tsv, row 2, column age, value '640': out of range; give an age from 0 to 130 in years.",),
    ),
    Broken(
        "a gain of zero",
        replaced(SENSORS, "S1\t3.3\t1000\tn/a\t1000\t10", "S1\t3.3\t1000\tn/a\t1000\t0"),
        ("sensors.tsv, row 2, column amplifier_gain, value '0': out of range; give a number other than 0.",),
    ),
    Broken(
        "a negative resistance",
        replaced(SENSORS, "S1\t3.3\t1000", "S1\t3.3\t-1000"),
        ("sensors.tsv, row 2, column r1_ohm, value '-1000': out of range; give a number above 0 in ohms.",),
    ),
    Broken(
        "no excitation",
        replaced(SENSORS, "S1\t3.3", "S1\t0"),
        ("sensors.tsv, row 2, column excitation_v, value '0': out of range; give a number other than 0 in volts.",),
    ),
    Broken(
        "a polarity of 2",
        replaced(SENSORS, "10\t-1", "10\t2"),
        ("sensors.tsv, row 3, column polarity, value '2': out of range; give 1 or -1.",),
    ),
    Broken(
        "a sampling frequency of zero",
        replaced(RECORDINGS, "n/a\t100\ttime_s", "n/a\t0\ttime_s"),
        ("recordings.tsv, row 2, column sampling_frequency, value '0': out of range; give a number above 0 in hertz.",),
    ),
    Broken(
        "a recording of an unknown participant",
        replaced(RECORDINGS, "sub-02", "sub-03"),
        (
            "recordings.tsv, row 4, column participant_id, value 'sub-03': not in participants.tsv; add "
            "it to participants.tsv or correct it.",
        ),
    ),
    Broken(
        "a walk without a participant",
        replaced(RECORDINGS, "walk-02.edf\tsub-02", "walk-02.edf\tn/a"),
        ("recordings.tsv, row 4, column participant_id: the task walk needs a participant; give the participant_id.",),
    ),
    Broken(
        "a bench recording of an unknown sensor",
        replaced(RECORDINGS, "n/a\tn/a\tS1", "n/a\tn/a\tS9"),
        (
            "recordings.tsv, row 5, column sensor_id, value 'S9': not in sensors.tsv; add it to "
            "sensors.tsv or correct it.",
        ),
    ),
    Broken(
        "a channel of an unknown sensor",
        replaced(CHANNELS, "V\tS2", "V\tS9"),
        (
            "channels.tsv, row 3, column sensor_id, value 'S9': not in sensors.tsv; add it to sensors.tsv"
            " or correct it.",
        ),
    ),
    Broken(
        "a channel in volts without a sensor",
        replaced(CHANNELS, "V\tS2", "V\tn/a"),
        (
            "channels.tsv, row 3, column sensor_id: a channel in V without a sensor; give its sensor_id "
            "here or in recordings.tsv (row 2).",
        ),
    ),
    Broken(
        "a channel in volts whose sensor has no bridge",
        replaced(SENSORS, "S2\t3.3\t1000\t1000\t1000", "S2\tn/a\t1000\t1000\tn/a"),
        (
            "sensors.tsv, row 3, column excitation_v: no excitation_v for sensor S2, which has a channel "
            "in V (channels.tsv, row 3); give it, or units ohm if the channel holds the resistance.",
            "sensors.tsv, row 3, column r3_ohm: no r3_ohm for sensor S2, which has a channel in V "
            "(channels.tsv, row 3); give it, or units ohm if the channel holds the resistance.",
        ),
    ),
    Broken(
        "a bench recording without a sensor",
        replaced(RECORDINGS, "n/a\tn/a\tS1", "n/a\tn/a\tn/a"),
        (
            "channels.tsv, row 5, column sensor_id: a channel in V without a sensor; give its sensor_id "
            "here or in recordings.tsv (row 5).",
            "channels.tsv, row 6, column sensor_id: reference_displacement of a bench recording without a"
            " sensor; give its sensor_id here or in recordings.tsv (row 5).",
        ),
    ),
    Broken(
        "a displacement without gauge length",
        replaced(SENSORS, "980\t40", "980\tn/a"),
        (
            "sensors.tsv, row 2, column gauge_length_mm: no gauge_length_mm for sensor S1, which has the "
            "reference_displacement in mm (channels.tsv, row 6); give it.",
        ),
    ),
    Broken(
        "a displacement in percent",
        replaced(CHANNELS, "reference_displacement\tmm", "reference_displacement\tpercent"),
        (
            "channels.tsv, row 6, column units, value 'percent': these units cannot be those of "
            "reference_displacement; give reference_displacement in mm.",
        ),
    ),
    Broken(
        "a knee in percent",
        replaced(CHANNELS, "left_knee\tdeg", "left_knee\tpercent"),
        (
            "channels.tsv, row 4, column units, value 'percent': these units cannot be those of "
            "left_knee; use V, mV, ohm, a.u. or deg.",
        ),
    ),
    Broken(
        "a throat in degrees",
        replaced(CHANNELS, "left_knee\tdeg", "throat\tdeg"),
        (
            "channels.tsv, row 4, column units, value 'deg': these units cannot be those of throat; use "
            "deg for a knee only.",
        ),
    ),
    Broken(
        "channels of an unknown recording",
        replaced(CHANNELS, "bend-01", "bend-1"),
        (
            "channels.tsv, row 4, column recording_id, value 'bend-1': not in recordings.tsv; add it to "
            "recordings.tsv or correct it.",
        ),
    ),
    Broken(
        "a bench point in a body recording",
        replaced(CHANNELS, "bend-01\tleft_deg\tleft_knee\tdeg", "bend-01\tvolts\tsensor\tV"),
        (
            "channels.tsv, row 4, column sensor_id: a channel in V without a sensor; give its sensor_id "
            "here or in recordings.tsv (row 3).",
            "channels.tsv, row 4, column tracked_point, value 'sensor': not a tracked point of the task "
            "bend of bend-01; correct one of the two.",
        ),
    ),
    Broken(
        "a recording without channels",
        replaced(
            CHANNELS,
            "stretch-S1\tvolts\tsensor\tV\tn/a\tgood\nstretch-S1\tmm\treference_displacement\tmm\tn/a\tgood\n",
            "",
        ),
        (
            "recordings.tsv, row 5, column recording_id, value 'stretch-S1': no channel; add its channels"
            " to channels.tsv, or remove the recording.",
        ),
    ),
    Broken(
        "a bench recording without its sensor's channel",
        replaced(CHANNELS, "stretch-S1\tvolts\tsensor\tV\tn/a\tgood\n", ""),
        (
            "recordings.tsv, row 5, column recording_id, value 'stretch-S1': the task stretch needs a "
            "channel of tracked point sensor; add the channel of the sensor to channels.tsv.",
        ),
    ),
    Broken(
        "two strain channels of one knee",
        replaced(
            CHANNELS,
            "bend-01\tleft_deg\tleft_knee\tdeg",
            "walk-01\tleft_2\tleft_knee\tV\tS1\tgood\nwalk-01\tleft_3\tleft_knee\tV",
        ),
        (
            "channels.tsv, row 5, column sensor_id: a channel in V without a sensor; give its sensor_id "
            "here or in recordings.tsv (row 2).",
            "channels.tsv, row 5, column tracked_point, value 'left_knee': two channels of left_knee for "
            "walk-01 (row 4); keep one; beside it only a channel in deg may stand, as the reference.",
        ),
    ),
    Broken(
        "one column given twice",
        replaced(CHANNELS, "stretch-S1\tmm\t", "stretch-S1\tvolts\t"),
        (
            "channels.tsv, row 6, column name, value 'volts': the column is given twice for stretch-S1 "
            "(row 5); keep one of the rows.",
        ),
    ),
    Broken(
        "the time column as a channel",
        replaced(CHANNELS, "bend-01\tleft_deg", "bend-01\ttime_s"),
        (
            "channels.tsv, row 4, column name, value 'time_s': the time column of bend-01; name the "
            "column that holds the signal.",
        ),
    ),
    Broken(
        "nothing gives the time",
        replaced(RECORDINGS, "n/a\t100\ttime_s\tn/a", "n/a\tn/a\tn/a\tn/a"),
        (
            "recordings.tsv, row 3, column sampling_frequency: nothing gives the time of the samples; "
            "give sampling_frequency in hertz, or the time_column of the file.",
        ),
    ),
    Broken(
        "a raw file is not there",
        removed("raw/walk-02.edf"),
        (
            "recordings.tsv, row 4, column file, value 'raw/walk-02.edf': the file is not there; correct "
            "the path, or put the file in its place.",
        ),
    ),
    Broken(
        "a raw file differs in capitals",
        replaced(RECORDINGS, "raw/walk-02.edf", "raw/Walk-02.edf"),
        (
            "recordings.tsv, row 4, column file, value 'raw/Walk-02.edf': the file is not there "
            "('walk-02.edf' is there: capitals count); correct the path, or put the file in its place.",
        ),
    ),
    Broken(
        "a raw file of unknown kind",
        replaced(RECORDINGS, "raw/walk-02.edf", "raw/walk-02.xlsx"),
        (
            "recordings.tsv, row 4, column file, value 'raw/walk-02.xlsx': no reader for this kind of "
            "file; export it as one of: .csv, .tsv, .txt, .csv.gz, .tsv.gz, .txt.gz, .parquet, .edf, "
            ".bdf, .tdms.",
        ),
    ),
    Broken(
        "a folder instead of a raw file",
        together(folder("raw/x.csv"), replaced(RECORDINGS, "raw/walk-01.csv", "raw/x.csv")),
        ("recordings.tsv, row 2, column file, value 'raw/x.csv': not a file; give the path of the raw file itself.",),
    ),
    Broken(
        "a path that leaves the study by ..",
        replaced(RECORDINGS, "raw/walk-01.csv", "../walk-01.csv"),
        (
            "recordings.tsv, row 2, column file, value '../walk-01.csv': a path that leaves the study "
            "folder; copy the file into the study folder and give its path from there.",
        ),
    ),
    Broken(
        "an absolute path",
        replaced(RECORDINGS, "raw/walk-01.csv", "/data/walk-01.csv"),
        (
            "recordings.tsv, row 2, column file, value '/data/walk-01.csv': an absolute path; copy the "
            "file into the study folder and give its path from there.",
        ),
    ),
    Broken(
        "a path with a drive letter",
        replaced(RECORDINGS, "raw/walk-01.csv", "C:\\data\\walk-01.csv"),
        (
            "recordings.tsv, row 2, column file, value 'C:\\\\data\\\\walk-01.csv': an absolute path; copy "
            "the file into the study folder and give its path from there.",
        ),
    ),
    Broken(
        "a path with backslashes",
        replaced(RECORDINGS, "raw/walk-01.csv", "raw\\walk-01.csv"),
        (
            "recordings.tsv, row 2, column file, value 'raw\\\\walk-01.csv': a path with backslashes; write"
            " it with forward slashes.",
        ),
    ),
    Broken(
        "a link out of the study",
        linked("raw/walk-01.csv"),
        (
            "recordings.tsv, row 2, column file, value 'raw/walk-01.csv': a link that leads out of the "
            "study folder; copy the file into the study folder and give its path from there.",
        ),
    ),
    Broken(
        "one file for two recordings",
        replaced(RECORDINGS, "raw/walk-02.edf", "raw/walk-01.csv"),
        (
            "recordings.tsv, row 4, column sampling_frequency: nothing gives the time of the samples; "
            "give sampling_frequency in hertz, or the time_column of the file.",
            "recordings.tsv, row 4, column file, value 'raw/walk-01.csv': the file of recording walk-01 "
            "too (row 2), with the same task; give each recording its own file.",
        ),
    ),
    Broken(
        "labels for an unknown recording",
        put("labels/walk-99/mh_events.tsv", FILES[WALK]),
        (
            "labels/walk-99: labels for an unknown recording; name the folder as the recording_id in "
            "recordings.tsv, or add the recording there.",
        ),
    ),
    Broken(
        "a label file without a rater",
        put("labels/walk-01/events.tsv", FILES[WALK]),
        (
            "labels/walk-01/events.tsv: not the name of a label file, <rater>_events.tsv; rename it; the "
            "rater is written with letters, digits, '-' and '_'.",
        ),
    ),
    Broken(
        "a label file in no recording's folder",
        put("labels/mh_events.tsv", FILES[WALK]),
        ("labels/mh_events.tsv: a file that is in no recording's folder; put it in labels/<recording_id>/.",),
    ),
    Broken(
        "a label file linked from outside",
        linked("labels/walk-01/x_events.tsv"),
        (
            "labels/walk-01/x_events.tsv: a link that leads out of the study folder; copy the file into "
            "the study folder.",
        ),
    ),
    Broken(
        "a label with a negative duration",
        replaced(WALK, "1.0\t8.0", "1.0\t-8.0"),
        (
            "labels/walk-01/mh_events.tsv, row 3, column duration, value '-8.0': out of range; give a "
            "duration of 0 or more in seconds.",
        ),
    ),
    Broken(
        "a label of an unknown type",
        replaced(WALK, "normal_gait", "walking"),
        (
            "labels/walk-01/mh_events.tsv, row 3, column trial_type, value 'walking': not one of the "
            "known words; use one of: initial_contact, toe_off, swallow, knee_bend, rest, normal_gait, "
            "limping_gait, turn, speech, cough, head_movement, artefact, labelled.",
        ),
    ),
    Broken(
        "an initial contact without a side",
        replaced(WALK, "initial_contact\tright", "initial_contact\tn/a"),
        ("labels/walk-01/mh_events.tsv, row 4, column side: initial_contact without a side; give left or right.",),
    ),
    Broken(
        "an unknown side word",
        replaced(WALK, "initial_contact\tright", "initial_contact\tR"),
        (
            "labels/walk-01/mh_events.tsv, row 4, column side, value 'R': not one of the known words; use"
            " one of: left, right.",
        ),
    ),
    Broken(
        "an instant with a duration",
        replaced(WALK, "-0.5\t0", "-0.5\t0.2"),
        (
            "labels/walk-01/mh_events.tsv, row 2, column duration, value '0.2': initial_contact is an "
            "instant; give it the duration 0.",
        ),
    ),
    Broken(
        "an interval without a duration",
        replaced(WALK, "1.0\t8.0", "1.0\tn/a"),
        (
            "labels/walk-01/mh_events.tsv, row 3, column duration: normal_gait is an interval and has no "
            "duration; give its duration in seconds.",
        ),
    ),
    Broken(
        "a label without an onset",
        replaced(WALK, "1.0\t8.0", "n/a\t8.0"),
        ("labels/walk-01/mh_events.tsv, row 3, column onset: no value; fill it in.",),
    ),
    Broken(
        "a calibration bend without its angle",
        replaced(BEND, "left\t60", "left\tn/a"),
        (
            "labels/bend-01/mh_events.tsv, row 2, column value: a knee_bend of a bend recording without "
            "its angle; give the angle in degrees: the calibration needs it.",
        ),
    ),
    Broken(
        "a label file without durations",
        replaced(WALK, "duration", "length"),
        ("labels/walk-01/mh_events.tsv, row 1, column duration: a required column is missing; add it.",),
    ),
    Broken(
        "a misspelt label column",
        replaced(WALK, "side", "sides"),
        (
            "labels/walk-01/mh_events.tsv, row 1, column sides: unknown column; did you mean 'side'? Then"
            " rename it, else give it a name less like it.",
            "labels/walk-01/mh_events.tsv, row 2, column side: initial_contact without a side; give left or right.",
            "labels/walk-01/mh_events.tsv, row 4, column side: initial_contact without a side; give left or right.",
        ),
    ),
    Broken(
        "an empty label file",
        put(WALK, ""),
        ("labels/walk-01/mh_events.tsv: the file is empty; give it a header row with onset, duration, trial_type.",),
    ),
    Broken(
        "the same label twice",
        put(WALK, FILES[WALK] + "1.0\t8.0\tnormal_gait\tn/a\tn/a\n"),
        (
            "labels/walk-01/mh_events.tsv, row 5, column onset, value '1.0': the same label as in row 3; remove"
            " one of"
            " the two.",
        ),
    ),
    Broken(
        "a hold at an angle no knee has",
        replaced(BEND, "left\t60", "left\t600"),
        (
            "labels/bend-01/mh_events.tsv, row 2, column value, value '600': not the angle of a knee; give it in"
            " degrees, 0 for the straight leg.",
        ),
    ),
    Broken(
        "a file name that the engine takes for a pattern",
        replaced(RECORDINGS, "raw/walk-01.csv", "raw/walk-{01}.csv"),
        (
            "recordings.tsv, row 2, column file, value 'raw/walk-{01}.csv': a path with braces, * or ?, which stand"
            " for patterns; rename the file.",
        ),
    ),
    Broken(
        "a use of the reference that says nothing, and one without a reference",
        put(
            RECORDINGS,
            "\n".join(
                f"{line}\t{cell}"
                for line, cell in zip(
                    FILES[RECORDINGS].splitlines(),
                    ("reference_use", "calibrate", "first third", "n/a", "0-5"),
                    strict=True,
                )
            )
            + "\n",
        ),
        (
            "recordings.tsv, row 2, column reference_use, value 'calibrate': no channel in deg beside a sensor of the"
            " same knee to calibrate it; add both channels of a knee to channels.tsv, or leave the cell n/a.",
            "recordings.tsv, row 3, column reference_use, value 'first third': not a use of the reference; write"
            " calibrate, validate, or the spans that calibrate: 0-33.5 in seconds or 0-33% of the recording, with"
            " commas between.",
            "recordings.tsv, row 5, column reference_use, value '0-5': no channel in deg beside a sensor of the same"
            " knee to calibrate it; add both channels of a knee to channels.tsv, or leave the cell n/a.",
        ),
    ),
    Broken(
        "no recordings at all",
        put(RECORDINGS, FILES[RECORDINGS].split("\n")[0] + "\n"),
        ("recordings.tsv: no recordings; add one row for each raw file.",),
    ),
    Broken(
        "limping that lasts no time",
        put(WALK, FILES[WALK] + "3.0\t0\tlimping_gait\tleft\tn/a\n"),
        (
            "labels/walk-01/mh_events.tsv, row 5, column duration, value '0': limping_gait that lasts no time;"
            " give its"
            " duration in seconds, or remove it.",
        ),
    ),
    Broken(
        "a turn of thirty years",
        put(WALK, FILES[WALK] + "10.0\t1e9\tturn\tn/a\tn/a\n"),
        (
            "labels/walk-01/mh_events.tsv, row 5, column duration, value '1e9': no turn lasts so long; give its"
            " duration"
            " in seconds.",
        ),
    ),
    Broken(
        "turns in milliseconds",
        put(WALK, FILES[WALK] + "10000\t2100\tturn\tn/a\tn/a\n30000\t2400\tturn\tn/a\tn/a\n"),
        (
            "labels/walk-01/mh_events.tsv, row 5, column duration, value '2100': no turn lasts so long (and 1 further"
            " row); give its duration in seconds; these look like milliseconds.",
        ),
    ),
    Broken(
        "states that exclude one another at once",
        put(
            WALK,
            FILES[WALK]
            + "2.0\t4.0\tlimping_gait\tleft\tn/a\n2.5\t4.0\tlimping_gait\tright\tn/a\n5\t3\trest\tn/a\tn/a\n",
        ),
        (
            "labels/walk-01/mh_events.tsv, row 5, column onset, value '2.0': limping_gait while the same rater has"
            " normal_gait (row 3, 4 s at once); correct onset or duration of one; up to 0.5 s of overlap is let"
            " through.",
            "labels/walk-01/mh_events.tsv, row 6, column onset, value '2.5': limping_gait while the same rater has"
            " normal_gait (row 3, 4 s at once); correct onset or duration of one; up to 0.5 s of overlap is let"
            " through.",
            "labels/walk-01/mh_events.tsv, row 7, column onset, value '5': rest while the same rater has normal_gait"
            " (row 3, 3 s at once); correct onset or duration of one; up to 0.5 s of overlap is let through.",
        ),
    ),
    Broken(
        "limping on both sides at once",
        put(WALK, FILES[WALK] + "20\t4\tlimping_gait\tleft\tn/a\n21\t4\tlimping_gait\tright\tn/a\n"),
        (
            "labels/walk-01/mh_events.tsv, row 6, column onset, value '21': limping on the right while the same"
            " rater has"
            " limping on the left (row 5, 3 s at once); correct onset or duration of one; up to 0.5 s of overlap"
            " is let"
            " through.",
        ),
    ),
    Broken(
        "one knee held at two angles at once",
        replaced(BEND, "12.0\t4.0\tknee_bend\tleft\t60", "3.0\t4.0\tknee_bend\tleft\t60"),
        (
            "labels/bend-01/mh_events.tsv, row 2, column onset, value '3.0': a bend of 60 degrees while the same"
            " knee has"
            " one of 30 (row 3, 3 s at once); correct onset or duration of one; up to 0.5 s of overlap is let"
            " through.",
        ),
    ),
    Broken(
        "swallows in a walk without a throat",
        put(WALK, FILES[WALK] + "3\t1\tswallow\tn/a\tn/a\n5\t1\tswallow\tn/a\tn/a\n6\t1\tspeech\tn/a\tn/a\n"),
        (
            "labels/walk-01/mh_events.tsv, row 5, column trial_type, value 'swallow': swallow in a recording"
            " without a"
            " channel of the throat (and 1 further row); add the channel to channels.tsv, or remove the label.",
            "labels/walk-01/mh_events.tsv, row 7, column trial_type, value 'speech': speech in a recording without a"
            " channel of the throat; add the channel to channels.tsv, or remove the label.",
        ),
    ),
    Broken(
        "contacts on the bench",
        put("labels/stretch-S1/mh_events.tsv", "onset\tduration\ttrial_type\tside\n1\t0\ttoe_off\tleft\n"),
        (
            "labels/stretch-S1/mh_events.tsv, row 2, column trial_type, value 'toe_off': toe_off in a recording"
            " without a"
            " channel of a knee; add the channel to channels.tsv, or remove the label.",
        ),
    ),
    Broken(
        "contacts in minutes",
        put(
            WALK,
            "onset\tduration\ttrial_type\tside\n"
            + "".join(f"{0.1 + 0.018 * i:.3f}\t0\tinitial_contact\tleft\n" for i in range(8)),
        ),
        (
            "labels/walk-01/mh_events.tsv, row 2, column onset, value '0.100': every 0.018 s one initial contact"
            " of the"
            " left leg: faster than walking; give onset and duration in seconds; these look like minutes.",
        ),
    ),
    Broken(
        "a label long before the recording",
        put(WALK, FILES[WALK] + "-60\t2\trest\tn/a\tn/a\n"),
        (
            "labels/walk-01/mh_events.tsv, row 5, column onset, value '-60': lies before the first sample of the"
            " recording; give onsets in seconds from the first stored sample.",
        ),
    ),
    Broken(
        "an excitation in millivolts",
        replaced(SENSORS, "S1\t3.3", "S1\t3300"),
        (
            "sensors.tsv, row 2, column excitation_v, value '3300': cannot be: 0.2 to 50 V is usual; did you"
            " mean 3300"
            " mV? Then write 3.3.",
        ),
    ),
    Broken(
        "a resistance that nothing has",
        replaced(SENSORS, "S1\t3.3\t1000", "S1\t3.3\t1e300"),
        ("sensors.tsv, row 2, column r1_ohm, value '1e300': cannot be: 50 to 1e+08 ohm is usual; correct it.",),
    ),
    Broken(
        "one sensor on both knees at once",
        put(CHANNELS, FILES[CHANNELS] + "walk-01\tright_2\tright_knee\tV\tS1\tgood\n"),
        (
            "channels.tsv, row 7, column sensor_id, value 'S1': sensor S1 is on the left knee of walk-01 at the"
            " same time"
            " (row 2); give each place the sensor that was on it.",
        ),
    ),
    Broken(
        "one recording copied to another person",
        together(put("raw/walk-01.csv", SIGNAL), put("raw/walk-02.edf", SIGNAL)),
        (
            "recordings.tsv, row 4, column file, value 'raw/walk-02.edf': the same content as the file of"
            " walk-01 (row"
            " 2): one recording cannot be of two people sub-01 and sub-02; give each recording its own file.",
        ),
    ),
    Broken(
        "one recording linked to another person",
        together(put("raw/walk-01.csv", SIGNAL), hard_linked("raw/walk-02.edf", "raw/walk-01.csv")),
        (
            "recordings.tsv, row 4, column file, value 'raw/walk-02.edf': the same content as the file of"
            " walk-01 (row"
            " 2): one recording cannot be of two people sub-01 and sub-02; give each recording its own file.",
        ),
    ),
    Broken(
        "a raw file in a loop of links",
        looped("raw/walk-01.csv"),
        (
            "recordings.tsv, row 2, column file, value 'raw/walk-01.csv': a link that leads back to itself;"
            " rename the file, or put it in its place.",
        ),
    ),
    Broken(
        "a raw file of more than 255 letters",
        replaced(RECORDINGS, "raw/walk-01.csv", f"raw/{'w' * 300}.csv"),
        (
            f"recordings.tsv, row 2, column file, value 'raw/{'w' * 300}.csv': a path that is too long"
            " for the file system; rename the file, or put it in its place.",
        ),
    ),
    Broken(
        "a label file in a loop of links",
        looped("labels/walk-01/x_events.tsv"),
        ("labels/walk-01/x_events.tsv: a link that leads back to itself; put the file in its place.",),
    ),
    Broken(
        "a sheet in a loop of links",
        looped(PEOPLE),
        ("participants.tsv: the file cannot be opened (Too many levels of symbolic links); make it a readable file.",),
    ),
    Broken(
        "a sheet that is a pipe",
        piped(PEOPLE),
        ("participants.tsv: not an ordinary file; make it one, with a header row with participant_id.",),
    ),
    Broken(
        "labels that are a file",
        together(lambda root: shutil.rmtree(root / "labels"), put("labels", "")),
        ("labels: not a folder; make it a folder with one folder per recording.",),
    ),
    Broken(
        "five faults in five files",
        together(
            replaced(PEOPLE, "64", "old"),
            replaced(SENSORS, "10\t-1", "10\t2"),
            replaced(RECORDINGS, "sub-02", "sub-03"),
            replaced(CHANNELS, "right_knee\tV", "right_knee\tvolt"),
            replaced(WALK, "normal_gait", "walking"),
        ),
        (
            "participants.tsv, row 2, column age, value 'old': not a number; give an age from 0 to 130 in"
            " years, or n/a if it is not known.",
            "sensors.tsv, row 3, column polarity, value '2': out of range; give 1 or -1.",
            "recordings.tsv, row 4, column participant_id, value 'sub-03': not in participants.tsv; add "
            "it to participants.tsv or correct it.",
            "channels.tsv, row 3, column units, value 'volt': not one of the known words; use one of: V, "
            "mV, ohm, a.u., deg, percent, mm.",
            "labels/walk-01/mh_events.tsv, row 3, column trial_type, value 'walking': not one of the "
            "known words; use one of: initial_contact, toe_off, swallow, knee_bend, rest, normal_gait, "
            "limping_gait, turn, speech, cough, head_movement, artefact, labelled.",
        ),
    ),
)
