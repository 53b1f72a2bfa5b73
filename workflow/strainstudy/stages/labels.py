"""Label files of a study read into frames, by recording and rater."""

from __future__ import annotations

from collections.abc import Iterable, Mapping

import pandas as pd

from ..errors import Problem
from ..intake.labelling import labels_in, length_problems
from ..io.labels import LABEL_COLUMNS, read_labels
from ..io.sheets import read_sheet
from ..records import Recording

__all__ = ["beyond_the_end", "labels_of"]


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
