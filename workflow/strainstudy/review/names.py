"""Names of the review pages and of what they load, and links that open a page at a time."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Final

from ..records import Recording
from ..vocabulary import BENCH_TASKS

__all__ = ["ASSETS", "FOLDER", "INDEX", "detected_file", "link_to", "page_file", "review_files", "reviewed"]

FOLDER: Final = "review"
INDEX: Final = "review.html"
"""The list of the pages; no recording id can clash with it."""
ASSETS: Final = tuple(
    f"{FOLDER}/assets/{name}" for name in ("bokeh.min.js", "bokeh-api.min.js", "review.css", "review.js")
)
"""What all pages share: one copy in a results folder."""


def page_file(recording_id: str) -> str:
    """Name the page of a recording, relative to the results folder."""
    return f"{FOLDER}/{recording_id}.html"


def detected_file(recording_id: str) -> str:
    """Name the file of what was detected in a recording, relative to the results folder."""
    return f"{FOLDER}/detected/{recording_id}.js"


def link_to(recording_id: str, onset_s: float, duration_s: float | None = None) -> str:
    """Give the link, relative to the results folder, that opens a page at a time, or around a span of time."""
    span = "" if duration_s is None else f"&for={duration_s:.2f}"
    return f"{page_file(recording_id)}#t={onset_s:.2f}{span}"


def reviewed(recordings: Iterable[Recording]) -> list[Recording]:
    """Give the recordings that get a page: those of people."""
    return [recording for recording in recordings if recording.task not in BENCH_TASKS]


def review_files(recordings: Iterable[Recording]) -> list[str]:
    """List every file of the review pages that may be written, relative to the results folder.

    Parameters
    ----------
    recordings : iterable of Recording
        All of the study.

    Returns
    -------
    list of str
        Sorted. A rejected recording has no page, but may have one in the next run.
    """
    names = {INDEX, *ASSETS}
    for recording in reviewed(recordings):
        names |= {page_file(recording.recording_id), detected_file(recording.recording_id)}
    return sorted(names)
