"""Result tables of the bench and of sensor health: what each column means."""

from __future__ import annotations

from typing import Final

from .spec import Column, TableSpec, interval_columns

__all__ = ["BENCH_CYCLES", "BENCH_STEPS", "SENSORS", "SENSOR_CURVES", "SENSOR_HEALTH", "SENSOR_LOOPS"]

_ID: Final = Column("sensor_id", "string", "Sensor", "As in sensors.tsv of the study.")
_RECORDING: Final = Column("recording_id", "string", "Recording", "As in recordings.tsv of the study.")
_FS: Final = "% of full scale"

SENSORS: Final = TableSpec(
    "tables/sensors.tsv",
    "Sensors on the bench",
    "One row per sensor that was stretched or tapped on the bench. Full scale is the range of the largest settled "
    "cycles. Intervals are 95 %, over cycles, steps or taps.",
    (
        _ID,
        Column("n_recordings", "integer", "Recordings", "Bench recordings of this sensor."),
        Column("n_cycles", "integer", "Cycles", "Settled full-amplitude cycles that the figures rest on."),
        Column("n_steps", "integer", "Steps", "Steps from one hold to another."),
        Column("n_taps", "integer", "Taps", "Local taps found."),
        Column("strain_full_scale", "number", "Full-scale strain", "Strain range of the cycles used.", "%"),
        Column(
            "response_full_scale", "number", "Full-scale response", "Relative resistance change over that range.", "1"
        ),
        *interval_columns(
            "gauge_factor",
            "Gauge factor",
            "Slope of relative resistance change over strain, mean of the branches; only where the curve is straight "
            "within the set limit, else see sensor_curves.",
            "1",
        ),
        Column("gauge_factor_note", "string", "Gauge factor, note", "Why there is or is not a single gauge factor."),
        *interval_columns(
            "linearity",
            "Non-linearity, terminal-based",
            "Largest deviation of the mean of the branches from the line through its end points.",
            _FS,
        ),
        *interval_columns(
            "linearity_least_squares",
            "Non-linearity, least squares",
            "Largest deviation of the mean of the branches from its least-squares line.",
            _FS,
        ),
        *interval_columns(
            "hysteresis",
            "Hysteresis",
            "Largest difference of the branches of a cycle over the span of that cycle, the delay removed where it "
            "can be told from hysteresis.",
            _FS,
        ),
        *interval_columns(
            "repeatability",
            "Repeatability",
            "2 s of the readings at the same strain, approached from the same direction, linear drift removed.",
            _FS,
        ),
        *interval_columns(
            "drift", "Drift over cycles", "Slope of the response at the low end of the cycles.", f"{_FS} per cycle"
        ),
        *interval_columns(
            "creep",
            "Creep",
            "Change of the response while a stretch is held, from eight time constants after its start; negative when "
            "it fades.",
            "% of the step",
        ),
        *interval_columns("creep_time_1", "Creep time constant", "Fast exponential common to all holds.", "s"),
        *interval_columns(
            "creep_time_2", "Slow creep time constant", "Slow exponential; n/a where one is enough.", "s"
        ),
        *interval_columns(
            "response_time",
            "Response time",
            "10 to 90 % of a stretch step: ln 9 time constants of the first-order answer to the step as the bench made "
            "it.",
            "s",
        ),
        *interval_columns("recovery_time", "Recovery time", "90 to 10 % of a release step, in the same way.", "s"),
        *interval_columns(
            "noise_floor",
            "Noise floor",
            "Standard deviation of relative resistance change at rest, drift removed.",
            "1",
        ),
        *interval_columns("signal_to_noise", "Signal-to-noise ratio", "Full-scale response over the noise floor.", "1"),
        *interval_columns(
            "detection_limit",
            "Detection limit",
            "Strain that gives three times the noise floor, at the slope of the lowest strain interval.",
            "%",
        ),
        *interval_columns(
            "stretch_to_tap_ratio",
            "Stretch-to-tap ratio",
            "Response to a full-scale stretch over the response to a local tap.",
            "1",
        ),
        *interval_columns(
            "lag",
            "Delay",
            "Delay of the sensor behind the reference: offset of the two clocks plus the sensor's own.",
            "s",
        ),
        Column("lag_method", "string", "Delay, method", "What in the protocol told delay from hysteresis."),
        Column("warning", "string", "Warning", "What the protocol or the data did not allow."),
    ),
    ("sensor_id",),
)

SENSOR_CURVES: Final = TableSpec(
    "tables/sensor_curves.tsv",
    "Gauge factor by strain interval",
    "One row per sensor and strain interval.",
    (
        _ID,
        Column("strain_low", "number", "From strain", "Lower end of the interval.", "%"),
        Column("strain_high", "number", "To strain", "Upper end of the interval.", "%"),
        *interval_columns("gauge_factor", "Gauge factor", "Slope of the mean of the branches in the interval.", "1"),
        Column("r2", "number", "R2", "Squared correlation of all samples in the interval, both branches.", "1"),
        Column("n", "integer", "Cycles", "Cycles the interval rests on."),
    ),
    ("sensor_id", "strain_low"),
)

