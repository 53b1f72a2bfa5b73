"""Result tables that no label changes: recordings, calibrations, knee bends, the bench, sensor health."""

from __future__ import annotations

from collections.abc import Container, Iterable, Mapping, Sequence
from pathlib import Path
from typing import Any

import pandas as pd

from ..bench.health import HEALTH_COLUMNS, HealthParameters, control_chart, flagged_recordings
from ..io.frames import read_frame, read_frames, read_json, read_rows
from ..jobs import Progress
from ..records import Participant, Recording, Sensor
from ..tables import Column, write_table, write_typed
from ..tables.angles import CALIBRATIONS
from ..tables.bends import KNEE_BENDS
from ..tables.faults import FAULTS
from ..tables.recordings import ADDED, RECORDINGS
from ..tables.sensors import BENCH_CYCLES, BENCH_STEPS, SENSOR_CURVES, SENSOR_HEALTH, SENSOR_LOOPS, SENSORS
from .bodies import sensor_of
from .fault_list import (
    Found,
    fault_rows,
    gains_named,
    impossible_faults,
    noted_faults,
    reversed_seats,
    sensor_faults,
    walking_faults,
)

__all__ = ["BENCH", "INPUTS", "run"]

BENCH_TABLES = {
    "sensors": SENSORS,
    "curves": SENSOR_CURVES,
    "loops": SENSOR_LOOPS,
    "cycles": BENCH_CYCLES,
    "steps": BENCH_STEPS,
}
BENCH = (*BENCH_TABLES, "uses")
INPUTS = ("quality", "calibrations", "calibrate_notes", "condition_notes", "segment_notes", "knee_bends")


def _own_names(rows: Iterable[Mapping[str, Any]], prefix: str, taken: set[str]) -> dict[str, str]:
    """Give each of the lab's columns a name that no other column has; ``taken`` grows by them."""
    names: dict[str, str] = {}
    for name in dict.fromkeys(name for row in rows for name in row):
        free = name
        while free in taken:
            free = f"{prefix}{free}"
        names[name] = free
        taken.add(free)
    return names


def _carried(
    recordings: Sequence[Recording], participants: Mapping[str, Participant], taken: set[str]
) -> tuple[pd.DataFrame, list[Column]]:
    """Gather what the sheets say of person and recording beyond the fixed columns, one row per recording."""
    people: dict[str, dict[str, Any]] = {
        name: {
            "age": p.age,
            "sex": p.sex,
            "group": p.group,
            "affected_side": p.affected_side,
            **p.extra,
        }
        for name, p in participants.items()
    }
    taken = {*taken, "recording_id"}
    from_sheet = _own_names((r.extra for r in recordings), "sheet_", taken)
    from_people = _own_names(people.values(), "participant_", taken)
    rows = [
        {"recording_id": recording.recording_id}
        | {from_sheet[name]: value for name, value in recording.extra.items()}
        | {from_people[name]: value for name, value in people.get(recording.participant_id or "", {}).items()}
        for recording in recordings
    ]
    frame = pd.DataFrame(rows)
    age = from_people.get("age")
    names = [name for name in frame.columns if name != "recording_id"]
    columns = [
        Column(
            name,
            "number" if name == age else "string",
            name.replace("_", " ").capitalize(),
            "As the study's sheets have it.",
            "years" if name == age else None,
        )
        for name in names
    ]
    return frame, columns


def _notes(conditioned: Sequence[Mapping[str, Any]], calibrated: Sequence[Mapping[str, Any]]) -> pd.Series:
    """Join the notes of a recording's traces into one text each: first what was assumed, then what was done."""
    angles = {(row["recording_id"], row["tracked_point"]): row["notes"] for row in calibrated}
    # what was assumed of a bridge that was wired in reverse holds no more
    turned = {(row["recording_id"], row["tracked_point"]) for row in calibrated if row["faults"]}
    parts: dict[str, list[str]] = {row["recording_id"]: [] for row in conditioned}

    def add(row: Mapping[str, Any], notes: Iterable[str]) -> None:
        parts[row["recording_id"]] += [f"{row['tracked_point']}: {note}" for note in notes]

    for row in conditioned:
        if (row["recording_id"], row["tracked_point"]) not in turned:
            add(row, row["assumed"])
    for row in conditioned:
        hum = ", ".join(f"{f:.4g}" for f in row["hum_hz"])
        add(row, row["notes"])
        add(row, angles.get((row["recording_id"], row["tracked_point"]), ()))
        add(row, [f"mains hum notched at {hum} Hz"] if hum else [])
    return pd.Series({recording: "; ".join(notes) for recording, notes in parts.items()}, dtype=object)


