"""Raw files to numbers, one module a format; which module reads a file is told by its name alone."""

from __future__ import annotations

from collections.abc import Sequence
from importlib import import_module
from pathlib import Path

from .model import RawChannel, RawFile, ReadError
from .suffixes import FORMATS, file_format

__all__ = ["RawChannel", "RawFile", "ReadError", "read_raw"]


def read_raw(path: Path, columns: Sequence[str] | None = None) -> RawFile:
    """Read a raw file.

    Parameters
    ----------
    path : Path
        The file; its suffix says its format (`suffixes.FORMATS`). The format's module is loaded on first
        use, so that a job pays only for the formats it meets.
    columns : sequence of str, optional
        Columns or channels wanted; all numeric ones if not given. One that is not there is left out of
        ``channels``: compare with ``names``.

    Returns
    -------
    RawFile

    Raises
    ------
    ReadError
        If the file is not there, damaged, or not what its suffix says; the reason is in words.
    """
    form = file_format(path)
    if form is None:
        raise ReadError(f"there is no reader for {path.name!r}; export it as one of: {', '.join(FORMATS)}")
    if not path.is_file():
        raise ReadError("the file is not there")
    if path.stat().st_size == 0:
        raise ReadError("the file is empty")
    read: RawFile = import_module(f".{form}", __name__).read(path, columns)
    return read