SENSOR_LOOPS: Final = TableSpec(
    "tables/sensor_loops.tsv",
    "Mean loop of each sensor",
    "Response against strain, mean over the cycles used, for the loading and the unloading branch.",
    (
        _ID,
        Column("strain", "number", "Strain", "Reference strain.", "%"),
        Column("loading", "number", "Loading", "Mean relative resistance change while stretching.", "1"),
        Column("unloading", "number", "Unloading", "Mean relative resistance change while releasing.", "1"),
        Column("loading_sd", "number", "Loading, SD", "Standard deviation over cycles.", "1"),
        Column("unloading_sd", "number", "Unloading, SD", "Standard deviation over cycles.", "1"),
    ),
    ("sensor_id", "strain"),
)

BENCH_CYCLES: Final = TableSpec(
    "tables/bench_cycles.tsv",
    "Bench cycles and taps",
    "One row per cycle or tap found.",
    (
        _ID,
        _RECORDING,
        Column("kind", "string", "Kind", "stretch or tap."),
        Column("onset", "number", "Onset", "Start of the cycle, or peak of the tap.", "s", 3),
        Column("duration", "number", "Duration", "Length of the cycle.", "s", 3),
        Column("strain_low", "number", "Lowest strain", "Reference strain at the low end.", "%"),
        Column("strain_high", "number", "Highest strain", "Reference strain at the high end.", "%"),
        Column("used", "boolean", "Used", "Settled and of full amplitude: the figures of merit rest on it."),
        Column("response_low", "number", "Response, low end", "Relative resistance change at the low end.", "1"),
        Column("response_high", "number", "Response, high end", "At the high end; of a tap its height.", "1"),
        Column("hysteresis", "number", "Hysteresis", "Largest difference of the branches of this cycle.", _FS),
        Column("gauge_factor", "number", "Gauge factor", "Slope of this cycle's mean of the branches.", "1"),
    ),
    ("sensor_id", "recording_id", "onset"),
)

BENCH_STEPS: Final = TableSpec(
    "tables/bench_steps.tsv",
    "Bench steps and holds",
    "One row per step from one hold to the next.",
    (
        _ID,
        _RECORDING,
        Column("onset", "number", "Onset", "Start of the hold.", "s", 3),
        Column("duration", "number", "Duration", "Length of the hold.", "s", 3),
        Column("direction", "string", "Direction", "stretch or release."),
        Column("strain_from", "number", "From strain", "Reference strain before the step.", "%"),
        Column("strain_to", "number", "To strain", "Reference strain during the hold.", "%"),
        Column("response_from", "number", "Response before", "Mean relative resistance change before the step.", "1"),
        Column("response_to", "number", "Response at the end", "Mean over the end of the hold.", "1"),
        Column("bench_time", "number", "Bench time", "10-90 % time of the reference itself.", "s"),
        Column("rise_time", "number", "Rise time", "10-90 % time of the response.", "s"),
        Column("delay", "number", "Delay", "Dead time of the first-order fit (clock offset).", "s"),
        Column("time_constant", "number", "Time constant", "Of the first-order fit to the reference as it was.", "s"),
        Column("creep", "number", "Creep", "Change during the hold; negative when it fades.", "% of the step"),
    ),
    ("sensor_id", "recording_id", "onset"),
)

SENSOR_HEALTH: Final = TableSpec(
    "tables/sensor_health.tsv",
    "Sensor health over the study",
    "One row per sensor, measure and session of use, in order of use, with the control limits of an individuals chart.",
    (
        _ID,
        Column(
            "measure",
            "string",
            "Measure",
            "rest_resistance (ohm; not of trimmed bridges), gauge_factor or noise (relative change).",
        ),
        Column("use", "integer", "Use", "Session of use of this sensor, counted from 1."),
        Column("participant_id", "string", "Participant", "Who wore it; n/a on the bench."),
        Column("session_id", "string", "Session", "In which session; n/a on the bench."),
        Column("n_recordings", "integer", "Recordings", "Recordings of that session the value is the median of."),
        Column("value", "number", "Value", "Median of the session."),
        Column("centre", "number", "Centre line", "Median over the sessions of this sensor."),
        Column("limit_low", "number", "Lower control limit", "Three standard deviations below, from moving ranges."),
        Column("limit_high", "number", "Upper control limit", "Three standard deviations above, from moving ranges."),
        Column("n", "integer", "Uses", "Sessions of this sensor with this measure."),
        Column("n_ranges", "integer", "Moving ranges", "Moving ranges that the limits rest on, over all sensors."),
        Column("flagged", "boolean", "Flagged", "Outside its control limits."),
        Column("reason", "string", "Reason", "Why it is flagged, or why there are no limits."),
    ),
    ("sensor_id", "measure", "use"),
)
