"""The files a study folder must hold or may hold: raw files named in the sheet, label files found on disk.

In: the study folder and the rows of ``recordings.tsv``. Out: paths that lie inside the folder, and a
`Problem` for every one that does not, is not there, or cannot be what its name says.
"""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from pathlib import Path, PurePosixPath, PureWindowsPath

from ..errors import Problem
from ..io.labels import LABEL_SUFFIX
from ..io.places import fault_of
from ..io.readers.suffixes import FORMATS, file_format
from .links import Row
from .rules import IDENTIFIER, RECORDINGS

__all__ = ["LABELS", "label_files", "raw_file_problems"]

LABELS = "labels"
_PASSED_OVER = (".json", ".md")


def _path_fault(root: Path, file: str) -> tuple[str, str] | None:
    """Say what is wrong with a raw file's path, or nothing."""
    inside = "copy the file into the study folder and give its path from there"
    if PurePosixPath(file).is_absolute() or PureWindowsPath(file).is_absolute() or PureWindowsPath(file).drive:
        return "an absolute path", inside
    if "\\" in file:
        return "a path with backslashes", "write it with forward slashes"
    if ".." in PurePosixPath(file).parts:
        return "a path that leaves the study folder", inside
    if not file.isprintable():
        return "a path with a character that cannot be seen", "rename the file, or correct the cell"
    if set(file) & set("{}*?"):
        return "a path with braces, * or ?, which stand for patterns", "rename the file"
    path = root / file
    fault = fault_of(path)
    if fault is not None:
        return fault, "rename the file, or put it in its place"
    if file_format(path) is None:
        return "no reader for this kind of file", f"export it as one of: {', '.join(FORMATS)}"
    if not path.resolve().is_relative_to(root.resolve()):
        return "a link that leads out of the study folder", inside
    if not path.exists():
        near = sorted(p.name for p in path.parent.iterdir()) if path.parent.is_dir() else []
        same = [name for name in near if name.lower() == path.name.lower()]
        hint = f" ({same[0]!r} is there: capitals count)" if same else ""
        return f"the file is not there{hint}", "correct the path, or put the file in its place"
    if not path.is_file():
        return "not a file", "give the path of the raw file itself"
    return None


def raw_file_problems(root: Path, recordings: Sequence[Row]) -> list[Problem]:
    """Find every raw file of ``recordings.tsv`` that cannot be used, row by row."""
    problems = []
    first: dict[tuple[str, str], Row] = {}
    for row in recordings:
        file = row["file"]
        if file is None:
            continue
        fault = _path_fault(root, file)
        earlier = first.setdefault((str(PurePosixPath(file)), row.text("task")), row)
        if fault is None and earlier is not row:
            message = f"the file of recording {earlier['recording_id']} too (row {earlier.number})"
            fault = (f"{message}, with the same task", "give each recording its own file")
        if fault is not None:
            problems.append(Problem(RECORDINGS.file, *fault, row=row.number, column="file", value=file))
    return problems


def _entries(folder: Path, name: str, problems: list[Problem]) -> list[Path]:
    """List a folder in order; one that is closed to the user is a problem."""
    try:
        return sorted(folder.iterdir())
    except OSError as error:
        problems.append(
            Problem(name, f"the folder cannot be opened ({error.strerror})", "have its permissions changed")
        )
        return []


def label_files(root: Path, recordings: Sequence[str]) -> tuple[Mapping[str, Mapping[str, Path]], list[Problem]]:
    """Find the hand labels of a study.

    Parameters
    ----------
    root : Path
        Study folder.
    recordings : sequence of str
        Known recording ids.

    Returns
    -------
    mapping of str to mapping of str to Path
        Recording id to rater to file, for known recordings.
    list of Problem
        Folders and files in ``labels/`` whose names mean nothing. Hidden files, ``.json`` sidecars and
        ``.md`` notes are passed over.
    """
    folder = root / LABELS
    found: dict[str, dict[str, Path]] = {}
    problems: list[Problem] = []
    fault = fault_of(folder) or ("a link that leads nowhere" if folder.is_symlink() and not folder.exists() else None)
    if fault is not None:
        return found, [Problem(LABELS, fault, "make it a folder with one folder per recording")]
    if not folder.exists():
        return found, problems
    if not folder.is_dir():
        return found, [Problem(LABELS, "not a folder", "make it a folder with one folder per recording")]
    known = set(recordings)
    here = root.resolve()
    for entry in _entries(folder, LABELS, problems):
        name = f"{LABELS}/{entry.name}"
        if entry.name.startswith(".") or entry.suffix.lower() in _PASSED_OVER:
            continue
        if not entry.is_dir():
            remedy = f"put it in {LABELS}/<recording_id>/"
            problems.append(Problem(name, "a file that is in no recording's folder", remedy))
        elif entry.name not in known:
            remedy = f"name the folder as the recording_id in {RECORDINGS.file}, or add the recording there"
            problems.append(Problem(name, "labels for an unknown recording", remedy))
        else:
            found[entry.name] = {}
            for file in _entries(entry, name, problems):
                if file.name.startswith(".") or file.suffix.lower() in _PASSED_OVER:
                    continue
                rater = file.name.removesuffix(LABEL_SUFFIX)
                if not file.name.endswith(LABEL_SUFFIX) or re.fullmatch(IDENTIFIER, rater, re.ASCII) is None:
                    message = f"not the name of a label file, <rater>{LABEL_SUFFIX}"
                    remedy = "rename it; the rater is written with letters, digits, '-' and '_'"
                    problems.append(Problem(f"{name}/{file.name}", message, remedy))
                elif (fault := fault_of(file)) is not None:
                    problems.append(Problem(f"{name}/{file.name}", fault, "put the file in its place"))
                elif not file.resolve().is_relative_to(here):
                    remedy = "copy the file into the study folder"
                    problems.append(Problem(f"{name}/{file.name}", "a link that leads out of the study folder", remedy))
                else:
                    found[entry.name][rater] = file
    return found, problems
