"""The page: sections rendered into one HTML file that holds its pictures and needs no network."""

from __future__ import annotations

import base64
import hashlib
from collections import Counter
from collections.abc import Callable, Mapping, Sequence
from pathlib import Path
from typing import Any, Final

import jinja2
import pandas as pd

from .. import __version__
from ..io.atomic import write_text
from ..io.store import Trace, iter_traces
from ..review.names import page_file
from ..tables.classifier import BOUTS
from ..tables.events import EVENTS
from ..tables.swallows import SWALLOWS
from ..vocabulary import BENCH_TASKS, EVENT_TYPES
from .content import Block, Link, Picture, Section, Table, Text
from .names import forms_of, recording_file
from .recording_drawings import draw_recording
from .results import StudyTables, records
from .sections import study_sections
from .words import READING

__all__ = ["build_report"]

_DRAWN_OF_TASK: Final = 2
"""Recordings of a task that are drawn on the page; all are files beside it (ours)."""
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


def _recordings(tables: StudyTables, pictures: Mapping[str, Picture]) -> Section | None:
    """List every drawing as a file, and put those on the page that ask to be looked at."""
    if not pictures:
        return None
    rows = [row for row in records(tables.recordings) if str(row["recording_id"]) in pictures]
    table = Table(
        "Every recording of a person: its drawing, and its page to look closer and correct labels",
        ("drawing", "page", "task", "state", "what was found"),
        tuple(
            (
                Link(name := str(row["recording_id"]), f"figures/{recording_file(name)}"),
                Link("look and correct", page_file(name)),
                str(row["task"]),
                str(row["status"]),
                pictures[name].caption.partition("Detected: ")[2],
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
    for name in worst or list(pictures)[:1]:
        seen[task_of[name]] += 1
        if seen[task_of[name]] <= _DRAWN_OF_TASK:
            chosen.append(name)
    how = "of each task the two recordings with most missing or cut off" if odd else "the first, as an example"
    drawn = [pictures[name] for name in chosen]
    blocks: list[Block] = [Text(READING["recordings"]), table, Text(f"Drawn here: {how}."), *drawn]
    return Section("recordings", "Recordings", tuple(blocks))


def _drawn(sections: Sequence[Section]) -> dict[str, str]:
    """Name the files of the figures in these sections, with their titles; drawings of recordings are not among them."""
    found: dict[str, str] = {}
    for section in sections:
        for block in section.blocks:
            if isinstance(block, Picture) and block.svg is None:
                found |= {f"{block.name}.{form}": block.title for form in forms_of(block.name)}
        found |= _drawn(section.parts)
    return found


def _allowed(script: str) -> str:
    """Name a script in the page's policy, which lets no other run (W3C Content Security Policy Level 3, 2.3.1)."""
    return "sha256-" + base64.b64encode(hashlib.sha256(script.encode()).digest()).decode("ascii")


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
        recordings=_recordings(tables, pictures),
        folder=figures,
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
    return _drawn(sections) | {recording_file(name): picture.title for name, picture in pictures.items()}
