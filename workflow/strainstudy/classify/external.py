"""Models of another study: the folder that the setting ``model`` names, read and checked before it is used.

In: a ``model/`` folder of an earlier run. Out: its models for gait and swallows, or every reason why it cannot serve.
"""

from __future__ import annotations

import zipfile
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

from ..errors import Problem, StudyError
from ..features.spec import FeatureSpec
from .card import CARD_NAME, MODEL_NAME, check_card, read_card
from .fitting import Fitted
from .store import load_models

__all__ = ["SWALLOW_MODEL", "External", "read_external"]

SWALLOW_MODEL = "swallow.skops"
_PICKLES = (".pkl", ".pickle", ".joblib")
_WHOLE = "give the model/ folder of a strainstudy run, whole"
_DAMAGE = (KeyError, TypeError, ValueError, AttributeError, IndexError, EOFError, zipfile.BadZipFile)


@dataclass(frozen=True)
class External:
    """Models of another study, checked.

    Parameters
    ----------
    states, swallows : mapping of variant to Fitted, or None
        None where that study had none.
    """

    states: Mapping[str, Fitted] | None
    swallows: Mapping[str, Fitted] | None


def _refuse(file: Path, message: str, remedy: str = _WHOLE) -> StudyError:
    return StudyError([Problem(str(file), message, remedy, column="model")])


def _content(path: Path) -> bytes:
    try:
        return path.read_bytes()
    except OSError as error:
        raise _refuse(path, f"cannot be read ({error.strerror})") from None


def _states(folder: Path, specs: Sequence[FeatureSpec]) -> Mapping[str, Fitted]:
    model, card_file = folder / MODEL_NAME, folder / CARD_NAME
    content = _content(model)
    states = load_models(content, str(model))
    card = read_card(_content(card_file).decode("utf-8"), str(card_file))
    check_card(card, states, specs, content, str(card_file))
    return states


def _swallows(folder: Path, names: Sequence[str]) -> Mapping[str, Fitted]:
    file = folder / SWALLOW_MODEL
    swallows = load_models(_content(file), str(file))
    unknown = sorted({column for model in swallows.values() for column in model.columns} - set(names))
    if unknown:
        raise _refuse(file, f"needs features that this version does not have: {', '.join(unknown)}", "train it again")
    return swallows


def _nothing(folder: Path) -> StudyError:
    if not folder.is_dir():
        return _refuse(folder, "there is no such folder", "name the model/ folder of a strainstudy run, or null")
    pickles = sorted(path.name for path in folder.iterdir() if path.suffix.lower() in _PICKLES)
    if pickles:
        return _refuse(folder / pickles[0], "is a pickle, which can run any code when it is opened")
    if (folder / CARD_NAME).is_file():
        return _refuse(folder, "the run it comes from trained no model", "name the model/ folder of another run")
    return _refuse(folder, f"holds neither {MODEL_NAME} nor {SWALLOW_MODEL}")


def read_external(folder: Path, gait: Sequence[FeatureSpec], swallow: Sequence[str]) -> External:
    """Read and check the model folder of another study.

    Parameters
    ----------
    folder : Path
        ``model/`` of its results.
    gait : sequence of FeatureSpec
        Gait features that this version makes.
    swallow : sequence of str
        Names of the swallow features that this version makes.

    Returns
    -------
    External

    Raises
    ------
    StudyError
        If it is no such folder, if a file cannot be trusted or is damaged, or if a model does not fit this version's
        features.
    """
    has_states, has_swallows = ((folder / name).is_file() for name in (MODEL_NAME, SWALLOW_MODEL))
    if not has_states and not has_swallows:
        raise _nothing(folder)
    try:
        return External(
            _states(folder, gait) if has_states else None, _swallows(folder, swallow) if has_swallows else None
        )
    except _DAMAGE as error:
        raise _refuse(folder, f"is damaged ({type(error).__name__}: {error})") from error
