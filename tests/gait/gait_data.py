"""What the gait tests share: simulated walks with true contacts, recorded walks, and scoring."""

from __future__ import annotations

import os
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from strainstudy.gait.state_bouts import bouts_of_all
from strainstudy.io.labels import read_labels
from strainstudy.signal.filters import lowpass
from strainstudy.signal.hampel import find_spikes
from strainstudy.stats.matching import match_instants
from strainstudy_simulator.gaits import Gait
from strainstudy_simulator.knee import Segment, walk_knees

SIDES = ("left", "right")
TOLERANCE_S = 0.1


@dataclass(frozen=True)
class Recorded:
    """Knee curves and what is known of them."""

    name: str
    knees: Mapping[str, np.ndarray]
    fs: float
    labels: pd.DataFrame

    def onsets(self, kind: str, side: str) -> np.ndarray:
        """Times of one kind of labelled event of one side."""
        rows = self.labels[(self.labels["trial_type"] == kind) & (self.labels["side"] == side)]
        return rows["onset"].to_numpy(float)


def simulated(script: list[Segment], seed: int, *, fs: float = 100.0, name: str = "simulated") -> Recorded:
    """Walk a simulated person through a script."""
    motion = walk_knees(script, fs, np.random.default_rng(seed))
    rows = [(e.onset, e.duration, e.trial_type, e.side) for e in motion.truth]
    labels = pd.DataFrame(rows, columns=["onset", "duration", "trial_type", "side"])
    return Recorded(name, dict(motion.angles), fs, labels)


def plain_walk(gait: Gait | None = None, seconds: float = 40.0, seed: int = 1, fs: float = 100.0) -> Recorded:
    """Stand, walk, stand."""
    gait = Gait() if gait is None else gait
    return simulated([Segment("rest", 3.0), Segment("walk", seconds, gait), Segment("rest", 3.0)], seed, fs=fs)


def real_walks(kind: str = "") -> list[Recorded]:
    """Recorded walks of the open data of Pearl et al. 2022 whose name holds a word; skips where they are not."""
    place = os.environ.get("STRAINSTUDY_REAL_WALKS")
    if not place:
        pytest.skip("STRAINSTUDY_REAL_WALKS does not name the folder of recorded walks")
    sheet = pd.read_csv(Path(place) / "recordings.tsv", sep="\t", dtype=str)
    found = []
    for row in sheet[sheet["recording_id"].str.contains(kind)].itertuples():
        fs = float(row.sampling_frequency)
        raw = pd.read_csv(Path(place) / row.file)
        knees = {side: conditioned(raw[f"{side}_knee_deg"].to_numpy(float), fs) for side in SIDES}
        (labels,) = (Path(place) / "labels" / row.recording_id).glob("*_events.tsv")
        found.append(Recorded(row.recording_id, knees, fs, read_labels(labels)))
    return found


def conditioned(x: np.ndarray, fs: float) -> np.ndarray:
    """Take off one-sample spikes and low-pass, as a recording is before walks are looked for."""
    spikes = find_spikes(x, longest=2)
    x = np.interp(np.arange(x.size), np.flatnonzero(~spikes), x[~spikes])
    return lowpass(x, fs, 6.0)


def onsets(events: pd.DataFrame, kind: str, side: str) -> np.ndarray:
    return events.loc[(events["trial_type"] == kind) & (events["side"] == side), "onset"].to_numpy(float)


@dataclass
class Score:
    """Counts of matched, surplus and missed events, and the timing errors."""

    hits: int = 0
    surplus: int = 0
    missed: int = 0

    def add(self, other: Score) -> None:
        """Pool with the counts of another recording."""
        self.hits, self.surplus, self.missed = (
            self.hits + other.hits,
            self.surplus + other.surplus,
            self.missed + other.missed,
        )

    @property
    def f1(self) -> float:
        """Harmonic mean of precision and recall."""
        return 2 * self.hits / max(2 * self.hits + self.surplus + self.missed, 1)


def scored(
    recorded: Recorded, events: pd.DataFrame, side: str, kind: str = "initial_contact"
) -> tuple[Score, np.ndarray]:
    """Match events one to one, optimally, within 0.1 s; only what lies in ``labelled`` spans where there are some."""
    truth, found = recorded.onsets(kind, side), onsets(events, kind, side)
    spans = recorded.labels[recorded.labels["trial_type"] == "labelled"]
    matches = match_instants(truth, found, TOLERANCE_S)
    counted = np.ones(found.size, dtype=bool)
    if len(spans):
        first = spans["onset"].to_numpy(float)
        last = first + spans["duration"].to_numpy(float)
        counted = ((found[:, None] >= first) & (found[:, None] <= last)).any(axis=1)
        counted[matches.estimate] = True
    hits = len(matches.reference)
    errors = found[matches.estimate] - truth[matches.reference]
    return Score(hits, int(counted.sum()) - hits, truth.size - hits), errors


def time_in(labels: pd.DataFrame, kinds: tuple[str, ...], seconds: float, step: float = 0.01) -> np.ndarray:
    """Mask of the time that rows of some types cover."""
    mask = np.zeros(int(np.ceil(seconds / step)) + 1, dtype=bool)
    for row in labels[labels["trial_type"].isin(kinds)].itertuples():
        mask[round(row.onset / step) : round((row.onset + row.duration) / step)] = True
    return mask


def bouts_of(recording_id, states, windows, parameters, prediction):
    """Make the bouts of one recording from states and windows that do not name it."""
    own = states.assign(recording_id=recording_id), windows.assign(recording_id=recording_id, prediction=prediction)
    return bouts_of_all(*own, parameters, prediction)
