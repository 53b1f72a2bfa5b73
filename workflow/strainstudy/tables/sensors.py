"""Result tables of the bench and of sensor health: what each column means."""

from __future__ import annotations

from typing import Final

from .families import span
from .spec import TableSpec, count, flag, interval, number, text

__all__ = [
    "BENCH_CYCLES", "BENCH_STEPS", "RECORDINGS_DIFFER", "SENSORS", "SENSOR_CURVES", "SENSOR_HEALTH", "SENSOR_LOOPS",
]  # fmt: skip

RECORDINGS_DIFFER: Final = (
    "its recordings differ in gauge factor beyond their intervals: what rests on one gauge factor is withheld, "
    "gauge_factor_note has each"
)
"""Warning to a sensor, which the report and a paper look for."""
_ID: Final = text("sensor_id", "Sensor", "As in sensors.tsv of the study.")
_RECORDING: Final = text("recording_id", "Recording", "As in recordings.tsv of the study.")
_ONE_OF_SOME: Final = text(
    "recording_id", "Recording", "Which one, where recordings of the sensor differ in gauge factor; n/a: all together."
)
_FS: Final = "% of full scale"

SENSORS: Final = TableSpec(
    "tables/sensors.tsv",
    "Sensors on the bench",
    "One row per sensor that was stretched or tapped on the bench. Full scale is the range of the largest settled "
    "cycles. Intervals are 95 %, over cycles, steps or taps.",
    (
        _ID,
        count("n_recordings", "Recordings", "Bench recordings of this sensor."),
        count("n_cycles", "Cycles", "Settled full-amplitude cycles that the figures rest on."),
        count("n_steps", "Steps", "Steps from one hold to another."),
        count("n_taps", "Taps", "Local taps found."),
        number("strain_full_scale", "Full-scale strain", "Strain range of the cycles used.", "%"),
        number("response_full_scale", "Full-scale response", "Relative resistance change over that range.", "1"),
        *interval(
            "gauge_factor",
            "Gauge factor",
            "Slope of relative resistance change over strain, mean of the branches; only where the curve is straight "
            "within the set limit and the recordings of the sensor agree, else see gauge_factor_note, sensor_curves. "
            "Its limits hold the interval of each recording.",
            "1",
        ),
        text("gauge_factor_note", "Gauge factor, note", "Why there is or is not a single gauge factor."),
        *interval(
            "linearity",
            "Non-linearity, terminal-based",
            "Largest deviation of the mean of the branches from the line through its end points.",
            _FS,
        ),
        *interval(
            "linearity_least_squares",
            "Non-linearity, least squares",
            "Largest deviation of the mean of the branches from its least-squares line.",
            _FS,
        ),
        *interval(
            "hysteresis",
            "Hysteresis",
            "Largest difference of the branches of a cycle over the span of that cycle, the delay removed where it "
            "can be told from hysteresis.",
            _FS,
        ),
        *interval(
            "repeatability",
            "Repeatability",
            "2 s of the readings at the same strain, approached from the same direction, linear drift removed.",
            _FS,
        ),
        *interval(
            "drift", "Drift over cycles", "Slope of the response at the low end of the cycles.", f"{_FS} per cycle"
        ),
        *interval(
            "creep",
            "Creep",
            "Change of the response while a stretch is held, from eight time constants after its start; negative when "
            "it fades.",
            "% of the step",
        ),
        *interval("creep_time_1", "Creep time constant", "Fast exponential common to all holds.", "s"),
        *interval("creep_time_2", "Slow creep time constant", "Slow exponential; n/a where one is enough.", "s"),
        *interval(
            "response_time",
            "Response time",
            "10 to 90 % of a stretch step: ln 9 time constants of the first-order answer to the step as the bench made "
            "it.",
            "s",
        ),
        *interval("recovery_time", "Recovery time", "90 to 10 % of a release step, in the same way.", "s"),
        *interval(
            "noise_floor",
            "Noise floor",
            "Standard deviation of relative resistance change at rest, drift removed.",
            "1",
        ),
        *interval("signal_to_noise", "Signal-to-noise ratio", "Full-scale response over the noise floor.", "1"),
        *interval(
            "detection_limit",
            "Detection limit",
            "Strain that gives three times the noise floor, at the slope of the lowest strain interval.",
            "%",
        ),
        *interval(
            "stretch_to_tap_ratio",
            "Stretch-to-tap ratio",
            "Response to a full-scale stretch over the response to a local tap.",
            "1",
        ),
        *interval(
            "lag",
            "Delay",
            "Delay of the sensor behind the reference: offset of the two clocks plus the sensor's own.",
            "s",
        ),
        text("lag_method", "Delay, method", "What in the protocol told delay from hysteresis."),
        text("warning", "Warning", "What the protocol or the data did not allow."),
    ),
    ("sensor_id",),
)

