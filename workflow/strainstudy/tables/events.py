"""Columns of the detected events and of the strides they make."""

from __future__ import annotations

from typing import Final

from .families import RECORDING, span
from .spec import TableSpec, count, flag, number, text

__all__ = ["EVENTS", "STRIDES"]

_SIDE: Final = text("side", "Side", "left or right.")

EVENTS: Final = TableSpec(
    path="tables/events.tsv",
    title="Detected events",
    description="Initial contacts, toe-offs, knee bends and swallows found in the signals. Times count from the first "
    "stored sample.",
    columns=(
        RECORDING,
        *span("When it starts.", "0 for contacts and toe-offs.", decimals=4),
        text("trial_type", "Type", "initial_contact, toe_off, knee_bend or swallow."),
        _SIDE,
        number("value", "Value", "Angle of a knee bend where the knee is calibrated.", "deg"),
        number(
            "score",
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
        RECORDING,
        _SIDE,
        number("onset", "Onset", "Initial contact that starts the stride.", "s", 4),
        number("stride_time", "Stride time", "To the next initial contact of the same side.", "s", 4),
        number("step_time", "Step time", "From the other side's contact within the stride to its end.", "s", 4),
        number("swing_peak", "Swing peak", "Highest flexion in swing; n/a without a calibrated angle.", "deg"),
        number(
            "range_of_motion",
            "Range of motion",
            "Greatest minus least knee angle; n/a without a calibrated angle.",
            "deg",
        ),
        number("phase", "Phase", "When the other side's contact comes, as part of the stride; 180 is even.", "deg"),
        text("trial_type", "Gait state", "Of the bout that holds the middle of the stride."),
        flag("steady", "Steady", "Not a first or last stride, not in a turn, no data missing."),
        number("score", "Score", "How clear the contacts are, 0 to 1.", "1"),
        count("walk", "Walk", "Number of the walk in the recording, from 0."),
        number("toe_off", "Toe-off", "Time of toe-off.", "s", 4),
        number("stance_time", "Stance time", "From initial contact to toe-off.", "s", 4),
        number("swing_time", "Swing time", "From toe-off to the end of the stride.", "s", 4),
        number("stance_fraction", "Stance fraction", "Stance time as a part of the stride.", "1"),
        number("swing_peak_time", "Swing peak time", "Time of the highest flexion in swing.", "s", 4),
        number(
            "amplitude",
            "Swing amplitude",
            "Swing peak minus the value at contact, in the unit of the response: holds the gain of the sensor.",
            "unit of the response",
        ),
        number(
            "response_range",
            "Range of the response",
            "Greatest minus least response in the stride: holds the gain of the sensor.",
            "unit of the response",
        ),
    ),
    key=("recording_id", "onset", "side"),
)
