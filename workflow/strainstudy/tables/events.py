"""Columns of the detected events and of the strides they make."""

from __future__ import annotations

from typing import Final

from .spec import Column, TableSpec

__all__ = ["EVENTS", "STRIDES"]

_RECORDING: Final = Column("recording_id", "string", "Recording", "Recording the row belongs to.")
_SIDE: Final = Column("side", "string", "Side", "left or right.")

EVENTS: Final = TableSpec(
    path="tables/events.tsv",
    title="Detected events",
    description="Initial contacts, toe-offs, knee bends and swallows found in the signals. Times count from the first "
    "stored sample.",
    columns=(
        _RECORDING,
        Column("onset", "number", "Onset", "When it starts.", "s", 4),
        Column("duration", "number", "Duration", "0 for contacts and toe-offs.", "s", 4),
        Column("trial_type", "string", "Type", "initial_contact, toe_off, knee_bend or swallow."),
        _SIDE,
        Column("value", "number", "Value", "Angle of a knee bend where the knee is calibrated.", "deg"),
        Column(
            "score",
            "number",
            "Score",
            "How sure the detector is, 0 to 1; a probability only of swallows that a classifier told.",
            "1",
        ),
    ),
    key=("recording_id", "onset", "trial_type", "side"),
)

STRIDES: Final = TableSpec(
    path="tables/strides.tsv",
    title="Strides",
    description="One row per stride: from an initial contact to the next of the same side.",
    columns=(
        _RECORDING,
        _SIDE,
        Column("onset", "number", "Onset", "Initial contact that starts the stride.", "s", 4),
        Column("stride_time", "number", "Stride time", "To the next initial contact of the same side.", "s", 4),
        Column(
            "step_time", "number", "Step time", "From the other side's contact within the stride to its end.", "s", 4
        ),
        Column(
            "swing_peak", "number", "Swing peak", "Highest flexion in swing; n/a without a calibrated angle.", "deg"
        ),
        Column(
            "range_of_motion",
            "number",
            "Range of motion",
            "Greatest minus least knee angle; n/a without a calibrated angle.",
            "deg",
        ),
        Column(
            "phase",
            "number",
            "Phase",
            "When the other side's contact comes, as part of the stride; 180 is even.",
            "deg",
        ),
        Column("trial_type", "string", "Gait state", "Of the bout that holds the middle of the stride."),
        Column("steady", "boolean", "Steady", "Not a first or last stride, not in a turn, no data missing."),
        Column("score", "number", "Score", "How clear the contacts are, 0 to 1.", "1"),
        Column("walk", "integer", "Walk", "Number of the walk in the recording, from 0."),
        Column("toe_off", "number", "Toe-off", "Time of toe-off.", "s", 4),
        Column("stance_time", "number", "Stance time", "From initial contact to toe-off.", "s", 4),
        Column("swing_time", "number", "Swing time", "From toe-off to the end of the stride.", "s", 4),
        Column("stance_fraction", "number", "Stance fraction", "Stance time as a part of the stride.", "1"),
        Column("swing_peak_time", "number", "Swing peak time", "Time of the highest flexion in swing.", "s", 4),
        Column(
            "amplitude",
            "number",
            "Swing amplitude",
            "Swing peak minus the value at contact, in the unit of the response: holds the gain of the sensor.",
            "unit of the response",
        ),
        Column(
            "response_range",
            "number",
            "Range of the response",
            "Greatest minus least response in the stride: holds the gain of the sensor.",
            "unit of the response",
        ),
    ),
    key=("recording_id", "onset", "side"),
)
