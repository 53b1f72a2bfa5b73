"""A BIDS folder read like the four sheets of a study: participants, sessions, channels and events.

In: the root of a data set of the Brain Imaging Data Structure with motion recordings. Out: the sheets as frames of
strings, the hand labels, and of what cannot be used or is missing a `Problem` each; one that many files share is said
once. What the standard has no word for is read from columns of ``scans.tsv`` (the words of ``recordings.tsv``) and from
``StrainSensors`` of ``motion.json`` (those of ``sensors.tsv``), as `strainstudy.share` writes them.
"""

from __future__ import annotations

import json
import re
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any, Final

import pandas as pd

from ..errors import Problem, further_rows
from ..io.bids import DESCRIPTION, LABELS_PREFIX, MOTION, SENSORS_KEY, entities, merged_json, sidecars
from ..io.sheets import Sheet, read_sheet
from ..vocabulary import BODY_TASKS, INTERVALS, LABELLED, TASKS, TRACKED_POINTS, TRIAL_TYPES, UNITS
from .links import Row, rows_of
from .rules import PARTICIPANTS, RECORDINGS, SENSORS, SHEETS

__all__ = ["BidsFolder", "is_bids", "read_bids"]

Cells = dict[str, str | None]
_BENCH: Final = "sourcedata/bench"
_EVENTS: Final = "_events.tsv"
_SENSOR_COLUMNS: Final = tuple(name for name in SENSORS.known if name != "sensor_id")
_NOT_OURS: Final = ("filename", "acq_time", "recording_id", "task")
_MOST_NAMED: Final = 6
"""Kinds of channels that a message names (ours)."""


@dataclass
class BidsFolder:
    """What a BIDS folder holds of a study.

    Parameters
    ----------
    root : Path
    frames : dict of str to DataFrame
        The four sheets under numbers that are unique over all of them.
    labels : dict of str to dict of str to Path
        Recording to rater to file.
    places : dict of int to (str, int)
        File and line that a number stands for.
    files : list of Path
        What was read.
    problems : list of Problem
    """

    root: Path
    frames: dict[str, pd.DataFrame] = field(default_factory=dict)
    labels: dict[str, dict[str, Path]] = field(default_factory=dict)
    places: dict[int, tuple[str, int]] = field(default_factory=dict)
    files: list[Path] = field(default_factory=list)
    problems: list[Problem] = field(default_factory=list)

    def said(self, problem: Problem) -> Problem:
        """Say a problem of one of the four sheets with the file and line of this folder that it is about."""
        place = self.places.get(problem.row or 0)
        if place is None or problem.file not in {kind.file for kind in SHEETS.values()}:
            return problem

        def here(match: re.Match[str]) -> str:
            other = self.places.get(int(match[1]))
            return match[0] if other is None else f"row {other[1]} of {other[0]}"

        message, remedy = (re.sub(r"\brow (\d+)\b", here, text) for text in (problem.message, problem.remedy))
        return replace(problem, file=place[0], row=place[1], message=message, remedy=remedy)


def is_bids(root: Path) -> bool:
    """Say whether a folder is a BIDS data set and not a study of four sheets."""
    return (root / DESCRIPTION).is_file() and not (root / RECORDINGS.file).exists()


