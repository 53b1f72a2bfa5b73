"""Label files of a study read into frames, by recording and rater."""

from __future__ import annotations

from collections.abc import Iterable, Mapping

import pandas as pd

from ..errors import Problem
from ..intake.labelling import labels_in, length_problems
from ..io.labels import LABEL_COLUMNS, read_labels
from ..io.sheets import read_sheet
from ..records import Recording

__all__ = ["beyond_the_end", "labels_by", "labels_of", "reference_first", "until_the_end"]


def labels_by(rater: str | None, recordings: Iterable[Recording]) -> dict[str, pd.DataFrame]:
    """Read the label files of one rater.

    Parameters
    ----------
    rater : str or None
        None has no labels.
    recordings : iterable of Recording
        With the paths of their label files.

    Returns
    -------
    dict of recording_id to DataFrame
        Recordings without labels of this rater are left out.
    """
    return {
        recording.recording_id: read_labels(recording.labels[rater])
        for recording in recordings
        if rater is not None and rater in recording.labels
    }


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


def beyond_the_end(recordings: Iterable[Recording], lengths: Mapping[str, tuple[float, float]]) -> list[Problem]:
    """Find labels beyond the end of recordings whose length is known once they are read.

    Parameters
    ----------
    recordings : iterable of Recording
        With the paths of their label files.
    lengths : mapping of str to (float, float)
        Length in s and sampling rate in Hz by recording id; recordings that are not in it are passed over.

    Returns
    -------
    list of Problem
        By recording and rater.
    """
    problems = []
    for recording in recordings:
        for path in recording.labels.values() if recording.recording_id in lengths else ():
            length, rate = lengths[recording.recording_id]
            file = f"labels/{recording.recording_id}/{path.name}"
            sheet, _ = read_sheet(path, file, LABEL_COLUMNS)
            if sheet is not None:
                problems += length_problems(labels_in(sheet), length, rate, file, recording.file)
    return problems
