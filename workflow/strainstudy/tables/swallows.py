"""Columns of the swallow tables, with the definition of every number beside it."""

from __future__ import annotations

from typing import Final

from .families import MADE_BY, PREDICTION, RECORDING
from .spec import TableSpec, count, flag, interval, number, text

__all__ = ["SWALLOWS", "SWALLOW_SUMMARY"]

_CAUTION: Final = (
    "Swallow counts do not show aspiration; a normal count does not mean safe swallowing. Not for diet or feeding "
    "decisions."
)

SWALLOWS: Final = TableSpec(
    path="tables/swallows.tsv",
    title="Swallows",
    description="One row per detected swallow. Activity is level and velocity of the throat signal taken together "
    f"(root of the sum of squares). {_CAUTION}",
    columns=(
        RECORDING,
        number(
            "onset",
            "Onset",
            "Where activity first passes a fifth (setting edge_fraction) of its largest, from the first stored sample; "
            "where swallows were labelled with a duration, moved to where raters of other people see the beginning.",
            "s",
            3,
        ),
        number("duration", "Duration", "From onset to where activity last passes that fifth, moved likewise.", "s", 3),
        number(
            "amplitude",
            "Amplitude",
            "Largest distance of the signal from the line between its resting levels around the swallow.",
            "unit of the response",
        ),
        number(
            "rise_time",
            "Rise time",
            "From the first passage of 10 % to the first passage of 90 % of the largest distance, between the edges as "
            "detected, in the signal with the leak of a sensor that lets go undone.",
            "s",
            3,
        ),
        number(
            "interval",
            "Interval",
            "From this onset to the next; n/a for the last swallow and where the recording has a gap between them.",
            "s",
            3,
        ),
        number(
            "area",
            "Area",
            "Integral of the distance from the resting level between the edges as detected.",
            "unit of the response x s",
        ),
        number(
            "peak_to_peak", "Peak to peak", "Largest minus smallest value within the swallow.", "unit of the response"
        ),
        count("polarity", "Polarity", "1 where the largest distance is upward, -1 downward."),
        flag(
            "double",
            "Second swallow",
            "Starts within 2 s (setting double_swallow_s) after the end of the swallow before; no sip of a burst.",
        ),
        count(
            "burst",
            "Burst of sips",
            "Number of the run of three or more swallows with intervals of at most 2.5 s (setting "
            "burst_interval_s) it belongs to; 0 for none. Each sip of a burst is a swallow of its own.",
        ),
        flag(
            "at_limit",
            "At the limit",
            "The signal stands on the largest or smallest value of the recording during the swallow: its "
            "amplitude and area are lower bounds.",
        ),
        number(
            "score",
            "Score",
            "Probability of a swallow where a classifier decided, else the score of the detector that needs no labels "
            "(see prediction); 0 to 1. The two are not on one scale.",
            None,
            4,
        ),
        PREDICTION,
    ),
    key=("recording_id", "onset"),
)

_IF_ALL_FOUND: Final = "n/a where swallows seem to have been missed, as sensor_note says."

SWALLOW_SUMMARY: Final = TableSpec(
    path="tables/swallow_summary.tsv",
    title="Swallows of each recording",
    description=f"One row per recording with a throat channel. {_CAUTION}",
    columns=(
        RECORDING,
        number(
            "observed_time",
            "Observed time",
            "Recording without its gaps and without stretches of 2 s and more in which nothing changes.",
            "s",
            2,
        ),
        count("swallow_count", "Swallows", "Detected swallows; n/a for under 5 s of observed time."),
        *interval(
            "rate",
            "Swallow rate",
            "Swallows per minute of observed time; the limits are those of a Poisson count: where the usual rate may "
            "lie, not how many swallows were missed or made up (validation/parameters.tsv says that).",
            "1/min",
        ),
        number("duration_mean", "Mean duration", "Mean of duration.", "s", 3),
        number("duration_sd", "SD of duration", "Standard deviation of duration.", "s", 3),
        number("interval_mean", "Mean interval", "Mean of onset-to-onset intervals.", "s", 3),
        number("interval_sd", "SD of interval", "Standard deviation of the intervals.", "s", 3),
        number("interval_cv", "CV of interval", "100 x SD / mean of the intervals.", "percent", 2),
        count("double_count", "Second swallows", "Rows of the swallow table with double = true."),
        count("burst_count", "Bursts of sips", "Runs of three or more swallows close together."),
        count("burst_swallows", "Swallows in bursts", "Swallows that belong to a burst."),
        count("longest_burst", "Longest burst", "Swallows in the longest burst; 0 for none."),
        number("volume", "Volume", "volume_ml of the recordings sheet.", "ml"),
        count(
            "drinking_count",
            "Swallows while drinking",
            "Swallows of the longest run without a pause longer than 5 s (setting clearing_pause_s) and three median "
            "intervals; n/a where a gap in the signal lies in it.",
        ),
        number(
            "drinking_time",
            "Drinking time",
            "Onset of the first to end of the last swallow while drinking. The published test starts the clock at "
            "the lip, which a throat sensor does not see: this time is shorter.",
            "s",
            3,
        ),
        count("clearing_count", "Swallows set apart", "Swallows outside that run."),
        number("volume_per_swallow", "Volume per swallow", f"volume / drinking_count; {_IF_ALL_FOUND}", "ml"),
        number("time_per_swallow", "Time per swallow", f"drinking_time / drinking_count; {_IF_ALL_FOUND}", "s", 3),
        number("swallowing_speed", "Swallowing speed", f"volume / drinking_time; {_IF_ALL_FOUND}", "ml/s"),
        text(
            "response_shape",
            "Response shape",
            "What the sensor makes of a swallow, by the medians over the recording: one_hump; two_phase (the stroke to "
            "the other side reaches a third); ringing (five turning points or more); n/a without swallows.",
        ),
        count("at_limit_count", "Swallows at the limit", "Rows of the swallow table with at_limit = true."),
        text("sensor_note", "Sensor", "What speaks against the sensor's seat or the numbers; n/a where nothing does."),
        text("prediction", "Predicted by", f"{MADE_BY} n/a where nothing moved."),
    ),
    key=("recording_id",),
)