class _Reader:
    """One reading of a folder; what many files share is gathered and said once."""

    def __init__(self, root: Path) -> None:
        self.folder = BidsFolder(root)
        self.rows: dict[str, list[tuple[int, Cells]]] = {name: [] for name in SHEETS}
        self.shared: dict[tuple[str, str, str | None, bool], list[tuple[str, int | None, str | None]]] = {}
        self.sensors: dict[str, tuple[Cells, str]] = {}
        self.sheets: dict[Path, list[Row]] = {}

    def name(self, path: Path) -> str:
        return path.relative_to(self.folder.root).as_posix()

    def fault(
        self, path: Path, message: str, remedy: str, row: int | None = None, column: str | None = None,
        value: str | None = None, *, caution: bool = False,
    ) -> None:  # fmt: skip
        key = (message, remedy, column, caution)
        self.shared.setdefault(key, []).append((self.name(path), row, value))

    def add(self, sheet: str, cells: Cells, path: Path, row: int) -> None:
        number = len(self.folder.places) + 1
        self.folder.places[number] = (self.name(path), row)
        self.rows[sheet].append((number, cells))

    def table(self, path: Path, columns: Iterable[str]) -> list[Row]:
        """Read a table once; its faults are problems."""
        if path not in self.sheets:
            wanted = tuple(columns)
            sheet, found = read_sheet(path, self.name(path), wanted)
            self.folder.problems += found
            self.folder.files.append(path)
            self.sheets[path] = [] if sheet is None else self.rows_of(sheet, path, wanted)
        return self.sheets[path]

    def rows_of(self, sheet: Sheet, path: Path, wanted: Iterable[str]) -> list[Row]:
        missing = [name for name in wanted if name not in sheet.frame.columns]
        for name in missing:
            self.fault(path, "a required column is missing", "add it", 1, name)
        return [] if missing else rows_of(sheet.frame)

    def finish(self) -> BidsFolder:
        for name, kind in SHEETS.items():
            rows = self.rows[name]
            names = list(dict.fromkeys([*kind.required, *(n for _, cells in rows for n in cells)]))
            index = pd.Index([number for number, _ in rows], dtype="int64", name="row")
            table = [[cells.get(n) for n in names] for _, cells in rows]
            self.folder.frames[name] = pd.DataFrame(table, index=index, columns=names, dtype=object)
        for (message, remedy, column, caution), where in self.shared.items():
            file, row, value = where[0]
            more = len({other for other, *_ in where}) - 1
            of_files = f" (and in {more} further file{'s' if more > 1 else ''})" if more else further_rows(where)
            problem = Problem(file, message + of_files, remedy, row, column, value, caution)
            self.folder.problems.append(problem)
        return self.folder


def _participants(reader: _Reader) -> None:
    path = reader.folder.root / PARTICIPANTS.file
    named = set()
    if path.is_file():
        for row in reader.table(path, PARTICIPANTS.required):
            cells = dict(row.cells)
            # the standard's older way of not telling an age from 89 on
            if cells.get("age") == "89+":
                cells["age"] = "89"
            named.add(cells["participant_id"])
            reader.add("participants", cells, path, row.number)
    for folder in sorted(reader.folder.root.glob("sub-*")):
        if folder.is_dir() and folder.name not in named:
            reader.add("participants", {"participant_id": folder.name}, folder, 1)


def _listed(reader: _Reader, motion: Path, list_file: Path) -> tuple[Path, int, Cells]:
    """Find the row of a recording in its list; without one the file stands for itself."""
    if list_file.is_file():
        for row in reader.table(list_file, ["filename"]):
            if row["filename"] is not None and (list_file.parent / row.text("filename")) == motion:
                return list_file, row.number, dict(row.cells)
    return motion, 1, {}


def _scans(reader: _Reader, motion: Path) -> tuple[Path, int, Cells]:
    for folder in (motion.parent.parent, motion.parent.parent.parent):
        found = sorted(folder.glob("*_scans.tsv"))
        if found:
            return _listed(reader, motion, found[0])
    return motion, 1, {}


def _session_cells(reader: _Reader, subject: str, session: str | None) -> Cells:
    """Read what ``sessions.tsv`` adds to the recordings of a session, dates left out."""
    path = reader.folder.root / subject / f"{subject}_sessions.tsv"
    if session is None or not path.is_file():
        return {}
    for row in reader.table(path, ["session_id"]):
        if row["session_id"] == session:
            return {name: cell for name, cell in row.cells.items() if name not in ("session_id", "acq_time")}
    return {}


