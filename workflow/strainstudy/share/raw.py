"""The raw data of the shared folder: participants, sessions, recordings, samples, channels and labels.

In: a checked study. Out: text by name below the shared folder, one recording at a time, so that only one is in memory.
"""

from __future__ import annotations

import json
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import asdict
from pathlib import PurePosixPath
from typing import Any, Final

from ..io.bids import DESCRIPTION, SENSORS_KEY
from ..io.labels import LABEL_COLUMNS
from ..io.sheets import read_sheet
from ..records import Channel, Participant, Recording, Study
from ..vocabulary import MISSING
from .columns import Pseudonyms
from .names import BENCH, TRACKING, Layout
from .parameters import ShareParameters
from .samples import Samples
from .words import (
    BENCH_README,
    CHANNEL_WORDS,
    LABELS_README,
    PARTICIPANT_WORDS,
    RECORDING_WORDS,
    SESSION_WORDS,
    TASK_WORDS,
    described,
    events_words,
)

__all__ = ["BIDS_VERSION", "dataset_files", "json_text", "label_files", "number_text", "recording_files", "tsv_text"]

BIDS_VERSION: Final = "1.10.0"
_OLDEST: Final = 89.0
"""Years; older people are few enough to be known by their age (the standard's recommendation)."""
_KINDS: Final = ("ACCEL", "ANGACCEL", "GYRO", "JNTANG", "LATENCY", "MAGN", "MISC", "ORNT", "POS", "VEL")
"""Types of channels that Motion-BIDS counts."""
_BRIDGE_UNITS: Final = "V for excitation_v, ohm for resistances, mm for gauge_length_mm"


def json_text(content: Any) -> str:
    """Write a JSON document as everywhere in the results."""
    return json.dumps(content, indent=1, ensure_ascii=False, allow_nan=False) + "\n"


def number_text(value: float | None) -> str:
    """Write a number in the fewest digits that give it back."""
    if value is None:
        return MISSING
    return str(int(value)) if float(value).is_integer() and abs(value) < 1e15 else repr(float(value))


def _plain(value: float) -> float:
    """Give a whole number as one, so that it is written without a point."""
    return int(value) if float(value).is_integer() else value


def tsv_text(header: Sequence[str], rows: Iterable[Sequence[str | None]]) -> str:
    """Write a table with ``n/a`` where a cell is missing."""
    lines = ["\t".join(header), *("\t".join(MISSING if cell is None else cell for cell in row) for row in rows)]
    return "\n".join(lines) + "\n"


def _own(sheet: str, rows: Iterable[Mapping[str, str]], allowed: set[str]) -> list[str]:
    """Name the lab's own columns of a sheet that may leave, in their order."""
    return [name for name in dict.fromkeys(n for row in rows for n in row) if f"{sheet}.{name}" in allowed]


def _allowed(parameters: ShareParameters) -> set[str]:
    return set(parameters.allow_columns or ())


def _participants(study: Study, names: Pseudonyms, allowed: set[str]) -> dict[str, str]:
    people = sorted(study.participants.values(), key=lambda p: names.participants[p.participant_id])

    def cells(person: Participant) -> dict[str, str | None]:
        age = None if person.age is None else number_text(min(person.age, _OLDEST))
        return {"age": age, "sex": person.sex, "group": person.group, "affected_side": person.affected_side}

    fixed = [name for name in ("age", "sex", "group", "affected_side") if any(cells(p)[name] for p in people)]
    fixed = [name for name in fixed if name != "group" or "participants.group" in allowed]
    own = _own("participants", (p.extra for p in people), allowed)
    rows = [
        [names.participants[p.participant_id], *(cells(p)[n] for n in fixed), *(p.extra.get(n) for n in own)]
        for p in people
    ]
    header = ["participant_id", *fixed, *own]
    return {
        "participants.tsv": tsv_text(header, rows),
        "participants.json": json_text(described(PARTICIPANT_WORDS, header[1:])),
    }