SENSOR_CURVES: Final = TableSpec(
    "tables/sensor_curves.tsv",
    "Gauge factor by strain interval",
    "One row per sensor and strain interval; for each recording where those of the sensor differ in gauge factor.",
    (
        _ID,
        number("strain_low", "From strain", "Lower end of the interval.", "%"),
        number("strain_high", "To strain", "Upper end of the interval.", "%"),
        *interval("gauge_factor", "Gauge factor", "Slope of the mean of the branches in the interval.", "1"),
        number("r2", "R2", "Squared correlation of all samples in the interval, both branches.", "1"),
        count("n", "Cycles", "Cycles the interval rests on."),
        _ONE_OF_SOME,
    ),
    ("sensor_id", "recording_id", "strain_low"),
)

SENSOR_LOOPS: Final = TableSpec(
    "tables/sensor_loops.tsv",
    "Mean loop of each sensor",
    "Response against strain, mean over the cycles used, for the loading and the unloading branch; for each recording "
    "where those of the sensor differ in gauge factor.",
    (
        _ID,
        number("strain", "Strain", "Reference strain.", "%"),
        number("loading", "Loading", "Mean relative resistance change while stretching.", "1"),
        number("unloading", "Unloading", "Mean relative resistance change while releasing.", "1"),
        number("loading_sd", "Loading, SD", "Standard deviation over cycles.", "1"),
        number("unloading_sd", "Unloading, SD", "Standard deviation over cycles.", "1"),
        _ONE_OF_SOME,
    ),
    ("sensor_id", "recording_id", "strain"),
)

BENCH_CYCLES: Final = TableSpec(
    "tables/bench_cycles.tsv",
    "Bench cycles and taps",
    "One row per cycle or tap found.",
    (
        _ID,
        _RECORDING,
        text("kind", "Kind", "stretch or tap."),
        *span("Start of the cycle, or peak of the tap.", "Length of the cycle."),
        number("strain_low", "Lowest strain", "Reference strain at the low end.", "%"),
        number("strain_high", "Highest strain", "Reference strain at the high end.", "%"),
        flag("used", "Used", "Settled and of full amplitude: the figures of merit rest on it."),
        number("response_low", "Response, low end", "Relative resistance change at the low end.", "1"),
        number("response_high", "Response, high end", "At the high end; of a tap its height.", "1"),
        number("hysteresis", "Hysteresis", "Largest difference of the branches of this cycle.", _FS),
        number("gauge_factor", "Gauge factor", "Slope of this cycle's mean of the branches.", "1"),
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
        *span("Start of the hold.", "Length of the hold."),
        text("direction", "Direction", "stretch or release."),
        number("strain_from", "From strain", "Reference strain before the step.", "%"),
        number("strain_to", "To strain", "Reference strain during the hold.", "%"),
        number("response_from", "Response before", "Mean relative resistance change before the step.", "1"),
        number("response_to", "Response at the end", "Mean over the end of the hold.", "1"),
        number("bench_time", "Bench time", "10-90 % time of the reference itself.", "s"),
        number("rise_time", "Rise time", "10-90 % time of the response.", "s"),
        number("delay", "Delay", "Dead time of the first-order fit (clock offset).", "s"),
        number("time_constant", "Time constant", "Of the first-order fit to the reference as it was.", "s"),
        number("creep", "Creep", "Change during the hold; negative when it fades.", "% of the step"),
    ),
    ("sensor_id", "recording_id", "onset"),
)

SENSOR_HEALTH: Final = TableSpec(
    "tables/sensor_health.tsv",
    "Sensor health over the study",
    "One row per sensor, measure and session of use, in order of use, with the control limits of an individuals chart.",
    (
        _ID,
        text(
            "measure",
            "Measure",
            "rest_resistance (ohm; not of trimmed bridges), gauge_factor or noise (relative change).",
        ),
        count("use", "Use", "Session of use of this sensor, counted from 1."),
        text("participant_id", "Participant", "Who wore it; n/a on the bench."),
        text("session_id", "Session", "In which session; n/a on the bench."),
        count("n_recordings", "Recordings", "Recordings of that session the value is the median of."),
        number("value", "Value", "Median of the session."),
        number(
            "centre",
            "Centre line",
            "Median over the sessions of this sensor, on logarithms (of an even number the geometric mean of the "
            "middle two); of two sessions the first.",
        ),
        number(
            "limit_low",
            "Lower control limit",
            "Three standard deviations below, from moving ranges; of two sessions, of the difference of two.",
        ),
        number("limit_high", "Upper control limit", "The same above."),
        count("n", "Uses", "Sessions of this sensor with this measure."),
        count("n_ranges", "Moving ranges", "Moving ranges that the limits rest on, over all sensors."),
        flag("flagged", "Flagged", "Outside its control limits."),
        text("reason", "Reason", "Why it is flagged, or why there are no limits."),
    ),
    ("sensor_id", "measure", "use"),
)
