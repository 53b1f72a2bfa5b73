"""Columns of ``tables/calibrations.tsv``: how well each knee sensor was calibrated in each session."""

from __future__ import annotations

from typing import Final

from .spec import Column, TableSpec

__all__ = ["CALIBRATIONS"]

CALIBRATIONS: Final = TableSpec(
    path="tables/calibrations.tsv",
    title="Angle calibrations",
    description="Map from response to degrees, one row per participant, session, knee and sensor with bend recordings.",
    columns=(
        Column("participant_id", "string", "Participant", "Person."),
        Column("session_id", "string", "Session", "Session."),
        Column("tracked_point", "string", "Tracked point", "Knee."),
        Column("sensor_id", "string", "Sensor", "Sensor worn there."),
        Column("status", "string", "Status", "fitted, or refused: then no angle is given."),
        Column("status_description", "string", "Why", "Reason of a refusal, or what the holds showed."),
        Column("hold_count", "integer", "Holds", "Labelled holds that were read."),
        Column("angle_from", "number", "Range from", "Lowest calibrated angle.", "deg", 1),
        Column(
            "angle_to", "number", "Range to", "Highest calibrated angle; beyond it angles are extrapolated.", "deg", 1
        ),
        Column(
            "response_per_degree",
            "number",
            "Response per degree",
            "Mean slope over the calibrated range: the gain of sensor and sleeve together.",
            "1/deg",
        ),
        Column("polarity", "integer", "Polarity", "1 if the response grows with flexion, -1 if it falls."),
        Column("repeatability", "number", "Repeatability", "Standard deviation of holds about the map.", "deg", 2),
        Column(
            "hysteresis",
            "number",
            "Hysteresis",
            "Width of the loop between flexing and extending holds, percent of the span; 0 if not told from zero, "
            "n/a if all holds of an angle were reached one way.",
            "%",
            2,
        ),
        Column("creep", "number", "Creep", "Median change of the level during a hold, percent of the level.", "%", 2),
        Column(
            "session_drift",
            "number",
            "Drift of the zero",
            "Straight-leg reading of the last bend recording of the session minus that of the first.",
            "deg",
            2,
        ),
        Column(
            "session_gain_change",
            "number",
            "Change of gain",
            "Response per degree of the last bend recording over that of the first, minus one.",
            "%",
            2,
        ),
    ),
    key=("participant_id", "session_id", "tracked_point", "sensor_id"),
)
