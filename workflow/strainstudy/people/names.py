"""Names of the pages of people."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Final

from ..records import Recording

__all__ = ["FOLDER", "page_file", "people_files", "people_in"]

FOLDER: Final = "people"


def page_file(participant_id: str) -> str:
    """Name the page of a person, relative to the results folder."""
    return f"{FOLDER}/{participant_id}.html"


def people_in(recordings: Iterable[Recording]) -> list[str]:
    """Name the people of some recordings, sorted; each of them has a page."""
    return sorted({r.participant_id for r in recordings if r.participant_id is not None})


def people_files(recordings: Iterable[Recording]) -> list[str]:
    """List every page of a person that may be written, relative to the results folder."""
    return [page_file(person) for person in people_in(recordings)]
