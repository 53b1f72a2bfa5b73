"""What is measured of each walk by itself, a file of signals at a time, so that several processes can share a study.

In: strides with their gait state, and the signals of a batch. Out: errors of landmarks, measures and mean curves of
each walk. This module imports little, because every process starts with its imports.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

import pandas as pd

from ..gait.landmark_errors import landmark_cells
from ..gait.mean_curves import mean_curves
from ..gait.measures import summarise_walk
from ..gait.parameters import GaitParameters
from ..io.labels import read_labels
from ..io.store import read_recording
from ..vocabulary import GAIT_STATES
from .bodies import angles_of, knees_of

__all__ = ["MeasuredWalk", "WalkToMeasure", "measure_walks"]


@dataclass(frozen=True)
class WalkToMeasure:
    """A recording with strides.

    Parameters
    ----------
    recording_id : str
    participant_id : str or None
    strides : DataFrame
        Columns as in `strainstudy.gait.strides.STRIDE_COLUMNS`, and ``trial_type``.
    signs : mapping of side to int
        Direction in which each knee flexes; a side that is not in it flexes upwards.
    labels : Path or None
        What the reference rater labelled.
    """

    recording_id: str
    participant_id: str | None
    strides: pd.DataFrame
    signs: Mapping[str, int]
    labels: Path | None


@dataclass(frozen=True)
class MeasuredWalk:
    """What a recording gives by itself.

    Parameters
    ----------
    rows : dict of gait state to dict
        As from `strainstudy.gait.measures.summarise_walk`, for each gait state with strides.
    curves : DataFrame
        As from `strainstudy.gait.mean_curves.mean_curves`.
    """

    rows: dict[str, dict[str, float | int | str | None]]
    curves: pd.DataFrame


def measure_walks(
    signals: Path, walks: Sequence[WalkToMeasure], gait: GaitParameters
) -> tuple[dict[str, MeasuredWalk], pd.DataFrame]:
    """Measure the walks of a batch.

    Parameters
    ----------
    signals : Path
        Conditioned signals of the batch.
    walks : sequence of WalkToMeasure
    gait : GaitParameters

    Returns
    -------
    dict of recording_id to MeasuredWalk
    DataFrame
        `strainstudy.gait.landmark_errors.CELLS` of the walks with labels.
    """
    found = {}
    for walk in walks:
        name = walk.recording_id
        traces = read_recording(signals, name, ("response", "angle"))
        curves, fs = knees_of(traces)
        knees = {side: walk.signs.get(side, 1) * curve for side, curve in curves.items()}
        rows = {}
        for state in GAIT_STATES:
            own = walk.strides[walk.strides["trial_type"] == state]
            if len(own):
                rows[state] = summarise_walk(own, gait, knees=knees, fs=fs, key=f"{name} {state}")
        found[name] = MeasuredWalk(rows, mean_curves(walk.strides, angles_of(traces), fs))
    labelled = (
        (walk.strides, read_labels(walk.labels), walk.participant_id)
        for walk in walks
        if walk.labels is not None and walk.participant_id is not None
    )
    return found, landmark_cells(labelled)
