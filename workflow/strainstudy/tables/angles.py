"""Columns of ``tables/calibrations.tsv`` and ``validation/angles.tsv``: knee angles, how made and how good."""

from __future__ import annotations

from typing import Final

from .spec import Column, TableSpec, interval_columns

__all__ = ["ANGLES", "CALIBRATIONS"]

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
        Column(
            "source",
            "string",
            "Made from",
            "holds (labelled bends at known angles) or reference (an angle channel beside the sensor); n/a if refused.",
        ),
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
        Column("reference_time", "number", "Time fitted", "Time of the reference that made the map.", "s", 1),
        Column(
            "left_out_error",
            "number",
            "Error on what was left out",
            "Root mean square error on parts of that time that were left out of the fit in turn.",
            "deg",
            2,
        ),
        Column(
            "answer_time",
            "number",
            "Answer against the reference",
            "First-order time constant by which the sensor follows the reference, an offset of their clocks included.",
            "s",
            4,
        ),
        Column("answer_time_se", "number", "Its standard error", "Jackknife over the parts left out.", "s", 4),
    ),
    key=("participant_id", "session_id", "tracked_point", "sensor_id"),
)

ANGLES: Final = TableSpec(
    path="validation/angles.tsv",
    title="Angle against reference",
    description="Calibrated knee angle against the reference angle beside it, by phase and range of the reference, "
    "with limits of agreement (Bland & Altman 1986, 2007). Pooled rows leave out bend recordings, which made the map; "
    "every row leaves out time whose reference made it.",
    columns=(
        Column("recording_id", "string", "Recording", "Recording, or 'pooled'."),
        Column("participant_id", "string", "Participant", "Person; n/a where all are pooled."),
        Column("tracked_point", "string", "Tracked point", "Knee; n/a where pooled."),
        Column("phase", "string", "Phase", "all, flexing, extending or still (reference slower than 10 degrees/s)."),
        Column("angle_from", "number", "Range from", "Least reference angle of the row; n/a: no limit.", "deg", 0),
        Column("angle_to", "number", "Range to", "Greatest reference angle of the row; n/a: no limit.", "deg", 0),
        Column("n_participants", "integer", "People", "How many people the row rests on."),
        Column("seconds", "number", "Time", "Time with both angle and reference.", "s", 1),
        Column(
            "fitted",
            "number",
            "Time left out",
            "Time whose reference calibrated the angle (reference_use) and so does not validate it; n/a in parts.",
            "s",
            1,
        ),
        *interval_columns("rmse", "RMSE", "Root mean square of angle minus reference.", "deg"),
        *interval_columns("bias", "Bias", "Mean of angle minus reference; positive: the angle is too large.", "deg"),
        Column(
            "sd",
            "number",
            "SD",
            "Standard deviation of angle minus reference; over people with the variance between and within them.",
            "deg",
        ),
        Column(
            "limit_low",
            "number",
            "Lower limit of agreement",
            "Bias - multiple of the SD (setting limits_multiplier).",
            "deg",
        ),
        Column("limit_high", "number", "Upper limit of agreement", "Bias + the same multiple of the SD.", "deg"),
        Column("r2", "number", "R2", "Squared correlation of angle and reference.", "1"),
        Column("coverage", "number", "Coverage", "Share of samples whose interval holds the reference.", "1"),
        Column(
            "lag",
            "number",
            "Lag",
            "Time by which the angle is late, from the cross-correlation (median where pooled); n/a in parts.",
            "s",
            4,
        ),
    ),
    key=("recording_id", "participant_id", "tracked_point", "phase", "angle_from", "angle_to"),
)
