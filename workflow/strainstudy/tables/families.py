"""Columns that stand in more than one table, each declared once: whose a row is, when, and how it was judged."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace
from typing import Final

from .spec import Column, count, interval, number, text

__all__ = [
    "BETWEEN",
    "DURATION",
    "FOLD",
    "MADE_BY",
    "MEASURE",
    "MEASURED",
    "METHOD",
    "ONSET",
    "PARTICIPANT",
    "PEOPLE",
    "PEOPLE_BEHIND",
    "PREDICTION",
    "READING",
    "RECORDING",
    "RECORDINGS",
    "STATE",
    "UNIT",
    "WHO",
    "hits",
    "limits_of_agreement",
    "probability_scores",
    "reworded",
    "span",
]

RECORDING: Final = text("recording_id", "Recording", "Recording the row belongs to.")
PARTICIPANT: Final = text("participant_id", "Participant", "Whose recording it is.")
WHO: Final = (
    PARTICIPANT,
    text("session_id", "Session", "In which session."),
    text("group", "Group", "The participant's group, as the study has it."),
)
"""Added to tables that are read by themselves: whose recording it is."""

PEOPLE: Final = count("n_participants", "participants", "How many people the row rests on.")
PEOPLE_BEHIND: Final = count("n_participants", "Participants", "Number of participants behind the row.")
RECORDINGS: Final = count("n_recordings", "recordings", "How many recordings the row rests on.")

MEASURE: Final = text("measure", "measure", "Name of the measure, as in the result tables.")
UNIT: Final = text("unit", "unit", "Unit of this row's values; 'signal' = the unit of the recording's own signal.")
STATE: Final = text("trial_type", "gait state", "Gait state that the measure was taken in; n/a where it has none.")
MEASURED: Final = (STATE, MEASURE, UNIT)
METHOD: Final = text(
    "interval_method",
    "interval method",
    "How the 95 % limits were found, or 'none:' and the reason why there are none.",
)
READING: Final = text("reading", "in words", "What the numbers of this row say, with their limits.")
BETWEEN: Final = (
    text("session_id", "earlier session", "First by name."),
    text("later_session_id", "later session", "Second by name."),
)

MADE_BY: Final = (
    "out_of_fold: by a model that never saw this participant; final: by the stored model, for participants without "
    "labels; rule: by published limits, or by the rules of gait detection."
)
PREDICTION: Final = text("prediction", "Predicted by", MADE_BY)
FOLD: Final = count("fold", "Fold", "Fold the participant was left out in; -1 for none.")


def span(onset: str, duration: str, decimals: int = 3) -> tuple[Column, Column]:
    """When it starts and how long it lasts, in seconds from the first stored sample."""
    return number("onset", "Onset", onset, "s", decimals), number("duration", "Duration", duration, "s", decimals)


ONSET, DURATION = span("Start, from the first stored sample.", "Length.")


def hits(noun: str, verb: str) -> tuple[Column, ...]:
    """Precision, recall and F1 with their limits; ``noun`` with its ``verb`` is what is counted."""
    return (
        *interval("precision", "Precision", f"Share of {noun} called so that {verb} labelled so.", "1"),
        *interval("recall", "Recall", f"Share of {noun} labelled so that {verb} called so.", "1"),
        *interval("f1", "F1", "Harmonic mean of precision and recall.", "1"),
    )


def probability_scores(log_loss: str, brier: str) -> tuple[Column, ...]:
    """Two scores of a probability with their limits."""
    return *interval("log_loss", "Log loss", log_loss, "nat"), *interval("brier", "Brier score", brier, "1")


def limits_of_agreement(unit: str | None = None, more: str = "") -> tuple[Column, ...]:
    """Lower and upper limit of agreement, each with its own limits."""
    words = "1.96 SD (multiplier in the settings)."
    return (
        *interval("loa_lower", "lower limit of agreement", f"Bias - {words}{more}", unit),
        *interval("loa_upper", "upper limit of agreement", f"Bias + {words}{more}", unit),
    )


def reworded(columns: Iterable[Column], before: str) -> tuple[Column, ...]:
    """Give the same columns with other words before their description."""
    return tuple(replace(column, description=f"{before} {column.description}") for column in columns)
