"""Which recordings are worked on together: whole participants, in batches that hardly move when one is added.

In: recordings, and a number of batches or None. Out: recordings by batch. People are spread by linear hashing (Litwin
1980, Linear hashing: a new tool for file and table addressing, VLDB 6): one batch more takes people out of one other
alone, and no name tells how many batches there are. One more person therefore changes the batch that they join and,
when they make a further batch, the one whose people it takes.
"""

from __future__ import annotations

import hashlib
from collections import defaultdict
from collections.abc import Collection, Iterable

from .records import Recording

__all__ = ["BENCH", "batch_name", "group_recordings", "joined_batches", "number_of_batches"]

BENCH = "bench"
_PEOPLE_A_BATCH = 8
"""People, on average (ours: some seconds of work beside about two of starting, and some batches for each core)."""
_LEAST_BATCHES = 2
"""Batches of a small study (ours: two cores have something to do)."""
_BATCHES_JOINED = 4
"""Batches (ours: what is made of all their pages takes longer than the start of a process)."""


def _bucket(participant_id: str, batches: int) -> int:
    key = int.from_bytes(hashlib.sha256(participant_id.encode()).digest()[:8], "big")
    # Buckets of half the size, of which the last ones have not been split yet.
    doubled = 1 << (batches - 1).bit_length()
    number = key % doubled
    return number if number < batches else number - doubled // 2


def batch_name(participant_id: str, batches: int) -> str:
    """Name a participant's batch; it depends on the id and the number of batches alone."""
    return f"people-{_bucket(participant_id, batches)}"


def number_of_batches(people: Collection[str]) -> int:
    """Say how many batches a cohort is spread over: about eight people in each.

    Parameters
    ----------
    people : collection of str
        Ids of the participants who have recordings, each once.

    Returns
    -------
    int
        So many that two or more people are in two batches at least.
    """
    number = max(_LEAST_BATCHES, -(-len(people) // _PEOPLE_A_BATCH))
    while len(people) > 1 and len({_bucket(person, number) for person in people}) < _LEAST_BATCHES:
        number += 1
    return number


def group_recordings(recordings: Iterable[Recording], batches: int | None = None) -> dict[str, list[Recording]]:
    """Split recordings into batches: a participant's all in one, the bench in one of its own.

    Parameters
    ----------
    recordings : iterable of Recording
        Of one study.
    batches : int, optional
        Number of batches people are spread over, at least 1; by the number of people if not given.

    Returns
    -------
    dict of str to list of Recording
        Batches that have recordings, sorted by name; recordings sorted by id.
    """
    known = sorted(recordings, key=lambda r: r.recording_id)
    if batches is None:
        batches = number_of_batches({r.participant_id for r in known if r.participant_id is not None})
    found: dict[str, list[Recording]] = defaultdict(list)
    for recording in known:
        person = recording.participant_id
        found[BENCH if person is None else batch_name(person, batches)].append(recording)
    return dict(sorted(found.items()))


def joined_batches(batches: Iterable[str]) -> dict[str, list[str]]:
    """Join batches of people for jobs that start again whenever a table of the whole study changes.

    Parameters
    ----------
    batches : iterable of str
        Names as `group_recordings` gives them; the bench is left out.

    Returns
    -------
    dict of str to list of str
        Names of batches by part, by their numbers: a further batch changes the last part or makes another.
    """
    numbered = sorted((int(name.rpartition("-")[2]), name) for name in batches if name != BENCH)
    parts: dict[str, list[str]] = defaultdict(list)
    for number, name in numbered:
        parts[f"part-{number // _BATCHES_JOINED}"].append(name)
    return dict(parts)
