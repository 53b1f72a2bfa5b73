"""What a job needs by the number of recordings it works on: to tell how long a run takes, and to ask a cluster for it.

In: the word of a stage and a number of recordings. Out: seconds on one core as measured, minutes and MB to ask for.
"""

from __future__ import annotations

import math
from typing import NamedTuple

__all__ = ["NEEDS", "Need", "memory_mb", "runtime_min", "seconds"]


class Need(NamedTuple):
    """Straight lines through what was measured at two sizes of a cohort: of seconds on one core, and of MB at most."""

    seconds: float
    seconds_per_recording: float
    mb: float
    mb_per_recording: float


NEEDS = {
    "ingest": Need(1.0, 0.02, 250, 1.0),
    "condition": Need(1.0, 0.04, 250, 1.0),
    "calibrate": Need(1.0, 0.03, 250, 1.0),
    "segment": Need(1.0, 0.07, 250, 1.0),
    "characterise": Need(2.0, 0.02, 250, 1.0),
    "tabulate": Need(1.0, 0.005, 250, 1.0),
    "features": Need(0.5, 0.01, 250, 1.0),
    "classify": Need(15.0, 0.15, 400, 1.0),
    "measure": Need(2.0, 0.06, 250, 1.0),
    "validate": Need(4.0, 0.08, 300, 1.0),
    "review": Need(1.0, 0.02, 250, 1.0),
    "review_shared": Need(1.0, 0.01, 200, 1.0),
    "people": Need(1.0, 0.1, 250, 1.0),
    "report": Need(25.0, 0.2, 400, 1.0),
    "paper": Need(25.0, 0.1, 400, 1.0),
    "provenance": Need(1.0, 0.01, 200, 1.0),
    "share": Need(1.0, 0.02, 250, 1.0),
}
"""By stage; measured on the demo, 134 recordings, and on a small study."""
_OTHER = Need(2.0, 0.05, 300, 2.0)
"""Of a stage that was not measured (ours)."""
_TIMES_MEMORY = 2.0
"""As much memory is asked for as was measured: recordings differ in length (ours)."""
_LEAST_MB = 1000
"""Memory that any job asks for, MB: Python with the scientific libraries takes a third of it (ours)."""
_TIMES_TIME = 10.0
"""As much time is asked for as was measured: nodes are shared and slower, and a job over its time is lost (ours)."""
_LEAST_MIN = 10
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