def _recording_cells(recording: Recording, places: Layout) -> dict[str, str | None]:
    sensor = recording.sensor_id
    return {
        "recording_id": recording.recording_id,
        "task": recording.task,
        "session_id": None if recording.session_id is None else places.names.sessions[recording.session_id],
        "sensor_id": None if sensor is None else places.names.sensors[sensor],
        "sampling_frequency": number_text(recording.sampling_frequency),
        "volume_ml": None if recording.volume_ml is None else number_text(recording.volume_ml),
        "walkway": recording.walkway,
        "reference_use": recording.reference_use,
    }


def _lists(recordings: Sequence[Recording], places: Layout, allowed: set[str]) -> dict[str, str]:
    """Write the lists of recordings: one for each person or session, one of the bench, all with the same columns."""
    body = [r for r in recordings if r.participant_id is not None]
    bench = [r for r in recordings if r.participant_id is None]
    files: dict[str, str] = {}
    for kind, rows in (("scans", body), ("bench", bench)):
        cells = {r.recording_id: _recording_cells(r, places) for r in rows}
        fixed = [n for n in _recording_cells_of(kind) if any(cells[r.recording_id][n] for r in rows)]
        fixed = [n for n in fixed if n != "recording_id" or "recordings.recording_id" in allowed]
        own = _own("recordings", (r.extra for r in rows), allowed)
        header = ["filename", *fixed, *own]
        by_list: dict[str, list[list[str | None]]] = {}
        for r in rows:
            name = places.scans(r)
            motion = str(PurePosixPath(places.motion(r)).relative_to(PurePosixPath(name).parent))
            row = [motion, *(cells[r.recording_id][n] for n in fixed), *(r.extra.get(n) for n in own)]
            by_list.setdefault(name, []).append(row)
        files |= {name: tsv_text(header, sorted(found, key=str)) for name, found in by_list.items()}
        if rows:
            name = "scans.json" if kind == "scans" else f"{BENCH}/recordings.json"
            files[name] = json_text(described(RECORDING_WORDS, header[1:]))
    if bench:
        files["sourcedata/README.md"] = BENCH_README
    return files


def _recording_cells_of(kind: str) -> tuple[str, ...]:
    """Name the columns of a list of recordings; what a file's name says is not said again."""
    of_all = ("recording_id", "sensor_id", "sampling_frequency", "volume_ml", "walkway", "reference_use")
    return of_all if kind == "scans" else (of_all[0], "task", "session_id", *of_all[1:])


def _sessions(recordings: Sequence[Recording], places: Layout) -> dict[str, str]:
    found: dict[str, set[str]] = {}
    for recording in recordings:
        if recording.participant_id is not None and recording.session_id is not None:
            name = places.sessions(recording.participant_id)
            found.setdefault(name, set()).add(places.names.sessions[recording.session_id])
    files = {name: tsv_text(["session_id"], [[when] for when in sorted(sessions)]) for name, sessions in found.items()}
    return {**files, "sessions.json": json_text(described(SESSION_WORDS, ["session_id"]))} if files else {}


def dataset_files(
    study: Study, recordings: Sequence[Recording], places: Layout, parameters: ShareParameters, version: str
) -> dict[str, str]:
    """Write what belongs to the data set as a whole, but for its README.

    Parameters
    ----------
    study : Study
    recordings : sequence of Recording
        Those whose samples were written.
    places : Layout
    parameters : ShareParameters
    version : str
        Of the package.

    Returns
    -------
    dict of str to str
        Text by name below the shared folder.
    """
    allowed = _allowed(parameters)
    description: dict[str, Any] = {
        "Name": parameters.dataset_name,
        "BIDSVersion": BIDS_VERSION,
        "DatasetType": "raw",
        "GeneratedBy": [{"Name": "strainstudy", "Version": version}],
    }
    if parameters.license is not None:
        description["License"] = parameters.license
    if parameters.authors is not None:
        description["Authors"] = list(parameters.authors)
    return {
        DESCRIPTION: json_text(description),
        "channels.json": json_text(described(CHANNEL_WORDS, ["sensor_id"])),
        **_participants(study, places.names, allowed),
        **_lists(recordings, places, allowed),
        **_sessions(recordings, places),
    }


