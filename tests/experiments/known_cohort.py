"""An invented cohort whose truth is kept: what really happened, and the knee angles that bent the sensors.

Written as any invented study (`write_study`, without its faults), with the movement's own events and knee angles beside
the files, which no label and no reference of the study gives. `usual_values` walks each person for minutes on end: what
a mean over a few strides is a sample of.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
from strainstudy_simulator import cohort, sessions
from strainstudy_simulator.folder import FolderWriter
from strainstudy_simulator.knee import KneeMotion, Segment, walk_knees
from strainstudy_simulator.people import draw_person, rng_for

__all__ = ["angles_of", "long_walks", "write_known"]

COLUMNS = ("onset", "duration", "trial_type", "side", "value")
FS = 100.0


@contextmanager
def _keeping(folder: Path) -> Iterator[list[tuple[Any, ...]]]:
    """Keep the truth of every take that is written, and the knee angles of its motion."""
    rows: list[tuple[Any, ...]] = []
    motions: list[KneeMotion] = []
    channels, writer = sessions._knee_channels, cohort.FolderWriter

    def noting(motion: KneeMotion, *args: Any, **more: Any) -> Any:
        motions.append(motion)
        return channels(motion, *args, **more)

    class Keeping(FolderWriter):
        def save(self, recording_id: str, take: sessions.Take, **more: Any) -> None:
            rows.extend(
                (recording_id, more.get("participant_id"), e.onset, e.duration, e.trial_type, e.side, e.value)
                for e in take.truth
            )
            if motions:
                angles = {side: a.astype(np.float32) for side, a in motions.pop().angles.items()}
                np.savez_compressed(folder / f"{recording_id}.npz", **angles)
            super().save(recording_id, take, **more)

    sessions._knee_channels, cohort.FolderWriter = noting, Keeping
    try:
        yield rows
    finally:
        sessions._knee_channels, cohort.FolderWriter = channels, writer


def write_known(folder: Path, *, people: int, seed: int, tasks: tuple[str, ...]) -> pd.DataFrame:
    """Write a study to ``folder/study`` and its truth beside it.

    Returns
    -------
    DataFrame
        recording_id, participant_id and the true events.
    """
    truth = folder / "truth"
    truth.mkdir(parents=True, exist_ok=True)
    events = folder / "truth.parquet"
    if not events.is_file():
        with _keeping(truth) as rows:
            cohort.write_study(
                folder / "study", people=people, sessions=2, seed=seed, tasks=tasks, bench=False, faults=False
            )
        pd.DataFrame(rows, columns=["recording_id", "participant_id", *COLUMNS]).to_parquet(events)
    return pd.read_parquet(events)


def angles_of(folder: Path, recording_id: str) -> Mapping[str, np.ndarray]:
    """Knee angles in degrees by side."""
    with np.load(folder / "truth" / f"{recording_id}.npz") as stored:
        return {side: stored[side].astype(float) for side in stored.files}


def long_walks(index: int, seed: int, session: int, minutes: float = 12.0) -> dict[str, pd.DataFrame]:
    """Contacts and toe-offs of minutes of walking of one person, by gait state: what their usual values are."""
    person = draw_person(index, seed)
    found = {}
    for limping in (False, True):
        gait = person.gait_in(session, limping=limping)
        rng = rng_for(seed, person.participant_id, str(session), str(limping), "usual")
        motion = walk_knees([Segment("rest", 3.0), Segment("walk", 60 * minutes, gait), Segment("rest", 3.0)], FS, rng)
        rows = [(e.onset, e.duration, e.trial_type, e.side, e.value) for e in motion.truth]
        found[gait.trial_type] = pd.DataFrame(rows, columns=list(COLUMNS))
    return found
