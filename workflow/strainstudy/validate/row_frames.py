"""Rows into frames with the columns of a table, and the reference rater's labels."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from typing import Any

import pandas as pd

from ..errors import Problem, StudyError
from ..tables.spec import TableSpec

__all__ = ["LabelsByRater", "reference_labels", "rows_frame", "text_or_none"]

LabelsByRater = Mapping[str, Mapping[str, pd.DataFrame]]


def rows_frame(
    rows: Sequence[Mapping[str, Any]], spec: TableSpec, words: Callable[[Mapping[str, Any]], str] | None = None
) -> pd.DataFrame:
    """Make a frame with exactly the columns and types of a table; only its header without rows.

    Parameters
    ----------
    rows : sequence of mapping
        Cells by column name; columns that a row lacks are missing there.
    spec : TableSpec
        The table.
    words : callable, optional
        Makes the sentence of column ``reading`` from a row.

    Returns
    -------
    DataFrame
    """
    if not rows:
        return spec.empty()
    full = rows if words is None else [{**row, "reading": words(row)} for row in rows]
    frame = pd.DataFrame(full, columns=list(spec.names))
    return frame.astype(spec.empty().dtypes.to_dict())


def text_or_none(value: Any) -> str | None:
    """Return a cell as text, or None where it is missing."""
    return None if value is None or pd.isna(value) else str(value)


def reference_labels(labels: LabelsByRater, reference_rater: str | None) -> tuple[str | None, dict[str, pd.DataFrame]]:
    """Pick the rater that everything is compared with.

    Parameters
    ----------
    labels : mapping of recording_id to (mapping of rater to DataFrame)
        All label files of the study.
    reference_rater : str or None
        The setting; None takes the rater with most recordings, among equals the first in alphabetical order.

    Returns
    -------
    rater : str or None
        None where there are no labels at all.
    frames : dict of recording_id to DataFrame
        That rater's labels.

    Raises
    ------
    StudyError
        If the setting names a rater who labelled nothing.
    """
    counts: dict[str, int] = {}
    for raters in labels.values():
        for rater in raters:
            counts[rater] = counts.get(rater, 0) + 1
    if not counts:
        return None, {}
    if reference_rater is not None and reference_rater not in counts:
        remedy = f"use one of: {', '.join(sorted(counts))}"
        problem = Problem(
            "config", "no labels by this rater", remedy, None, "validate.reference_rater", reference_rater
        )
        raise StudyError([problem])
    rater = reference_rater if reference_rater is not None else min(counts, key=lambda name: (-counts[name], name))
    return rater, {recording: labels[recording][rater] for recording in sorted(labels) if rater in labels[recording]}
