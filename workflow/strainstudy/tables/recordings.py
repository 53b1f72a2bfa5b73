"""``tables/recordings.tsv``: what became of every raw file."""

from __future__ import annotations

from typing import Final

from .spec import Column, TableSpec

__all__ = ["RECORDINGS"]

RECORDINGS: Final = TableSpec(
    "tables/recordings.tsv",
    "Recordings",
    "One row per raw file: its time base, what is missing from it, and whether it could be used.",
    (
        Column("recording_id", "string", "Recording", "Id of the recording."),
        Column("participant_id", "string", "Participant", "Id of the person, n/a on the bench."),
        Column("session_id", "string", "Session", "Id of the session."),
        Column("task", "string", "Task", "Task of the recording."),
        Column("sampling_frequency", "number", "Sampling frequency", "Rate of the uniform time grid.", "Hz"),
        Column("duration", "number", "Duration", "Length of the time grid.", "s", 3),
        Column(
            "missing_fraction",
            "number",
            "Missing",
            "Fraction of the samples of the channels in use without a value: gaps, empty cells, unplugged stretches.",
            "1",
            4,
        ),
        Column("gap_count", "integer", "Gaps", "Stretches in which a channel in use has no value."),
        Column(
            "clipped_fraction",
            "number",
            "Saturated",
            "Fraction of samples at a converter's or amplifier's rail, of the channel that has most.",
            "1",
            4,
        ),
        Column("status", "string", "Status", "good, degraded or rejected."),
        Column("status_description", "string", "Reason", "Why it is not good, and what to do."),
        Column("file", "string", "File", "Raw file, relative to the study folder."),
        Column("file_format", "string", "Format", "Format of the raw file as it was read."),
        Column("channels", "string", "Channels", "Tracked points in use."),
        Column("channels_left_out", "string", "Left out", "Columns of the raw file that are not used, of those named."),
        Column("time_source", "string", "Time from", "Where the time of the samples comes from."),
        Column("stamped_frequency", "number", "Rate of the stamps", "Sampling rate as the time stamps have it.", "Hz"),
        Column("longest_gap", "number", "Longest gap", "Longest stretch without a value in a channel in use.", "s", 3),
        Column("repeated_stamps", "integer", "Repeated stamps", "Samples with the time stamp of the one before."),
        Column("backward_stamps", "integer", "Backward stamps", "Places where time stamps run backwards."),
        Column("missing_stamps", "integer", "Missing stamps", "Samples without a time stamp."),
        Column("stamp_jitter", "number", "Jitter", "Standard deviation of the steps between time stamps.", "s", 6),
        Column("started", "string", "Started", "Date and time of the first sample, if the file says so."),
    ),
    ("recording_id",),
)
