"""SHA-256 of every input and output of a run: what a later run is compared with.

In: files and the folders their names are relative to. Out: the rows of ``provenance/manifest.tsv``.
"""

from __future__ import annotations

import hashlib
from collections.abc import Iterable
from pathlib import Path

import pandas as pd

from ..tables.spec import TableSpec, count, text

__all__ = ["MANIFEST", "list_files", "sha256_of"]

MANIFEST = TableSpec(
    path="provenance/manifest.tsv",
    title="Manifest",
    description="SHA-256 and size of every file that went into the run and came out of it.",
    columns=(
        text("role", "Role", "input, setting, model (of a model from elsewhere) or output."),
        text(
            "file",
            "File",
            "Path relative to the folder of the study (input), of the results (output), or above the model's (model).",
        ),
        count("bytes", "Size", "Size of the file.", "B"),
        text("sha256", "SHA-256", "Hexadecimal SHA-256 of the file's content."),
    ),
    key=("role", "file"),
)


def sha256_of(path: Path) -> str:
    """Hash a file's content without holding it in memory."""
    with path.open("rb") as file:
        return hashlib.file_digest(file, "sha256").hexdigest()


def list_files(role: str, root: Path, paths: Iterable[Path]) -> pd.DataFrame:
    """Describe files by role, name relative to ``root``, size and hash.

    Parameters
    ----------
    role : str
        ``input``, ``setting``, ``model`` or ``output``.
    root : Path
        Folder the names are relative to.
    paths : iterable of Path
        The files, all below ``root``.

    Returns
    -------
    DataFrame
        Columns of `MANIFEST`.
    """
    rows = [(role, path.relative_to(root).as_posix(), path.stat().st_size, sha256_of(path)) for path in sorted(paths)]
    return pd.DataFrame(rows, columns=list(MANIFEST.names))
