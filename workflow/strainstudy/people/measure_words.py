"""What measures are called on a page that a clinician reads: title, unit, decimals, and what more or less of it means.

The words say what happened, not whether it is good: that depends on the person.
"""

from __future__ import annotations

import math
from typing import Any, Final, NamedTuple

import pandas as pd

__all__ = ["MEASURES", "WALK_MEASURES", "Measure", "fixed", "range_text", "words_of"]


class Measure(NamedTuple):
    """Title, unit, decimals, what a rise and what a fall means, and by what to multiply for the unit."""

    title: str
    unit: str
    decimals: int
    up: str
    down: str
    factor: float = 1.0


_EVEN: Final = ("less even", "more even")
_SIDED: Final = ("right grows against left", "left grows against right")
MEASURES: Final[dict[str, Measure]] = {
    "cadence": Measure("Cadence", "steps/min", 0, "more steps per minute", "fewer steps per minute"),
    "stride_time_mean": Measure("Stride time", "s", 2, "slower strides", "quicker strides"),
    "stride_time_sd": Measure("Stride time, SD", "s", 3, "less regular", "more regular"),
    "stride_time_cv": Measure("Stride time, CV", "%", 1, "less regular", "more regular"),
    "step_time_mean_left": Measure("Step time, left", "s", 2, "left step takes longer", "left step is quicker"),
    "step_time_mean_right": Measure("Step time, right", "s", 2, "right step takes longer", "right step is quicker"),
    "stance_fraction_mean_left": Measure("Stance, left", "% of stride", 0, "longer on it", "shorter on it", 100.0),
    "stance_fraction_mean_right": Measure("Stance, right", "% of stride", 0, "longer on it", "shorter on it", 100.0),
    "swing_peak_mean_left": Measure("Peak flexion, left", "\u00b0", 0, "bends further in swing", "bends less in swing"),
    "swing_peak_mean_right": Measure(
        "Peak flexion, right", "\u00b0", 0, "bends further in swing", "bends less in swing"
    ),
    "range_of_motion_mean_left": Measure("Range of motion, left", "\u00b0", 0, "knee moves more", "knee moves less"),
    "range_of_motion_mean_right": Measure("Range of motion, right", "\u00b0", 0, "knee moves more", "knee moves less"),
    "step_time_symmetry_index": Measure("Step time, right against left", "%", 1, *_SIDED),
    "range_of_motion_symmetry_index": Measure("Range of motion, right against left", "%", 0, *_SIDED),
    "step_time_log_ratio_size": Measure("Step-time log ratio, without sign", "%", 1, *_EVEN),
    "stance_time_log_ratio_size": Measure("Stance-time log ratio, without sign", "%", 1, *_EVEN),
    "swing_time_log_ratio_size": Measure("Swing-time log ratio, without sign", "%", 1, *_EVEN),
    "range_of_motion_log_ratio_size": Measure("Range of motion, log ratio, without sign", "%", 0, *_EVEN),
    "phase_deviation": Measure("Deviation of the phase from 180\u00b0", "\u00b0", 1, *_EVEN),
    "coordination_index": Measure("Phase coordination index", "%", 1, "steps less even", "steps more even"),
    "swallow_duration": Measure("Swallow, duration", "s", 2, "swallows last longer", "swallows are shorter"),
    "swallow_interval": Measure("Swallow, interval", "s", 1, "longer pauses between", "shorter pauses between"),
    "spontaneous_swallow_rate": Measure("Spontaneous swallows", "per min", 1, "swallows more often", "less often"),
    "volume_per_swallow": Measure("Volume per swallow", "ml", 1, "larger mouthfuls", "smaller mouthfuls"),
    "time_per_swallow": Measure("Time per swallow", "s", 2, "slower drinking", "quicker drinking"),
    "swallowing_speed": Measure("Drinking speed", "ml/s", 1, "quicker drinking", "slower drinking"),
}
"""By their names in ``tables/change.tsv``; those of a single walk have the same name in ``tables/gait.tsv``."""

WALK_MEASURES: Final = (
    "cadence", "stride_time_cv", "step_time_mean_left", "step_time_mean_right", "step_time_symmetry_index",
    "stance_fraction_mean_left", "stance_fraction_mean_right", "range_of_motion_mean_left",
    "range_of_motion_mean_right", "range_of_motion_symmetry_index", "swing_peak_mean_left", "swing_peak_mean_right",
    "coordination_index",
)  # fmt: skip
"""Those shown of every walk."""


def words_of(measure: str, unit: str | None = None) -> Measure:
    """Give the words of a measure; one that is not known keeps its name."""
    plain = Measure(measure.replace("_", " ").capitalize(), "" if unit in (None, "1") else str(unit), 2, "up", "down")
    return MEASURES.get(measure, plain)


def fixed(value: Any, decimals: int, factor: float = 1.0) -> str:
    """Write a number with so many decimals; a dash where there is none."""
    number = math.nan if pd.isna(value) else float(value)
    if not math.isfinite(number):
        return "\u2013"
    text = f"{number * factor:.{decimals}f}"
    text = text.removeprefix("-") if not text.strip("-0.") else text
    return text.replace("-", "\u2212")


def range_text(low: Any, high: Any, decimals: int, factor: float = 1.0) -> str:
    """Write limits; nothing where they are not both there."""
    texts = [fixed(value, decimals, factor) for value in (low, high)]
    return "" if "\u2013" in texts else f"{texts[0]} to {texts[1]}"