def _uses(
    recordings: Sequence[Recording],
    calibrated: Sequence[Mapping[str, Any]],
    bench: pd.DataFrame,
    withheld: Container[tuple[Any, ...]],
) -> pd.DataFrame:
    """List uses of sensors in the order of sessions: on people (measured rest resistance) and on the bench.

    Where a bridge is wired in reverse and nothing turned it, its session measured no resistance (``withheld``).
    """
    rest = {(row["recording_id"], row["tracked_point"]): row["measured_rest_ohm"] for row in calibrated}
    rows = [
        {
            "sensor_id": sensor_of(recording, point),
            "participant_id": recording.participant_id,
            "session_id": recording.session_id,
            "recording_id": recording.recording_id,
            "rest_resistance": value,
        }
        for recording in recordings
        for point in {channel.tracked_point: None for channel in recording.channels}
        if pd.notna(value := rest.get((recording.recording_id, point)))
        and (recording.participant_id, recording.session_id, point, sensor_of(recording, point)) not in withheld
    ]
    keys = ["sensor_id", "participant_id", "session_id", "recording_id"]
    worn = pd.DataFrame(rows, columns=[*keys, "rest_resistance"])
    both = [frame for frame in (worn, bench.assign(participant_id=None)) if len(frame)]
    uses = pd.concat(both, ignore_index=True) if both else worn
    return uses.sort_values(["session_id", "recording_id", "sensor_id"], kind="stable", ignore_index=True)


def _used(recordings: Sequence[Recording]) -> pd.DataFrame:
    """List which recording used which sensor, of whom and in which session; measured or not."""
    rows = [
        {
            "recording_id": recording.recording_id,
            "sensor_id": sensor,
            "participant_id": recording.participant_id,
            "session_id": recording.session_id,
        }
        for recording in recordings
        for point in {channel.tracked_point: None for channel in recording.channels}
        if (sensor := sensor_of(recording, point)) is not None
    ]
    return pd.DataFrame(rows, columns=["recording_id", "sensor_id", "participant_id", "session_id"])


def run(
    recordings: Sequence[Recording],
    participants: Mapping[str, Participant],
    sensors: Mapping[str, Sensor],
    *,
    health: HealthParameters,
    inputs: Mapping[str, Sequence[Path]],
    bench: Mapping[str, Path],
    typed: Path,
    results: Path,
    progress: Progress,
) -> None:
    """Write the tables that no label changes.

    Parameters
    ----------
    recordings : sequence of Recording
        All of the study.
    participants : mapping of str to Participant
    sensors : mapping of str to Sensor
    health : HealthParameters
    inputs : mapping of `INPUTS` to sequence of Path
        Files of all batches.
    bench : mapping of str to Path
        Frames of the bench by name, and ``uses``; empty for a study without a bench.
    typed : Path
        The table of recordings as Parquet, for validation.
    results : Path
        Results folder.
    progress : Progress
    """
    conditioned, calibrated = (
        [row for path in inputs[f"{stage}_notes"] for row in read_json(path)] for stage in ("condition", "calibrate")
    )
    uses = read_frame(bench["uses"]) if bench else pd.DataFrame(columns=["sensor_id", "session_id", "recording_id"])
    segmented = {name: notes for path in inputs["segment_notes"] for name, notes in read_json(path).items()}
    known = {recording.recording_id: recording for recording in recordings}
    withheld = reversed_seats(segmented, known)
    measured = _uses(recordings, calibrated, uses, withheld)
    chart = control_chart(measured, health) if len(measured) else pd.DataFrame(columns=list(HEALTH_COLUMNS))
    flagged = flagged_recordings(chart, _used(recordings))
    write_table(chart, SENSOR_HEALTH, results)

    carried, columns = _carried(recordings, participants, {*RECORDINGS.names, *(column.name for column in ADDED)})
    quality = [row for path in inputs["quality"] for row in read_json(path)]
    rows = pd.DataFrame(quality).drop(columns="faults").merge(carried, on="recording_id", how="left")
    length = dict(zip(rows["recording_id"], rows["duration"] * rows["sampling_frequency"], strict=True))
    later = [
        impossible_faults(conditioned, length, known),
        noted_faults(calibrated),
        walking_faults(segmented, known, sensors),
    ]
    _degrade(rows, later)
    faults = fault_rows([gains_named(noted_faults(quality), sensors), *later], known, sensor_faults(chart))
    write_table(faults, FAULTS, results)
    flags = flagged.groupby("recording_id")["reason"].agg("; ".join)
    rows["sensor_flag"] = rows["recording_id"].map(flags)
    rows["notes"] = rows["recording_id"].map(_notes(conditioned, calibrated))
    rows["volume_ml"] = rows["recording_id"].map({r.recording_id: r.volume_ml for r in recordings})
    write_table(rows, RECORDINGS, results, [*ADDED, *columns])
    write_typed(rows, RECORDINGS, typed, [*ADDED, *columns])

    calibrations = read_rows(inputs["calibrations"])
    write_table(CALIBRATIONS.of(calibrations), CALIBRATIONS, results)
    bends = read_frames(inputs["knee_bends"])
    write_table(KNEE_BENDS.of(bends), KNEE_BENDS, results)
    for name, spec in BENCH_TABLES.items():
        write_table(read_frame(bench[name]) if bench else spec.empty(), spec, results)
    counts = rows["status"].value_counts()
    progress.say(", ".join(f"{counts.get(word, 0)} {word}" for word in ("good", "degraded", "rejected")))


def _degrade(rows: pd.DataFrame, parts: Sequence[Found]) -> None:
    """Do not call a recording good of which a stage after ingest found a fault."""
    for found in parts:
        for at in rows.index[rows["recording_id"].isin(list(found))]:
            before = rows.at[at, "status_description"]
            reasons = [fault.said for fault in found[str(rows.at[at, "recording_id"])]]
            said = [*([before] if isinstance(before, str) else []), *reasons]
            rows.loc[at, ["status", "status_description"]] = ["degraded", "; ".join(said)]
