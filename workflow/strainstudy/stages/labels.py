"""Label files of a study read into frames, by recording and rater."""

from __future__ import annotations

from collections.abc import Iterable

import pandas as pd

from ..io.labels import read_labels
from ..records import Recording

__all__ = ["labels_of"]


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
