"""Models of another study: the folder that the setting ``model`` names, read and checked before it is used.

In: a ``model/`` folder of an earlier run, and what each task stores there. Out: its models, or every reason why it
cannot serve.
"""

from __future__ import annotations

import json
import zipfile
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from ..errors import Problem, StudyError
from ..upstream import Values, difference_words
from .card import Described, check_card, read_card
from .fitting import PersonClassifier
from .model_files import NO_MODEL, ModelFiles
from .model_store import load_models

__all__ = ["Given", "Stored", "read_external"]

_PICKLES = (".pkl", ".pickle", ".joblib")
_WHOLE = "give the model/ folder of a strainstudy run, whole"
_DAMAGE = (KeyError, TypeError, ValueError, AttributeError, IndexError, EOFError, zipfile.BadZipFile)


def _anything(card: Mapping[str, Any]) -> None:
    """Ask nothing more of a card."""
    del card


@dataclass(frozen=True)
class Stored:
    """How a task stores its model.

    Parameters
    ----------
    files : ModelFiles
    specs : sequence of Described
        Features that this version makes.
    check : callable
        Told the card; raises `KeyError`, `TypeError` or `ValueError` where it lacks what the task needs of it.
    """

    files: ModelFiles
    specs: Sequence[Described]
    check: Callable[[Mapping[str, Any]], None] = _anything


@dataclass(frozen=True)
class Given:
    """A model of another study, checked.

    Parameters
    ----------
    models : mapping of variant to PersonClassifier
    card : mapping
        Its card.
    caution : str or None
        In which settings, of its training and of the stages before, that study differs from this one.
    """

    models: Mapping[str, PersonClassifier]
    card: Mapping[str, Any]
    caution: str | None = None


def _refuse(file: Path, message: str, remedy: str = _WHOLE) -> StudyError:
    return StudyError([Problem(str(file), message, remedy, column="model")])


def _content(path: Path) -> bytes:
    try:
        return path.read_bytes()
    except OSError as error:
        raise _refuse(path, f"cannot be read ({error.strerror})") from None


def _given(folder: Path, stored: Stored, settings: Values | None) -> Given:
    """Read and check the model of one task."""
    model, card_file = folder / stored.files.model, folder / stored.files.card
    content = _content(model)
    models = load_models(content, str(model))
    card = read_card(_content(card_file).decode("utf-8"), str(card_file))
    check_card(card, models, stored.specs, content, str(card_file), stored.files.model)
    stored.check(card)
    return Given(models, card, None if settings is None else difference_words(card.get("settings"), settings))


def _nothing(folder: Path, tasks: Sequence[Stored]) -> StudyError:
    """Say what a folder without any model is."""
    if not folder.is_dir():
        return _refuse(folder, "there is no such folder", "name the model/ folder of a strainstudy run, or null")
    pickles = sorted(path.name for path in folder.iterdir() if path.suffix.lower() in _PICKLES)
    if pickles:
        return _refuse(folder / pickles[0], "is a pickle, which can run any code when it is opened")
    if any(task.files.always_carded and (folder / task.files.card).is_file() for task in tasks):
        return _refuse(folder, "the run it comes from trained no model", "name the model/ folder of another run")
    return _refuse(folder, f"holds neither {' nor '.join(task.files.model for task in tasks)}")


def _without(folder: Path, files: ModelFiles) -> None:
    """Refuse a folder without the model of a task unless none was trained, which a card says if there always is one."""
    card, model = folder / files.card, folder / files.model
    if not card.is_file():
        if files.always_carded:
            raise _refuse(model, f"is missing, and so is {files.card}, which would say why")
        return
    try:
        trained = not files.always_carded or json.loads(_content(card)).get("card") != NO_MODEL
    except (ValueError, AttributeError) as error:
        raise _refuse(card, f"is damaged ({type(error).__name__}: {error})") from None
    if trained:
        raise _refuse(model, f"is missing beside its card {files.card}")


def read_external(
    folder: Path, tasks: Mapping[str, Stored], settings: Mapping[str, Values] | None = None
) -> dict[str, Given]:
    """Read and check the model folder of another study.

    Parameters
    ----------
    folder : Path
        ``model/`` of its results.
    tasks : mapping of task to Stored
        What may be there.
    settings : mapping of task to mapping, optional
        What this study's models rest on (`upstream.upstream_settings`); without it nothing is compared.

    Returns
    -------
    dict of task to Given
        The tasks that the other study had a model for.

    Raises
    ------
    StudyError
        If it is no such folder, if a file cannot be trusted or is damaged, or if a model does not fit this version's
        features.
    """
    there = {name: (folder / task.files.model).is_file() for name, task in tasks.items()}
    if not any(there.values()):
        raise _nothing(folder, list(tasks.values()))
    for name, task in tasks.items():
        if not there[name]:
            _without(folder, task.files)
    try:
        return {
            name: _given(folder, task, None if settings is None else settings[name])
            for name, task in tasks.items()
            if there[name]
        }
    except _DAMAGE as error:
        raise _refuse(folder, f"is damaged ({type(error).__name__}: {error})") from error
