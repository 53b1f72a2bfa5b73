"""The card of the model that tells throat movements apart: what it is, from whom, how well, and what it is not for.

In: what training of candidates gave, and its scores. Out: the card for machines (`card.make_card`) and its words.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any, Final

import pandas as pd

from ..learn.card import Described, make_card
from ..learn.card_words import CardLines, card_text, score_words
from ..learn.external import Stored
from ..learn.history import hash_words
from ..upstream import Values, settings_words
from .edges import EdgeModel
from .features import SWALLOW_FEATURES
from .model_files import SWALLOW_FILES
from .training import TARGET, CandidateResult

__all__ = ["SWALLOW_MODEL", "UNTRAINED", "candidate_card", "candidate_card_words"]

_CAUTIONS: Final = (
    "A research tool, not a medical device: it counts and times swallows, it diagnoses nothing.",
    "Swallow counts do not show aspiration; a normal count does not mean safe swallowing. Not for diet or feeding "
    "decisions.",
    "It says swallow as the raters of its study did, under the sensors of its study. Under a response shape that it "
    "was not trained on it would miss most swallows: there the detector that needs no labels stands in.",
    "What its raters did not label (chewing, for one) it does not know.",
    "A probability is calibrated for the mix of swallows and other movements in its study.",
)
UNTRAINED: Final = {
    "rule": "Swallows were told from other movements by a rule that needs no labels",
    "external": "Swallows were told from other movements by the stored model of another study",
}
_PARTS: Final = ("", "_low", "_high")


def _check(card: Mapping[str, Any]) -> None:
    """Hold a card to what is used of it: response shapes, and how its raters' edges lie."""
    if not isinstance(card["data"]["response_shapes"], list):
        raise TypeError("response_shapes is no list")
    EdgeModel.of(card["edges"])


SWALLOW_MODEL: Final = Stored(SWALLOW_FILES, SWALLOW_FEATURES, _check)


def _number(value: Any) -> float | None:
    return None if pd.isna(value) else round(float(value), 6)


def candidate_card(
    result: CandidateResult,
    words: pd.Series,
    people: pd.Series,
    edges: Mapping[str, Any],
    scores: pd.DataFrame,
    specs: Sequence[Described],
    settings: Values,
) -> dict[str, Any]:
    """Describe the stored model for machines.

    Parameters
    ----------
    result : CandidateResult
        Of a training that stored a model.
    words, people : Series
        Class by the reference rater, and participant, of each candidate.
    edges : mapping
        How raters' onsets and ends lie to the detected ones, as plain values, for studies that use the model.
    scores : DataFrame
        From `scores.score_candidates`.
    specs : sequence of Described
        The features.
    settings : mapping of section to mapping of name to value
        All that the model rests on (`upstream.upstream_settings`).

    Returns
    -------
    dict
        Plain values only, for JSON.
    """
    if result.content is None:
        raise ValueError("only a stored model has a card")
    known = words.notna()
    merged = result.merged(words, people)
    pooled = scores[(scores["predictor"] == "classifier") & (scores["scope"] == "pooled")].set_index("trial_type")
    total, swallow = pooled.loc["all"], pooled.loc[TARGET]
    facts = {
        "task": "what moved the throat: swallow, speech, cough, head movement or other, from one candidate at a time",
        "data": {
            "participants": int(people[known].nunique()),
            "response_shapes": list(result.kinds),
            "movements": {str(k): int(n) for k, n in result.learnt[known].value_counts().sort_index().items()},
            "participants_by_class": {
                str(k): int(n) for k, n in people[known].groupby(result.learnt[known]).nunique().sort_index().items()
            },
        },
        "learnt_as_other": {
            str(row["label"]): {"movements": int(row["n"]), "participants": int(row["n_participants"])}
            for row in merged.to_dict("records")
        },
        "scores": {
            **{
                f"{n}{part}": _number(total[f"{n}{part}"]) for n in ("balanced_accuracy", "log_loss") for part in _PARTS
            },
            **{
                f"swallow_{n}{part}": _number(swallow[f"{n}{part}"])
                for n in ("precision", "recall", "f1")
                for part in _PARTS
            },
        },
        "edges": dict(edges),
        "settings": settings,
        "hashes": {
            "settings_hash": hash_words(settings_words(settings)),
            "feature_hash": hash_words("\n".join(f"{s.name} {s.unit} {s.formula}" for s in specs)),
        },
    }
    return make_card(result.models, specs, result.content, facts, _CAUTIONS)


def candidate_card_words(card: Mapping[str, Any]) -> str:
    """Describe the stored model for people, in Markdown."""
    data, scores = card["data"], card["scores"]
    shapes = ", ".join(data["response_shapes"]).replace("_", " ") or "not known"
    lines = CardLines(
        title="swallows and what is taken for them",
        learnt_from=[
            f"- {data['participants']} participants; response shapes it was tested under: {shapes}",
            *(
                f"- {name.replace('_', ' ')}: {n} movements of {data['participants_by_class'][name]} participants"
                for name, n in data["movements"].items()
            ),
            *(
                f"- {name.replace('_', ' ')}: {own['movements']} movements of {own['participants']} participant, "
                "learnt and scored as other: nobody else could be judged by them"
                for name, own in card["learnt_as_other"].items()
            ),
        ],
        how_well=[
            f"- Of movements called swallows, labelled swallow: {score_words(scores, 'swallow_precision')}",
            f"- Of movements labelled swallow, called so: {score_words(scores, 'swallow_recall')}",
            f"- Mean recall of all classes: {score_words(scores, 'balanced_accuracy')}",
            f"- Log loss of swallow or not: {score_words(scores, 'log_loss')}; 0 is perfect, 0.693 knows nothing",
        ],
        beside="Swallows that never stood out from rest are not among these; validation/events.tsv counts them too. "
        "What was called what stands in validation/throat_confusion.tsv.",
        heading="Model",
        models=[
            f"- {entry['family'].replace('_', ' ')} ({entry['setting']}), {len(entry['features'])} features, "
            f"{entry['n_participants']} participants; called a swallow from a probability of "
            f"{card['settings']['classify']['swallow_probability_min']}"
            for _, entry in sorted(card["variants"].items())
        ],
    )
    return card_text(card, lines)
