"""The page: sections rendered into one HTML file that holds its pictures and needs no network."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from pathlib import Path
from typing import Any, Final

import jinja2
import pandas as pd

from .. import __version__
from ..io.atomic import write_text
from ..io.store import Trace, iter_traces
from ..tables.classifier import BOUTS
from ..tables.events import EVENTS
from ..tables.swallows import SWALLOWS
from ..vocabulary import BENCH_TASKS, EVENT_TYPES
from .content import Note, Picture, Section
from .names import forms_of, recording_file
from .recording_drawings import draw_recording
from .results import StudyTables, records
from .sections import study_sections

__all__ = ["build_report"]

_MOST_DRAWN: Final = 240
"""Recordings drawn on the page; more make it too large to open at once (ours)."""
_SHOWN: Final = ("onset", "duration", "trial_type", "side")


def _detected(tables: StudyTables) -> dict[str, pd.DataFrame]:
    """Events, bouts and swallows of each recording in one frame."""
    parts = [tables(EVENTS), tables(BOUTS).assign(side=None)]
    if not parts[0]["trial_type"].isin(["swallow"]).any():
        parts.append(tables(SWALLOWS).assign(trial_type="swallow", side=None))
    joined = pd.concat(
        [p[["recording_id", *_SHOWN]].astype({"trial_type": object}) for p in parts if len(p)] or parts[:1]
    )
    return {str(name): own for name, own in joined.groupby("recording_id", sort=True)}


def _caption(row: Mapping[str, Any], detected: pd.DataFrame, raters: Mapping[str, pd.DataFrame]) -> str:
    counts = detected["trial_type"].value_counts()
    found = [f"{counts[name]} {kind.plural}" for name, kind in EVENT_TYPES.items() if counts.get(name, 0)]
    words = f"Task {row['task']}, {float(row['duration']):.0f} s, {row['status']}"
    words += f" ({row['status_description']})" if pd.notna(row["status_description"]) else ""
    words += ". Detected: " + (", ".join(found) if found else "nothing") + "."
    return words + (f" Labelled by {', '.join(raters)}." if raters else " Not labelled.")


def _drawings(
    tables: StudyTables,
    labels: Mapping[str, Mapping[str, pd.DataFrame]],
    signals: Sequence[Path],
    folder: Path,
) -> tuple[dict[str, Picture], dict[str, dict[str, Trace]]]:
    """Draw every recording of a person; keep the bench's traces for the figures of sensors."""
    rows = {str(r["recording_id"]): {str(k): v for k, v in r.items()} for r in records(tables.recordings)}
    detected, nothing = _detected(tables), pd.DataFrame({name: pd.Series(dtype=object) for name in _SHOWN})
    pictures: dict[str, Picture] = {}
    bench: dict[str, dict[str, Trace]] = {}

    def finish(recording: str, own: dict[str, Trace]) -> None:
        row = rows.get(recording)
        if row is None:
            return
        if row["task"] in BENCH_TASKS:
            bench[recording] = own
            return
        found, raters = detected.get(recording, nothing), dict(labels.get(recording, {}))
        drawing = draw_recording(own, found, raters, f"Signals, detected and labelled events of {recording}")
        if drawing:
            write_text(folder / recording_file(recording), drawing)
            caption = _caption(row, found, raters)
            pictures[recording] = Picture(f"recording_{recording}", recording, caption, caption, svg=drawing)

    for path in signals:
        current = ""
        own: dict[str, Trace] = {}
        for trace in iter_traces(path):
            if trace.recording_id != current and own:
                finish(current, own)
                own = {}
            current = trace.recording_id
            own[trace.tracked_point] = trace
        if own:
            finish(current, own)
    return pictures, bench


def _by_person(tables: StudyTables, pictures: Mapping[str, Picture]) -> list[Section]:
    """Group the drawings by participant; of very many only the first of the table are put on the page."""
    recordings = tables.recordings
    order = [str(r) for r in recordings["recording_id"] if str(r) in pictures]
    shown = set(order[:_MOST_DRAWN])
    sections = []
    people = (
        recordings["participant_id"].astype(object).where(recordings["participant_id"].notna(), "no participant given")
    )
    for person, own in recordings.groupby(people, sort=True):
        blocks = [pictures[str(r)] for r in own["recording_id"] if str(r) in shown]
        if blocks:
            sections.append(Section(f"recordings-{person}".replace(" ", "-"), str(person), tuple(blocks)))
    if len(order) > len(shown):
        words = f"{len(shown)} of {len(order)} recordings are shown; all are in figures/recordings/."
        sections.insert(0, Section("recordings-note", "Not all are shown", (Note(words),)))
    return sections


def _drawn(sections: Sequence[Section]) -> dict[str, str]:
    """Name the files of the figures in these sections, with their titles; drawings of recordings are not among them."""
    found: dict[str, str] = {}
    for section in sections:
        for block in section.blocks:
            if isinstance(block, Picture) and block.svg is None:
                found |= {f"{block.name}.{form}": block.title for form in forms_of(block.name)}
        found |= _drawn(section.parts)
    return found


def build_report(
    results: Path,
    *,
    labels: Mapping[str, Mapping[str, pd.DataFrame]],
    settings: Mapping[str, Any],
    signals: Sequence[Path],
    study: str,
    page: Path,
    figures: Path,
    say: Callable[[str], object] = str,
) -> dict[str, str]:
    """Write the page and every figure as a file of its own.

    Parameters
    ----------
    results : Path
        Results folder with ``tables``, ``validation``, ``model``; any table may be missing or empty.
    labels : mapping of recording to rater to DataFrame
        ``onset``, ``duration``, ``trial_type``, ``side``, ``value``; the reference rater first.
    settings : mapping of section to parameters
        What the study ran with, for the methods text.
    signals : sequence of Path
        Conditioned signals of all batches.
    study : str
        Name of the study folder, for the title.
    page : Path
        The HTML file.
    figures : Path
        Folder for the figures: PNG, SVG and PDF of each, and an SVG of each recording.
    say : callable, optional
        Told what has been done.

    Returns
    -------
    dict of str to str
        Title of each figure by its file, relative to ``figures``.
    """
    tables = StudyTables(results)
    pictures, bench = _drawings(tables, labels, signals, figures)
    say(f"{len(pictures)} recordings drawn")
    sections = study_sections(
        tables,
        labels=labels,
        settings=settings,
        bench_traces=bench,
        recordings=_by_person(tables, pictures),
        folder=figures,
    )
    environment = jinja2.Environment(
        loader=jinja2.FileSystemLoader(Path(__file__).parent / "templates"),
        autoescape=True,
        undefined=jinja2.StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    html = environment.get_template("report.html.j2").render(study=study, sections=sections, version=__version__)
    write_text(page, html)
    say(f"{len(sections)} sections, {len(html.encode()) / 1e6:.1f} MB")
    return _drawn(sections) | {recording_file(name): picture.title for name, picture in pictures.items()}
