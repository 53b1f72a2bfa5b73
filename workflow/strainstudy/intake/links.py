"""How the rows of a study's sheets refer to one another: people, sensors, channels of recordings.

In: the four sheets as frames of strings under their line numbers, each cell already checked by itself.
Out: the channel rows of every recording, and a `Problem` for every reference that leads nowhere or cannot
be right.
"""

from __future__ import annotations

from collections.abc import Container, Mapping
from dataclasses import dataclass
from pathlib import Path

import pandas as pd

from ..errors import Problem
from ..io.readers.suffixes import FORMATS_WITH_RATE, file_format
from ..reference_use import calibrates
from ..vocabulary import (
    BENCH_POINTS,
    BENCH_TASKS,
    BODY_POINTS,
    BODY_TASKS,
    KNEES,
    REFERENCE_UNITS,
    TASKS,
    TRACKED_POINTS,
    UNITS,
    VOLT_UNITS,
)
from .rules import CHANNELS, EVERY_RECORDING, PARTICIPANTS, RECORDINGS, SENSORS

__all__ = ["Row", "channel_rows", "link_problems", "rows_of"]

_BRIDGE = ("excitation_v", "r1_ohm", "r3_ohm")
_REFERENCE_WORDS = {"deg": "angle", "percent": "strain", "mm": "displacement"}


@dataclass(frozen=True)
class Row:
    """One row of a sheet: its line number and its cells, ``None`` where missing or without a column."""

    number: int
    cells: Mapping[str, str | None]

    def __getitem__(self, name: str) -> str | None:
        return self.cells.get(name)

    def text(self, name: str) -> str:
        """Give a cell as text, empty where missing."""
        return self.cells.get(name) or ""


def rows_of(frame: pd.DataFrame) -> list[Row]:
    """Take a sheet's frame apart into rows."""
    names = [str(name) for name in frame.columns]
    cells = frame.itertuples(index=True, name=None)
    return [Row(int(row[0]), dict(zip(names, row[1:], strict=True))) for row in cells]


def _is_reference(row: Row) -> bool:
    return row["units"] in _REFERENCE_WORDS


def _both_shared(one: Row, other: Row) -> bool:
    return one["recording_id"] == other["recording_id"] == EVERY_RECORDING


def _words(row: Row) -> str:
    return row.text("tracked_point").replace("_", " ")


def _fits(row: Row, task: str) -> bool:
    points = BENCH_POINTS if task in BENCH_TASKS else BODY_POINTS
    return row["tracked_point"] in points


def channel_rows(recordings: list[Row], channels: list[Row]) -> dict[str, list[Row]]:
    """Find the channel rows of every recording.

    A row for every recording (``*``) stands for those whose task has its tracked point, unless a row of the
    recording's own names the same column or the same kind of channel of the same tracked point.

    Parameters
    ----------
    recordings, channels : list of Row
        Rows of the two sheets.

    Returns
    -------
    dict of str to list of Row
        By recording id, in the order of the sheet.
    """
    shared = [row for row in channels if row["recording_id"] == EVERY_RECORDING]
    own: dict[str, list[Row]] = {recording.text("recording_id"): [] for recording in recordings}
    for row in channels:
        if row.text("recording_id") in own:
            own[row.text("recording_id")].append(row)
    found = {}
    for recording in recordings:
        rows = own[recording.text("recording_id")]
        names = {row["name"] for row in rows}
        kinds = {(row["tracked_point"], _is_reference(row)) for row in rows}
        fitting = [
            row
            for row in shared
            if _fits(row, recording.text("task"))
            and row["name"] not in names
            and (row["tracked_point"], _is_reference(row)) not in kinds
        ]
        found[recording.text("recording_id")] = sorted([*rows, *fitting], key=lambda row: row.number)
    return found


def _unknown(row: Row, column: str, known: Container[str | None] | None, file: str, where: str) -> list[Problem]:
    value = row[column]
    if value is None or known is None or value in known:
        return []
    message, remedy = f"not in {where}", f"add it to {where} or correct it"
    return [Problem(file, message, remedy, row=row.number, column=column, value=value)]


