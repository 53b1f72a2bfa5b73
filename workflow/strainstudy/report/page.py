"""The page: sections rendered into one HTML file that holds its pictures and needs no network."""

from __future__ import annotations

import base64
import hashlib
from collections import Counter
from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Any, Final

import jinja2

from .. import __version__
from ..io.atomic import write_text
from ..review.names import page_file
from .content import Block, Link, Picture, Section, Table, Text
from .names import recording_file
from .recordings import Drawings
from .results import StudyTables, records
from .sections import study_sections
from .words import READING

__all__ = ["build_report"]

_DRAWN_OF_TASK: Final = 2
"""Recordings of a task that are drawn on the page; all are files beside it (ours)."""


def _recordings(tables: StudyTables, drawings: Drawings) -> Section | None:
    """List every drawing as a file, and put those on the page that ask to be looked at."""
    captions = drawings.captions
    if not captions:
        return None
    rows = [row for row in records(tables.recordings) if str(row["recording_id"]) in captions]
    table = Table(
        "Every recording of a person: its drawing, and its page to look closer and correct labels",
        ("drawing", "page", "task", "state", "what was found"),
        tuple(
            (
                Link(name := str(row["recording_id"]), f"figures/{recording_file(name)}"),
                Link("look and correct", page_file(name)),
                str(row["task"]),
                str(row["status"]),
                captions[name].partition("Detected: ")[2],
            )
            for row in rows
        ),
        ("short", "short", "short", "short", "text"),
    )
    harm = {str(row["recording_id"]): max(row["missing_fraction"], row["clipped_fraction"]) for row in rows}
    odd = [str(row["recording_id"]) for row in rows if row["status"] != "good"]
    worst = sorted(odd, key=lambda name: -harm[name])
    task_of = {str(row["recording_id"]): str(row["task"]) for row in rows}
    seen: Counter[str] = Counter()
    chosen = []
    for name in worst or list(captions)[:1]:
        seen[task_of[name]] += 1
        if seen[task_of[name]] <= _DRAWN_OF_TASK:
            chosen.append(name)
    how = "of each task the two recordings with most missing or cut off" if odd else "the first, as an example"
    drawn = [drawings.picture(name) for name in chosen]
    blocks: list[Block] = [Text(READING["recordings"]), table, Text(f"Drawn here: {how}."), *drawn]
    return Section("recordings", "Recordings", tuple(blocks))


def _allowed(script: str) -> str:
    """Name a script in the page's policy, which lets no other run (W3C Content Security Policy Level 3, 2.3.1)."""
    return "sha256-" + base64.b64encode(hashlib.sha256(script.encode()).digest()).decode("ascii")


def build_report(
    results: Path,
    *,
    pictures: Mapping[str, Picture],
    drawings: Drawings,
    settings: Mapping[str, Any],
    study: str,
    page: Path,
    say: Callable[[str], object] = str,
) -> None:
    """Compose the page of tables and of figures that are drawn already.

    Parameters
    ----------
    results : Path
        Results folder with ``tables``, ``validation``, ``model``; any table may be missing or empty.
    pictures : mapping of str to Picture
        Figures by name.
    drawings : Drawings
        Of recordings.
    settings : mapping of section to parameters
        What the study ran with, for the methods text.
    study : str
        Name of the study folder, for the title.
    page : Path
        The HTML file.
    say : callable, optional
        Told what has been done.
    """
    tables = StudyTables(results)
    sections = study_sections(
        tables,
        settings=settings,
        pictures=pictures,
        unrecorded=drawings.unrecorded,
        labelled=drawings.labelled,
        recordings=_recordings(tables, drawings),
    )
    environment = jinja2.Environment(
        loader=jinja2.FileSystemLoader(Path(__file__).parent / "templates"),
        autoescape=True,
        undefined=jinja2.StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    script = (Path(__file__).parent / "templates" / "report.js").read_text(encoding="utf-8")
    html = environment.get_template("report.html.j2").render(
        study=study, sections=sections, version=__version__, script=script, script_hash=_allowed(script)
    )
    write_text(page, html)
    say(f"{len(sections)} sections, {len(html.encode()) / 1e6:.1f} MB")
