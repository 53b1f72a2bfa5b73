"""The model card for people: what was learnt, from whom, how well, and what it must not be used for.

In: the card for machines and a task's own lines. Out: Markdown.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from .decide import Outcome, doubt_of

__all__ = ["CardLines", "card_text", "score_words", "untrained_lines"]


@dataclass(frozen=True)
class CardLines:
    """What a task says in its card.

    Parameters
    ----------
    title : str
        What is told apart.
    learnt_from, how_well, models : sequence of str
        Lines of these sections.
    beside : str
        Where more stands.
    heading : str
        Of the section of the models.
    """

    title: str
    learnt_from: Sequence[str]
    how_well: Sequence[str]
    beside: str
    heading: str
    models: Sequence[str]


def score_words(scores: Mapping[str, Any], name: str) -> str:
    """Print a score with its limits, where it has any."""
    value, low, high = (scores.get(key) for key in (name, f"{name}_low", f"{name}_high"))
    if value is None:
        return "n/a"
    between = f" (95 % interval {low:.3f} to {high:.3f})" if low is not None and high is not None else ""
    return f"{value:.3f}{between}"


def untrained_lines(told: Mapping[str, str], outcome: Outcome) -> list[str]:
    """Say by what a task was decided and why nothing was trained; nothing where a model was.

    Parameters
    ----------
    told : mapping of str to str
        The task's words for the methods ``rule`` and ``external``.
    outcome : Outcome

    Returns
    -------
    list of str
        One line or none.
    """
    if outcome.method == "trained":
        return []
    said = doubt_of(outcome.reason) if outcome.method == "external" else outcome.reason
    return [f"- {told[outcome.method]}" + (f": {said}." if said else ".")]


def card_text(
    card: Mapping[str, Any], lines: CardLines, *, verdict: str | None = None, others: Sequence[str] = ()
) -> str:
    """Describe a trained model for people.

    Parameters
    ----------
    card : mapping
        From `card.make_card`.
    lines : CardLines
        The task's own.
    verdict : str, optional
        Of the comparison with the model before.
    others : sequence of str
        `untrained_lines` of other tasks of the study.

    Returns
    -------
    str
        Markdown.
    """
    heading = ["", "## Against the model before", ""]
    before = [*heading, f"{verdict.capitalize()} on the same participants."] if verdict else []
    text = [
        f"# Model card: {lines.title}",
        "",
        f"What it tells: {card['task']}.",
        "",
        "## Learnt from",
        "",
        *lines.learnt_from,
        "",
        "## How well, on participants that the scoring model never saw",
        "",
        *lines.how_well,
        "",
        lines.beside,
        "",
        f"## {lines.heading}",
        "",
        *lines.models,
        *before,
        "",
        "## Cautions",
        "",
        *(f"- {caution}" for caution in card["cautions"]),
        *others,
    ]
    return "\n".join(text) + "\n"
