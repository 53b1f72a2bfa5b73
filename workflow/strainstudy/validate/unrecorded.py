"""Labels of a side that was not recorded: what nobody could have detected is in no denominator.

In: labels of recordings, and the tracked points that each has in use. Out: the labels that can be compared, and how
many of a side cannot.
"""

from __future__ import annotations

from collections.abc import Mapping

import pandas as pd

from ..vocabulary import EVENT_TYPES, KNEES
from .row_frames import LabelsByRater, text_or_none

__all__ = ["comparable", "unrecorded_counts"]

_SIDED = [name for name, kind in EVENT_TYPES.items() if kind.sided]


def _beyond_reach(rows: pd.DataFrame, points: str | None) -> pd.Series:
    """Mark the events of a knee that has no channel in use."""
    used = {name.partition(":")[0] for name in (points or "").split(", ")}
    missing = [side for side, point in KNEES.items() if point not in used]
    return rows["trial_type"].isin(_SIDED) & rows["side"].isin(missing)


def _points(recordings: pd.DataFrame) -> dict[str, str | None]:
    used = recordings[recordings["status"] != "rejected"]
    return {
        str(name): text_or_none(points) for name, points in zip(used["recording_id"], used["channels"], strict=True)
    }


def comparable(labels: LabelsByRater, recordings: pd.DataFrame) -> dict[str, dict[str, pd.DataFrame]]:
    """Leave out labels of a side that was not recorded.

    Parameters
    ----------
    labels : mapping of recording_id to (mapping of rater to DataFrame)
    recordings : DataFrame
        ``tables/recordings.tsv``: recording_id, status, channels (tracked points in use).

    Returns
    -------
    dict of recording_id to (dict of rater to DataFrame)
        Rejected recordings, of which nothing is scored, keep theirs.
    """
    points = _points(recordings)
    return {
        recording: {
            rater: rows[~_beyond_reach(rows, points[recording])].reset_index(drop=True) if recording in points else rows
            for rater, rows in raters.items()
        }
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
