"""Models that come along with the project: their names, where they lie, and what the setting ``model`` means.

In: the setting. Out: the folder of the model that it names, and of the one that stands in where labels teach none.
"""

from __future__ import annotations

from pathlib import Path
from typing import Final, NamedTuple

__all__ = [
    "MODELS",
    "RULE",
    "STANDS_IN",
    "Choice",
    "choose_model",
    "files_of",
    "folders_of",
    "shipped_folder",
    "shipped_names",
]

MODELS: Final = Path(__file__).resolve().parents[2] / "models"
STANDS_IN: Final = "open-walks"
"""The model that decides where the labels of a study teach none."""
RULE: Final = "rule"
"""What the setting ``model`` says where the published rule shall stand in, and no model."""


class Choice(NamedTuple):
    """Folder of the model that decides everything, or of the one that decides only where no labels teach one."""

    named: Path | None
    standby: Path | None


def shipped_names() -> list[str]:
    """Name the models that come along."""
    return sorted(path.name for path in MODELS.iterdir() if path.is_dir())


def shipped_folder(name: str) -> Path | None:
    """Give the folder of a model that comes along; None for another name."""
    return MODELS / name if name in shipped_names() else None


def choose_model(model: str | None) -> Choice:
    """Read the setting ``model``: a name of `shipped_names`, `RULE`, else a folder; nothing means training."""
    if model is None:
        return Choice(None, shipped_folder(STANDS_IN))
    if model == RULE:
        return Choice(None, None)
    return Choice(shipped_folder(model) or Path(model), None)


def folders_of(model: str | None, train_with: str | None) -> list[Path]:
    """List the folders of the models that a run reads, by the settings ``model`` and ``train_with``."""
    company = None if train_with is None else shipped_folder(train_with)
    return sorted({folder for folder in (*choose_model(model), company) if folder is not None})


def files_of(model: str | None, train_with: str | None) -> list[Path]:
    """List the files that a run reads of models, by the settings ``model`` and ``train_with``.

    The recordings that a model which comes along was made from are not read by a run.
    """
    found = {
        path
        for folder in folders_of(model, train_with)
        for path in (folder.iterdir() if folder.parent == MODELS else folder.rglob("*"))
    }
    return sorted(path for path in found if path.is_file())
