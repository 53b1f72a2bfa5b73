"""Columns of the tables about the classifier of throat movements."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Final

from .families import FOLD, PARTICIPANT, PEOPLE_BEHIND, PREDICTION, RECORDING, hits, probability_scores, span
from .spec import TableSpec, count, interval, number, text

__all__ = ["MOVEMENTS", "THROAT_EVIDENCE"]

_CLASSES: Final = "swallow, speech, cough, head_movement, other"

MOVEMENTS: Final = TableSpec(
    path="model/swallow_predictions.tsv",
    title="Predictions of throat movements",
    description="One row per movement of the throat that stood out from rest, swallow or not. Participants with labels "
    "were predicted by a model that never saw them.",
    columns=(
        RECORDING,
        PARTICIPANT,
        *span("From the first stored sample.", "Length."),
        text("label", "Label", f"What the reference rater calls it: {_CLASSES}; n/a where nobody looked."),
        text("called", "Called", f"What it was called: {_CLASSES}; n/a where a rule found no swallow."),
        *(
            number(
                f"probability_{name}",
                f"P({name.replace('_', ' ')})",
                "Calibrated probability; n/a where nobody labelled any, and where a rule decided.",
                "1",
                4,
            )
            for name in ("swallow", "speech", "cough", "head_movement", "other")
        ),
        number("score", "Score without labels", "How well it fits a swallow by rule, 0 to 1.", "1", 4),
        FOLD,
        PREDICTION,
        text("caution", "Caution", "Features outside the training range in most of the person's movements."),
    ),
    key=("recording_id", "onset"),
)

_INCLUDES: Final = text(
    "includes",
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
        text(
            "predictor",
            "Predictor",
            "classifier; without_labels: the rule that stands in where a study has no labels; majority: the commonest "
            "class.",
        ),
        text("scope", "Scope", "pooled, or fold (one participant)."),
        text("participant_id", "Participant", "Whose movements; n/a where pooled."),
        FOLD,
        text("trial_type", "Class", f"{_CLASSES}, or all."),
        _INCLUDES,
        PEOPLE_BEHIND,
        count("n_labelled", "Labelled", "Movements that the rater calls so, or a class included."),
        count("n_called", "Called", "Labelled movements that were called so."),
        *hits("those", "are"),
        *interval("balanced_accuracy", "Balanced accuracy", "Mean recall of the labelled classes.", "1"),
        *probability_scores(
            "Mean -ln of the probability of swallow or not.", "Mean squared error of the probability of a swallow."
        ),
    ),
    key=("predictor", "scope", "participant_id", "trial_type"),
)

_CONFUSION: Final = TableSpec(
    path="validation/throat_confusion.tsv",
    title="What throat movements were called",
    description="Movements of each labelled class by the class they were called, out of fold, all participants "
    "together.",
    columns=(
        text("label", "Label", "Class by the reference rater."),
        _INCLUDES,
        text("called", "Called", "Class by a model that never saw the participant."),
        count("n", "Movements", "How many."),
        number("share", "Share", "Part of the movements with this label.", "1", 4),
        count("n_participants", "Participants", "Who have this label."),
    ),
    key=("label", "called"),
)

THROAT_EVIDENCE: Final[Mapping[str, TableSpec]] = {
    "throat_classifier": _CLASSIFIER,
    "throat_confusion": _CONFUSION,
}
"""Tables of the classifier of throat movements, by the name of their frame in the evidence of classify."""
