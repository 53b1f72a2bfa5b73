"""Which recordings are worked on together: whole participants, in batches that do not move when one is added."""

from __future__ import annotations

import hashlib
from collections import defaultdict
from collections.abc import Iterable

from .records import Recording

__all__ = ["BENCH", "batch_name", "group_recordings"]

BENCH = "bench"


def batch_name(participant_id: str, batches: int) -> str:
    """Name a participant's batch; it depends on the id and the number of batches alone."""
    number = int.from_bytes(hashlib.sha256(participant_id.encode()).digest()[:8], "big") % batches
    return f"people-{number:0{len(str(batches - 1))}d}"


def group_recordings(recordings: Iterable[Recording], batches: int) -> dict[str, list[Recording]]:
    """Split recordings into batches: a participant's all in one, the bench in one of its own.

    Parameters
    ----------
    recordings : iterable of Recording
        Of one study.
    batches : int
        Number of batches people are spread over, at least 1.

    Returns
    -------
    dict of str to list of Recording
        Batches that have recordings, sorted by name; recordings sorted by id.
    """
    found: dict[str, list[Recording]] = defaultdict(list)
    for recording in sorted(recordings, key=lambda r: r.recording_id):
        person = recording.participant_id
        found[BENCH if person is None else batch_name(person, batches)].append(recording)
    return dict(sorted(found.items()))
