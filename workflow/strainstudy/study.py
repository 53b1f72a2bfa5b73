"""The checked study: participants, sensors, recordings, channels and labels, as dataclasses.

In: a study folder (``participants.tsv``, ``sensors.tsv``, ``recordings.tsv``, ``channels.tsv``, ``labels/``).
Out: a `Study`, or a `StudyError` with every problem of every file. The words are those of BIDS where it has
them.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path

import pandas as pd

from .errors import Problem, StudyError
from .intake.files import label_files, raw_file_problems
from .intake.links import Row, channel_rows, link_problems, rows_of
from .intake.rules import CHANNELS, EVERY_RECORDING, PARTICIPANTS, RECORDINGS, SENSORS, SHEETS, SheetKind
from .io.labels import check_labels
from .io.sheets import check_sheets, read_sheet, to_number
from .vocabulary import BENCH_TASKS, SEXES

__all__ = ["Channel", "Participant", "Recording", "Sensor", "Study", "load_study"]


@dataclass(frozen=True)
class Participant:
    """One person.

    Parameters
    ----------
    participant_id : str
        ``sub-...``.
    age : float or None
        Years.
    sex : str or None
        ``male``, ``female`` or ``other``, whichever BIDS spelling the sheet has.
    group : str or None
        The lab's own word.
    affected_side : str or None
        ``left``, ``right``, ``both``, ``none``.
    extra : mapping of str to str
        The lab's own columns, without missing cells.
    """

    participant_id: str
    age: float | None = None
    sex: str | None = None
    group: str | None = None
    affected_side: str | None = None
    extra: Mapping[str, str] = field(default_factory=dict)


@dataclass(frozen=True)
class Sensor:
    """One sensor and its bridge.

    ``V_out = amplifier_gain * polarity * excitation_v * (Rx / (r3_ohm + Rx) - r2_ohm / (r1_ohm + r2_ohm))``
    with Rx the sensor; without ``r2_ohm`` the bridge is trimmed to zero output at rest.
    """

    sensor_id: str
    excitation_v: float | None = None
    r1_ohm: float | None = None
    r2_ohm: float | None = None
    r3_ohm: float | None = None
    amplifier_gain: float = 1.0
    polarity: int = 1
    rest_ohm: float | None = None
    gauge_factor: float | None = None
    gauge_length_mm: float | None = None


@dataclass(frozen=True)
class Channel:
    """One channel of a recording.

    Parameters
    ----------
    name : str
        Column or channel name in the raw file.
    tracked_point, units : str
        Where the sensor sits and what the numbers are.
    sensor_id : str or None
        The channel's own sensor, else the recording's.
    status : str
        ``good`` or ``bad`` (left out).
    shared : bool
        From a row for every recording (``*``): a raw file without this column is no fault.
    """

    name: str
    tracked_point: str
    units: str
    sensor_id: str | None = None
    status: str = "good"
    shared: bool = False


@dataclass(frozen=True)
class Recording:
    """One raw file.

    Parameters
    ----------
    recording_id, task : str
        Unique id; task of the vocabulary.
    path : Path
        The raw file.
    file : str
        Its path as the sheet has it.
    participant_id, session_id, sensor_id : str or None
        Who, when, and on the bench which sensor.
    sampling_frequency : float or None
        Hz, as the sheet says.
    time_column : str or None
        Column of time stamps.
    volume_ml : float or None
        Volume of a timed water swallow.
    channels : tuple of Channel
        What to read.
    labels : mapping of str to Path
        Rater to label file, by rater.
    extra : mapping of str to str
        The lab's own columns, without missing cells.
    """

    recording_id: str
    task: str
    path: Path
    file: str
    participant_id: str | None = None
    session_id: str | None = None
    sensor_id: str | None = None
    sampling_frequency: float | None = None
    time_column: str | None = None
    volume_ml: float | None = None
    channels: tuple[Channel, ...] = ()
    labels: Mapping[str, Path] = field(default_factory=dict)
    extra: Mapping[str, str] = field(default_factory=dict)


@dataclass(frozen=True)
class Study:
    """A study whose sheets and label files are without fault; each mapping is sorted by id."""

    root: Path
    participants: Mapping[str, Participant]
    sensors: Mapping[str, Sensor]
    recordings: Mapping[str, Recording]


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
            )
            for channel in channels
        ),
        labels,
        _extra(row, RECORDINGS),
    )


def _read_sheets(root: Path) -> tuple[dict[str, pd.DataFrame], list[Problem]]:
    """Read and check the four sheets; those without their required columns are left out."""
    frames, problems = {}, []
    for name, kind in SHEETS.items():
        sheet, found = read_sheet(root / kind.file, kind.file, kind.required)
        problems += found
        if sheet is None:
            continue
        problems += check_sheets([sheet], kind.rules, extra_allowed=kind.extra_allowed)
        if set(kind.required) <= set(sheet.frame.columns):
            frames[name] = sheet.frame
    return frames, problems


def load_study(root: Path) -> Study:
    """Read and check a whole study folder.

    Parameters
    ----------
    root : Path
        The study folder.

    Returns
    -------
    Study

    Raises
    ------
    StudyError
        With every problem of every sheet, of the raw files' paths and of every label file.
    """
    if not root.is_dir():
        raise StudyError([Problem(str(root), "there is no such study folder", "correct the setting study")])
    frames, problems = _read_sheets(root)
    problems += link_problems(frames)
    labels: Mapping[str, Mapping[str, Path]] = {}
    recordings = rows_of(frames["recordings"]) if "recordings" in frames else []
    if "recordings" in frames:
        problems += raw_file_problems(root, recordings)
        labels, found = label_files(root, [row.text("recording_id") for row in recordings])
        problems += found
        tasks = {row.text("recording_id"): row["task"] for row in recordings}
        problems += check_labels(
            [
                (path, path.relative_to(root).as_posix(), tasks[identifier])
                for identifier, raters in labels.items()
                for path in raters.values()
            ]
        )
    if not problems and not recordings:
        problems.append(Problem(RECORDINGS.file, "no recordings", "add one row for each raw file"))
    if problems:
        order = {kind.file: i for i, kind in enumerate((PARTICIPANTS, SENSORS, RECORDINGS, CHANNELS))}
        raise StudyError(sorted(problems, key=lambda p: (order.get(p.file, len(order)), p.file, p.row or 0)))
    channels = channel_rows(recordings, rows_of(frames["channels"]))
    people = [_participant(row) for row in rows_of(frames["participants"])]
    sensors = [_sensor(row) for row in rows_of(frames["sensors"])]
    found_recordings = [
        _recording(row, channels[row.text("recording_id")], labels.get(row.text("recording_id"), {}), root)
        for row in recordings
    ]
    return Study(
        root,
        {p.participant_id: p for p in sorted(people, key=lambda p: p.participant_id)},
        {s.sensor_id: s for s in sorted(sensors, key=lambda s: s.sensor_id)},
        {r.recording_id: r for r in sorted(found_recordings, key=lambda r: r.recording_id)},
    )
