"""The study as others can read it: a BIDS folder, and the list of free text that leaves the lab with it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from importlib.metadata import version
from pathlib import Path, PurePosixPath

import pandas as pd

from ..errors import counted
from ..ingest.parameters import IngestParameters
from ..io.atomic import write_text
from ..io.ledger import note
from ..jobs import Progress
from ..records import Study
from ..share.columns import FreeText, free_text
from ..share.derived import derived_files
from ..share.names import SHARED, layout, share_files
from ..share.parameters import ShareParameters
from ..share.raw import dataset_files, label_files, recording_files
from ..share.samples import UnreadableError, read_samples
from ..share.words import README, WARNINGS
from ..tables import write_table
from ..tables.sharing import FREE_TEXT

__all__ = ["LOG", "run"]

LOG = "logs/share.log"


def _columns(texts: Sequence[FreeText]) -> pd.DataFrame:
    rows = [
        {
            "column": text.column,
            "leaves": text.allowed,
            "cells": text.cells,
            "different": len(text.values),
            "example": text.values[0] if text.values else None,
            "instead": None if text.allowed else text.instead,
            "caution": "holds dates" if text.dated else "tells who somebody is" if text.personal else None,
        }
        for text in texts
    ]
    return FREE_TEXT.of(pd.DataFrame(rows))


def _readme(parameters: ShareParameters, texts: Sequence[FreeText], left_out: int, release: str) -> str:
    columns = ", ".join(f"`{text.column}`" for text in texts if text.allowed) or "none"
    of_files = f"{left_out} recording{'' if left_out == 1 else 's'} that could not be read"
    return README.format(
        name=parameters.dataset_name,
        version=release,
        columns=columns,
        left_out=f"\nNot in here: {of_files}.\n" if left_out else "",
        warnings="\n".join(f"- {code}: {why}" for code, why in WARNINGS.items()),
    )


def _clear(results: Path, planned: Sequence[str], written: Sequence[str]) -> None:
    """Remove what an earlier run wrote under names of this plan, and folders of people that are empty then."""
    for name in sorted(set(planned) - set(written)):
        (results / name).unlink(missing_ok=True)
    for folder in sorted((results / SHARED).rglob("*"), reverse=True):
        if folder.is_dir() and not folder.is_symlink() and not any(folder.iterdir()):
            folder.rmdir()


def run(
    study: Study,
    *,
    parameters: ShareParameters,
    ingest: IngestParameters,
    tables: Sequence[str],
    results: Path,
    progress: Progress,
) -> None:
    """Write the shared folder.

    Parameters
    ----------
    study : Study
        Checked, and its allowed columns too.
    parameters : ShareParameters
    ingest : IngestParameters
        How raw files are read.
    tables : sequence of str
        Result tables below the results folder.
    results : Path
        Results folder.
    progress : Progress
    """
    release = version("strainstudy")
    places, texts = layout(study, parameters), free_text(study, parameters)
    planned = share_files(study, parameters, tables)
    # The last job of a run, which came before this one, left only files that were there in the ledger.
    note(results, [*planned, LOG])
    written: list[str] = []

    def write(files: Mapping[str, str]) -> None:
        for name, text in files.items():
            write_text(results / SHARED / name, text)
            written.append(f"{SHARED}/{name}")

    shared = []
    for recording in study.recordings.values():
        try:
            samples = read_samples(recording, ingest)
        except UnreadableError as error:
            progress.say(f"{recording.recording_id} ({recording.file}) is not shared: {error}")
            continue
        shared.append(recording)
        write(recording_files(recording, samples, study, places, parameters))
    write(label_files(shared, places, release))
    write(derived_files(results, tables, shared, places, parameters, release))
    write(dataset_files(study, shared, places, parameters, release))
    lost = len(study.recordings) - len(shared)
    write({"README.md": _readme(parameters, texts, lost, release)})
    path = write_table(_columns(texts), FREE_TEXT, results)
    written += [FREE_TEXT.path, str(PurePosixPath(FREE_TEXT.path).with_suffix(".json"))]
    _clear(results, planned, written)
    for text in texts:
        progress.say(f"{text.column} {'leaves the lab' if text.allowed else f'stays: {text.instead} instead'}")
    progress.say(f"{counted(len(shared), 'recording')} in {SHARED}; {path.name} says which words leave the lab")
