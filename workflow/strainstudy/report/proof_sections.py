"""Sections of proof: the classifier on people it never saw, and detection against labels."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import Any

import pandas as pd

from .content import Block, Column, Note, Section, Table, Text, interval_of, pictures_of, table_of
from .proof_figures import agreement_figure, bland_altman_figure, classifier_figure, evidence_figure, raters_figure
from .results import StudyTables
from .words import READING

__all__ = ["agreement", "classifier"]


def _readings(frame: pd.DataFrame, caption: str, columns: Sequence[Any]) -> Table | Note:
    known = [c for c in columns if callable(c[1]) or c[1] in frame]
    return table_of(frame, caption, [*known, ("in words", "reading", False)] if "reading" in frame else known)


def classifier(tables: StudyTables, folder: Path) -> Section | None:
    """Show the classifier and its proof."""
    scores = tables("validation/classifier", "scope", "trial_type", "predictor")
    blocks = pictures_of(classifier_figure(tables, folder), evidence_figure(tables, folder))
    if scores.empty and not blocks:
        return None
    pooled = scores[(scores["scope"] == "pooled") & (scores["trial_type"] == "all")]
    columns: list[Column] = [
        ("predictor", "predictor", False),
        ("people", "n_participants", True),
        ("balanced accuracy", interval_of("balanced_accuracy"), False),
        ("limping side right", interval_of("side_accuracy"), False),
        ("log loss (nat)", interval_of("log_loss"), False),
        ("Brier score", interval_of("brier"), False),
        ("calibration error", interval_of("calibration_error"), False),
    ]
    own: list[Block] = [Text(READING["classifier"]), *blocks]
    own.append(table_of(pooled, "Pooled scores of people left out, 95 % intervals over people", columns))
    history = tables("model/history", "number", "verdict").tail(5)
    if len(history):
        steps: list[Column] = [
            ("model", "number", True),
            ("family", "family", False),
            ("people", "n_participants", True),
            ("balanced accuracy", interval_of("balanced_accuracy"), False),
            ("against the one before", "verdict", False),
        ]
        own.append(
            table_of(
                history,
                "Models of this results folder, newest last",
                [c for c in steps if callable(c[1]) or c[1] in history],
            )
        )
    mistakes = tables("validation/mistakes", "rank", "recording_id", "onset", "duration", "label", "predicted").head(10)
    spans: list[Column]
    if len(mistakes):
        spans = [
            ("recording", "recording_id", False),
            ("onset (s)", "onset", True),
            ("duration (s)", "duration", True),
            ("label", "label", False),
            ("predicted", "predicted", False),
            ("probability", "probability", True),
        ]
        own.append(table_of(mistakes, "Worst mistakes; their pictures are under Recordings", spans))
    following = tables("tables/label_next", "rank", "reason").head(10)
    if len(following):
        spans = [
            ("recording", "recording_id", False),
            ("onset (s)", "onset", True),
            ("duration (s)", "duration", True),
            ("why", "reason", False),
        ]
        own.append(table_of(following, "What to label next", spans))
    return Section("classifier", "Normal or limping", tuple(own))


def agreement(tables: StudyTables, folder: Path) -> Section | None:
    """Show detection against labels and between raters."""
    pictures = pictures_of(
        agreement_figure(tables, folder), raters_figure(tables, folder), bland_altman_figure(tables, folder)
    )
    states = tables("validation/states", "recording_id")
    confounders = tables("validation/confounders", "recording_id")
    if not pictures and states.empty:
        return None
    blocks: list[Block] = [Text(READING["agreement"]), *pictures]
    columns: list[Column] = [
        ("state", "trial_type", False),
        ("measure", "measure", False),
        ("people", "n_participants", True),
        ("value", interval_of("value"), False),
    ]
    blocks.append(_readings(states[states["recording_id"] == "pooled"], "States by time, pooled", columns))
    taken: list[Column] = [
        ("confounder", "confounder", False),
        ("labelled", "n_labelled", True),
        ("taken for a swallow", "n_taken", True),
        ("false per minute", interval_of("false_per_minute"), False),
    ]
    own = confounders[confounders["recording_id"] == "pooled"]
    if len(own):
        blocks.append(_readings(own, "What was taken for a swallow, pooled", taken))
    return Section("agreement", "Agreement with labels", tuple(blocks))