def _recording_problems(
    row: Row, people: Container[str | None] | None, sensors: Container[str | None] | None
) -> list[Problem]:
    file = RECORDINGS.file
    problems = _unknown(row, "participant_id", people, file, PARTICIPANTS.file)
    problems += _unknown(row, "sensor_id", sensors, file, SENSORS.file)
    if row["task"] in BODY_TASKS and row["participant_id"] is None:
        message, remedy = f"the task {row['task']} needs a participant", "give the participant_id"
        problems.append(Problem(file, message, remedy, row=row.number, column="participant_id"))
    return problems


def _channel_problems(
    row: Row, recordings: Container[str | None] | None, sensors: Container[str | None] | None
) -> list[Problem]:
    file, problems = CHANNELS.file, []
    if row["recording_id"] != EVERY_RECORDING:
        problems += _unknown(row, "recording_id", recordings, file, RECORDINGS.file)
    problems += _unknown(row, "sensor_id", sensors, file, SENSORS.file)
    point, units = row.text("tracked_point"), row.text("units")

    def wrong_units(remedy: str) -> None:
        message = f"these units cannot be those of {point}"
        problems.append(Problem(file, message, remedy, row=row.number, column="units", value=units))

    if point not in TRACKED_POINTS or units not in UNITS:
        return problems
    if point in REFERENCE_UNITS and units != REFERENCE_UNITS[point]:
        wrong_units(f"give {point} in {REFERENCE_UNITS[point]}")
    elif units in REFERENCE_UNITS.values() and point not in REFERENCE_UNITS:
        wrong_units("use V, mV, ohm, a.u. or deg")
    elif units == "deg" and point not in KNEES.values():
        wrong_units("use deg for a knee only")
    return problems


def _sensor_problems(row: Row, recording: Row, sensors: Mapping[str, Row] | None) -> list[Problem]:
    """Find what a channel's sensor lacks for the channel's units."""
    units, point = row.text("units"), row.text("tracked_point")
    name = row["sensor_id"] or recording["sensor_id"]
    bench = recording["task"] in BENCH_TASKS
    in_volts, displaced = units in VOLT_UNITS, point == "reference_displacement"
    if not (in_volts or displaced or (bench and point == "sensor")):
        return []
    if name is None:
        what = f"a channel in {units}" if in_volts else f"{point} of a bench recording"
        message = f"{what} without a sensor"
        remedy = f"give its sensor_id here or in {RECORDINGS.file} (row {recording.number})"
        return [Problem(CHANNELS.file, message, remedy, row=row.number, column="sensor_id")]
    if sensors is None or name not in sensors:
        return []
    sensor, problems = sensors[name], []
    wanted = [*(_BRIDGE if in_volts else ()), *(("gauge_length_mm",) if displaced else ())]
    for column in wanted:
        if sensor[column] is None:
            what = f"a channel in {units}" if in_volts else f"the {point} in {units}"
            message = f"no {column} for sensor {name}, which has {what} ({CHANNELS.file}, row {row.number})"
            remedy = "give it" if displaced else "give it, or units ohm if the channel holds the resistance"
            problems.append(Problem(SENSORS.file, message, remedy, row=sensor.number, column=column))
    return problems


