"""Columns of ``tables/knee_bends.tsv``: one row per knee bend or hold."""

from __future__ import annotations

from typing import Final

from .spec import Column, TableSpec

__all__ = ["KNEE_BENDS"]

KNEE_BENDS: Final = TableSpec(
    path="tables/knee_bends.tsv",
    title="Knee bends",
    description="Bends and holds of each knee; steps are not among them.",
    columns=(
        Column("recording_id", "string", "Recording", "Recording."),
        Column("side", "string", "Side", "Knee: left or right."),
        Column(
            "onset",
            "number",
            "Onset",
            "Start of the plateau of a hold, of the movement of a bend, in seconds from the first sample.",
            "s",
            3,
        ),
        Column(
            "duration",
            "number",
            "Duration",
            "Length of the plateau of a hold, of the whole movement of a bend.",
            "s",
            3,
        ),
        Column(
            "angle", "number", "Angle", "Median calibrated angle of the plateau; n/a without calibration.", "deg", 2
        ),
        Column("angle_low", "number", "Angle, lower limit", "Lower prediction limit of the angle.", "deg", 2),
        Column("angle_high", "number", "Angle, upper limit", "Upper prediction limit of the angle.", "deg", 2),
        Column(
            "creep",
            "number",
            "Creep",
            "Change of the response from the first fifth of the plateau to the last, percent of its level.",
            "%",
            3,
        ),
        Column("level", "number", "Level", "Median response of the plateau, in the unit of the response."),
        Column("plateau_onset", "number", "Plateau from", "Start of the plateau.", "s", 3),
        Column("plateau_duration", "number", "Plateau length", "Length of the plateau.", "s", 3),
        Column(
            "movement_onset",
            "number",
            "Movement from",
            "Start of the movement from the straight leg, or from the hold before.",
            "s",
            3,
        ),
        Column(
            "movement_duration",
            "number",
            "Movement length",
            "To the end of the return, or to the start of the movement to the next hold.",
            "s",
            3,
        ),
        Column("kind", "string", "Kind", "hold (the knee stands still for a while) or bend (it turns round)."),
        Column("flexing_time", "number", "Flexing time", "Time of the way in; n/a if that way extends.", "s", 3),
        Column("extending_time", "number", "Extending time", "Time of the way out; n/a if that way flexes.", "s", 3),
        Column("series", "integer", "Series", "Bends of this knee to about one level that follow one another."),
        Column("repeat", "integer", "Repeat", "Number of the bend in its series, from 1."),
        Column("score", "number", "Score", "0 to 1: how long it lasts against twice what a bend needs.", "1", 3),
    ),
    key=("recording_id", "onset", "side"),
)
