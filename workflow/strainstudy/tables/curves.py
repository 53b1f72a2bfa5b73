"""Columns of ``tables/curves.tsv``: the mean knee angle over the stride, by recording, gait state and side."""

from __future__ import annotations

from typing import Final

from .families import RECORDING
from .spec import TableSpec, count, number, text

__all__ = ["CURVES"]

CURVES: Final = TableSpec(
    path="tables/curves.tsv",
    title="Knee angle over the stride",
    description="One row per recording, gait state, side and percent of the stride, of the steady strides of knees "
    "with a calibrated angle. A stride runs from an initial contact of a side to the next of the same side, and is "
    "stretched to 0 to 100 % by linear interpolation in time.",
    columns=(
        RECORDING,
        text("trial_type", "Gait state", "normal_gait or limping_gait, as the classifier has it."),
        text("side", "Side", "Knee: left or right."),
        count("percent", "Percent of the stride", "0 and 100 are initial contacts of this side.", "percent"),
        number("mean", "Mean angle", "Mean knee flexion over strides; 0 is the straight leg.", "deg", 3),
        number("sd", "SD", "Standard deviation between strides (n - 1); n/a for a single stride.", "deg", 3),
        count("n", "Strides", "Strides with an angle at this percent."),
    ),
    key=("recording_id", "trial_type", "side", "percent"),
)
