"""What a job needs by the number of recordings it works on: to tell how long a run takes, and to ask a cluster for it.

In: the word of a stage and a number of recordings. Out: seconds on one core as measured, minutes and MB to ask for.
"""

from __future__ import annotations

import math
from typing import NamedTuple

__all__ = ["NEEDS", "Need", "memory_mb", "runtime_min", "seconds"]


class Need(NamedTuple):
    """Straight lines by the number of recordings: seconds on one core, and resident memory at its peak, MB."""

    seconds: float
    seconds_per_recording: float
    mb: float
    mb_per_recording: float


NEEDS = {
    "ingest": Need(0.3, 0.005, 110, 0.2),
    "derive": Need(1.1, 0.035, 220, 1.9),
    "characterise": Need(1.5, 0.03, 150, 0.5),
    "tabulate": Need(0.8, 0.002, 135, 0.2),
    "labels": Need(0.7, 0.001, 130, 0.1),
    "classify": Need(8.0, 0.06, 420, 1.0),
    "measure": Need(1.0, 0.011, 150, 0.8),
    "validate": Need(1.2, 0.011, 170, 0.8),
    "review": Need(0.5, 0.005, 150, 0.8),
    "review_shared": Need(0.8, 0.001, 130, 0.1),
    "people": Need(0.7, 0.015, 140, 0.3),
    "figures": Need(2.0, 0.03, 180, 0.3),
    "drawings": Need(0.6, 0.013, 145, 0.4),
    "report": Need(1.5, 0.015, 180, 0.3),
    "paper_figures": Need(2.5, 0.003, 190, 0.3),
    "paper": Need(1.5, 0.005, 150, 0.3),
    "provenance": Need(0.8, 0.005, 130, 0.15),
    "share": Need(1.0, 0.02, 150, 0.2),
}
"""By stage. Measured on the demo: jobs on batches of 36 to 57 recordings, and on all 134; what a job needs without any
is what its imports need. Training, measures and validation are counted with their processes, memory as measured on 852
recordings as well; beyond those, lines are drawn on."""
_OTHER = Need(2.0, 0.05, 300, 2.0)
"""Of a stage that was not measured (ours)."""
_TIMES_MEMORY = 2.0
"""As much memory is asked for as was measured: recordings differ in length (ours)."""
_LEAST_MB = 1000
"""Memory that any job asks for, MB: Python with the scientific libraries takes a third of it (ours)."""
_TIMES_TIME = 10.0
"""As much time is asked for as was measured: nodes are shared and slower, and a job over its time is lost (ours)."""
_LEAST_MIN = 5
"""Time that any job asks for, minutes (ours)."""


def _need(stage: str) -> Need:
    return NEEDS.get(stage, _OTHER)


def seconds(stage: str, recordings: int) -> float:
    """Tell about how long a job takes on one core."""
    need = _need(stage)
    return need.seconds + need.seconds_per_recording * recordings


def memory_mb(stage: str, recordings: int) -> int:
    """Tell how much memory a job should ask for, MB, in steps of 500."""
    need = _need(stage)
    most = _TIMES_MEMORY * (need.mb + need.mb_per_recording * recordings)
    return max(_LEAST_MB, 500 * math.ceil(most / 500))


def runtime_min(stage: str, recordings: int) -> int:
    """Tell how much time a job should ask for, minutes."""
    return max(_LEAST_MIN, math.ceil(_TIMES_TIME * seconds(stage, recordings) / 60))
