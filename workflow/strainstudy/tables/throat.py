"""Columns of the tables about the classifier of throat movements."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Final

from .classifier import FOLD, MADE_BY, PEOPLE
from .spec import Column, TableSpec, interval_columns

__all__ = ["MOVEMENTS", "THROAT_EVIDENCE"]

_CLASSES: Final = "swallow, speech, cough, head_movement, other"

MOVEMENTS: Final = TableSpec(
    path="model/swallow_predictions.tsv",
    title="Predictions of throat movements",
    description="One row per movement of the throat that stood out from rest, swallow or not. Participants with labels "
    "were predicted by a model that never saw them.",
    columns=(
        Column("recording_id", "string", "Recording", "Recording the row belongs to."),
        Column("participant_id", "string", "Participant", "Whose recording it is."),
        Column("onset", "number", "Onset", "From the first stored sample.", "s", 3),
        Column("duration", "number", "Duration", "Length.", "s", 3),
        Column("label", "string", "Label", f"What the reference rater calls it: {_CLASSES}; n/a where nobody looked."),
        Column("called", "string", "Called", f"What it was called: {_CLASSES}; n/a where a rule found no swallow."),
        *(
            Column(
                f"probability_{name}",
                "number",
                f"P({name.replace('_', ' ')})",
                "Calibrated probability; n/a where nobody labelled any, and where a rule decided.",
                "1",
                4,
            )
            for name in ("swallow", "speech", "cough", "head_movement", "other")
        ),
        Column("score", "number", "Score without labels", "How well it fits a swallow by rule, 0 to 1.", "1", 4),
        FOLD,
        Column("prediction", "string", "Predicted by", MADE_BY),
        Column(
            "caution", "string", "Caution", "Features outside the training range in most of the person's movements."
        ),
    ),
    key=("recording_id", "onset"),
)

_INCLUDES: Final = Column(
    "includes",
    "string",
    "Includes",
    "Labelled classes that were learnt, and so are counted, as this one: fewer than two people have labels of them.",
)

_CLASSIFIER: Final = TableSpec(
    path="validation/throat_classifier.tsv",
    title="Classifier of throat movements",
    description="Scores on participants that the scoring model never saw, pooled and per participant, beside the "
    "detector that needs no labels and the commonest class. Every movement that stood out from rest counts once; "
    "swallows that did not stand out are counted as missed in validation/events.tsv alone.",
    columns=(
        Column(
            "predictor",
            "string",
            "Predictor",
            "classifier; without_labels: the rule that stands in where a study has no labels; majority: the commonest "
            "class.",
        ),
        Column("scope", "string", "Scope", "pooled, or fold (one participant)."),
        Column("participant_id", "string", "Participant", "Whose movements; n/a where pooled."),
        FOLD,
        Column("trial_type", "string", "Class", f"{_CLASSES}, or all."),
        _INCLUDES,
        PEOPLE,
        Column("n_labelled", "integer", "Labelled", "Movements that the rater calls so, or a class included."),
        Column("n_called", "integer", "Called", "Labelled movements that were called so."),
        *interval_columns("precision", "Precision", "Share of those called so that are labelled so.", "1"),
        *interval_columns("recall", "Recall", "Share of those labelled so that are called so.", "1"),
        *interval_columns("f1", "F1", "Harmonic mean of precision and recall.", "1"),
        *interval_columns("balanced_accuracy", "Balanced accuracy", "Mean recall of the labelled classes.", "1"),
        *interval_columns("log_loss", "Log loss", "Mean -ln of the probability of swallow or not.", "nat"),
        *interval_columns("brier", "Brier score", "Mean squared error of the probability of a swallow.", "1"),
    ),
    key=("predictor", "scope", "participant_id", "trial_type"),
)

_CONFUSION: Final = TableSpec(
    path="validation/throat_confusion.tsv",
    title="What throat movements were called",
    description="Movements of each labelled class by the class they were called, out of fold, all participants "
    "together.",
    columns=(
        Column("label", "string", "Label", "Class by the reference rater."),
        _INCLUDES,
        Column("called", "string", "Called", "Class by a model that never saw the participant."),
        Column("n", "integer", "Movements", "How many."),
        Column("share", "number", "Share", "Part of the movements with this label.", "1", 4),
        Column("n_participants", "integer", "Participants", "Who have this label."),
    ),
    key=("label", "called"),
)

THROAT_EVIDENCE: Final[Mapping[str, TableSpec]] = {
    "throat_classifier": _CLASSIFIER,
    "throat_confusion": _CONFUSION,
}
"""Tables of the classifier of throat movements, by the name of their frame in the evidence of training."""
