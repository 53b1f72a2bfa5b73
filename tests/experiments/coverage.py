"""Do the printed 95 % intervals hold the truth in 95 of 100 cases? An audit on people whose truth is known.

    python tests/experiments/coverage.py CACHE REAL_WALKS docs/coverage.md

CACHE is a folder for two invented cohorts and what the stages make of them (made once, minutes); REAL_WALKS a study
folder of recorded walks whose labels are those of force plates. The rules were chosen with the first cohort and the
recorded walks; the second cohort judges them. Two truths of a walk are told apart: what contacts and toe-offs without
error would have given for the very same strides, and the usual value of that day, from minutes of the same walking.
"""

from __future__ import annotations

import math
import sys
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

sys.path.insert(0, str(Path(__file__).parents[1]))

import numpy as np
import pandas as pd
from experiments.in_process import run_to_segments
from experiments.known_cohort import long_walks, write_known
from experiments.strapped_walks import read_walks
from strainstudy.gait import measures
from strainstudy.gait.landmark_errors import (
    FORCE_PLATES,
    LandmarkErrors,
    errors_for,
    landmark_cells,
    pooled_errors,
    with_measurement_error,
)
from strainstudy.gait.parameters import GaitParameters
from strainstudy.gait.strides import STRIDE_COLUMNS
from strainstudy.gait.walk import detect_walk
from strainstudy.io.labels import read_labels
from strainstudy.signal.filters import lowpass
from strainstudy.signal.hampel import find_spikes
from strainstudy.stages.classify import state_of
from strainstudy.stats.matching import match_instants
from strainstudy.study import load_study
from strainstudy.tables.gait import MEASURED

SIDES = ("left", "right")
STATES = ("normal_gait", "limping_gait")
PEOPLE, CHOSEN_ON, JUDGED_ON = 64, 101, 202
TASKS = ("bend", "walk", "swallow", "water")
P = GaitParameters(bootstrap_resamples=400)
TIMES = tuple(m for m in MEASURED if not m.startswith(("swing_peak_mean", "range_of_motion", "swing_peak_timing")))
LEAST_STRIDES = 12


@dataclass(frozen=True)
class Walked:
    """One recording's strides with their true states, and what really happened."""

    name: str
    person: str
    strides: pd.DataFrame
    truth: pd.DataFrame
    labels: pd.DataFrame
    usual: Mapping[str, Mapping[str, Any]]


def _nearest(known: np.ndarray, found: np.ndarray) -> np.ndarray:
    """Known instant of each found one; NaN beyond a quarter of a second."""
    out = np.full(found.size, np.nan)
    order = np.argsort(found, kind="stable")
    pairs = match_instants(np.sort(known), found[order], 0.25)
    out[order[pairs.estimate]] = np.sort(known)[pairs.reference]
    return out


def without_error(strides: pd.DataFrame, truth: pd.DataFrame) -> pd.DataFrame:
    """The same strides from true contacts and toe-offs; strides without a true contact at both ends are left out."""

    def times(kind: str, side: str) -> np.ndarray:
        return truth.loc[(truth["trial_type"] == kind) & (truth["side"] == side), "onset"].to_numpy(float)

    parts = []
    for side, other in (SIDES, SIDES[::-1]):
        own = strides[strides["side"] == side].copy()
        onset = _nearest(times("initial_contact", side), own["onset"].to_numpy(float))
        end = _nearest(times("initial_contact", side), (own["onset"] + own["stride_time"]).to_numpy(float))
        toe_off = _nearest(times("toe_off", side), own["toe_off"].to_numpy(float))
        theirs = np.sort(times("initial_contact", other))
        place = np.searchsorted(theirs, onset, side="right")
        inside = np.where(place < theirs.size, theirs[np.minimum(place, max(theirs.size - 1, 0))], np.nan)
        inside = np.where(inside < end, inside, np.nan)
        known = own["step_time"].notna().to_numpy()
        stride = end - onset
        own = own.assign(
            onset=onset, stride_time=stride, step_time=np.where(known, end - inside, np.nan), toe_off=toe_off,
            stance_time=toe_off - onset, swing_time=end - toe_off, stance_fraction=(toe_off - onset) / stride,
            phase=np.where(known, 360 * (inside - onset) / stride, np.nan),
        )  # fmt: skip
        parts.append(own[np.isfinite(own["stride_time"])])
    return pd.concat(parts, ignore_index=True)


def strides_of_truth(truth: pd.DataFrame) -> pd.DataFrame:
    """Strides of a long walk from its true events, the first and last ten left out."""
    parts = []
    for side in SIDES:
        contacts = np.sort(
            truth.loc[(truth["trial_type"] == "initial_contact") & (truth["side"] == side), "onset"].to_numpy(float)
        )[10:-10]
        toe_offs = np.sort(truth.loc[(truth["trial_type"] == "toe_off") & (truth["side"] == side), "onset"].to_numpy())
        frame = pd.DataFrame(dict.fromkeys(STRIDE_COLUMNS, np.nan), index=range(contacts.size - 1))
        toe_off = toe_offs[np.searchsorted(toe_offs, contacts[:-1])]
        parts.append(
            frame.assign(
                side=side,
                onset=contacts[:-1],
                stride_time=np.diff(contacts),
                step_time=0.0,
                toe_off=toe_off,
                steady=True,
                walk=0,
            )  # fmt: skip
        )
    return without_error(pd.concat(parts, ignore_index=True), truth)


