"""Rows of the proof for swallows in reading order, for the figure and the tables beside it."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

import pandas as pd

from ..tables.validation import CONFOUNDERS, SHAPES
from .results import StudyTables
from .spoken import spoken

__all__ = ["CLASSES", "confounded", "confounder_rows", "ordered", "shape_rows"]

CLASSES: Final = ("swallow", "speech", "cough", "head_movement", "other")
_SHAPES: Final = ("one_hump", "two_phase", "ringing", "unknown")
_CONFOUNDED: Final = ("speech", "cough", "head_movement", "artefact", "all", "other", "no_swallow")
_WORDS: Final = {
    "all": "speech, coughs and head movements together",
    "other": "nothing of these labelled",
    "no_swallow": "all time without swallows",
}


def ordered(frame: pd.DataFrame, column: str, order: Sequence[str]) -> pd.DataFrame:
    """Sort by a known order; words that are not in it come last, by name."""
    known = {word: k for k, word in enumerate(order)}
    place = [(known.get(word, len(known)), word) for word in frame[column].astype(str)]
    return frame.iloc[sorted(range(len(frame)), key=place.__getitem__)].reset_index(drop=True)


def shape_rows(tables: StudyTables) -> pd.DataFrame:
    """Give the pooled rows of swallows by response shape, at the widest distance of centres that was scored."""
    frame = tables(SHAPES)
    own = frame[(frame["criterion"] == "centre") & ((frame["n_labelled"] > 0) | (frame["n_detected"] > 0))]
    return ordered(own[own["tolerance"] == own["tolerance"].max()], "response_shape", _SHAPES)


def confounded(word: str) -> str:
    """Name a row of what was taken for a swallow."""
    return _WORDS.get(word) or spoken(word)


def confounder_rows(tables: StudyTables) -> pd.DataFrame:
    """Give the pooled rows of what was taken for a swallow."""
    frame = tables(CONFOUNDERS)
    return ordered(frame[frame["recording_id"] == "pooled"], "confounder", _CONFOUNDED)
