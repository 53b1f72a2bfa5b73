"""Columns of what comes along with a shipped model: the windows that it learnt from, and the trials of its card."""

from __future__ import annotations

from typing import Final

from .classifier import WINDOW
from .spec import TableSpec, count, number, text

__all__ = ["TRAINING", "TRIALS"]

TRAINING: Final = TableSpec(
    path="windows.tsv",
    title="Windows that the model learnt from",
    description="One row per window of a few strides, with the label of the reference rater and, in further columns, "
    "the features of tables/features.tsv.",
    columns=(
        *WINDOW,
        text("unit", "Labelled bout", "The label that the window lies in."),
    ),
    key=("recording_id", "time"),
)

_SHARE: Final = "Share of the labelled time, mean over people"
TRIALS: Final = TableSpec(
    path="trials.tsv",
    title="Trials of the model",
    description="One row per trial and by what gait was decided. People of the training data were each left out of the "
    "model that decided about them.",
    columns=(
        count("number", "Number", "In the order of the card."),
        text("trial", "Trial", "Who walked, and through what."),
        text("decided_by", "Decided by", "model, or rule: the published rule."),
        count("n_participants", "Participants", "People in the trial."),
        number("balanced_accuracy", "Balanced accuracy", "Mean of the next but one and 1 less the next.", "1", 3),
        number("false_limping", "Normal called limping", f"{_SHARE}, labelled normal gait.", "1", 3),
        number("recall", "Limping found", f"{_SHARE}, labelled limping gait.", "1", 3),
        number("side_right", "Side right", f"{_SHARE}, labelled limping on a side: called so.", "1", 3),
        number("log_loss", "Log loss", "Of the windows' probabilities, mean over people; n/a of a rule.", "nat", 3),
    ),
    key=("number",),
)
