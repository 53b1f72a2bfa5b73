"""Result tables that no label changes: recordings, calibrations, knee bends, the bench, sensor health."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from pathlib import Path
from typing import Any

import pandas as pd

from ..bench.health import HEALTH_COLUMNS, HealthParameters, control_chart, flagged_recordings
from ..io.frames import read_frame, read_frames, read_rows
from ..jobs import Progress
from ..records import Participant, Recording
from ..tables import Column, write_table, write_typed
from ..tables.angles import CALIBRATIONS
from ..tables.bends import KNEE_BENDS
from ..tables.recordings import ADDED, RECORDINGS
from ..tables.sensors import BENCH_CYCLES, BENCH_STEPS, SENSOR_CURVES, SENSOR_HEALTH, SENSOR_LOOPS, SENSORS
from .bodies import sensor_of

__all__ = ["BENCH", "INPUTS", "run"]

BENCH_TABLES = {
    "sensors": SENSORS,
    "curves": SENSOR_CURVES,
    "loops": SENSOR_LOOPS,
    "cycles": BENCH_CYCLES,
    "steps": BENCH_STEPS,
}
BENCH = (*BENCH_TABLES, "uses")
INPUTS = ("quality", "calibrations", "calibrate_notes", "condition_notes", "knee_bends")
MOSTLY = 0.1
"""Share of impossible volts from which a sheet is more likely wrong than a sensor (ours: spikes are far fewer)."""


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


def _notes(told: pd.DataFrame) -> pd.Series:
    """Join the notes of a recording's traces into one text each."""
    parts: dict[str, list[str]] = {}
    for row in told.to_dict("records"):
        parts.setdefault(str(row["recording_id"]), []).extend(f"{row['tracked_point']}: {n}" for n in row["notes"])
    return pd.Series({recording: "; ".join(notes) for recording, notes in parts.items()}, dtype=object)


def _uses(recordings: Sequence[Recording], told: pd.DataFrame, bench: pd.DataFrame) -> pd.DataFrame:
    """List uses of sensors in the order of sessions: on people (measured rest resistance) and on the bench."""
    rest = {(str(r["recording_id"]), str(r["tracked_point"])): r["measured_rest_ohm"] for r in told.to_dict("records")}
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
    ]
    keys = ["sensor_id", "participant_id", "session_id", "recording_id"]
    worn = pd.DataFrame(rows, columns=[*keys, "rest_resistance"])
    both = [frame for frame in (worn, bench.assign(participant_id=None)) if len(frame)]
    uses = pd.concat(both, ignore_index=True) if both else worn
    return uses.sort_values(["session_id", "recording_id", "sensor_id"], kind="stable", ignore_index=True)


def _health(
    recordings: Sequence[Recording], told: pd.DataFrame, bench: pd.DataFrame, parameters: HealthParameters
) -> tuple[pd.DataFrame, pd.DataFrame]:
    uses = _uses(recordings, told, bench)
    chart = control_chart(uses, parameters) if len(uses) else pd.DataFrame(columns=list(HEALTH_COLUMNS))
    return chart, flagged_recordings(chart, uses)


def run(
    recordings: Sequence[Recording],
    participants: Mapping[str, Participant],
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
    health : HealthParameters
    inputs : mapping of str to sequence of Path
        Files of all batches: ``quality``, ``calibrations``, ``calibrate_notes``, ``condition_notes``, ``knee_bends``.
    bench : mapping of str to Path
        Frames of the bench by name, and ``uses``; empty for a study without a bench.
    typed : Path
        The table of recordings as Parquet, for validation.
    results : Path
        Results folder.
    progress : Progress
    """
    told = read_rows(inputs["calibrate_notes"])
    if told.empty:
        told = pd.DataFrame(columns=["recording_id", "tracked_point", "sensor_id", "rest_ohm", "impossible", "notes"])
    uses = read_frame(bench["uses"]) if bench else pd.DataFrame(columns=["sensor_id", "session_id", "recording_id"])
    conditioned = _condition_notes(inputs["condition_notes"])
    chart, flagged = _health(recordings, conditioned, uses, health)
    write_table(chart, SENSOR_HEALTH, results)

    carried, columns = _carried(recordings, participants, {*RECORDINGS.names, *(column.name for column in ADDED)})
    rows = read_rows(inputs["quality"]).merge(carried, on="recording_id", how="left")
    _degrade_impossible(rows, told)
    flags = flagged.groupby("recording_id")["reason"].agg("; ".join)
    rows["sensor_flag"] = rows["recording_id"].map(flags)
    both = pd.concat([frame[["recording_id", "tracked_point", "notes"]] for frame in (told, conditioned)])
    rows["notes"] = rows["recording_id"].map(_notes(both))
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


def _degrade_impossible(rows: pd.DataFrame, told: pd.DataFrame) -> None:
    """Do not call a recording good if its volts are mostly such as no resistance can give."""
    length = (rows["duration"] * rows["sampling_frequency"]).set_axis(rows["recording_id"])
    share = told["impossible"].astype(float) / told["recording_id"].map(length).astype(float)
    reasons: dict[str, list[str]] = {}
    for entry in told.assign(share=share)[share > MOSTLY].to_dict("records"):
        reason = (
            f"{entry['share']:.0%} of the volts of {str(entry['tracked_point']).replace('_', ' ')} are such as no"
            " resistance can give: correct units in channels.tsv, or excitation, gain or polarity in sensors.tsv"
        )
        reasons.setdefault(str(entry["recording_id"]), []).append(reason)
    for at in rows.index[rows["recording_id"].isin(list(reasons))]:
        before = rows.at[at, "status_description"]
        said = [*([before] if isinstance(before, str) else []), *reasons[str(rows.at[at, "recording_id"])]]
        rows.loc[at, ["status", "status_description"]] = ["degraded", "; ".join(said)]


def _condition_notes(paths: Sequence[Path]) -> pd.DataFrame:
    """Read the notes of conditioning, with the mains lines that were taken out said in words."""
    rows = read_rows(paths)
    if rows.empty:
        return pd.DataFrame(columns=["recording_id", "tracked_point", "notes", "measured_rest_ohm"])
    rows["notes"] = [
        [*notes, *([f"mains hum notched at {', '.join(f'{f:.4g}' for f in hum)} Hz"] if hum else [])]
        for notes, hum in zip(rows["notes"], rows["hum_hz"], strict=True)
    ]
    return rows[["recording_id", "tracked_point", "notes", "measured_rest_ohm"]]
