"""The card of a model that comes along, for people: what it cannot do first, then from whom it learnt and how well.

In: the card for machines. Out: Markdown.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any, Final

from ..learn.card_words import score_words
from .elsewhere import trained_words

__all__ = ["LIMITS", "card_words"]

LIMITS: Final = (
    "The limps were imitated: healthy adults walked with the left knee held stiff. A limp of a patient is another "
    "thing, and of a limp of another kind the model may see less than the rule beside it.",
    "They walked on a treadmill, straight on, at a steady pace. Walking on the ground varies more.",
    "There were four of them. What four people do not show the model does not know, and a score over four people says "
    "little of a fifth: its intervals are wide, where they can be had at all.",
    "Their knee angles came from inertial sensors. Strain sensors were only simulated (see the trials).",
    "Nobody was old, ill or a child. Results of such people carry no promise.",
    "With one knee, where that is not the one that limps, it is near chance and its probabilities mislead (see the "
    "trials), and the rule that stands beside it sees nothing.",
)
_STATES: Final = {"model": "the model", "rule": "the published rule"}


def _table(head: Sequence[str], rows: Sequence[Sequence[str]]) -> list[str]:
    return [f"| {' | '.join(cells)} |" for cells in (head, ["---"] * len(head), *rows)]


def _percent(value: float | None) -> str:
    return "n/a" if value is None else f"{100 * value:.1f}"


def _number(value: float | None) -> str:
    return "n/a" if value is None else f"{value:.3f}"


def _worse(trials: Sequence[Mapping[str, Any]]) -> list[str]:
    """Name the trials in which the rule found more of the limping than the model did, or called less normal gait so."""
    found = {(t["trial"], t["decided_by"]): t for t in trials}
    lines = []
    for name, begins, of in (
        ("recall", "Found less than the rule does", "of the limping"),
        ("false_limping", "Called more normal gait limping than the rule does", "of the normal gait"),
    ):
        for trial in dict.fromkeys(t["trial"] for t in trials):
            model, rule = found[trial, "model"][name], found[trial, "rule"][name]
            if model is None or rule is None:
                continue
            if (model < rule) if name == "recall" else (model > rule):
                where = f"{trial[:1].upper()}{trial[1:]}"
                lines.append(f"- {begins}. {where}: {_percent(model)} % {of}, the rule {_percent(rule)} %.")
    return lines


def card_words(card: Mapping[str, Any]) -> str:
    """Describe a model that comes along.

    Parameters
    ----------
    card : mapping
        With ``elsewhere``, ``mixes`` and ``trials``.

    Returns
    -------
    str
        Markdown.
    """
    data, scores = card["data"], card["scores"]
    trials = [
        [t["trial"], _STATES[t["decided_by"]], str(t["n_participants"]), _number(t["balanced_accuracy"]),
         _percent(t["false_limping"]), _percent(t["recall"]), _percent(t["side_right"]), _number(t["log_loss"])]
        for t in card["trials"]
    ]  # fmt: skip
    mixes = [
        [_percent(m["prevalence"]), "yes" if m["told"] else "no", _percent(m["mean_probability"]),
         _number(m["log_loss"]), _percent(m["false_limping"]), _percent(m["recall"])]
        for m in card["mixes"]
    ]  # fmt: skip
    lines = [
        f"# Model card: {card['elsewhere']['name']}",
        "",
        f"What it tells: {card['task']}. Every row that it decides says `{trained_words(card)}`, and the published "
        "rule stands beside it.",
        "",
        "## Limits, before anything else",
        "",
        *(f"- {limit}" for limit in LIMITS),
        *_worse(card["trials"]),
        *(f"- {caution}" for caution in card["cautions"]),
        "",
        "## Learnt from",
        "",
        f"- {data['participants']} adults, {data['recordings']} recordings, {data['labelled_time_s']:.0f} s of "
        "labelled walking; source and licence stand in README.md and LICENSE.txt",
        *(
            f"- {state}: {data['windows'][state]} windows of {n} participants"
            for state, n in sorted(data["participants_by_state"].items())
        ),
        f"- Share of limping that the probabilities are calibrated for: {_percent(data['prevalence'])} %",
        "",
        "## How well, each person left out of the model that judged them",
        "",
        "- Balanced accuracy, normal against limping, within time found as gait: "
        f"{score_words(scores, 'balanced_accuracy_within_gait')}; 0.5 is chance",
        f"- Log loss of the probabilities: {score_words(scores, 'log_loss')}; 0 is perfect, 0.693 knows nothing",
        f"- Limping side right: {score_words(scores, 'side_accuracy')} of the labelled limping time",
        "",
        "## Trials",
        "",
        "Shares are of labelled time in percent, mean over people; the rule is the one with published limits that "
        "stands beside the model. Recorded walks went through simulated sleeves, sensors and bridges; the gain is "
        "that of the right knee over the left. Simulated people limp by mechanisms that nobody imitated here.",
        "",
        *_table(
            ("trial", "decided by", "people", "balanced accuracy", "normal called limping", "limping found",
             "side right", "log loss"), trials,
        ),
        "",
        "## Where limping is rarer",
        "",
        "The same out-of-fold windows, weighted to another share of limping. `told`: the setting `classify.prevalence` "
        "gives that share, and the odds are multiplied by the ratio of the prior odds (the rule of Bayes; Saerens et "
        "al. 2002, Neural Computation 14:21-41, from memory). Mean probability should be that share. What other people "
        "or other limps would do to it is not in this table.",
        "",
        *_table(
            ("limping, %", "told", "mean probability of limping, %", "log loss", "normal windows called limping, %",
             "limping windows found, %"), mixes,
        ),
        "",
        "## Variants",
        "",
        *(
            f"- {variant.replace('_', ' ')}: {entry['family'].replace('_', ' ')} ({entry['setting']}), "
            f"{len(entry['features'])} features, {entry['n_participants']} participants"
            for variant, entry in sorted(card["variants"].items())
        ),
    ]  # fmt: skip
    return "\n".join(lines) + "\n"
