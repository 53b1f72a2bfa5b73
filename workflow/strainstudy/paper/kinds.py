"""Which figures of a paper one job draws, and which tables it reads: what is drawn together changes together.

Imports nothing that draws, because every start of the workflow reads it.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Final

from ..tables.angles import ANGLES
from ..tables.classifier import EVIDENCE
from ..tables.curves import CURVES
from ..tables.events import STRIDES
from ..tables.gait import GAIT
from ..tables.recordings import RECORDINGS
from ..tables.sensors import SENSOR_LOOPS, SENSORS
from ..tables.spec import TableSpec
from ..tables.standing import RETEST
from ..tables.swallows import SWALLOW_SUMMARY
from ..tables.validation import CONFUSION, EVENTS, PAIRS, PARAMETERS

__all__ = ["PAPER_KINDS", "reads_signals", "tables_of"]

PAPER_KINDS: Final[Mapping[str, tuple[str, ...]]] = {
    "outcomes": ("knee_curves", "sides", "groups", "swallows"),
    "sensors": ("sensor_loops",),
    "angles": ("angle_reference",),
    "proof": ("limits_of_agreement", "event_agreement", "reliability", "classifier"),
}
"""Figures of a paper by the job that draws them; outcomes and sensors need nothing of the validation."""
_TABLES: Final[Mapping[str, tuple[TableSpec, ...]]] = {
    "outcomes": (RECORDINGS, GAIT, CURVES, SWALLOW_SUMMARY),
    "sensors": (SENSOR_LOOPS, SENSORS),
    "angles": (ANGLES, STRIDES),
    "proof": (
        PAIRS, PARAMETERS, EVENTS, RETEST, CONFUSION, EVIDENCE["reliability"], EVIDENCE["classifier"],
    ),
}  # fmt: skip


def reads_signals(kind: str) -> bool:
    """Tell whether a kind is drawn from signals too: angles beside a reference."""
    return kind == "angles"


def tables_of(kind: str) -> tuple[TableSpec, ...]:
    """Give the tables that the figures of a kind are drawn from."""
    return _TABLES[kind]
