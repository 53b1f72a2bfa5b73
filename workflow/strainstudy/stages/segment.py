"""Signals of a batch cut into states, contacts and strides, knee bends and swallow candidates."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any, NamedTuple

import numpy as np
import numpy.typing as npt
import pandas as pd

from ..bends.detect import BEND_COLUMNS, bends_of_knees
from ..bends.parameters import BendParameters
from ..calibrate.answer import Answer
from ..errors import counted
from ..gait.angles import in_degrees
from ..gait.parameters import GaitParameters
from ..gait.strides import STRIDE_COLUMNS
from ..gait.walk import STATE_COLUMNS, detect_walk
from ..io.frames import read_json, write_frame, write_json
from ..io.store import Kept, Trace, TraceReader
from ..jobs import Progress
from ..records import Recording
from ..swallow.activity import observed_seconds
from ..swallow.candidates import CANDIDATE_COLUMNS, detect_together
from ..swallow.features import FEATURE_NAMES
from ..swallow.parameters import SwallowParameters
from ..vocabulary import KNEES, STRAIN_SENSOR_UNITS, VOLT_UNITS
from .bodies import angles_of, knees_of, limits_of, seat_of

__all__ = ["FRAMES", "QUANTITIES", "Recorded", "run", "segment_recording", "throat_candidates"]

FRAMES = {
    "events": ("onset", "duration", "trial_type", "side", "value", "score"),
    "states": STATE_COLUMNS,
    "strides": STRIDE_COLUMNS,
    "knee_bends": ("side", *BEND_COLUMNS),
    "candidates": (*CANDIDATE_COLUMNS, *FEATURE_NAMES),
}
QUANTITIES = ("response", "angle", "angle_low", "angle_high")
SIZES = ("swing_peak", "range_of_motion", "amplitude", "response_range")
"""Columns of strides that a bridge wired in reverse makes wrong; times stay."""
WALKS = ("walk", "free")
BENDS = ("bend", "free")


def _outside_gait(bends: pd.DataFrame, states: pd.DataFrame) -> pd.DataFrame:
    """Leave out bends whose middle lies in a walk: those are steps."""
    gait = states[states["trial_type"].isin(["gait", "turn"])]
    middle = (bends["onset"] + bends["duration"] / 2).to_numpy()[:, None]
    first = gait["onset"].to_numpy()
    inside = (middle >= first) & (middle < first + gait["duration"].to_numpy())
    kept: pd.DataFrame = bends.loc[~inside.any(axis=1)]
    return kept


def segment_recording(
    task: str,
    traces: Mapping[str, Trace],
    gait: GaitParameters,
    bends: BendParameters,
    *,
    lag_s: float,
    answers: Mapping[str, Answer] | None = None,
    flexion_stretches: bool = True,
) -> tuple[dict[str, pd.DataFrame], dict[str, Any]]:
    """Cut one recording into all but swallow candidates, which `throat_candidates` finds.

    Parameters
    ----------
    task : str
        Walks are looked for in ``walk`` and ``free``, bends in ``bend`` and ``free``.
    traces : mapping of tracked point to Trace
        Conditioned signals.
    gait, bends : parameters
    lag_s : float
        Time constant of the answer of a strain sensor whose own was not measured, seconds.
    answers : mapping of tracked point to Answer, optional
        How the sensors answer whose own was measured.
    flexion_stretches : bool
        A knee in volts whose wave of walking is upside down is wired in reverse: its strides have no sizes.

    Returns
    -------
    frames : dict of str to DataFrame
        Those of `FRAMES` that apply.
    notes : dict
        ``polarity`` of each knee with its evidence; ``answers``, the lag undone on each knee with its error (None: as
        assumed) and source; ``throat_s``, ``observed_throat_s``.
    """
    frames: dict[str, pd.DataFrame] = {}
    notes: dict[str, Any] = {"polarity": {}, "answers": {}, "throat_s": None, "observed_throat_s": None}
    knees, fs = knees_of(traces)
    if knees and task in WALKS:
        notes["answers"] = _undone(traces, answers or {}, lag_s)
        lags = {side: undone["time_constant"] for side, undone in notes["answers"].items()}
        loops = {side: answers[point].loop for side, point in KNEES.items() if answers and point in answers}
        walk = detect_walk(knees, fs, gait, lags=lags, loops=loops, expected=task == "walk")
        frames["events"] = walk.events.assign(value=np.nan)
        frames["states"] = walk.states
        frames["strides"] = in_degrees(walk.strides, angles_of(traces), fs)
        notes["polarity"] = {
            side: {
                "sign": int(found.sign),
                "margin": float(found.margin),
                "reversed": flexion_stretches and found.clearly_falls and traces[KNEES[side]].units in VOLT_UNITS,
            }
            for side, found in walk.polarity.items()
        }
        backwards = [side for side, found in notes["polarity"].items() if found["reversed"]]
        frames["strides"].loc[frames["strides"]["side"].isin(backwards), list(SIZES)] = np.nan
    if knees and task in BENDS:
        found = bends_of_knees(knees, fs, bends, limits_of(traces))
        frames["knee_bends"] = _outside_gait(found, frames["states"]) if "states" in frames else found
    if "throat" in traces:
        throat = traces["throat"]
        notes["throat_s"] = throat.n / throat.sampling_frequency
        notes["observed_throat_s"] = observed_seconds(throat["response"], throat.sampling_frequency)
    return frames, notes


def _undone(traces: Mapping[str, Trace], answers: Mapping[str, Answer], lag_s: float) -> dict[str, dict[str, Any]]:
    """Lag to undo on each knee that a sensor measured, its standard error and what measured it."""
    found: dict[str, dict[str, Any]] = {}
    for side, point in KNEES.items():
        if point in answers:
            own = answers[point]
            found[side] = {"time_constant": own.time_constant_s, "error": own.error_s, "source": own.source}
        elif point in traces and traces[point].units in STRAIN_SENSOR_UNITS:
            found[side] = {"time_constant": lag_s, "error": None, "source": "assumed"}
    return found


class Recorded(NamedTuple):
    """How a throat was recorded: smallest step (infinite where nothing changed), and stretches at a rail in s."""

    resolution: float
    clipped_s: npt.NDArray[np.float64]


def throat_candidates(
    throats: Mapping[str, Trace], recorded: Mapping[str, Recorded], parameters: SwallowParameters
) -> dict[str, pd.DataFrame]:
    """Find swallow candidates in recordings of one sensor on one throat.

    Parameters
    ----------
    throats : mapping of recording_id to Trace
    recorded : mapping of recording_id to Recorded
    parameters : SwallowParameters

    Returns
    -------
    dict of recording_id to DataFrame
        As `swallow.candidates.detect_together` finds them.
    """
    streams = [(throat["response"], throat.sampling_frequency) for throat in throats.values()]
    steps = [recorded[recording].resolution for recording in throats]
    candidates = detect_together(streams, parameters, steps, [recorded[recording].clipped_s for recording in throats])
    return dict(zip(throats, candidates, strict=True))


def _recorded(notes: Path) -> dict[str, Recorded]:
    """Read from the notes of conditioning how each throat was recorded."""
    return {
        str(row["recording_id"]): Recorded(
            row["resolution"] or math.inf, np.array(row["clipped_s"], dtype=float).reshape(-1, 2)
        )
        for row in read_json(notes)
        if row["resolution"] is not None
    }


def _answers(notes: Path) -> dict[str, dict[str, Answer]]:
    """Read from the notes of calibration how sensors answer, by recording and tracked point."""
    found: dict[str, dict[str, Answer]] = {}
    for row in read_json(notes):
        if row["answer"] is not None:
            found.setdefault(str(row["recording_id"]), {})[str(row["tracked_point"])] = Answer.from_dict(row["answer"])
    return found


def _whole(parts: Sequence[tuple[str, pd.DataFrame]], columns: Sequence[str]) -> pd.DataFrame:
    """Put the rows of all recordings below one another, each with its recording in front."""
    if not parts:
        return pd.DataFrame(columns=["recording_id", *columns])
    whole = pd.concat([frame for _, frame in parts], ignore_index=True)[list(columns)]
    names = np.array([of for of, _ in parts], dtype=object)
    whole.insert(0, "recording_id", np.repeat(names, [len(frame) for _, frame in parts]))
    return whole


def run(
    recordings: Sequence[Recording],
    *,
    gait: GaitParameters,
    bends: BendParameters,
    swallow: SwallowParameters,
    lag_s: float,
    flexion_stretches: bool,
    signals: Path,
    condition_notes: Path,
    calibrate_notes: Path,
    outputs: Mapping[str, Path],
    notes: Path,
    progress: Progress,
    kept: Kept | None = None,
) -> None:
    """Cut the recordings of a batch.

    Parameters
    ----------
    recordings : sequence of Recording
    gait, bends, swallow : parameters
    lag_s, flexion_stretches
        As for `segment_recording`.
    signals, condition_notes, calibrate_notes : Path
        What condition and calibrate left.
    outputs : mapping of str to Path
        `FRAMES` to write, ``recording_id`` in front.
    notes : Path
        To write: notes by recording.
    progress : Progress
    kept : Kept, optional
        What calibrate kept of ``signals``: `QUANTITIES` or more.
    """
    parts: dict[str, list[tuple[str, pd.DataFrame]]] = {name: [] for name in FRAMES}
    said = {}
    recorded, answers = _recorded(condition_notes), _answers(calibrate_notes)
    left = Counter(seat_of(recording) for recording in recordings)
    throats: dict[tuple[str, ...], dict[str, Trace]] = {seat: {} for seat in left}
    with TraceReader(signals, QUANTITIES, kept) as reader:
        for number, recording in enumerate(recordings, start=1):
            traces = reader.recording(recording.recording_id)
            frames, said[recording.recording_id] = segment_recording(
                recording.task,
                traces,
                gait,
                bends,
                lag_s=lag_s,
                answers=answers.get(recording.recording_id),
                flexion_stretches=flexion_stretches,
            )
            counts = ", ".join(f"{len(frame)} {name.replace('_', ' ')}" for name, frame in frames.items())
            found = {name: [(recording.recording_id, frame)] for name, frame in frames.items()}
            seat = seat_of(recording)
            left[seat] -= 1
            if "throat" in traces:
                throats[seat][recording.recording_id] = traces["throat"]
            if not left[seat] and throats[seat]:
                candidates = throat_candidates(throats.pop(seat), recorded, swallow)
                found["candidates"] = list(candidates.items())
                words = (
                    f"{counted(sum(map(len, candidates.values())), 'candidate')} in "
                    f"{counted(len(candidates), 'throat recording')} of the session"
                )
                counts = f"{counts}, {words}" if counts else words
            for name, own in found.items():
                parts[name] += [(of, frame) for of, frame in own if len(frame)]
            progress.count(f"{recording.recording_id}: {counts or 'nothing to cut'}", number, len(recordings))
    for name, columns in FRAMES.items():
        write_frame(outputs[name], _whole(parts[name], columns))
    write_json(notes, said)
