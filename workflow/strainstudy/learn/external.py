"""Models of another study: the folder that the setting ``model`` names, read and checked before it is used.

In: a ``model/`` folder of an earlier run. Out: its models for gait and swallows, or every reason why it cannot serve.
"""

from __future__ import annotations

import json
import zipfile
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from ..errors import Problem, StudyError
from ..upstream import Values, difference_words
from .card import CARD_NAME, MODEL_NAME, NO_MODEL, Described, check_card, read_card
from .fitting import PersonClassifier
from .names import SWALLOW_CARD, SWALLOW_MODEL
from .store import load_models

__all__ = ["External", "kinds_of", "read_external"]

_PICKLES = (".pkl", ".pickle", ".joblib")
_WHOLE = "give the model/ folder of a strainstudy run, whole"
_DAMAGE = (KeyError, TypeError, ValueError, AttributeError, IndexError, EOFError, zipfile.BadZipFile)


@dataclass(frozen=True)
class External:
    """Models of another study, checked.

    Parameters
    ----------
    states, swallows : mapping of variant to PersonClassifier, or None
        None where that study had none.
    response_shapes : tuple of str
        Under which the swallow model was tested; empty without one.
    edges : mapping
        How its raters' onsets and ends lie to the detected ones; empty without one.
    states_caution, swallows_caution : str or None
        In which settings, of its training and of the stages before, that study differs from this one.
    """

    states: Mapping[str, PersonClassifier] | None
    swallows: Mapping[str, PersonClassifier] | None
    response_shapes: tuple[str, ...] = ()
    edges: Mapping[str, Any] = field(default_factory=dict)
    states_caution: str | None = None
    swallows_caution: str | None = None


def _refuse(file: Path, message: str, remedy: str = _WHOLE) -> StudyError:
    return StudyError([Problem(str(file), message, remedy, column="model")])


def _content(path: Path) -> bytes:
    try:
        return path.read_bytes()
    except OSError as error:
        raise _refuse(path, f"cannot be read ({error.strerror})") from None


def _checked(
    folder: Path, model_name: str, card_name: str, specs: Sequence[Described]
) -> tuple[Mapping[str, PersonClassifier], dict[str, Any]]:
    model, card_file = folder / model_name, folder / card_name
    content = _content(model)
    models = load_models(content, str(model))
    card = read_card(_content(card_file).decode("utf-8"), str(card_file))
    check_card(card, models, specs, content, str(card_file), model_name=model_name)
    return models, card


def _nothing(folder: Path) -> StudyError:
    if not folder.is_dir():
        return _refuse(folder, "there is no such folder", "name the model/ folder of a strainstudy run, or null")
    pickles = sorted(path.name for path in folder.iterdir() if path.suffix.lower() in _PICKLES)
    if pickles:
        return _refuse(folder / pickles[0], "is a pickle, which can run any code when it is opened")
    if (folder / CARD_NAME).is_file():
        return _refuse(folder, "the run it comes from trained no model", "name the model/ folder of another run")
    return _refuse(folder, f"holds neither {MODEL_NAME} nor {SWALLOW_MODEL}")


def _without_gait(folder: Path) -> None:
    """Refuse a folder without a gait model unless its card says that none was trained."""
    card = folder / CARD_NAME
    if not card.is_file():
        raise _refuse(folder / MODEL_NAME, f"is missing, and so is {CARD_NAME}, which would say why")
    try:
        trained = json.loads(_content(card)).get("card") != NO_MODEL
    except (ValueError, AttributeError) as error:
        raise _refuse(card, f"is damaged ({type(error).__name__}: {error})") from None
    if trained:
        raise _refuse(folder / MODEL_NAME, f"is missing beside its card {CARD_NAME}")


def kinds_of(folder: Path) -> tuple[bool, bool]:
    """Say whether a model folder has a model of gait, and one of swallows."""
    return (folder / MODEL_NAME).is_file(), (folder / SWALLOW_MODEL).is_file()


def _doubt(card: Mapping[str, Any], settings: Mapping[str, Values] | None, subject: str) -> str | None:
    return None if settings is None else difference_words(card.get("settings"), settings[subject])


def read_external(
    folder: Path,
    gait: Sequence[Described],
    swallow: Sequence[Described],
    settings: Mapping[str, Values] | None = None,
) -> External:
    """Read and check the model folder of another study.

    Parameters
    ----------
    folder : Path
        ``model/`` of its results.
    gait, swallow : sequence of Described
        Features of gait and of throat movements that this version makes.
    settings : mapping of subject to mapping, optional
        What this study's models rest on, for ``gait`` and ``swallow`` (`upstream.upstream_settings`); without it
        nothing is compared.

    Returns
    -------
    External

    Raises
    ------
    StudyError
        If it is no such folder, if a file cannot be trusted or is damaged, or if a model does not fit this version's
        features.
    """
    has_states, has_swallows = kinds_of(folder)
    if not has_states and not has_swallows:
        raise _nothing(folder)
    if not has_swallows and (folder / SWALLOW_CARD).is_file():
        raise _refuse(folder / SWALLOW_MODEL, f"is missing beside its card {SWALLOW_CARD}")
    if not has_states:
        _without_gait(folder)
    try:
        states, doubt = None, None
        if has_states:
            states, card = _checked(folder, MODEL_NAME, CARD_NAME, gait)
            doubt = _doubt(card, settings, "gait")
        if not has_swallows:
            return External(states, None, states_caution=doubt)
        swallows, card = _checked(folder, SWALLOW_MODEL, SWALLOW_CARD, swallow)
        shapes, edges = card["data"]["response_shapes"], card["edges"]
        if not isinstance(shapes, list) or not isinstance(edges, dict):
            raise TypeError("response_shapes is no list, or edges no mapping")
        if edges and not {"centre", "scale", "onset", "end", "count"} <= set(edges):
            raise ValueError("edges lacks a part")
        apart = _doubt(card, settings, "swallow")
        return External(states, swallows, tuple(map(str, shapes)), edges, doubt, apart)
    except _DAMAGE as error:
        raise _refuse(folder, f"is damaged ({type(error).__name__}: {error})") from error
