"""What a stored model is, for people and for machines, and whether it fits what it is asked to do.

In: trained models, the feature specifications, scores. Out: ``card.json`` and ``card.md`` beside the model. Before a
model of another study is used its card is checked: format, features with their units and formulas, the hash of the
model file, and a few worked examples that the model must still answer as it did, whatever version of scikit-learn
reads it.
"""

from __future__ import annotations

import hashlib
import json
import math
from collections.abc import Mapping, Sequence
from typing import Any, Protocol

import numpy as np
import sklearn

from ..errors import Problem, StudyError
from .fitting import PersonClassifier
from .model_store import MODEL_FORMAT

__all__ = ["Described", "check_card", "make_card", "read_card", "write_card"]

_TOLERANCE = 1e-6
"""How far what a loaded model gives may lie from the examples in its card: a thousand times their rounding (ours)."""
_DIGITS = 9
"""Decimals of numbers in a card (ours)."""


class Described(Protocol):
    """A feature as far as a card goes."""

    @property
    def name(self) -> str:
        """Column name."""

    @property
    def unit(self) -> str | None:
        """Unit as printed."""

    @property
    def group(self) -> str:
        """What it belongs to."""

    @property
    def formula(self) -> str:
        """How it is worked out, in words."""


def _number(value: float) -> float | None:
    return round(float(value), _DIGITS) if math.isfinite(value) else None


def _examples(model: PersonClassifier) -> dict[str, Any]:
    """Three inputs across the training range with the answers of this model."""
    x = np.stack([model.low_ + share * (model.high_ - model.low_) for share in (0.25, 0.5, 0.75)]).round(_DIGITS)
    return {"x": x.tolist(), "probabilities": model.predict_proba(x).round(_DIGITS).tolist()}


def make_card(
    models: Mapping[str, PersonClassifier],
    specs: Sequence[Described],
    model_bytes: bytes,
    facts: Mapping[str, Any],
    cautions: Sequence[str],
) -> dict[str, Any]:
    """Describe a model for machines.

    Parameters
    ----------
    models : mapping of variant to PersonClassifier
        What is stored.
    specs : sequence of Described
        Features that may enter.
    model_bytes : bytes
        The stored file.
    facts : mapping
        ``task``, ``data``, ``people``, ``scores``, ``settings``, ``hashes``: what the training says about itself.
    cautions : sequence of str
        What it must not be used for.

    Returns
    -------
    dict
        Plain values only, for JSON.
    """
    known = {s.name: s for s in specs}
    used = sorted({c for m in models.values() for c in m.columns})
    return {
        "card": "strainstudy model",
        "model_format": MODEL_FORMAT,
        "model_sha256": hashlib.sha256(model_bytes).hexdigest(),
        "scikit_learn": sklearn.__version__,
        "features": {
            name: {"unit": known[name].unit, "group": known[name].group, "formula": known[name].formula}
            for name in used
        },
        "variants": {
            name: {
                "features": list(m.columns),
                "classes": list(m.task.classes),
                "family": str(m.choice_.loc[m.choice_["chosen"], "family"].iloc[0]),
                "setting": str(m.choice_.loc[m.choice_["chosen"], "setting"].iloc[0]),
                "n_participants": len(m.people_),
                "training_range": {
                    c: [_number(a), _number(b)] for c, a, b in zip(m.columns, m.low_, m.high_, strict=True)
                },
                "examples": _examples(m),
            }
            for name, m in sorted(models.items())
        },
        "cautions": list(cautions),
        **facts,
    }


def write_card(card: Mapping[str, Any]) -> str:
    """Write the card as JSON text with a fixed order of keys."""
    return json.dumps(card, indent=2, sort_keys=True, ensure_ascii=False, allow_nan=False) + "\n"


def read_card(text: str, file: str) -> dict[str, Any]:
    """Read a card.

    Raises
    ------
    StudyError
        Where the text is not a card.
    """
    try:
        card = json.loads(text)
    except json.JSONDecodeError as error:
        problem = Problem(file, f"is not JSON ({error.msg})", "copy the whole model/ folder", row=error.lineno)
        raise StudyError([problem]) from error
    if not isinstance(card, dict) or card.get("card") != "strainstudy model" or "variants" not in card:
        raise StudyError([Problem(file, "is not the card of a strainstudy model", "copy the whole model/ folder")])
    return card


def check_card(
    card: Mapping[str, Any],
    models: Mapping[str, PersonClassifier],
    specs: Sequence[Described],
    model_bytes: bytes,
    file: str,
    model_name: str,
) -> None:
    """Refuse a model that does not fit this version's features or no longer answers as it did.

    Raises
    ------
    StudyError
        With every disagreement.
    """
    problems = []
    if card.get("model_sha256") != hashlib.sha256(model_bytes).hexdigest():
        problems.append(
            Problem(file, f"{model_name} is not the file this card describes", "copy the whole model/ folder together")
        )
    known = {s.name: s for s in specs}
    for name, entry in sorted(card.get("features", {}).items()):
        if name not in known:
            problems.append(
                Problem(file, "the model needs a feature that this version does not have", "train it again", value=name)
            )
            continue
        for word, ours in (("unit", known[name].unit), ("formula", known[name].formula)):
            if entry.get(word) != ours:
                problems.append(
                    Problem(
                        file,
                        f"the model takes {name} with {word} {entry.get(word)!r}, this version has {ours!r}",
                        "train it again",
                        column=name,
                    )
                )
    for name, model in sorted(models.items()):
        example = card["variants"].get(name, {}).get("examples")
        if example is None:
            problems.append(Problem(file, "the card has no worked examples of a model", "train it again", value=name))
            continue
        given = model.predict_proba(np.array(example["x"], dtype=float))
        if not np.allclose(given, np.array(example["probabilities"]), atol=_TOLERANCE, rtol=0):
            problems.append(
                Problem(
                    file,
                    f"the model does not answer its worked examples as it did (made with scikit-learn "
                    f"{card.get('scikit_learn')}, read with {sklearn.__version__})",
                    "train it again, or install the version of scikit-learn that it was made with",
                    value=name,
                )
            )
    if problems:
        raise StudyError(problems)
