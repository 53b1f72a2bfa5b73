"""The methods section of the paper, from the settings the study ran with."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, Final

from ..settings import describe
from .content import Block, Table, Text

__all__ = ["METHODS", "methods_blocks"]

METHODS: Final = {
    "ingest": "Raw files were brought to a uniform grid; gaps, repeated and backward time stamps, clipped samples and "
    "disconnected channels were counted, and recordings graded good, degraded or rejected.",
    "calibrate": "Bridge output was turned into resistance by the exact inverse of the bridge equation and into "
    "relative resistance change; knee sensors were calibrated to degrees from holds at known angles, one monotone "
    "map per sensor and session, or by a reference angle beside them in the spans that the sheet names.",
    "condition": "Signals were freed of spikes (Hampel), mains hum where found, and slow drift, and low-passed "
    "without phase shift (Butterworth, both ways, cutoff corrected for two passes). Each sensor's own answering "
    "time and hysteresis were undone where its bench or a reference measured them, else an assumed time.",
    "gait": "Bouts of walking were found first, initial contacts and toe-offs inside them, without thresholds in "
    "units of the signal.",
    "swallow": "Swallow candidates were taken from the continuous throat signal and classified where labels allowed.",
    "bench": "Sensors were characterised from cycles, steps and holds of the bench's reference.",
    "health": "Rest resistance, gauge factor and noise of each sensor were followed on individuals charts.",
    "features": "Features were taken from windows of a few strides, in groups kept apart: timing, shape, calibrated "
    "amplitude.",
    "classify": "Normal and limping gait were told apart by a classifier trained with whole participants left out.",
    "verdict": "Differences between the sides were weighed: could the sensors' gains have made them?",
    "validate": "Detections were matched to labels one to one; intervals are over participants.",
}


def _value(value: Any) -> str:
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, tuple | list):
        return ", ".join(_value(v) for v in value)
    return f"{value:g}" if isinstance(value, float) else str(value)


def methods_blocks(settings: Mapping[str, Any]) -> tuple[Block, ...]:
    """Give, for each section of the settings, a sentence of method and its settings with sources.

    Parameters
    ----------
    settings : mapping of str to parameters
        Parameter objects the study ran with, by section.

    Returns
    -------
    tuple of Block
    """
    blocks: list[Block] = []
    for section, parameters in settings.items():
        if section in METHODS:
            blocks.append(Text(METHODS[section]))
        rows = tuple(
            (entry["words"], _value(entry["value"]), entry["unit"] or "", entry["source"])
            for entry in describe(parameters)
        )
        if rows:
            blocks.append(
                Table(
                    f"Settings of {section}",
                    ("setting", "value", "unit", "source"),
                    rows,
                    ("text", "short", "short", "text"),
                )
            )
    return tuple(blocks)
