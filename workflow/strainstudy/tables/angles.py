"""Columns of ``tables/calibrations.tsv`` and ``validation/angles.tsv``: knee angles, how made and how good."""

from __future__ import annotations

from typing import Final

from .spec import TableSpec, count, interval, number, text

__all__ = ["ANGLES", "CALIBRATIONS"]

CALIBRATIONS: Final = TableSpec(
    path="tables/calibrations.tsv",
    title="Angle calibrations",
    description="Map from response to degrees, one row per participant, session, knee and sensor with bend recordings.",
    columns=(
        text("participant_id", "Participant", "Person."),
        text("session_id", "Session", "Session."),
        text("tracked_point", "Tracked point", "Knee."),
        text("sensor_id", "Sensor", "Sensor worn there."),
        text("status", "Status", "fitted, or refused: then no angle is given."),
        text(
            "source",
            "Made from",
            "holds (labelled bends at known angles) or reference (an angle channel beside the sensor); n/a if refused.",
        ),
        text("status_description", "Why", "Reason of a refusal, or what the holds showed."),
        count("hold_count", "Holds", "Labelled holds that were read."),
        number("angle_from", "Range from", "Lowest calibrated angle.", "deg", 1),
        number("angle_to", "Range to", "Highest calibrated angle; beyond it angles are extrapolated.", "deg", 1),
        number(
            "response_per_degree",
            "Response per degree",
            "Mean slope over the calibrated range: the gain of sensor and sleeve together.",
            "1/deg",
        ),
        count("polarity", "Polarity", "1 if the response grows with flexion, -1 if it falls."),
        number("repeatability", "Repeatability", "Standard deviation of holds about the map.", "deg", 2),
        number(
            "hysteresis",
            "Hysteresis",
            "Width of the loop between flexing and extending holds, percent of the span; 0 if not told from zero, "
            "n/a if all holds of an angle were reached one way.",
            "%",
            2,
        ),
        number("creep", "Creep", "Median change of the level during a hold, percent of the level.", "%", 2),
        number(
            "session_drift",
            "Drift of the zero",
            "Straight-leg reading of the last bend recording of the session minus that of the first.",
            "deg",
            2,
        ),
        number(
            "session_gain_change",
            "Change of gain",
            "Response per degree of the last bend recording over that of the first, minus one.",
            "%",
            2,
        ),
        number("reference_time", "Time fitted", "Time of the reference that made the map.", "s", 1),
        number(
            "left_out_error",
            "Error on what was left out",
            "Root mean square error on parts of that time that were left out of the fit in turn.",
            "deg",
            2,
        ),
        number(
            "answer_time",
            "Answer against the reference",
            "First-order time constant by which the sensor follows the reference, an offset of their clocks included.",
            "s",
            4,
        ),
        number("answer_time_se", "Its standard error", "Jackknife over the parts left out.", "s", 4),
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
        text("recording_id", "Recording", "Recording, or 'pooled'."),
        text("participant_id", "Participant", "Person; n/a where all are pooled."),
        text("tracked_point", "Tracked point", "Knee; n/a where pooled."),
        text("phase", "Phase", "all, flexing, extending or still (reference slower than 10 degrees/s)."),
        number("angle_from", "Range from", "Least reference angle of the row; n/a: no limit.", "deg", 0),
        number("angle_to", "Range to", "Greatest reference angle of the row; n/a: no limit.", "deg", 0),
        count("n_participants", "People", "How many people the row rests on."),
        number("seconds", "Time", "Time with both angle and reference.", "s", 1),
        number(
            "fitted",
            "Time left out",
            "Time whose reference calibrated the angle (reference_use) and so does not validate it; n/a in parts.",
            "s",
            1,
        ),
        *interval("rmse", "RMSE", "Root mean square of angle minus reference.", "deg"),
        *interval("bias", "Bias", "Mean of angle minus reference; positive: the angle is too large.", "deg"),
        number(
            "sd",
            "SD",
            "Standard deviation of angle minus reference; over people with the variance between and within them.",
            "deg",
        ),
        number(
            "limit_low", "Lower limit of agreement", "Bias - multiple of the SD (setting limits_multiplier).", "deg"
        ),
        number("limit_high", "Upper limit of agreement", "Bias + the same multiple of the SD.", "deg"),
        number("r2", "R2", "Squared correlation of angle and reference.", "1"),
        *interval(
            "coverage",
            "Coverage",
            "Share of samples whose interval holds the reference; limits over people where pooled, from three on.",
            "1",
        ),
        number("coverage_nominal", "Coverage claimed", "Share that the interval claims to hold (setting).", "1"),
        text(
            "coverage_claim",
            "Does it hold what it claims",
            "as it claims, less often or more often, by the limits of the coverage; of fewer than three people none.",
        ),
        number(
            "lag",
            "Lag",
            "Time by which the angle is late, from the cross-correlation (median where pooled); n/a in parts.",
            "s",
            4,
        ),
    ),
    key=("recording_id", "participant_id", "tracked_point", "phase", "angle_from", "angle_to"),
)
