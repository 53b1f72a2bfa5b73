"""What the report reads: result tables by name, empty where a study has none."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import replace
from functools import cached_property
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd

from ..tables import Column, TableSpec, read_table
from ..tables.angles import CALIBRATIONS
from ..tables.bends import KNEE_BENDS
from ..tables.events import STRIDES
from ..tables.recordings import ADDED, RECORDINGS
from ..vocabulary import BENCH_TASKS, SIDE_OF_POINT

__all__ = ["StudyTables", "records", "usable_minutes"]


def usable_minutes(recordings: pd.DataFrame) -> float:
    """Minutes that have a value, in recordings that were not rejected."""
    own = recordings[recordings["status"] != "rejected"]
    return float((own["duration"].fillna(0) * (1.0 - own["missing_fraction"].fillna(0))).sum()) / 60.0


def _values(column: pd.Series) -> list[Any]:
    plain: list[Any] = column.tolist()
    return plain if isinstance(column.dtype, np.dtype) else [None if value is pd.NA else value for value in plain]


def records(frame: pd.DataFrame) -> list[dict[str, Any]]:
    """Give the rows of a frame as dicts of plain values; what is missing among counts and flags is None."""
    # by column: of a wide frame with few rows pandas' own way takes ten times as long
    names, columns = [str(name) for name in frame.columns], [_values(column) for _, column in frame.items()]
    return [dict(zip(names, row, strict=True)) for row in zip(*columns, strict=True)]


class StudyTables:
    """Result tables of one study, read when asked for.

    Parameters
    ----------
    results : Path
        Results folder.
    only : collection of TableSpec, optional
        Those that may be read, where a job has declared them.
    """

    def __init__(self, results: Path, only: Collection[TableSpec] | None = None) -> None:
        self.results = results
        self._only = None if only is None else {spec.path for spec in only}
        self._read: dict[tuple[str, tuple[Column, ...]], pd.DataFrame] = {}

    def __call__(self, spec: TableSpec, *added: Column) -> pd.DataFrame:
        """Give a table.

        Parameters
        ----------
        spec : TableSpec
            What it is specified with.
        *added : Column
            Columns that the stage which writes it adds, and that the caller relies on.

        Returns
        -------
        DataFrame
            A copy; with its columns and no rows where the file is not there.

        Raises
        ------
        StudyError
            If the file is there and lacks any of these columns.
        KeyError
            If it is not among those that may be read: the job would not run again when it changes.
        """
        if self._only is not None and spec.path not in self._only:
            where = "report/kinds.py or paper/kinds.py"
            raise KeyError(f"{spec.path} is read by a figure whose kind does not name it: add it to {where}")
        key = (spec.path, added)
        if key not in self._read:
            there = (self.results / spec.path).is_file()
            whole = replace(spec, columns=(*spec.columns, *added))
            self._read[key] = read_table(self.results, spec, added) if there else whole.empty()
        return self._read[key].copy()

    @cached_property
    def recordings(self) -> pd.DataFrame:
        """Recordings with person, session, task and status, in the order of their ids."""
        frame = self(RECORDINGS, *ADDED)
        for name in ("group", "affected_side"):
            if name not in frame:  # carried from the people of a study, and a bench alone has none
                frame[name] = pd.Series(index=frame.index, dtype=object)
        return frame.sort_values("recording_id", kind="stable", ignore_index=True)

    @cached_property
    def recorded(self) -> frozenset[str]:
        """What was recorded and could be used: of ``knees``, ``throat``, ``bench`` and ``bends``."""
        own = self.recordings[self.recordings["status"] != "rejected"]
        points = {point.partition(":")[0] for cell in own["channels"].dropna() for point in str(cell).split(", ")}
        found = {"knees"} if points & set(SIDE_OF_POINT) else set()
        found |= {"throat"} if "throat" in points else set()
        found |= {"bench"} if own["task"].isin(BENCH_TASKS).any() else set()
        return frozenset(found | ({"bends"} if (own["task"] == "bend").any() else set()))

    @cached_property
    def angles_as_recorded(self) -> bool:
        """Whether knee angles were recorded as such, so that there was nothing to calibrate."""
        if not self(CALIBRATIONS).empty:
            return False
        return bool(self(STRIDES)["range_of_motion"].notna().any() or self(KNEE_BENDS)["angle"].notna().any())

    def with_person(self, frame: pd.DataFrame) -> pd.DataFrame:
        """Add participant, session, task, group to a frame of recordings."""
        keys = ["recording_id", "participant_id", "session_id", "task", "group", "affected_side"]
        own = [k for k in keys if k == "recording_id" or k not in frame]
        return frame.merge(self.recordings[own], on="recording_id", how="left")
