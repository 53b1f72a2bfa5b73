"""Hand labels: ``labels/<recording_id>/<rater>_events.tsv``, columns as in BIDS ``events.tsv``.

In: one file or many. Out: a frame of labels in order of onset, or every problem of every file.
"""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

import numpy as np
import pandas as pd

from ..errors import Problem, StudyError
from ..vocabulary import EVENT_TYPES, INSTANTS, SIDES, TRIAL_TYPES
from .sheets import Rule, Sheet, check_sheets, number, one_of, read_cells, read_sheet, to_number

__all__ = ["LABEL_COLUMNS", "LABEL_SUFFIX", "check_labels", "read_labels"]

LABEL_SUFFIX = "_events.tsv"
LABEL_COLUMNS = ("onset", "duration", "trial_type", "side", "value")

# BIDS events.tsv: onset may be negative (before the first stored sample), duration is >= 0 or n/a.
_RULES = (
    Rule("onset", number(wanted="a time", unit="seconds"), required=True, filled=True),
    Rule(
        "duration",
        number(lambda v: v >= 0, "a duration of 0 or more", "seconds"),
        required=True,
    ),
    Rule("trial_type", (one_of(TRIAL_TYPES),), required=True, filled=True),
    Rule("side", (one_of(SIDES),)),
    Rule("value", number(wanted="a number")),
)
_REQUIRED = tuple(rule.name for rule in _RULES if rule.required)
# No knee passes these by far: active range 10 degrees of hyperextension to 160 of flexion (from memory).
_STRAIGHTEST_DEG, _DEEPEST_DEG = -45.0, 180.0
_SIDED = tuple(name for name, kind in EVENT_TYPES.items() if kind.sided)


def _texts(sheet: Sheet, column: str) -> list[str | None]:
    if column in sheet.frame.columns:
        return list(sheet.frame[column])
    return [None] * len(sheet.frame)


def _row_problems(sheet: Sheet, task: str | None) -> list[Problem]:
    """Find the faults that lie in how the cells of one row go together."""
    if not set(_REQUIRED) <= set(sheet.frame.columns):
        return []
    problems = []
    first: dict[tuple[object, ...], int] = {}
    cells = zip(sheet.frame.index, *(_texts(sheet, name) for name in LABEL_COLUMNS), strict=True)
    for row, onset, duration_text, kind, side, value in cells:
        duration = to_number(duration_text)

        def fault(column: str, message: str, remedy: str, text: str | None = None, row: int = row) -> None:
            problems.append(Problem(sheet.file, message, remedy, row=row, column=column, value=text))

        earlier = first.setdefault((to_number(onset), duration or 0.0, kind, side), int(row))
        if onset is not None and earlier != row:
            fault("onset", f"the same label as in row {earlier}", "remove one of the two", onset)
        if kind in INSTANTS and duration is not None and duration > 0:
            fault("duration", f"{kind} is an instant", "give it the duration 0", duration_text)
        if kind in TRIAL_TYPES and kind not in INSTANTS and duration_text is None:
            fault("duration", f"{kind} is an interval and has no duration", "give its duration in seconds")
        if kind in _SIDED and side is None:
            fault("side", f"{kind} without a side", f"give {' or '.join(SIDES)}")
        angle = to_number(value)
        if kind == "knee_bend" and angle is not None and not _STRAIGHTEST_DEG <= angle <= _DEEPEST_DEG:
            fault("value", "not the angle of a knee", "give it in degrees, 0 for the straight leg", value)
        if kind == "knee_bend" and task == "bend" and value is None:
            fault(
                "value",
                "a knee_bend of a bend recording without its angle",
                "give the angle in degrees: the calibration needs it",
            )
    return problems


def check_labels(files: Sequence[tuple[Path, str, str | None]]) -> tuple[list[Sheet], list[Problem]]:
    """Find every problem of many label files.

    Parameters
    ----------
    files : sequence of (Path, str, str or None)
        The file, its name for messages, and the task of its recording (bends of a ``bend`` recording
        must have their angle).

    Returns
    -------
    list of Sheet
        Those files that are tables with the required columns.
    list of Problem
        File by file.
    """
    by_file: dict[str, list[Problem]] = {}
    sheets, tasks = [], {}
    for path, file, task in files:
        sheet, by_file[file] = read_sheet(path, file, _REQUIRED)
        if sheet is not None:
            sheets.append(sheet)
            tasks[file] = task
    for problem in check_sheets(sheets, _RULES, extra_allowed=False):
        by_file[problem.file].append(problem)
    for sheet in sheets:
        by_file[sheet.file] += _row_problems(sheet, tasks[sheet.file])
    whole = [sheet for sheet in sheets if set(_REQUIRED) <= set(sheet.frame.columns)]
    return whole, [problem for problems in by_file.values() for problem in problems]


def _numbers(texts: Sequence[str | None]) -> list[float]:
    return [np.nan if (value := to_number(text)) is None else value for text in texts]


def read_labels(path: Path) -> pd.DataFrame:
    """Read one label file of a study whose sheets were checked.

    Parameters
    ----------
    path : Path
        ``<rater>_events.tsv``.

    Returns
    -------
    DataFrame
        ``onset`` and ``duration`` (s, 0 for instants), ``trial_type``, ``side`` (``None`` when missing),
        ``value`` (NaN when missing), sorted by onset.

    Raises
    ------
    StudyError
        If the file is not a table with the required columns (it changed after the check).
    """
    cells, problems = read_cells(path, path.name, _REQUIRED)
    if cells is None or problems:
        raise StudyError(problems)
    missing = [name for name in _REQUIRED if name not in cells.names]
    if missing:
        raise StudyError([Problem(path.name, "a required column is missing", "add it", 1, name) for name in missing])
    columns = dict(zip(cells.names, zip(*cells.rows, strict=True), strict=True)) if cells.rows else {}
    nothing = (None,) * len(cells.rows)
    onset, duration, value = (
        np.array(_numbers(columns.get(name, nothing)), dtype=float) for name in ("onset", "duration", "value")
    )
    duration = np.where(np.isnan(duration), 0.0, duration)
    order = np.lexsort((duration, onset))
    words = {name: np.array(columns.get(name, nothing), dtype=object)[order] for name in ("trial_type", "side")}
    return pd.DataFrame({"onset": onset[order], "duration": duration[order], **words, "value": value[order]})
