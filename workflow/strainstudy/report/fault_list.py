"""The list of faults: what is wrong with which recording, sensor and session, and what to do about it."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, Final

import pandas as pd

from ..tables.faults import FAULTS
from .content import Block, Column, table_of
from .results import StudyTables

__all__ = ["FAULTS_CAPTION", "fault_list"]

FAULTS_CAPTION: Final = "Faults that the data show, and what to do"


def _words(row: Mapping[str, Any], name: str) -> str:
    return "n/a" if pd.isna(row[name]) else str(row[name]).replace("_", " ")


def fault_list(tables: StudyTables) -> list[Block]:
    """Give the list of faults; nothing where there is none."""
    faults = tables(FAULTS)
    if faults.empty:
        return []
    columns: list[Column] = [
        ("recording", "recording_id", False),
        ("person", "participant_id", False),
        ("session", "session_id", False),
        ("point", lambda row: _words(row, "tracked_point"), False),
        ("sensor", "sensor_id", False),
        ("fault", "fault", False),
        ("what was found", "description", False),
        ("what to do", "remedy", False),
    ]
    return [table_of(faults, FAULTS_CAPTION, columns)]
