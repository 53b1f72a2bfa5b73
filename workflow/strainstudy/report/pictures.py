"""Figures between the jobs that draw them and the page that shows them: words in JSON, images as files beside it."""

from __future__ import annotations

import hashlib
from collections.abc import Iterable
from pathlib import Path
from typing import Any, Final

from ..io.frames import read_json
from .content import Picture

__all__ = ["picture_row", "pictures_in"]

_WORDS: Final = ("name", "title", "caption", "alternative", "first")


def picture_row(picture: Picture) -> dict[str, Any]:
    """Give what is kept of a picture beside its files; the digest of its image tells the page of a new one."""
    image = picture.png if picture.svg is None else picture.svg.encode()
    return {name: getattr(picture, name) for name in _WORDS} | {"sha256": hashlib.sha256(image or b"").hexdigest()}


def pictures_in(made: Iterable[Path], folder: Path) -> dict[str, Picture]:
    """Read what jobs have drawn.

    Parameters
    ----------
    made : iterable of Path
        Lists of `picture_row`.
    folder : Path
        Where their images are.

    Returns
    -------
    dict of str to Picture
        By name, sorted.
    """
    rows = sorted((row for path in made for row in read_json(path)), key=lambda row: row["name"])
    return {
        row["name"]: Picture(**{name: row[name] for name in _WORDS}, png=(folder / f"{row['name']}.png").read_bytes())
        for row in rows
    }
