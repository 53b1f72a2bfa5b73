"""A person with as many sessions, walks and faults as a test wants, made of rows as the result tables have them."""

from __future__ import annotations

from typing import Any

import numpy as np
import pandas as pd
from strainstudy.gait.published_curve import PUBLISHED_CURVE_DEG, PUBLISHED_CURVE_PERCENT
from strainstudy.people.facts import TABLES, Facts, facts_of
from strainstudy.people.measure_words import WALK_MEASURES
from strainstudy.records import Channel, Participant, Recording

__all__ = ["invented_facts", "invented_tables", "recordings_of_person"]

Row = dict[str, Any]
SENSORS = {"left_knee": "K-left", "right_knee": "K-right", "throat": "T-1"}


def recordings_of_person(
    person: str = "sub-01", sessions: int = 2, tasks: tuple[str, ...] = ("bend", "walk", "free", "swallow", "water")
) -> tuple[Recording, ...]:
    """Recordings of a person; all sensors are worn in all of them."""
    channels = tuple(Channel(point, point, "V", sensor) for point, sensor in SENSORS.items())
    return tuple(
        Recording(
            f"{person}_ses-{k}_{task}", {"water": "swallow"}.get(task, task), None, "", person, f"ses-{k}",
            channels=channels,
        )
        for k in range(1, sessions + 1)
        for task in tasks
    )  # fmt: skip


def _filled(name: str, rows: list[Row]) -> pd.DataFrame:
    return pd.DataFrame([dict.fromkeys(TABLES[name]) | row for row in rows], columns=list(TABLES[name]))


def _of_a_recording(recording: Recording) -> dict[str, list[Row]]:
    name, task = recording.recording_id, recording.recording_id.split("_")[-1]
    rows: dict[str, list[Row]] = {table: [] for table in TABLES}
    rows["recordings"] = [
        {"recording_id": name, "duration": 80.0, "status": "good", "channels": "left_knee, right_knee, throat"}
    ]
    if task in ("walk", "free"):
        curve = np.interp(np.arange(101), PUBLISHED_CURVE_PERCENT, PUBLISHED_CURVE_DEG)
        for k, state in enumerate(("normal_gait", "limping_gait")):
            measured = {f"{m}{end}": 10.0 + k for m in WALK_MEASURES for end in ("", "_low", "_high")}
            rows["gait"].append(
                {"recording_id": name, "trial_type": state, "n_strides_left": 16, "n_strides_right": 17,
                 "warning": "fewer than 20 steady strides", "prediction": "out_of_fold", "verdict": "gait",
                 "verdict_side": "left", **measured}
            )  # fmt: skip
            side = "left" if k else None
            rows["bouts"].append(
                {"recording_id": name, "onset": 40.0 * k, "duration": 40.0, "trial_type": state, "limping_side": side}
            )
            rows["curves"] += [
                {"recording_id": name, "trial_type": state, "side": side, "percent": p, "mean": v, "sd": 3.0, "n": 16}
                for side in ("left", "right")
                for p, v in enumerate(curve)
            ]
        rows["events"] = [
            {"recording_id": name, "onset": 0.6 * k, "duration": 0.0, "trial_type": "initial_contact",
             "side": ("left", "right")[k % 2]}
            for k in range(130)
        ]  # fmt: skip
    if task == "bend":
        rows["bends"] = [
            {"recording_id": name, "side": side, "onset": 10.0 * k, "duration": 5.0, "angle": 15.0 * k + 1,
             "angle_low": 15.0 * k - 3, "angle_high": 15.0 * k + 5}
            for k in range(1, 7)
            for side in ("left", "right")
        ]  # fmt: skip
    if task in ("swallow", "water", "free"):
        volume = 100.0 if task == "water" else np.nan
        rows["summary"] = [
            {"recording_id": name, "swallow_count": 12, "rate": 9.0, "rate_low": 4.0, "rate_high": 15.0,
             "duration_mean": 1.0, "interval_mean": 5.0, "volume": volume, "volume_per_swallow": volume / 6,
             "swallowing_speed": volume / 10, "prediction": "out_of_fold",
             "sensor_note": "12 of 12 swallows reach the limit of the recording" if task == "swallow" else None}
        ]  # fmt: skip
    return rows


def invented_tables(recordings: tuple[Recording, ...], changed: int = 8) -> dict[str, pd.DataFrame]:
    """Tables of a study of the people of these recordings; ``changed`` measures changed by more than their error."""
    rows: dict[str, list[Row]] = {table: [] for table in TABLES}
    for recording in recordings:
        for table, own in _of_a_recording(recording).items():
            rows[table] += own
    seats = sorted({(r.participant_id, r.session_id) for r in recordings})
    rows["calibrations"] = [
        {"participant_id": person, "session_id": session, "tracked_point": point, "sensor_id": SENSORS[point],
         "status": "fitted", "source": "holds", "hold_count": 9, "repeatability": 2.1}
        for person, session in seats
        for point in ("left_knee", "right_knee")
    ]  # fmt: skip
    for person in sorted({person for person, _ in seats}):
        later = max(session for who, session in seats if who == person)
        rows["change"] += [
            {"participant_id": person, "trial_type": "normal_gait", "measure": measure, "unit": "1",
             "session_id": "ses-1", "later_session_id": later, "value": 1.0, "later_value": 3.0, "change": 2.0,
             "change_low": 1.0, "change_high": 3.0, "minimal_detectable_change": 1.0 if k < changed else 4.0,
             "exceeds": k < changed, "error_basis": "sessions of the other people",
             "others_detectable_change": 1.0 if k < changed else 4.0}
            for k, measure in enumerate(WALK_MEASURES)
        ]  # fmt: skip
        rows["norms"].append(
            {"participant_id": person, "session_id": "ses-1", "measure": "cadence", "counts": True,
             "published_low": 95.0, "published_high": 125.0, "source": "A 2000"}
        )  # fmt: skip
    tables = {name: _filled(name, own) for name, own in rows.items()}
    tables["change"]["exceeds"] = tables["change"]["exceeds"].astype("boolean")
    return tables


def invented_facts(person: Participant | None = None, sessions: int = 2, **changes: list[Row]) -> Facts:
    """Facts of a person; further rows are added to the tables named."""
    whose = Participant("sub-01", 64.0, "female", "stroke", "left") if person is None else person
    recordings = recordings_of_person(whose.participant_id, sessions)
    tables = invented_tables(recordings)
    for name, rows in changes.items():
        tables[name] = pd.concat([tables[name], _filled(name, rows)], ignore_index=True)
    held = pd.DataFrame(
        [(10.0 * k + 0.5, 5.0, "knee_bend", side, 15.0 * k) for k in range(1, 7) for side in ("left", "right")],
        columns=["onset", "duration", "trial_type", "side", "value"],
    )
    return facts_of(whose, recordings, tables, {r.recording_id: held for r in recordings if r.task == "bend"})
