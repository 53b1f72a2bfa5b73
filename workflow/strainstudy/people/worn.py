"""What a person wore in each session, and what was wrong with it; nobody else is named."""

from __future__ import annotations

import pandas as pd

from ..records import Recording
from .facts import NO_SESSION, Facts, rows_of
from .measure_words import fixed

__all__ = ["faults_of", "worn_at"]


def _sensor(recording: Recording, point: str) -> str | None:
    for channel in recording.channels:
        if channel.tracked_point == point and channel.units != "deg":
            return channel.sensor_id or recording.sensor_id or "sensor not named"
    return None


def worn_at(facts: Facts, session: str, point: str) -> str:
    """Say which sensors were worn at a place in a session, and how its angle was made; a dash where there was none."""
    recorded = facts.of("recordings", session).set_index("recording_id")["channels"]
    used = {name for name, points in recorded.items() if point in str(points).split(", ")}
    own = [r for r in facts.in_session(session) if r.recording_id in used]
    names = sorted({name for r in own if (name := _sensor(r, point)) is not None})
    if not names:
        return "an angle that was recorded" if own else "\u2013"
    calibrations = facts.of("calibrations", session)
    words = []
    for name in names:
        maps = calibrations[(calibrations["tracked_point"] == point) & (calibrations["sensor_id"] == name)]
        words.append(f"{name}{_calibrated(maps)}" if point != "throat" else name)
    return "; ".join(words)


def _calibrated(maps: pd.DataFrame) -> str:
    if maps.empty:
        return ", no degrees: no holds at known angles"
    row = maps.iloc[0]
    if row["status"] != "fitted":
        return f", no degrees: {row['status_description']}"
    if row["source"] == "holds":
        spread = f", scatter {fixed(row['repeatability'], 1)}\u00b0 (SD)" if pd.notna(row["repeatability"]) else ""
        return f", degrees by {row['hold_count']} holds{spread}"
    left_out = f", error {fixed(row['left_out_error'], 1)}\u00b0 on what was left out"
    return f", degrees by a reference{left_out if pd.notna(row['left_out_error']) else ''}"


def faults_of(facts: Facts) -> list[str]:
    """Give every fault of recordings and sensors of the sessions shown, in words."""
    odd: dict[str, list[str]] = {}
    refused = []
    for session in facts.sessions:
        for row in rows_of(facts.of("recordings", session)):
            if row["status"] != "good":
                reason = f"{row['status']}: {row['status_description']}"
                odd.setdefault(reason, []).append(f"{session} {facts.short(row['recording_id'])}")
        for row in rows_of(facts.of("calibrations", session)):
            if row["status"] != "fitted":
                where = str(row["tracked_point"]).replace("_", " ")
                refused.append(
                    f"{session}, {where}, sensor {row['sensor_id']}: no degrees; {row['status_description']}."
                )
    said = [f"{', '.join(recordings)}, {reason}." for reason, recordings in odd.items()] + refused
    return said + _health(facts)


def _last_worn(facts: Facts) -> dict[str, str]:
    """Give the last session in which each sensor was worn here; those worn in one without a name are left out."""
    last: dict[str, str] = {}
    unnamed = set()
    for recording in facts.recordings:
        for channel in recording.channels:
            sensor = channel.sensor_id or recording.sensor_id
            if sensor and recording.session_id is None:
                unnamed.add(sensor)
            elif sensor and recording.session_id is not None:
                last[sensor] = max(recording.session_id, last.get(sensor, recording.session_id))
    return {sensor: session for sensor, session in last.items() if sensor not in unnamed}


def _health(facts: Facts) -> list[str]:
    """Say where the sensors that this person wore left their limits: here, on the bench, or on somebody else."""
    health = facts.tables["health"]
    worn = _last_worn(facts)
    said: list[str] = []
    elsewhere: dict[tuple[str, str], list[str]] = {}
    for row in rows_of(health[health["flagged"].fillna(value=False).astype(bool)]):
        why = str(row["reason"]).replace(" -", " \u2212")
        if row["participant_id"] == facts.person.participant_id:
            session = row["session_id"] if isinstance(row["session_id"], str) else NO_SESSION
            said.append(
                f"{session}, sensor {row['sensor_id']}: {why}. Doubt the amplitudes of this session; look at its "
                "contacts and leads, and put it on the bench again."
            )
            continue
        where = "on another person"
        if not isinstance(row["participant_id"], str):
            session, last = row["session_id"], worn.get(str(row["sensor_id"]))
            # sessions of the bench are those of the study; another person's may be of other days than one's own
            if isinstance(session, str) and last is not None and last < session:
                continue
            where = f"on the bench in {session}" if isinstance(session, str) else "on the bench"
        elsewhere.setdefault((str(row["sensor_id"]), where), []).append(why)
    for (sensor, where), reasons in elsewhere.items():
        said.append(f"Sensor {sensor}, worn here too, {where}: {'; '.join(reasons)}. Test it before it is worn again.")
    return said
