"""Label files of a study read into frames, by recording and rater."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from pathlib import Path

import pandas as pd

from ..errors import Problem
from ..intake.labelling import labels_in, length_problems
from ..io.frames import read_frame
from ..io.labels import LABEL_COLUMNS, read_labels
from ..io.sheets import read_sheet
from ..records import Recording

__all__ = ["beyond_the_end", "labels_by", "labels_gathered", "labels_of", "reference_first", "until_the_end"]


def labels_of(recordings: Iterable[Recording]) -> dict[str, dict[str, pd.DataFrame]]:
    """Read all label files.

    Parameters
    ----------
    recordings : iterable of Recording
        With the paths of their label files.

    Returns
    -------
    dict of recording_id to dict of rater to DataFrame
        Recordings without labels are left out.
    """
    return {
        recording.recording_id: {rater: read_labels(path) for rater, path in sorted(recording.labels.items())}
        for recording in recordings
        if recording.labels
    }


def labels_gathered(tables: Iterable[Path], recordings: Iterable[Recording]) -> dict[str, dict[str, pd.DataFrame]]:
    """Read labels from the tables of `gather`, one for each rater.

    Parameters
    ----------
    tables : iterable of Path
        ``<rater>.parquet``.
    recordings : iterable of Recording
        With the paths of their label files, of which those of other raters are passed over.

    Returns
    -------
    dict of recording_id to dict of rater to DataFrame
        What `labels_of` reads from the files. Recordings that none of the raters labelled are left out.
    """
    of_rater: dict[str, dict[str, pd.DataFrame]] = {}
    nothing: dict[str, pd.DataFrame] = {}
    for path in tables:
        whole = read_frame(path)
        columns = whole[[*LABEL_COLUMNS]]
        of_rater[path.stem] = {
            str(name): own.reset_index(drop=True) for name, own in columns.groupby(whole["recording_id"])
        }
        nothing[path.stem] = columns.iloc[:0]
    return {
        recording.recording_id: {rater: of_rater[rater].get(recording.recording_id, nothing[rater]) for rater in raters}
        for recording in recordings
        if (raters := [rater for rater in sorted(recording.labels) if rater in of_rater])
    }


def labels_by(rater: str | None, tables: Iterable[Path], recordings: Iterable[Recording]) -> dict[str, pd.DataFrame]:
    """Read the labels of one rater from the tables of `gather`.

    Parameters
    ----------
    rater : str or None
        None has no labels.
    tables, recordings
        As for `labels_gathered`.

    Returns
    -------
    dict of recording_id to DataFrame
        Recordings without labels of this rater are left out.
    """
    labels = labels_gathered((path for path in tables if path.stem == rater), recordings)
    return {recording: raters[rater] for recording, raters in labels.items() if rater is not None}


def reference_first(
    labels: Mapping[str, Mapping[str, pd.DataFrame]], reference_rater: str | None
) -> dict[str, dict[str, pd.DataFrame]]:
    """Put the reference rater before the others of each recording, who follow by name."""
    return {
        recording: dict(sorted(raters.items(), key=lambda item: (item[0] != reference_rater, item[0])))
        for recording, raters in labels.items()
    }


def until_the_end(
    labels: Mapping[str, Mapping[str, pd.DataFrame]], lengths: Mapping[str, tuple[float, float]]
) -> dict[str, dict[str, pd.DataFrame]]:
    """Leave out labels that begin beyond the end of their recording: nobody can detect what was not stored.

    Parameters
    ----------
    labels : mapping of recording_id to mapping of rater to DataFrame
        As `labels_of` gives them.
    lengths : mapping of str to (float, float)
        As for `beyond_the_end`.

    Returns
    -------
    dict of recording_id to dict of rater to DataFrame
        Labels that only last beyond the end stay as they are.
    """
    kept = {}
    for recording, raters in labels.items():
        end = lengths[recording][0] if recording in lengths else float("inf")
        kept[recording] = {rater: rows[rows["onset"] <= end].reset_index(drop=True) for rater, rows in raters.items()}
    return kept


def beyond_the_end(
    recordings: Iterable[Recording],
    lengths: Mapping[str, tuple[float, float]],
    labels: Mapping[str, Mapping[str, pd.DataFrame]],
) -> list[Problem]:
    """Find labels beyond the end of recordings whose length is known once they are read.

    Parameters
    ----------
    recordings : iterable of Recording
        With the paths of their label files.
    lengths : mapping of str to (float, float)
        Length in s and sampling rate in Hz by recording id; recordings that are not in it are passed over.
    labels : mapping of recording_id to mapping of rater to DataFrame
        As `labels_of` gives them: a file is read again for its row numbers where a label ends beyond the end.

    Returns
    -------
    list of Problem
        By recording and rater.
    """
    problems = []
    for recording in recordings:
        for rater, path in recording.labels.items() if recording.recording_id in lengths else ():
            length, rate = lengths[recording.recording_id]
            rows = labels[recording.recording_id][rater]
            if not (rows["onset"] + rows["duration"] > length).any():
                continue
            file = f"labels/{recording.recording_id}/{path.name}"
            sheet, _ = read_sheet(path, file, LABEL_COLUMNS)
            if sheet is not None:
                problems += length_problems(labels_in(sheet), length, rate, file, recording.file)
    return problems
