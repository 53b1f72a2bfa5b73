"""What the report reads: result tables by name, empty where a study has none."""

from __future__ import annotations

from functools import cached_property
from pathlib import Path
from typing import Any

import pandas as pd

from ..tables import read_table

__all__ = ["StudyTables", "records"]


def records(frame: pd.DataFrame) -> list[dict[str, Any]]:
    """Give the rows of a frame as dicts."""
    return [{str(name): value for name, value in row.items()} for row in frame.to_dict("records")]


class StudyTables:
    """Result tables of one study, read when asked for.

    Parameters
    ----------
    results : Path
        Results folder.
    """

    def __init__(self, results: Path) -> None:
        self.results = results
        self._read: dict[str, pd.DataFrame] = {}

    def __call__(self, name: str, *columns: str) -> pd.DataFrame:
        """Give a table.

        Parameters
        ----------
        name : str
            Path below the results folder without suffix, for example ``tables/gait``.
        *columns : str
            Columns the caller relies on; those that are missing are there and empty.

        Returns
        -------
        DataFrame
            A copy; no rows where the file is not there.
        """
        if name not in self._read:
            path = self.results / f"{name}.tsv"
            self._read[name] = read_table(path) if path.exists() else pd.DataFrame()
        frame = self._read[name].copy()
        for column in columns:
            if column not in frame:
                frame[column] = pd.Series(index=frame.index, dtype=object)
        return frame

    @cached_property
    def recordings(self) -> pd.DataFrame:
        """Recordings with person, session, task and status, in the order of their ids."""
        frame = self(
            "tables/recordings", "recording_id", "participant_id", "session_id", "task", "duration", "status",
            "status_description", "sensor_flag", "group", "affected_side",
        )  # fmt: skip
        return frame.sort_values("recording_id", kind="stable", ignore_index=True)

    def with_person(self, frame: pd.DataFrame) -> pd.DataFrame:
        """Add participant, session, task, group to a frame of recordings."""
        keys = ["recording_id", "participant_id", "session_id", "task", "group", "affected_side"]
        own = [k for k in keys if k == "recording_id" or k not in frame]
        return frame.merge(self.recordings[own], on="recording_id", how="left")