def values_of(strides: pd.DataFrame) -> dict[str, Any]:
    """Measures without intervals."""
    return measures.summarise_walk(strides, GaitParameters(bootstrap_resamples=200)) if len(strides) else {}


def cohort(cache: Path, seed: int) -> list[Walked]:
    """Walks of an invented cohort, in true gait states."""
    folder = cache / f"cohort-{seed}"
    folder.mkdir(parents=True, exist_ok=True)
    truth = write_known(folder, people=PEOPLE, seed=seed, tasks=TASKS)
    run = folder / "run"
    if not (run / "segment_notes.json").is_file():
        run.mkdir(exist_ok=True)
        run_to_segments(load_study(folder / "study"), run)
    strides = pd.read_parquet(run / "strides.parquet")
    found = []
    for name, own in strides[strides["recording_id"].str.endswith("_walk")].groupby("recording_id"):
        events = truth[truth["recording_id"] == name]
        person = str(events["participant_id"].iloc[0])
        session = int(str(name).split("_ses-")[1][:2]) - 1
        states = events[events["trial_type"].isin([*STATES, "turn", "rest"])]
        usual = {
            state: values_of(strides_of_truth(walk))
            for state, walk in long_walks(int(person[4:]) - 1, seed, session).items()
        }
        labels = read_labels(folder / f"study/labels/{name}/rater1_events.tsv")
        own = own.assign(trial_type=state_of(own, states))
        found.append(Walked(str(name), person, own[own["trial_type"].isin(STATES)], events, labels, usual))
    return found


def recorded(root: Path) -> list[Walked]:
    """Walks of real people against force plates."""
    found = []
    for walk in read_walks(root):
        knees = {}
        for side, angle in walk.angles.items():
            spikes = find_spikes(angle, longest=2)
            at = np.arange(angle.size)
            knees[side] = lowpass(np.interp(at, at[~spikes], angle[~spikes]), 100.0, 6.0)
        strides = detect_walk(knees, 100.0, P).strides.assign(trial_type=walk.state)
        found.append(Walked(walk.recording_id, walk.participant_id, strides, walk.labels, walk.labels, {}))
    return found


def cells_of(walks: list[Walked], *, of_truth: bool = False) -> pd.DataFrame:
    """Errors of landmarks of each walk against its labels."""
    parts = [landmark_cells(w.strides, w.truth if of_truth else w.labels, w.person) for w in walks]
    return pd.concat([part for part in parts if len(part)], ignore_index=True)


def _plates_without(person: str, cells: pd.DataFrame) -> LandmarkErrors:
    others = cells[cells["participant_id"] != person]
    found = pooled_errors(others, "force plates, the others", ("participant_id", "trial_type"))
    assert found is not None
    return found


def rows_of(walks: list[Walked], way: str) -> Iterator[dict[str, Any]]:
    """Estimate, limits and truths of every measure of every walk and state.

    ``before``: single strides drawn, nothing added. ``labels``, ``plates``: with the error of the landmarks from the
    labels of the other people, or from force plates (of recorded people: of the three others).
    """
    cells = cells_of(walks)
    single = replace(P, stride_persistence=0.5)
    for walk in walks:
        for state, own in walk.strides.groupby("trial_type"):
            steady = own[own["steady"].astype(bool)]
            if len(steady) < LEAST_STRIDES or set(steady["side"]) != set(SIDES):
                continue
            row = measures.summarise_walk(own, single if way == "before" else P, key=f"{walk.name} {state}")
            if way != "before":
                if way == "labels":
                    errors = errors_for(walk.person, str(state), cells)
                elif walk.usual:
                    errors = FORCE_PLATES
                else:
                    errors = _plates_without(walk.person, cells)
                row = with_measurement_error(row, own, errors, angles={})
            same = values_of(without_error(steady, walk.truth))
            usual = walk.usual.get(str(state), {})
            for name in TIMES:
                value = row[name]
                if isinstance(value, float) and math.isfinite(value):
                    yield {
                        "recording": walk.name, "person": walk.person, "state": state, "measure": name, "value": value,
                        "low": row[f"{name}_low"], "high": row[f"{name}_high"],
                        "error": row.get(f"{name}_error", math.nan),
                        "same": same.get(name, math.nan), "usual": usual.get(name, math.nan),
                    }  # fmt: skip


def covered(rows: pd.DataFrame) -> pd.DataFrame:
    """Share of intervals that hold each truth, by measure and state."""
    low, high, value, error = (rows[c].to_numpy(float) for c in ("low", "high", "value", "error"))
    same, usual = rows["same"].to_numpy(float), rows["usual"].to_numpy(float)
    marks = rows.assign(
        limits_same=np.where(np.isfinite(same), (low <= same) & (same <= high), np.nan),
        limits_usual=np.where(np.isfinite(usual), (low <= usual) & (usual <= high), np.nan),
        error_same=np.where(np.isfinite(same) & np.isfinite(error), np.abs(value - same) <= error, np.nan),
        half=(high - low) / 2, off=value - same,
    )  # fmt: skip
    return marks.groupby(["measure", "state"], sort=True).agg(
        n=("value", "size"), limits_same=("limits_same", "mean"), limits_usual=("limits_usual", "mean"),
        error_same=("error_same", "mean"), half=("half", "median"), error=("error", "median"),
        off=("off", lambda x: float(np.sqrt(np.nanmean(np.square(x))))),
    )  # fmt: skip
