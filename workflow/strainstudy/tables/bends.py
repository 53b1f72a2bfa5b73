"""Columns of ``tables/knee_bends.tsv``: one row per knee bend or hold."""

from __future__ import annotations

from typing import Final

from ..cautions import KNOWN_COVERAGE
from .spec import TableSpec, count, flag, number, text

__all__ = ["KNEE_BENDS"]

KNEE_BENDS: Final = TableSpec(
    path="tables/knee_bends.tsv",
    title="Knee bends",
    description="Bends and holds of each knee; steps are not among them.",
    columns=(
        text("recording_id", "Recording", "Recording."),
        text("side", "Side", "Knee: left or right."),
        number(
            "onset",
            "Onset",
            "Start of the plateau of a hold, of the movement of a bend, in seconds from the first sample.",
            "s",
            3,
        ),
        number("duration", "Duration", "Length of the plateau of a hold, of the whole movement of a bend.", "s", 3),
        number("angle", "Angle", "Median calibrated angle of the plateau; n/a without calibration.", "deg", 2),
        number("angle_low", "Angle, lower limit", f"Lower prediction limit of the angle; {KNOWN_COVERAGE}.", "deg", 2),
        number("angle_high", "Angle, upper limit", "Upper prediction limit of the angle.", "deg", 2),
        number(
            "creep",
            "Creep",
            "Change of the response from the first fifth of the plateau to the last, percent of its level.",
            "%",
            3,
        ),
        number("level", "Level", "Median response of the plateau, in the unit of the response."),
        number("plateau_onset", "Plateau from", "Start of the plateau.", "s", 3),
        number("plateau_duration", "Plateau length", "Length of the plateau.", "s", 3),
        number(
            "movement_onset",
            "Movement from",
            "Start of the movement from the straight leg, or from the hold before.",
            "s",
            3,
        ),
        number(
            "movement_duration",
            "Movement length",
            "To the end of the return, or to the start of the movement to the next hold.",
            "s",
            3,
        ),
        text("kind", "Kind", "hold (the knee stands still for a while) or bend (it turns round)."),
        number("flexing_time", "Flexing time", "Time of the way in; n/a if that way extends.", "s", 3),
        number("extending_time", "Extending time", "Time of the way out; n/a if that way flexes.", "s", 3),
        count("series", "Series", "Bends of this knee to about one level that follow one another."),
        count("repeat", "Repeat", "Number of the bend in its series, from 1."),
        number("score", "Score", "0 to 1: how long it lasts against twice what a bend needs.", "1", 3),
        flag(
            "direction_known",
            "Direction known",
            "Whether a calibrated angle says which way flexion is, or two seconds of rest where the recording starts "
            "or ends, taken for that of a straight leg; if not, bends may be the ways back.",
        ),
    ),
    key=("recording_id", "onset", "side"),
)
