"""Names and inheritance of BIDS folders (Brain Imaging Data Structure 1.10, https://bids-specification.readthedocs.io).

In: paths of a BIDS folder. Out: the entities in a file's name, and the sidecars that apply to it: those of its own
folder and of the folders above whose entities it shares, the nearest last ("The Inheritance Principle" there).
"""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any, Final

__all__ = ["DESCRIPTION", "LABELS_PREFIX", "MOTION", "SENSORS_KEY", "entities", "merged_json", "sidecars"]

DESCRIPTION: Final = "dataset_description.json"
MOTION: Final = "_motion.tsv"
SENSORS_KEY: Final = "StrainSensors"
"""Our key of ``motion.json``: each sensor of the recording with its bridge, in the words of ``sensors.tsv``."""
LABELS_PREFIX: Final = "labels-"
"""Folders of ``derivatives/`` that hold the hand labels of one rater."""
_MOST_LEVELS: Final = 4
"""Folders from a recording's own up to that of the data set: motion, session, subject, data set."""


def entities(name: str) -> dict[str, str]:
    """Take the entities out of a file's name, such as ``{"sub": "01", "task": "walk"}``."""
    parts = (part.split("-", 1) for part in name.split(".", 1)[0].split("_") if "-" in part)
    return dict(part for part in parts if len(part) == 2)


def sidecars(path: Path, suffix: str) -> list[Path]:
    """List the files ``*_<suffix>`` that apply to a file, the most general first.

    Parameters
    ----------
    path : Path
        A recording.
    suffix : str
        Such as ``channels.tsv`` or ``motion.json``.
    """
    own = entities(path.name).items()
    found: list[tuple[int, int, Path]] = []
    for level, folder in enumerate([path.parent, *path.parent.parents][:_MOST_LEVELS]):
        for other in folder.glob(f"*{suffix}"):
            named = other.name == suffix or other.name.endswith(f"_{suffix}")
            theirs = entities(other.name).items()
            if named and theirs <= own and other.is_file():
                found.append((-level, len(theirs), other))
        if (folder / DESCRIPTION).is_file():
            break
    return [other for *_, other in sorted(found)]


def merged_json(paths: list[Path]) -> dict[str, Any]:
    """Read JSON sidecars, a later one over those before it.

    Raises
    ------
    ValueError
        For a file that is no JSON object; its text says which.
    """
    merged: dict[str, Any] = {}
    for path in paths:
        try:
            content = json.loads(path.read_text(encoding="utf-8-sig"))
        except ValueError as error:
            raise ValueError(f"{path.name} is not JSON ({error})") from None
        if not isinstance(content, dict):
            raise ValueError(f"{path.name} is not a JSON object")
        merged |= content
    return merged