def _sensors(reader: _Reader, about: Mapping[str, Any], path: Path) -> None:
    given = about.get(SENSORS_KEY, {})
    if not isinstance(given, dict) or not all(isinstance(values, dict) for values in given.values()):
        reader.fault(path, f"{SENSORS_KEY} is no list of sensors", "give each sensor_id its values", column=SENSORS_KEY)
        return
    for sensor_id, values in given.items():
        cells: Cells = {"sensor_id": sensor_id}
        for name in _SENSOR_COLUMNS:
            value = values.get(name)
            cells[name] = None if value is None else value if isinstance(value, str) else json.dumps(value)
        earlier = reader.sensors.setdefault(sensor_id, (cells, reader.name(path)))
        if earlier[0] != cells:
            remedy = f"give it the same in both: {earlier[1]} has others"
            reader.fault(path, f"other values of sensor {sensor_id} than elsewhere", remedy, column=SENSORS_KEY)
        elif earlier[0] is cells:
            reader.add("sensors", cells, path, 1)


def _about(reader: _Reader, motion: Path) -> dict[str, Any] | None:
    paths = sidecars(motion, "motion.json")
    reader.folder.files += paths
    if not paths:
        reader.fault(motion, "no motion.json", "add it, with SamplingFrequency")
        return None
    try:
        return merged_json(paths)
    except ValueError as error:
        reader.folder.problems.append(Problem(reader.name(paths[-1]), str(error), "correct it"))
        return None


def _channels(
    reader: _Reader, motion: Path, identifier: str
) -> tuple[list[tuple[Cells, Path, int]], str | None] | None:
    """Choose the channels that a study has; the second is the channel of times."""
    paths = sidecars(motion, "channels.tsv")
    if not paths:
        reader.fault(motion, "no channels.tsv", "add it, with name, type, tracked_point and units")
        return None
    path = paths[-1]
    rows = reader.table(path, ["name", "type", "tracked_point", "units"])
    times = [row.text("name") for row in rows if row.text("type").upper() == "LATENCY"]
    used, passed = [], []
    for row in rows:
        if row["tracked_point"] in TRACKED_POINTS and row["units"] in UNITS:
            cells: Cells = {"recording_id": identifier}
            cells |= {name: row[name] for name in ("name", "tracked_point", "units", "sensor_id", "status")}
            used.append((cells, path, row.number))
        elif row.text("name") not in times:
            passed.append(row)
    if not rows:
        return None
    if not used:
        kinds = sorted({f"{row['type']} in {row['units'] or 'no unit'}" for row in passed})
        points = sorted({row.text("tracked_point") for row in passed} - {""})
        has = f"{', '.join(kinds[:_MOST_NAMED])}; tracked points {', '.join(points[:_MOST_NAMED]) or 'none'}"
        message = f"no channel of a knee or throat in units that are known: the file has {has}"
        remedy = (
            "give tracked_point as left_knee, right_knee or throat, and units as deg (type JNTANG) for an angle, V, mV,"
            " ohm or a.u. (type MISC) for a strain sensor; what the data set does not hold cannot be added"
        )
        reader.fault(path, message, remedy, column="tracked_point")
        return None
    if passed:
        message = f"{len(passed)} channels that are no knee's and no throat's are passed over"
        reader.fault(path, message, "none is needed", column="tracked_point", caution=True)
    return used, times[0] if times else None


def _task(reader: _Reader, motion: Path, cells: Cells) -> str | None:
    label = entities(motion.name).get("task")
    task = cells.get("task") or label
    if task in TASKS:
        return task
    remedy = f"add a column task to its scans.tsv, with one of: {', '.join(BODY_TASKS)}"
    reader.fault(motion, f"the task {label!r} is none of those known here", remedy, column="task", value=label)
    return None


