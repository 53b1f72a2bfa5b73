"""``tables/faults.tsv``: every fault that the data show, with what to do about it."""

from __future__ import annotations

from typing import Final

from ..faults import FAULT_KINDS
from .spec import TableSpec, text

__all__ = ["FAULTS"]

FAULTS: Final = TableSpec(
    "tables/faults.tsv",
    "Faults",
    "One row per fault of a recording or sensor: what it is, what was done about it, what to do. No fault stops a run.",
    (
        text("recording_id", "Recording", "Id of the recording; n/a for a change of a sensor between its uses."),
        text("participant_id", "Participant", "Id of the person, n/a on the bench."),
        text("session_id", "Session", "Id of the session."),
        text("tracked_point", "Tracked point", "Where the channel sits, where the fault is a channel's."),
        text("sensor_id", "Sensor", "Id of the sensor, where the fault is a channel's or a sensor's."),
        text("fault", "Fault", "One of: " + ", ".join(FAULT_KINDS) + "."),
        text("description", "What was found", "What was found, and what was done about it."),
        text("remedy", "What to do", "What to do so that it does not come again, or what to write in which sheet."),
    ),
    ("recording_id", "sensor_id", "tracked_point", "fault"),
)
