"""Signals and strides of a batch to one row of features per gait window."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

import pandas as pd

from ..errors import counted
from ..gait.window_parameters import FeatureParameters
from ..gait.windows import GAIT_FEATURES, WINDOW_COLUMNS, gait_features
from ..io.frames import read_frame, read_json, write_frame
from ..io.store import Kept, Trace, TraceReader
from ..jobs import Progress
from ..records import Recording
from ..vocabulary import KNEES
from .bodies import angles_of, knees_of

__all__ = ["run"]


@dataclass(frozen=True)
class _Sign:
    sign: int


@dataclass(frozen=True)
class _Walk:
    strides: pd.DataFrame
    polarity: Mapping[str, _Sign]


def _windows(
    traces: Mapping[str, Trace], strides: pd.DataFrame, signs: Mapping[str, int], parameters: FeatureParameters
) -> pd.DataFrame:
    knees, fs = knees_of(traces)
    walk = _Walk(strides, {side: _Sign(sign) for side, sign in signs.items()})
    return gait_features(walk, knees, fs, parameters, angles_of(traces))


def run(
    recordings: Sequence[Recording],
    *,
    parameters: FeatureParameters,
    signals: Path,
    strides: Path,
    notes: Path,
    windows: Path,
    progress: Progress,
    kept: Kept | None = None,
) -> None:
    """Make the gait windows of a batch.

    Parameters
    ----------
    recordings : sequence of Recording
        Of the batch.
    parameters : FeatureParameters
    signals, strides, notes : Path
        What condition and segment left.
    windows : Path
        To write: one row per window, ``recording_id`` in front.
    progress : Progress
    kept : Kept, optional
        What calibrate kept of ``signals``: ``response``, ``angle`` or more.
    """
    rows, polarity = read_frame(strides), read_json(notes)
    frames = [pd.DataFrame(columns=["recording_id", *WINDOW_COLUMNS, *(spec.name for spec in GAIT_FEATURES)])]
    with TraceReader(signals, ("response", "angle"), kept) as reader:
        for recording in recordings:
            own = rows[rows["recording_id"] == recording.recording_id]
            if not len(own):
                continue
            signs = {side: entry["sign"] for side, entry in polarity[recording.recording_id]["polarity"].items()}
            traces = reader.recording(recording.recording_id)
            knees = {point: trace for point, trace in traces.items() if point in KNEES.values()}
            frames.append(_windows(knees, own, signs, parameters).assign(recording_id=recording.recording_id))
    whole = pd.concat(frames[1:] or frames, ignore_index=True)
    write_frame(windows, whole[list(frames[0].columns)])
    progress.say(f"{counted(len(whole), 'gait window')} in {counted(len(recordings), 'recording')}")
