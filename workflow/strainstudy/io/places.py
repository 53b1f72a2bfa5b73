"""Where files lie: links followed, and two spellings of one place taken as one where the file system does so.

In: paths. Out: whether one lies in another; why the system cannot reach one. Opens and writes nothing.
"""

from __future__ import annotations

import errno
import os
from collections.abc import Iterable
from pathlib import Path

__all__ = ["fault_of", "lies_in", "places_of"]

_ABSENT = (errno.ENOENT, errno.ENOTDIR)
_WORDS = {
    errno.ELOOP: "a link that leads back to itself",
    errno.ENAMETOOLONG: "a path that is too long for the file system",
    errno.EACCES: "a path that may not be looked into",
}


def fault_of(path: Path) -> str | None:
    """Say why the system cannot look at a path; None if it can, or if nothing is there."""
    try:
        path.stat()
    except ValueError:
        return "a path with a null character"
    except OSError as error:
        return None if error.errno in _ABSENT else _WORDS.get(error.errno or 0, error.strerror or "cannot be reached")
    return None


def _identity(path: Path) -> object:
    try:
        status = path.stat()
    except OSError:
        return path
    return status.st_dev, status.st_ino


def lies_in(path: Path, folder: Path) -> bool:
    """Say whether a path is a folder or lies in it, whatever the links and spellings that lead there."""
    wanted, here = _identity(Path(os.path.realpath(folder))), Path(os.path.realpath(path))
    return any(_identity(place) == wanted for place in (here, *here.parents))


def places_of(files: Iterable[Path]) -> dict[Path, Path]:
    """Give the folders that files lie in, with one file of each; of a link its own folder and that of its target."""
    found: dict[Path, Path] = {}
    for file in files:
        found.setdefault(Path(os.path.realpath(file.parent)), file)
        found.setdefault(Path(os.path.realpath(file)).parent, file)
    return found
