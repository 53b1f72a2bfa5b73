"""Names of measures, states and units as they stand in a paper, and numbers with their intervals."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, Final

import pandas as pd

from ..report.content import number_text
from .frames import AFFECTED, OTHER

__all__ = [
    "TWO_LIMITS",
    "event_words",
    "interval",
    "measure_words",
    "p_text",
    "sd_text",
    "state_words",
    "unit_words",
    "with_unit",
]

_MEASURES: Final = {
    "cadence": "cadence",
    "stride_time_mean": "stride time",
    "stride_time_sd": "stride-time SD",
    "stride_time_cv": "stride-time CV",
    "step_time_mean": "step time",
    "stance_time_mean": "stance time",
    "swing_time_mean": "swing time",
    "stance_fraction_mean": "stance fraction",
    "swing_peak_mean": "peak knee flexion in swing",
    "range_of_motion_mean": "knee range of motion",
    "step_time_symmetry_index": "step-time symmetry index",
    "step_time_log_ratio": "step-time log ratio",
    "stance_time_log_ratio": "stance-time log ratio",
    "swing_time_log_ratio": "swing-time log ratio",
    "range_of_motion_log_ratio": "range-of-motion log ratio",
    "phase_deviation": "deviation of the phase from 180°",
    "coordination_index": "phase coordination index",
    "knee_bend_angle": "angle of knee bends",
    "swallow_rate": "swallow rate, water tests apart",
    "swallow_rate_while_drinking": "swallow rate in timed water tests",
    "swallow_duration": "swallow duration",
    "swallow_interval": "interval between swallows",
    "spontaneous_swallow_rate": "spontaneous swallow rate",
    "volume_per_swallow": "volume per swallow",
    "time_per_swallow": "time per swallow",
    "swallowing_speed": "swallowing speed",
}
_UNITS: Final = {"1/min": "per min", "percent": "%", "deg": "°", "1": "", "n/a": ""}
_BY_MEASURE: Final = {"cadence": "steps/min"}
_STATES: Final = {"normal_gait": "normal gait", "limping_gait": "limping gait", "gait": "gait, not classified"}

TWO_LIMITS: Final = (
    "It says how much two sessions of these participants differ; tables/change.tsv judges one participant by the "
    "larger of such a limit and of the limits of the two values, which count the error of finding the feet anew in "
    "each session and may be several times as wide."
)
"""Why one measure has two detectable changes."""


def measure_words(measure: str) -> str:
    """Name a measure: its side behind a comma, ``without sign`` behind what has lost it."""
    for side in ("left", "right"):
        if measure.endswith(f"_{side}"):
            return f"{measure_words(measure.removesuffix(f'_{side}'))}, {side}"
    for role, side in (("affected", AFFECTED), ("other", OTHER)):
        base = measure.removesuffix(f"_{role}")
        if base != measure:
            of = f"positive where the {side} side is larger" if base.endswith("_index") else f"{side} side"
            return f"{measure_words(base)}, {of}"
    if measure.endswith("_size"):
        return f"{measure_words(measure.removesuffix('_size'))}, without sign"
    return _MEASURES.get(measure, measure.replace("_", " "))


def unit_words(unit: Any, measure: str = "") -> str:
    """Write a unit, empty for a pure number."""
    return _BY_MEASURE.get(measure, "" if pd.isna(unit) else _UNITS.get(str(unit), str(unit)))


def with_unit(measure: str, unit: Any) -> str:
    """Name a measure with its unit in brackets."""
    words = unit_words(unit, measure)
    return f"{measure_words(measure)} ({words})" if words else measure_words(measure)


def event_words(kind: Any) -> str:
    """Name an event or a state in the singular."""
    return {"toe_off": "toe-off"}.get(str(kind), str(kind).replace("_", " "))


def state_words(state: Any) -> str:
    """Name a gait state; empty for none."""
    return "" if pd.isna(state) else _STATES.get(str(state), str(state).replace("_", " "))


def interval(row: Mapping[Any, Any], name: str, digits: int = 3) -> str:
    """Write ``value (low to high)``, or the value alone where it has no limits."""
    value, low, high = (number_text(row.get(f"{name}{end}"), digits) for end in ("", "_low", "_high"))
    return value if "n/a" in (value, low, high) else f"{value} ({low} to {high})"


def sd_text(mean: object, sd: object, digits: int = 3) -> str:
    """Write ``mean (SD)``."""
    value, spread = number_text(mean, digits), number_text(sd, digits)
    return value if "n/a" in (value, spread) else f"{value} ({spread})"


def p_text(value: float) -> str:
    """Write a p-value with two digits, small ones as less than 0.001."""
    return "p < 0.001" if value < 0.001 else f"p = {number_text(value, 2)}"