def _channel_name(channel: Channel, allowed: set[str]) -> str:
    if "channels.name" in allowed:
        return channel.name
    return f"{channel.tracked_point}_{channel.units.replace('.', '')}"


def recording_files(
    recording: Recording, samples: Samples, study: Study, places: Layout, parameters: ShareParameters
) -> dict[str, str]:
    """Write samples, channels and what is to be known of them, for one recording."""
    allowed, names = _allowed(parameters), places.names
    stem = places.stems[recording.recording_id]
    header = ["name", "component", "type", "tracked_point", "units", "sensor_id", "status"]
    rows: list[list[str | None]] = []
    if samples.times_s is not None:
        own = samples.in_seconds and "channels.name" in allowed and recording.time_column is not None
        rows.append([recording.time_column if own else "time_s", None, "LATENCY", None, "s", None, None])
    used = []
    for channel in samples.channels:
        sensor = None if channel.sensor_id is None else names.sensors[channel.sensor_id]
        kind = "JNTANG" if channel.units == "deg" else "MISC"
        name = _channel_name(channel, allowed)
        rows.append([name, None, kind, channel.tracked_point, channel.units, sensor, channel.status])
        used += [channel.sensor_id] if channel.sensor_id is not None else []
    counts = {f"{kind}ChannelCount": sum(row[2] == kind for row in rows) for kind in _KINDS}
    bridges = {}
    for sensor_id in sorted({*used, *([recording.sensor_id] if recording.sensor_id is not None else [])}):
        values = asdict(study.sensors[sensor_id])
        bridges[names.sensors[sensor_id]] = {
            name: _plain(value) for name, value in values.items() if name != "sensor_id" and value is not None
        }
    rate, effective = (_plain(value) for value in (samples.sampling_frequency, round(samples.effective, 9)))
    about: dict[str, Any] = {
        "TaskName": recording.task,
        "TaskDescription": TASK_WORDS[recording.task],
        "SamplingFrequency": rate,
        "SamplingFrequencyEffective": effective,
        "RecordingDuration": round(samples.duration_s, 6),
        "TrackingSystemName": TRACKING,
        "MotionChannelCount": len(rows),
        "TrackedPointsCount": len({row[3] for row in rows} - {None}),
        **counts,
        "MissingValues": MISSING,
    }
    if bridges:
        about |= {SENSORS_KEY: bridges, f"{SENSORS_KEY}Units": _BRIDGE_UNITS}
    return {
        f"{stem}_motion.tsv": samples.text,
        f"{stem}_channels.tsv": tsv_text(header, rows),
        f"{stem}_motion.json": json_text(about),
    }


def label_files(recordings: Sequence[Recording], places: Layout, version: str) -> dict[str, str]:
    """Write the labels of each rater as a derivative of its own; columns that a rater added stay in the lab."""
    files: dict[str, str] = {}
    for recording in recordings:
        for rater, path in sorted(recording.labels.items()):
            name = places.labels(recording, rater)
            sheet, _ = read_sheet(path, path.name, LABEL_COLUMNS)
            if name is None or sheet is None:
                continue
            header = [column for column in LABEL_COLUMNS if column in sheet.frame.columns]
            files[name] = tsv_text(header, sheet.frame[header].itertuples(index=False, name=None))
            dataset = "/".join(PurePosixPath(name).parts[:2])
            files[f"{dataset}/{DESCRIPTION}"] = json_text(
                {
                    "Name": f"Hand labels of {places.names.raters[rater]}",
                    "BIDSVersion": BIDS_VERSION,
                    "DatasetType": "derivative",
                    "GeneratedBy": [
                        {"Name": "Manual", "Description": "Labels that one rater gave by hand"},
                        {"Name": "strainstudy", "Version": version, "Description": "Brought into this form"},
                    ],
                }
            )
            files[f"{dataset}/README.md"] = LABELS_README
            files[f"{dataset}/events.json"] = json_text(events_words("Hand labels of one rater.", LABEL_COLUMNS))
    return files
