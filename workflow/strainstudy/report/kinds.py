"""Which figures one job draws, and which tables it reads: what is drawn together changes together.

Imports nothing that draws, because every start of the workflow reads it.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Final

from ..records import Recording
from ..tables.angles import CALIBRATIONS
from ..tables.bends import KNEE_BENDS
from ..tables.classifier import EVIDENCE
from ..tables.curves import CURVES
from ..tables.gait import GAIT
from ..tables.recordings import RECORDINGS
from ..tables.sensors import BENCH_CYCLES, BENCH_STEPS, SENSOR_CURVES, SENSOR_HEALTH, SENSOR_LOOPS, SENSORS
from ..tables.spec import TableSpec
from ..tables.standing import CHANGE, NORMS
from ..tables.swallows import SWALLOW_SUMMARY
from ..tables.throat import THROAT_EVIDENCE
from ..tables.validation import CONFOUNDERS, CONFUSION, PARAMETERS, RATERS, SHAPES
from ..tables.validation import EVENTS as AGREEMENT
from .names import bench_sensors, sensor_figure

__all__ = ["KINDS", "figure_kinds", "is_of_sensors", "tables_of"]

KINDS: Final[Mapping[str, tuple[str, ...]]] = {
    "people": ("gait", "knee_curves", "swallows"),
    "standing": ("norms", "change"),
    "proof": (
        "classifier", "classifier_evidence", "agreement_events", "agreement_parameters", "agreement_swallows", "raters",
    ),
    "sensors": ("knee_calibration", "sensor_health"),
}  # fmt: skip
"""Figures of a whole study by the job that draws them; those of sensors on the bench come on top."""
_SENSORS: Final = "bench-"
_SENSORS_A_JOB: Final = 12
"""Sensors whose figures are drawn in one job (ours: some seconds of work)."""
_TABLES: Final[Mapping[str, tuple[TableSpec, ...]]] = {
    "people": (RECORDINGS, GAIT, CURVES, SWALLOW_SUMMARY),
    "standing": (NORMS, CHANGE, PARAMETERS),
    "proof": (
        *(EVIDENCE[n] for n in (
            "classifier", "reliability", "permutation", "learning_curve", "ablation", "importance",
        )),
        CONFUSION, AGREEMENT, PARAMETERS, RATERS, SHAPES, CONFOUNDERS, THROAT_EVIDENCE["throat_confusion"],
    ),
    "sensors": (RECORDINGS, CALIBRATIONS, KNEE_BENDS, SENSOR_HEALTH),
}  # fmt: skip
_OF_SENSORS: Final = (SENSORS, SENSOR_CURVES, SENSOR_LOOPS, BENCH_CYCLES, BENCH_STEPS)


def figure_kinds(recordings: Iterable[Recording]) -> dict[str, tuple[str, ...]]:
    """Name the figures that each job draws.

    Parameters
    ----------
    recordings : iterable of Recording
        All of the study.

    Returns
    -------
    dict of str to tuple of str
        Names of figures without suffix, by kind; which of them are drawn depends on what the tables hold.
    """
    names = [sensor_figure(sensor) for sensor in bench_sensors(recordings)]
    parts = [tuple(names[k : k + _SENSORS_A_JOB]) for k in range(0, len(names), _SENSORS_A_JOB)]
    return {**KINDS, **{f"{_SENSORS}{number}": part for number, part in enumerate(parts, start=1)}}


def is_of_sensors(kind: str) -> bool:
    """Tell whether a kind is figures of sensors on the bench, which need its signals."""
    return kind.startswith(_SENSORS)


def tables_of(kind: str) -> tuple[TableSpec, ...]:
    """Give the tables that the figures of a kind are drawn from."""
    return _OF_SENSORS if is_of_sensors(kind) else _TABLES[kind]
