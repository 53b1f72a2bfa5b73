"""The checked study: participants, sensors, recordings, channels and labels, as dataclasses.

In: a study folder (``participants.tsv``, ``sensors.tsv``, ``recordings.tsv``, ``channels.tsv``, ``labels/``), or a BIDS
folder that is read like these.
Out: a `Study`, or a `StudyError` with every problem of every file. The words are those of BIDS where it has
them.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from pathlib import Path

import pandas as pd

from .errors import Problem, StudyError
from .intake.bids import is_bids, read_bids
from .intake.contributors import contributors_of
from .intake.copies import copy_problems
from .intake.files import label_files, raw_file_problems
from .intake.labelling import copied_problems, labels_in, meaning_problems
from .intake.links import Row, channel_rows, link_problems, rows_of
from .intake.plausible import magnitude_problems
from .intake.rules import CHANNELS, EVERY_RECORDING, PARTICIPANTS, RECORDINGS, SENSORS, SHEETS, SheetKind
from .io.labels import check_labels
from .io.places import fault_of
from .io.sheets import Sheet, check_sheets, read_sheet, to_number
from .records import Channel, Participant, Recording, Sensor, Study
from .vocabulary import BENCH_TASKS, SEXES

__all__ = ["Channel", "Participant", "Recording", "Sensor", "Study", "label_problems", "load_study"]


def _extra(row: Row, kind: SheetKind) -> dict[str, str]:
    return {name: text for name, text in row.cells.items() if name not in kind.known and text is not None}


def _participant(row: Row) -> Participant:
    sex = row["sex"]
    return Participant(
        row.text("participant_id"),
        to_number(row["age"]),
        None if sex is None else SEXES[sex],
        row["group"],
        row["affected_side"],
        _extra(row, PARTICIPANTS),
    )


def _sensor(row: Row) -> Sensor:
    gain, polarity = to_number(row["amplifier_gain"]), to_number(row["polarity"])
    return Sensor(
        row.text("sensor_id"),
        to_number(row["excitation_v"]),
        to_number(row["r1_ohm"]),
        to_number(row["r2_ohm"]),
        to_number(row["r3_ohm"]),
        1.0 if gain is None else gain,
        1 if polarity is None else int(polarity),
        to_number(row["rest_ohm"]),
        to_number(row["gauge_factor"]),
        to_number(row["gauge_length_mm"]),
    )


def _recording(row: Row, channels: list[Row], labels: Mapping[str, Path], root: Path) -> Recording:
    sensor_id = row["sensor_id"]
    if sensor_id is None and row["task"] in BENCH_TASKS:
        own = [channel["sensor_id"] for channel in channels if channel["tracked_point"] == "sensor"]
        sensor_id = own[0] if own else None
    return Recording(
        row.text("recording_id"),
        row.text("task"),
        root / row.text("file"),
        row.text("file"),
        row["participant_id"],
        row["session_id"],
        sensor_id,
        to_number(row["sampling_frequency"]),
        row["time_column"],
        to_number(row["volume_ml"]),
        tuple(
            Channel(
                channel.text("name"),
                channel.text("tracked_point"),
                channel.text("units"),
                channel["sensor_id"] or sensor_id,
                channel["status"] or "good",
                channel["recording_id"] == EVERY_RECORDING,
                None if (polarity := to_number(channel["polarity"])) is None else int(polarity),
            )
            for channel in channels
        ),
        labels,
        _extra(row, RECORDINGS),
        row["reference_use"],
        row["walkway"],
    )


def _read_sheets(root: Path) -> tuple[dict[str, pd.DataFrame], list[Problem]]:
    """Read and check the four sheets; those whose rows or required columns are not all there are left out."""
    frames, problems = {}, []
    for name, kind in SHEETS.items():
        sheet, found = read_sheet(root / kind.file, kind.file, kind.required)
        problems += found
        if sheet is None:
            continue
        problems += check_sheets([sheet], kind.rules, extra_allowed=kind.extra_allowed)
        if not found and set(kind.required) <= set(sheet.frame.columns):
            frames[name] = sheet.frame
    if "recordings" in frames and frames["recordings"].empty:
        del frames["recordings"]
        problems.append(Problem(RECORDINGS.file, "no recordings", "add one row for each raw file"))
    return frames, problems


def _check_cells(frames: Mapping[str, pd.DataFrame]) -> tuple[dict[str, pd.DataFrame], list[Problem]]:
    """Check sheets that were put together of other files; without a recording there is nothing to say of them."""
    if frames["recordings"].empty:
        return {}, []
    problems = [
        problem
        for name, kind in SHEETS.items()
        for problem in check_sheets([Sheet(kind.file, frames[name])], kind.rules, extra_allowed=kind.extra_allowed)
    ]
    return dict(frames), problems


def _label_problems(root: Path, labels: Sequence[tuple[Path, str | None, Collection[str] | None]]) -> list[Problem]:
    """Check label files, each by itself and against the tracked points of its recording, where they are known."""
    of_file = {path.relative_to(root).as_posix(): (path, task, points) for path, task, points in labels}
    sheets, problems = check_labels([(path, file, task) for file, (path, task, _) in of_file.items()])
    found = {sheet.file: labels_in(sheet) for sheet in sheets}
    for file, rows in found.items():
        problems += meaning_problems(rows, of_file[file][2], file)
    return problems + copied_problems(found)


def _points(rows: list[Row]) -> set[str] | None:
    # what is said of a recording without channels is said of the recording
    return {row.text("tracked_point") for row in rows} if rows else None


def label_problems(study: Study) -> list[Problem]:
    """Read the label files of a study that was loaded without them.

    Parameters
    ----------
    study : Study
        Or some recordings of it.

    Returns
    -------
    list of Problem
        What `load_study` would have said of them.
    """
    labels = [
        (path, recording.task, {channel.tracked_point for channel in recording.channels} or None)
        for recording in study.recordings.values()
        for path in recording.labels.values()
    ]
    return sorted(_label_problems(study.root, labels), key=lambda p: (p.file, p.row or 0))


def load_study(root: Path, *, labels_read: bool = True) -> Study:
    """Read and check a whole study folder.

    Parameters
    ----------
    root : Path
        The study folder.
    labels_read : bool
        Whether to read the label files, or to leave that to `label_problems`; those of a BIDS folder are always read.

    Returns
    -------
    Study

    Raises
    ------
    StudyError
        With every problem of every sheet, of the raw files' paths and of every label file that was read.
    """
    if fault_of(root) is not None or not root.is_dir():
        raise StudyError([Problem(str(root), "there is no such study folder", "correct the setting study")])
    given = read_bids(root) if is_bids(root) else None
    frames, problems = _read_sheets(root) if given is None else _check_cells(given.frames)
    problems += link_problems(frames)
    labels: Mapping[str, Mapping[str, Path]] = {}
    channels: Mapping[str, list[Row]] | None = None
    recordings = rows_of(frames["recordings"]) if "recordings" in frames else []
    if "recordings" in frames:
        problems += raw_file_problems(root, recordings)
        if given is None:
            labels, found = label_files(root, [row.text("recording_id") for row in recordings])
            problems += found
        else:
            labels = given.labels
        channels = channel_rows(recordings, rows_of(frames["channels"])) if "channels" in frames else None
        if labels_read or given is not None:
            tasks = {row.text("recording_id"): row["task"] for row in recordings}
            points = {name: None if channels is None else _points(channels[name]) for name in tasks}
            problems += _label_problems(
                root, [(path, tasks[name], points[name]) for name, raters in labels.items() for path in raters.values()]
            )
        if channels is not None:
            problems += copy_problems(root, recordings, channels)
    sensor_rows = rows_of(frames["sensors"]) if "sensors" in frames else []
    problems += magnitude_problems(sensor_rows, recordings)
    contributors, found = contributors_of(root)
    problems += found
    order = {kind.file: i for i, kind in enumerate((PARTICIPANTS, SENSORS, RECORDINGS, CHANNELS))}
    problems.sort(key=lambda p: (order.get(p.file, len(order)), p.file, p.row or 0))
    if given is not None:
        problems = [*given.problems, *map(given.said, problems)]
    if channels is None or not all(problem.caution for problem in problems):
        raise StudyError(problems)
    people = [_participant(row) for row in rows_of(frames["participants"])]
    sensors = [_sensor(row) for row in sensor_rows]
    found_recordings = [
        _recording(row, channels[row.text("recording_id")], labels.get(row.text("recording_id"), {}), root)
        for row in recordings
    ]
    return Study(
        root,
        {p.participant_id: p for p in sorted(people, key=lambda p: p.participant_id)},
        {s.sensor_id: s for s in sorted(sensors, key=lambda s: s.sensor_id)},
        {r.recording_id: r for r in sorted(found_recordings, key=lambda r: r.recording_id)},
        tuple(problems),
        tuple(root / kind.file for kind in SHEETS.values()) if given is None else tuple(dict.fromkeys(given.files)),
        contributors,
    )
