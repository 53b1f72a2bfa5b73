"""``tables/recordings.tsv``: what became of every raw file."""

from __future__ import annotations

from typing import Final

from .spec import TableSpec, count, number, text

__all__ = ["ADDED", "RECORDINGS"]

RECORDINGS: Final = TableSpec(
    "tables/recordings.tsv",
    "Recordings",
    "One row per raw file: its time base, what is missing from it, and whether it could be used.",
    (
        text("recording_id", "Recording", "Id of the recording."),
        text("participant_id", "Participant", "Id of the person, n/a on the bench."),
        text("session_id", "Session", "Id of the session."),
        text("task", "Task", "Task of the recording."),
        number("sampling_frequency", "Sampling frequency", "Rate of the uniform time grid.", "Hz"),
        number("duration", "Duration", "Length of the time grid.", "s", 3),
        number(
            "missing_fraction",
            "Missing",
            "Fraction of the samples of the channels in use without a value: gaps, empty cells, unplugged stretches.",
            "1",
            6,
        ),
        count("gap_count", "Gaps", "Stretches in which a channel in use has no value."),
        number(
            "clipped_fraction",
            "Saturated",
            "Fraction of samples at a converter's or amplifier's rail, of the channel that has most.",
            "1",
            6,
        ),
        text("status", "Status", "good, degraded or rejected."),
        text("status_description", "Reason", "Why it is not good, and what to do."),
        text("file", "File", "Raw file, relative to the study folder."),
        text("file_format", "Format", "Format of the raw file as it was read."),
        text("channels", "Channels", "Tracked points in use."),
        text("channels_left_out", "Left out", "Columns of the raw file that are not used, of those named."),
        text("time_source", "Time from", "Where the time of the samples comes from."),
        number("stamped_frequency", "Rate of the stamps", "Sampling rate as the time stamps have it.", "Hz"),
        text(
            "unobserved",
            "Not observed",
            "Stretches of half a second or more without a value: tracked point, first and last second. What happened "
            "in them is in no state, no event and no denominator of a score.",
        ),
        number("longest_gap", "Longest gap", "Longest stretch without a value in a channel in use.", "s", 3),
        count("repeated_stamps", "Repeated stamps", "Samples with the time stamp of the one before."),
        count("backward_stamps", "Backward stamps", "Places where time stamps run backwards."),
        count("missing_stamps", "Missing stamps", "Samples without a time stamp."),
        number("stamp_jitter", "Jitter", "Standard deviation of the steps between time stamps.", "s", 6),
        text("started", "Started", "Date and time of the first sample, if the file says so."),
    ),
    ("recording_id",),
)

ADDED: Final = (
    text("sensor_flag", "Sensor flag", "A sensor of this recording was outside its control limits in this session."),
    text("notes", "Notes", "What had to be assumed or done to its signals."),
    number("volume_ml", "Volume", "Volume of water of a timed swallow.", "ml"),
)
"""What is known only after ingest; behind them stand the columns that a lab carries along."""