def _recording(reader: _Reader, motion: Path, place: tuple[Path, int, Cells], more: Cells) -> str | None:
    """Add one recording with its channels and sensors; give its id, or None where it cannot be used."""
    path, number, listed = place
    task = _task(reader, motion, listed)
    about = _about(reader, motion)
    identifier = listed.get("recording_id") or motion.name.removesuffix(MOTION)
    channels = _channels(reader, motion, identifier)
    rate = None if about is None else about.get("SamplingFrequency")
    known = isinstance(rate, int | float) and not isinstance(rate, bool)
    if about is not None and not known and (channels is None or channels[1] is None):
        reader.fault(
            motion, "its motion.json gives no SamplingFrequency", "give it in hertz", column="SamplingFrequency"
        )
        return None
    if task is None or about is None or channels is None:
        return None
    used, time = channels
    stated = listed.get("sampling_frequency")
    if "sampling_frequency" not in listed or (stated is None and time is None):
        stated = json.dumps(rate) if known else None
    row: Cells = {"recording_id": identifier, "task": task, "file": reader.name(motion)}
    own = {name: cell for name, cell in listed.items() if name not in _NOT_OURS}
    row |= {"participant_id": None, "session_id": None, "sensor_id": None}
    row |= {**more, **own, "sampling_frequency": stated, "time_column": time}
    reader.add("recordings", row, path, number)
    for cells, file, line in used:
        reader.add("channels", cells, file, line)
    _sensors(reader, about, sidecars(motion, "motion.json")[-1])
    return identifier


def _datasets(root: Path) -> Iterator[tuple[str, Path]]:
    for folder in sorted((root / "derivatives").glob(f"{LABELS_PREFIX}*")):
        if folder.is_dir():
            yield folder.name.removeprefix(LABELS_PREFIX), folder


def _labels(reader: _Reader, motion: Path, identifier: str) -> None:
    """Find the labels of each rater, and events of the recording itself where they are in the words known here."""
    root, found = reader.folder.root, {}
    name = motion.name.removesuffix(MOTION) + _EVENTS
    for rater, dataset in _datasets(root):
        path = dataset / motion.parent.relative_to(root) / name
        if path.is_file():
            found[rater] = path
    own = sidecars(motion, "events.tsv")
    if own:
        sheet, _ = read_sheet(own[-1], reader.name(own[-1]), ["onset", "duration"])
        words = set() if sheet is None else set(sheet.frame.get("trial_type", pd.Series(dtype=object)).dropna())
        if words and words <= set(TRIAL_TYPES):
            found["events"] = own[-1]
        else:
            message = "events in other words than those known here are passed over"
            remedy = f"for labels, use the words of trial_type: {', '.join((*INTERVALS[:3], LABELLED))} and so on"
            reader.fault(own[-1], message, remedy, column="trial_type", caution=True)
    if found:
        reader.folder.labels[identifier] = found


def read_bids(root: Path) -> BidsFolder:
    """Read a BIDS folder with motion recordings as a study.

    Parameters
    ----------
    root : Path
        Where ``dataset_description.json`` lies.

    Returns
    -------
    BidsFolder
        Recordings with a fault are left out of its sheets, and the fault is among its problems.
    """
    reader = _Reader(root)
    reader.folder.files.append(root / DESCRIPTION)
    _participants(reader)
    recordings = 0
    for motion in sorted(root.glob(f"sub-*/**/motion/*{MOTION}")):
        recordings += 1
        parts = entities(motion.name)
        subject, session = f"sub-{parts.get('sub')}", None if "ses" not in parts else f"ses-{parts['ses']}"
        more = {**_session_cells(reader, subject, session), "participant_id": subject, "session_id": session}
        identifier = _recording(reader, motion, _scans(reader, motion), more)
        if identifier is not None:
            _labels(reader, motion, identifier)
    for motion in sorted((root / _BENCH).glob(f"*{MOTION}")):
        recordings += 1
        _recording(reader, motion, _listed(reader, motion, root / _BENCH / RECORDINGS.file), {})
    if not recordings:
        message = f"no motion recordings (sub-*/motion/*{MOTION}) in this data set"
        reader.fault(root / DESCRIPTION, message, "name the folder of a data set that has some, or of a study")
    return reader.finish()
