"""One recording under two names: raw files that are links to one another or hold the same bytes.

In: the rows of ``recordings.tsv`` and their channels. Out: a fault where one signal would count for two people, two
sensors or two sessions, a caution where one person's recording is there twice. Reads nothing of a file that has a size
of its own, and a few bytes of the others unless these agree.
"""

from __future__ import annotations

import filecmp
from collections.abc import Mapping, Sequence
from itertools import groupby
from pathlib import Path
from typing import Final

from ..errors import Problem
from .links import Row
from .rules import RECORDINGS

__all__ = ["copy_problems"]

_PIECE: Final = 4096
"""Bytes read at each place of a file that is compared: a page of memory (ours)."""
_SMALLEST: Final = 1024
"""Bytes below which a file holds a header and no recording; damaged exports may well be equal."""


def _glimpse(path: Path, size: int) -> bytes:
    """Read pieces of a file in which two recordings would differ."""
    with path.open("rb") as file:
        pieces = []
        for place in (size // 3, 2 * size // 3, max(size - _PIECE, 0)):
            file.seek(place)
            pieces.append(file.read(_PIECE))
    return b"".join(pieces)


def _kept(root: Path, rows: Sequence[Row]) -> list[tuple[int, str, Row, Path]]:
    """List the raw files that are there with their size and what stands for the file itself."""
    found = []
    for row in rows:
        path = root / row.text("file")
        try:
            about = path.stat()
        except (OSError, ValueError):
            continue
        if about.st_size >= _SMALLEST and path.is_file():
            found.append((about.st_size, f"{about.st_dev} {about.st_ino}", row, path))
    return sorted(found, key=lambda each: (each[0], each[2].number))


def _same_content(files: Sequence[tuple[int, str, Row, Path]]) -> list[tuple[Row, Row]]:
    """Pair each file with the first one before it that holds the same bytes."""
    pairs = []
    for size, group in groupby(files, key=lambda each: each[0]):
        members = list(group)
        if len(members) == 1:
            continue
        first: dict[bytes, list[tuple[str, Row, Path]]] = {}
        for _, node, row, path in members:
            try:
                alike = first.setdefault(_glimpse(path, size), [])
                equal = [
                    earlier
                    for other, earlier, beside in alike
                    if other == node or filecmp.cmp(beside, path, shallow=False)
                ]
            except OSError:
                continue
            if equal:
                pairs.append((equal[0], row))
            else:
                alike.append((node, row, path))
    return pairs


def copy_problems(root: Path, recordings: Sequence[Row], channels: Mapping[str, Sequence[Row]]) -> list[Problem]:
    """Find recordings whose raw files are one and the same.

    Parameters
    ----------
    root : Path
        Study folder.
    recordings : sequence of Row
        Of ``recordings.tsv``.
    channels : mapping of str to sequence of Row
        Channel rows by recording id. Two recordings may share a file of which they use different columns.

    Returns
    -------
    list of Problem
        By row. One file under two tasks of one person, given under one path, is meant so and not said.
    """
    used = {name: {row["name"] for row in rows} for name, rows in channels.items()}
    problems = []
    for earlier, row in _same_content(_kept(root, recordings)):
        one, other = earlier.text("recording_id"), row.text("recording_id")
        whose = next(
            (
                f"{what} {earlier[column]} and {row[column]}"
                for column, what in (("participant_id", "people"), ("sensor_id", "sensors"), ("session_id", "sessions"))
                if earlier[column] is not None and row[column] is not None and earlier[column] != row[column]
            ),
            None,
        )
        if not used.get(one, set()) & used.get(other, set()) or (whose is None and earlier["file"] == row["file"]):
            continue
        message = f"the same content as the file of {one} (row {earlier.number})"
        if whose is not None:
            message += f": one recording cannot be of two {whose}"
            remedy = "give each recording its own file"
        else:
            remedy = "remove one, unless it is meant to count twice"
        problems.append(
            Problem(
                RECORDINGS.file,
                message,
                remedy,
                row=row.number,
                column="file",
                value=row["file"],
                caution=whose is None,
            )
        )
    return sorted(problems, key=lambda p: p.row or 0)
