"""What the card of a gait model says: what it tells, from whom it learnt, how well, and what it is not for.

In: labelled windows and scores. Out: facts for the card for machines (`learn.card.make_card`), and its words.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any, Final

import numpy as np
import pandas as pd

from ..learn.card_words import CardLines, card_text, score_words
from ..learn.external import Stored
from ..upstream import Values
from .limits import FALSE_ALARMS
from .model_files import GAIT_FILES
from .windows import GAIT_FEATURES

__all__ = ["CAUTIONS", "GAIT_MODEL", "UNTRAINED", "gait_card_words", "gait_facts", "no_model_words"]

GAIT_MODEL: Final = Stored(GAIT_FILES, GAIT_FEATURES)
CAUTIONS: Final = (
    "A research tool, not a medical device: it describes how somebody walked, it diagnoses nothing.",
    "It says normal or limping as the raters of its study did; another laboratory may call other gaits so.",
    "People outside the range of its training people are marked in the tables; look at them before believing it.",
    "A probability is calibrated for the mix of states in its study; where limping is much rarer it says limping "
    "too often.",
)
UNTRAINED: Final = {
    "rule": f"Normal and limping gait were told apart by a rule with published limits: {FALSE_ALARMS}",
    "external": "Normal and limping gait were told apart by the stored model of another study",
}


def gait_facts(
    windows: pd.DataFrame, entry: Mapping[str, Any], settings: Values, permutation: pd.DataFrame
) -> dict[str, Any]:
    """Say of the training what the card is to hold.

    Parameters
    ----------
    windows : DataFrame
        With ``label``, ``recording_id`` and ``participant_id``.
    entry : mapping
        Of the history: scores and hashes.
    settings : mapping of section to mapping of name to value
        All that the model rests on.
    permutation : DataFrame
        From `learn.evidence.permutation_test`.

    Returns
    -------
    dict
        Plain values only.
    """
    labelled = windows[windows["label"].notna()]
    per_state = labelled.groupby("label")

    def number(value: float) -> float | None:
        return round(float(value), 6) if np.isfinite(value) else None

    return {
        "task": "normal or limping gait, and the limping side, from windows of a few strides",
        "data": {
            "recordings": int(labelled["recording_id"].nunique()),
            "participants": int(labelled["participant_id"].nunique()),
            "windows": {str(k): len(v) for k, v in per_state},
            "participants_by_state": {str(k): int(v["participant_id"].nunique()) for k, v in per_state},
            "labelled_time_s": number(entry["labelled_time"]),
            "prevalence": number(entry["prevalence"]),
        },
        "scores": {
            name: number(entry[name])
            for name in (
                "balanced_accuracy_within_gait", "balanced_accuracy_within_gait_low",
                "balanced_accuracy_within_gait_high", "balanced_accuracy", "balanced_accuracy_low",
                "balanced_accuracy_high", "log_loss", "log_loss_low", "log_loss_high", "side_accuracy",
            )
        }
        | {"permutation_p": number(permutation["p_value"].iloc[0]) if len(permutation) else None},
        "settings": settings,
        "hashes": {name: entry[name] for name in ("label_hash", "settings_hash", "feature_hash")},
    }  # fmt: skip


def no_model_words(untrained: Sequence[str]) -> str:
    """Say that nothing was trained, and why, from `learn.card_words.untrained_lines` of all tasks."""
    return "\n".join(["# No gait model", "", *untrained]) + "\n"


def gait_card_words(card: Mapping[str, Any], history: pd.DataFrame, others: Sequence[str]) -> str:
    """Describe the trained model for people.

    Parameters
    ----------
    card : mapping
        From `learn.card.make_card`.
    history : DataFrame
        Of all models; the last row is this one.
    others : sequence of str
        `learn.card_words.untrained_lines` of all tasks.

    Returns
    -------
    str
        Markdown.
    """
    data, scores = card["data"], card["scores"]
    people = data["participants_by_state"]
    lines = CardLines(
        title="normal and limping gait",
        learnt_from=[
            f"- {data['participants']} participants, {data['recordings']} recordings, "
            f"{data['labelled_time_s']:.0f} s of labelled walking",
            *(
                f"- {state}: {data['windows'][state]} windows of {n} participants"
                for state, n in sorted(people.items())
            ),
        ],
        how_well=[
            "- Balanced accuracy, normal against limping, within time found as gait: "
            f"{score_words(scores, 'balanced_accuracy_within_gait')}; 0.5 is chance",
            f"- The same by all time labelled so, turns left out: {score_words(scores, 'balanced_accuracy')}",
            f"- Log loss of the probabilities: {score_words(scores, 'log_loss')}; 0 is perfect, 0.693 knows nothing",
            f"- Limping side right: {score_words(scores, 'side_accuracy')} of the time labelled as limping on a side, "
            "turns left out",
            f"- Permutation test: p = {score_words(scores, 'permutation_p')}; the chance of such a score if labels "
            "meant nothing",
        ],
        beside="Baselines stand beside these in validation/classifier.tsv.",
        heading="Variants",
        models=[
            f"- {name.replace('_', ' ')}: {entry['family'].replace('_', ' ')} ({entry['setting']}), "
            f"{len(entry['features'])} features, {entry['n_participants']} participants"
            for name, entry in sorted(card["variants"].items())
        ],
    )
    verdict = history["verdict"].iloc[-1] if len(history) else None
    return card_text(card, lines, verdict=None if pd.isna(verdict) else str(verdict), others=others)