def _set_problems(recording: Row, rows: list[Row]) -> list[Problem]:
    """Find what is wrong with the channels of one recording as a set."""
    identifier, task = recording.text("recording_id"), recording.text("task")
    problems: list[Problem] = []

    def fault(row: Row, column: str, message: str, remedy: str) -> None:
        file = RECORDINGS.file if row is recording else CHANNELS.file
        problems.append(Problem(file, message, remedy, row=row.number, column=column, value=row[column]))

    if not rows:
        remedy = f"add its channels to {CHANNELS.file}, or remove the recording"
        fault(recording, "recording_id", "no channel", remedy)
        return problems
    names: dict[str, Row] = {}
    kinds: dict[tuple[str, bool], Row] = {}
    for row in rows:
        point = row.text("tracked_point")
        if point in TRACKED_POINTS and not _fits(row, task):
            message = f"not a tracked point of the task {task} of {identifier}"
            fault(row, "tracked_point", message, "correct one of the two")
        if row["name"] == recording["time_column"]:
            fault(row, "name", f"the time column of {identifier}", "name the column that holds the signal")
        first = names.setdefault(row.text("name"), row)
        if first is not row:
            message = f"the column is given twice for {identifier} (row {first.number})"
            fault(row, "name", message, "keep one of the rows")
            continue
        first = kinds.setdefault((point, _is_reference(row)), row)
        # two shared rows may name the same point under two column names, of which a file has one
        if first is not row and not _both_shared(first, row):
            message = f"two channels of {point} for {identifier} (row {first.number})"
            remedy = "keep one; beside it only a channel in deg may stand, as the reference"
            fault(row, "tracked_point", message, remedy)
    worn: dict[str, Row] = {}
    for row in rows:
        sensor = row["sensor_id"] or recording["sensor_id"]
        if sensor is None or row["status"] == "bad" or _is_reference(row) or row["tracked_point"] not in BODY_POINTS:
            continue
        first = worn.setdefault(sensor, row)
        # of two shared rows a file may have one column only; that is seen when the file is opened
        if first["tracked_point"] != row["tracked_point"] and not _both_shared(first, row):
            message = f"sensor {sensor} is on the {_words(first)} of {identifier} at the same time (row {first.number})"
            fault(row, "sensor_id", message, "give each place the sensor that was on it")
    if task in BENCH_TASKS and not any(row["tracked_point"] == "sensor" for row in rows):
        message = f"the task {task} needs a channel of tracked point sensor"
        fault(recording, "recording_id", message, f"add the channel of the sensor to {CHANNELS.file}")
    angles = {point for point, is_reference in kinds if is_reference and point in KNEES.values()}
    if calibrates(recording["reference_use"]) and not any((point, False) in kinds for point in angles):
        remedy = f"add both channels of a knee to {CHANNELS.file}, or leave the cell n/a"
        fault(recording, "reference_use", "no channel in deg beside a sensor of the same knee to calibrate it", remedy)
    timed = recording["time_column"] is not None or recording["sampling_frequency"] is not None
    form = file_format(Path(recording.text("file")))
    if not timed and form is not None and form not in FORMATS_WITH_RATE:
        remedy = "give sampling_frequency in hertz, or the time_column of the file"
        fault(recording, "sampling_frequency", "nothing gives the time of the samples", remedy)
    return problems


def link_problems(frames: Mapping[str, pd.DataFrame]) -> list[Problem]:
    """Find every fault in how the sheets refer to one another.

    Parameters
    ----------
    frames : mapping of str to DataFrame
        Those of ``participants``, ``sensors``, ``recordings``, ``channels`` that are whole; what would need one
        that is absent is not looked for.

    Returns
    -------
    list of Problem
        By sheet and row, each said once.
    """
    rows = {name: rows_of(frame) for name, frame in frames.items()}
    people = {row["participant_id"] for row in rows["participants"]} if "participants" in rows else None
    sensors = {row.text("sensor_id"): row for row in rows["sensors"]} if "sensors" in rows else None
    ids = {row["recording_id"] for row in rows["recordings"]} if "recordings" in rows else None
    recordings = [row for row in rows.get("recordings", []) if row["recording_id"] and row["task"] in TASKS]
    problems = [p for row in rows.get("recordings", []) for p in _recording_problems(row, people, sensors)]
    if "channels" in rows:
        problems += [p for row in rows["channels"] for p in _channel_problems(row, ids, sensors)]
        by_recording = channel_rows(recordings, rows["channels"])
        for recording in recordings:
            own = by_recording[recording.text("recording_id")]
            problems += _set_problems(recording, own)
            problems += [p for row in own for p in _sensor_problems(row, recording, sensors)]
    order = {kind.file: i for i, kind in enumerate((PARTICIPANTS, SENSORS, RECORDINGS, CHANNELS))}
    once = {(p.file, p.row, p.column, p.message.partition("(")[0]): p for p in reversed(problems)}
    return sorted(once.values(), key=lambda p: (order[p.file], p.row or 0, p.column or "", p.message))
