"""Labels of what was not recorded: what nobody could have detected is in no denominator.

In: labels of recordings, the tracked points that each has in use, and when these gave no value. Out: the labels that
can be compared, and how many cannot.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from ..ingest.silence import unobserved_spans
from ..stats.spans import spans_of, within
from ..vocabulary import EVENT_TYPES, KNEES, SIDE_OF_POINT
from .row_frames import LabelsByRater, text_or_none

__all__ = ["comparable", "unrecorded_counts"]

Marks = NDArray[np.bool_]

_SIDED = [name for name, kind in EVENT_TYPES.items() if kind.sided]


def _of_sides(rows: pd.DataFrame, sides: Collection[str]) -> Marks:
    """Mark the events of some knees."""
    if not sides:
        return np.zeros(len(rows), dtype=bool)
    words = zip(rows["trial_type"], rows["side"], strict=True)
    return np.array([kind in _SIDED and side in sides for kind, side in words], dtype=bool)


def _beyond_reach(rows: pd.DataFrame, points: str | None) -> Marks:
    """Mark the events of a knee that has no channel in use."""
    used = {name.partition(":")[0] for name in (points or "").split(", ")}
    return _of_sides(rows, [side for side, point in KNEES.items() if point not in used])


def _unseen(rows: pd.DataFrame, words: str | None) -> Marks:
    """Mark the events whose middle lies where their knee, or the throat, has no value."""
    unseen = np.zeros(len(rows), dtype=bool)
    for point, spans in unobserved_spans(words).items():
        side = SIDE_OF_POINT.get(point)
        own = rows["trial_type"].to_numpy(dtype=object) == "swallow" if side is None else _of_sides(rows, [side])
        unseen |= own & within(spans_of(rows).mean(axis=1), spans)
    return unseen


def _points(recordings: pd.DataFrame) -> dict[str, str | None]:
    used = recordings[recordings["status"] != "rejected"]
    return {
        str(name): text_or_none(points) for name, points in zip(used["recording_id"], used["channels"], strict=True)
    }


def comparable(labels: LabelsByRater, recordings: pd.DataFrame) -> dict[str, dict[str, pd.DataFrame]]:
    """Leave out labels of a side that was not recorded, and events in a stretch without a value.

    Parameters
    ----------
    labels : mapping of recording_id to (mapping of rater to DataFrame)
    recordings : DataFrame
        ``tables/recordings.tsv``: recording_id, status, channels (tracked points in use), unobserved.

    Returns
    -------
    dict of recording_id to (dict of rater to DataFrame)
        Rejected recordings, of which nothing is scored, keep theirs.
    """
    points = _points(recordings)
    silence = {
        str(name): text_or_none(words)
        for name, words in zip(recordings["recording_id"], recordings["unobserved"], strict=True)
    }

    def kept(recording: str, rows: pd.DataFrame) -> pd.DataFrame:
        if recording not in points:
            return rows
        left = _beyond_reach(rows, points[recording]) | _unseen(rows, silence[recording])
        return rows[~left].reset_index(drop=True) if left.any() else rows

    return {
        recording: {rater: kept(recording, rows) for rater, rows in raters.items()}
        for recording, raters in labels.items()
    }


def unrecorded_counts(labels: LabelsByRater, recordings: pd.DataFrame) -> Mapping[str, int]:
    """Count the labels of a side that was not recorded.

    Parameters
    ----------
    labels, recordings
        As for `comparable`.

    Returns
    -------
    mapping of recording_id to int
        Labels of all raters; recordings without any are left out.
    """
    points = _points(recordings)
    counts = {
        recording: sum(int(_beyond_reach(rows, points[recording]).sum()) for rows in raters.values())
        for recording, raters in sorted(labels.items())
        if recording in points
    }
    return {recording: n for recording, n in counts.items() if n}
