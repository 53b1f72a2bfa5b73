"""Where everything lies in the shared folder: each recording, its labels, what was detected, the tables.

In: a checked study and what the user allows. Out: a `Layout`, and every file that may be written, for the plan of the
results folder. The entities of a file's name are those of Motion-BIDS; recordings of the bench, which has no
participant and so no place among the raw data of that standard, lie in ``sourcedata/bench``.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from pathlib import PurePosixPath
from typing import Final

from ..io.bids import DESCRIPTION, LABELS_PREFIX, MOTION
from ..records import Recording, Study
from .columns import Pseudonyms, pseudonyms
from .parameters import ShareParameters

__all__ = ["BENCH", "COLUMNS", "PIPELINE", "SHARED", "TRACKING", "Layout", "layout", "share_files"]

SHARED: Final = "share/bids"
COLUMNS: Final = "share/columns.tsv"
PIPELINE: Final = "derivatives/strainstudy"
BENCH: Final = "sourcedata/bench"
TRACKING: Final = "strain"
"""Label of the tracking system: what BIDS calls whatever recorded the motion."""
_OF_A_RECORDING: Final = ("_motion.tsv", "_motion.json", "_channels.tsv")
_AT_TOP: Final = (
    DESCRIPTION, "README.md", "participants.tsv", "participants.json", "scans.json", "sessions.json", "channels.json",
)  # fmt: skip
_OF_A_DERIVATIVE: Final = (DESCRIPTION, "README.md", "events.json")


@dataclass(frozen=True)
class Layout:
    """Places in the shared folder, as text with forward slashes.

    Parameters
    ----------
    names : Pseudonyms
        What stands for each id.
    stems : mapping of str to str
        By recording: its files without ``_motion.tsv`` and the like.
    """

    names: Pseudonyms
    stems: Mapping[str, str]

    def motion(self, recording: Recording) -> str:
        """Name the samples of a recording."""
        return f"{self.stems[recording.recording_id]}{MOTION}"

    def scans(self, recording: Recording) -> str:
        """Name the list of recordings that one is in."""
        if recording.participant_id is None:
            return f"{BENCH}/recordings.tsv"
        folder = PurePosixPath(self.stems[recording.recording_id]).parent.parent
        return f"{folder}/{'_'.join(folder.parts)}_scans.tsv"

    def sessions(self, participant: str) -> str:
        """Name the list of a participant's sessions."""
        person = self.names.participants[participant]
        return f"{person}/{person}_sessions.tsv"

    def labels(self, recording: Recording, rater: str) -> str | None:
        """Name the labels of one rater; None on the bench."""
        return self._events(recording, f"derivatives/{LABELS_PREFIX}{self.names.raters[rater]}")

    def detected(self, recording: Recording) -> str | None:
        """Name what was detected in a recording; None on the bench."""
        return self._events(recording, PIPELINE)

    def _events(self, recording: Recording, dataset: str) -> str | None:
        stem = self.stems[recording.recording_id]
        return None if recording.participant_id is None else f"{dataset}/{stem}_events.tsv"


def layout(study: Study, parameters: ShareParameters) -> Layout:
    """Find a place for each recording; of several of one task in one session each has its run."""
    names = pseudonyms(study, parameters)
    alike: dict[tuple[str | None, str | None, str], list[str]] = defaultdict(list)
    for recording in study.recordings.values():
        alike[recording.participant_id, recording.session_id, recording.task].append(recording.recording_id)
    stems = {}
    for (participant, session, task), ids in alike.items():
        person = None if participant is None else names.participants[participant]
        when = None if session is None else names.sessions[session]
        for number, identifier in enumerate(ids, start=1):
            run = f"run-{number:0{len(str(len(ids)))}d}" if len(ids) > 1 else None
            parts = [person, when, f"task-{task}", f"tracksys-{TRACKING}", run]
            name = "_".join(part for part in parts if part is not None)
            folders = [BENCH] if person is None else [person, when, "motion"]
            stems[identifier] = "/".join([*(folder for folder in folders if folder is not None), name])
    return Layout(names, stems)


def share_files(study: Study, parameters: ShareParameters, tables: Iterable[str]) -> list[str]:
    """List every file that may be written when the study is shared, below the results folder.

    Parameters
    ----------
    study : Study
    parameters : ShareParameters
    tables : iterable of str
        Result tables below the results folder.
    """
    places = layout(study, parameters)
    found = {*_AT_TOP, f"{PIPELINE}/.bidsignore", "sourcedata/README.md", f"{BENCH}/recordings.json"}
    datasets = {PIPELINE, *(f"derivatives/{LABELS_PREFIX}{rater}" for rater in places.names.raters.values())}
    found |= {f"{dataset}/{name}" for dataset in datasets for name in _OF_A_DERIVATIVE}
    found |= {
        f"{PIPELINE}/{name}" for table in tables for name in (table, str(PurePosixPath(table).with_suffix(".json")))
    }
    for recording in study.recordings.values():
        found |= {places.stems[recording.recording_id] + end for end in _OF_A_RECORDING}
        events = [places.detected(recording), *(places.labels(recording, rater) for rater in recording.labels)]
        found |= {places.scans(recording), *(name for name in events if name is not None)}
        if recording.participant_id is not None and recording.session_id is not None:
            found.add(places.sessions(recording.participant_id))
    return sorted({COLUMNS, str(PurePosixPath(COLUMNS).with_suffix(".json")), *(f"{SHARED}/{name}" for name in found)})
