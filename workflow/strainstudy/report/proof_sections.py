"""Sections of proof: the classifier on people it never saw, and detection against labels."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import Any, Final

import pandas as pd

from ..tables.classifier import EVIDENCE, HISTORY, LABEL_NEXT
from ..tables.throat import THROAT_EVIDENCE
from ..tables.validation import PARAMETERS, STATES
from .content import (
    Block,
    Column,
    Note,
    Section,
    Table,
    Text,
    interval_of,
    interval_text,
    number_text,
    pictures_of,
    table_of,
)
from .proof_figures import agreement_figure, bland_altman_figure, classifier_figure, evidence_figure, raters_figure
from .results import StudyTables
from .throat_figures import CLASSES, confounder_rows, shape_rows, spoken, swallow_proof_figure
from .words import CAUTIONS, READING

__all__ = ["agreement", "classifier"]

_ALL: Final = "all classes"
_TOGETHER: Final = "together"


def _readings(frame: pd.DataFrame, caption: str, columns: Sequence[Any]) -> Table | Note:
    return table_of(frame, caption, [*columns, ("in words", "reading", False)])


def classifier(tables: StudyTables, folder: Path) -> Section | None:
    """Show the classifier and its proof."""
    scores = tables(EVIDENCE["classifier"])
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
    history = tables(HISTORY).tail(5)
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
    mistakes = tables(EVIDENCE["mistakes"]).head(10)
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
    following = tables(LABEL_NEXT).head(10)
    if len(following):
        spans = [
            ("recording", "recording_id", False),
            ("onset (s)", "onset", True),
            ("duration (s)", "duration", True),
            ("why", "reason", False),
        ]
        own.append(table_of(following, "What to label next", spans))
    return Section("classifier", "Normal or limping", tuple(own))


def _throat_classes(tables: StudyTables) -> list[Block]:
    """Show the scores of throat movements by class, each beside the predictors that know less."""
    frame = tables(THROAT_EVIDENCE["throat_classifier"])
    scores = frame[frame["scope"] == "pooled"]
    # Classes that a simple rule never calls have nothing to show but zeros.
    called = (scores["predictor"] == "classifier") | (scores["n_called"].fillna(0) > 0)
    scores = scores[called | scores["balanced_accuracy"].notna()]
    if scores.empty:
        return []
    order = {word: k for k, word in enumerate([*CLASSES, "all"])}
    predictors = {"classifier": 0, "without_labels": 1, "majority": 2}
    place = {"trial_type": order, "predictor": predictors}
    scores = scores.sort_values(
        ["trial_type", "predictor"], key=lambda c: c.map(place[str(c.name)]).fillna(len(order)), kind="stable"
    )
    columns: list[Column] = [
        ("class", lambda r: _ALL if r["trial_type"] == "all" else spoken(r["trial_type"]), False),
        ("called by", lambda r: spoken(r["predictor"]), False),
        ("people", "n_participants", True),
        ("labelled", "n_labelled", True),
        ("called", "n_called", True),
        ("precision", interval_of("precision"), False),
        ("recall", lambda r: interval_text(r, "balanced_accuracy" if r["trial_type"] == "all" else "recall"), False),
        ("F1", interval_of("f1"), False),
    ]
    words = READING["agreement_throat"]
    included = scores.dropna(subset=["includes"]).drop_duplicates("trial_type")
    words += "".join(
        f" {spoken(r['trial_type']).capitalize()} includes {spoken(r['includes'])}: a class that fewer than two people "
        "have labels of is learnt, and so scored, as that."
        for r in included.to_dict("records")
    )
    if (tables.results / "model" / "swallow_card.md").exists():
        words += " What the model learnt from and what it does not know stands in model/swallow_card.md."
    known = [c for c in columns if callable(c[1]) or c[1] in scores]
    caption = "Classes of throat movements, pooled over people left out, 95 % intervals over people"
    return [Text(words), table_of(scores, caption, known)]


def _swallows(tables: StudyTables, folder: Path) -> tuple[Section, ...]:
    """Show swallows by the sensor's response shape, what was taken for one, and the classes of throat movements."""
    shapes, confounders, classes = shape_rows(tables), confounder_rows(tables), _throat_classes(tables)
    blocks = pictures_of(swallow_proof_figure(tables, folder))
    if len(shapes):
        blocks.append(Text(READING["agreement_swallows"]))
        columns: list[Column] = [
            ("response shape", lambda r: spoken(r["response_shape"]), False),
            ("people", "n_participants", True),
            ("recordings", "n_recordings", True),
            ("F1", interval_of("f1"), False),
        ]
        reach = number_text(shapes["tolerance"].iloc[0], 2)
        caption = f"Swallows by response shape of the sensor, centres within {reach} s, pooled"
        blocks.append(_readings(shapes, caption, columns))
    if len(confounders):
        taken: list[Column] = [
            ("confounder", lambda r: _TOGETHER if r["confounder"] == "all" else spoken(r["confounder"]), False),
            ("labelled", "n_labelled", True),
            ("taken for a swallow", "n_taken", True),
            ("false per minute", interval_of("false_per_minute"), False),
        ]
        blocks.append(Text(READING["agreement_taken"]))
        blocks.append(_readings(confounders, "What was taken for a swallow, pooled", taken))
    blocks += classes
    if not blocks:
        return ()
    caution = Note(CAUTIONS[1].words, "caution")
    return (Section("agreement-swallows", "Swallows, and what is taken for them", (caution, *blocks)),)


def agreement(tables: StudyTables, folder: Path) -> Section | None:
    """Show detection against labels and between raters."""
    pictures = pictures_of(
        agreement_figure(tables, folder), raters_figure(tables, folder), bland_altman_figure(tables, folder)
    )
    states = tables(STATES)
    swallows = _swallows(tables, folder)
    if not pictures and states.empty and not swallows:
        return None
    blocks: list[Block] = [Text(READING["agreement"]), *pictures]
    columns: list[Column] = [
        ("state", "trial_type", False),
        ("measure", "measure", False),
        ("people", "n_participants", True),
        ("value", interval_of("value"), False),
    ]
    blocks.append(_readings(states[states["recording_id"] == "pooled"], "States by time, pooled", columns))
    parameters = tables(PARAMETERS)
    expected = parameters[parameters["labelled_expected"].notna()]
    if len(expected):
        timed: list[Column] = [
            ("measure", "measure", False),
            ("state", "trial_type", False),
            ("from", "detected_from", False),
            ("labels", "labelled_mean", True),
            ("pipeline", "detected_mean", True),
            ("labels expected", "labelled_expected", True),
            ("of it rater timing", "from_rater_timing", True),
            ("ICC", interval_of("icc"), False),
        ]
        blocks.append(_readings(expected, "Variability, and what the timing of two raters alone makes of it", timed))
    return Section("agreement", "Agreement with labels", tuple(blocks), swallows)
