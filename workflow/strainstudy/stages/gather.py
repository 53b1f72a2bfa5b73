"""Stage `labels`: the label files of one rater, in one table.

In: recordings with their label files. Out: a Parquet table, which `labels.labels_gathered` reads.
"""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

import pandas as pd

from ..errors import counted
from ..io.frames import write_frame
from ..io.labels import LABEL_COLUMNS, read_labels
from ..jobs import Progress
from ..records import Recording

__all__ = ["run"]


def run(rater: str, recordings: Sequence[Recording], *, table: Path, progress: Progress) -> None:
    """Gather the labels of one rater.

    Parameters
    ----------
    rater : str
    recordings : sequence of Recording
        With their label files; those that this rater did not label are passed over.
    table : Path
        ``recording_id`` and the columns of `read_labels`, by recording and in order of onset.
    progress : Progress
    """
    files = {recording.recording_id: recording.labels[rater] for recording in recordings if rater in recording.labels}
    frames = [read_labels(path).assign(recording_id=name) for name, path in files.items()]
    filled = [frame for frame in frames if len(frame)] or frames[:1]
    whole = pd.concat(filled, ignore_index=True)
    write_frame(table, whole[["recording_id", *LABEL_COLUMNS]])
    progress.say(f"{counted(len(whole), 'label')} in {counted(len(files), 'file')}")
