"""The model card for people: what was learnt, from whom, how well, and what it must not be used for.

In: the card for machines and the history of models. Out: Markdown.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import pandas as pd

from .decide import doubt_of

__all__ = ["Reasons", "card_words", "no_model_words", "score_words"]

_RULES = {
    ("gait", "rule"): "Normal and limping gait were told apart by a rule with published limits",
    ("gait", "external"): "Normal and limping gait were told apart by the stored model of another study",
    ("swallow", "rule"): "Swallows were told from other movements by a rule that needs no labels",
    ("swallow", "external"): "Swallows were told from other movements by the stored model of another study",
}
Reasons = Mapping[str, tuple[str, str | None]]
"""For ``gait`` and ``swallow``: what made the predictions (trained, external, rule), and why nothing was trained."""


def _said(method: str, reason: str | None) -> str | None:
    return doubt_of(reason) if method == "external" else reason


def _untrained(reasons: Reasons) -> list[str]:
    return [
        f"- {_RULES[subject, method]}" + (f": {said}." if (said := _said(method, reason)) else ".")
        for subject, (method, reason) in reasons.items()
        if method != "trained"
    ]


def score_words(scores: Mapping[str, Any], name: str) -> str:
    """Print a score with its limits, where it has any."""
    value, low, high = (scores.get(key) for key in (name, f"{name}_low", f"{name}_high"))
    if value is None:
        return "n/a"
    between = f" (95 % interval {low:.3f} to {high:.3f})" if low is not None and high is not None else ""
    return f"{value:.3f}{between}"


def no_model_words(reasons: Reasons) -> str:
    """Say that nothing was trained, and why.

    Parameters
    ----------
    reasons : mapping
        `Reasons`.
    """
    lines = ["# No gait model", "", *_untrained(reasons)]
    return "\n".join(lines) + "\n"


def card_words(card: Mapping[str, Any], history: pd.DataFrame, reasons: Reasons) -> str:
    """Describe the trained model for people.

    Parameters
    ----------
    card : mapping
        From `card.make_card`.
    history : DataFrame
        Of all models; the last row is this one.
    reasons : mapping
        `Reasons`.

    Returns
    -------
    str
        Markdown.
    """
    data, scores = card["data"], card["scores"]
    people = data["participants_by_state"]
    lines = [
        "# Model card: normal and limping gait",
        "",
        f"What it tells: {card['task']}.",
        "",
        "## Learnt from",
        "",
        f"- {data['participants']} participants, {data['recordings']} recordings, "
        f"{data['labelled_time_s']:.0f} s of labelled walking",
        *(f"- {state}: {data['windows'][state]} windows of {n} participants" for state, n in sorted(people.items())),
        "",
        "## How well, on participants that the scoring model never saw",
        "",
        f"- Balanced accuracy by time, normal against limping: {score_words(scores, 'balanced_accuracy')}; "
        "0.5 is chance",
        f"- Log loss of the probabilities: {score_words(scores, 'log_loss')}; 0 is perfect, 0.693 knows nothing",
        f"- Limping side right: {score_words(scores, 'side_accuracy')} of the labelled limping time",
        f"- Permutation test: p = {score_words(scores, 'permutation_p')}; the chance of such a score if labels meant "
        "nothing",
        "",
        "Baselines stand beside these in validation/classifier.tsv.",
        "",
        "## Variants",
        "",
    ]
    lines += [
        f"- {name.replace('_', ' ')}: {entry['family'].replace('_', ' ')} ({entry['setting']}), "
        f"{len(entry['features'])} features, {entry['n_participants']} participants"
        for name, entry in sorted(card["variants"].items())
    ]
    if len(history) and pd.notna(history["verdict"].iloc[-1]):
        last = history.iloc[-1]
        lines += [
            "",
            "## Against the model before",
            "",
            f"{str(last['verdict']).capitalize()} on the same participants.",
        ]
    lines += ["", "## Cautions", "", *(f"- {caution}" for caution in card["cautions"])]
    lines += _untrained(reasons)
    return "\n".join(lines) + "\n"
