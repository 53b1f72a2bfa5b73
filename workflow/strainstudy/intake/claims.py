"""Whether a results folder is ours to write into, and each file that a run is about to write.

In: the results folder, its marker and ledger, the names of all files that a run may write. Out: problems. A folder
without our marker that holds any file is somebody's own, and so is a file that the ledger does not name.
"""

from __future__ import annotations

import os
import shlex
import sys
from collections.abc import Collection, Iterable, Sequence
from pathlib import Path, PurePosixPath

from ..errors import Problem
from ..io.bids import DESCRIPTION
from ..io.ledger import FORMAT, LEDGER, MARKER, Marker, read_ledger, read_marker
from ..io.places import fault_of, lies_in, places_of
from .bids import is_bids
from .folders import results_of
from .rules import RECORDINGS

__all__ = ["folder_problems", "planned_problems"]

_OF_THE_SYSTEM = (".DS_Store", "Thumbs.db")
_EARLIER = "provenance/manifest.tsv"
_MOST_SAID = 10
"""Files of one kind that are named one by one; of more only the number is given (ours)."""
_FOREIGN = "a file of yours stands where this run writes one"
_NAME_BYTES = 255
"""Longest name of a file, bytes: that of common file systems (NAME_MAX of Linux)."""
_PART_BYTES = len("..4194304.part")


def _taking_over(results: Path) -> str:
    """Give the command that makes a folder ours."""
    return f"{sys.executable} -m strainstudy.provenance.adopt {shlex.quote(os.path.realpath(results))}"


def _first_file(folder: Path) -> str | None:
    """Name any file below a folder, or a folder that cannot be looked into; what a stopped start left is none."""
    if not folder.exists():
        return None
    unreadable: list[OSError] = []
    for here, folders, files in os.walk(folder, onerror=unreadable.append):
        for path in sorted(Path(here) / name for name in [*files, *folders]):
            of_nobody = path.name in _OF_THE_SYSTEM or path.name.startswith(f".{MARKER}.")
            if not of_nobody and (path.is_symlink() or not path.is_dir()):
                return path.relative_to(folder).as_posix()
    return str(unreadable[0].filename) if unreadable else None


def _marked(results: Path, marker: Marker, study: Path) -> tuple[str, str] | None:
    if marker.format > FORMAT:
        return "was written by a later version of strainstudy", "update it, or name another folder"
    if marker.study is None:
        return None
    other = Path(os.path.realpath(results)) / marker.study
    if fault_of(other / RECORDINGS.file) is not None:
        return None
    sheet = other / (DESCRIPTION if is_bids(other) else RECORDINGS.file)
    same = lies_in(other, study) and lies_in(study, other)
    if same or not sheet.is_file():
        return None
    message = f"holds the results of another study, {os.path.realpath(other)}, which is still there"
    return message, f"name another folder; if they shall give way to this study's, remove the line study from {MARKER}"


def folder_problems(results: str, study: str, file: str) -> list[Problem]:
    """Find out whether a results folder is ours, new or empty.

    Parameters
    ----------
    results, study : str
        The settings, without a fault of their own.
    file : str
        Name of the config files for the messages.

    Returns
    -------
    list of Problem
        One at most.
    """
    folder = results_of(results)
    marker = read_marker(folder)
    if marker is not None:
        fault = _marked(folder, marker, Path(study))
    else:
        held = _first_file(folder)
        if held is None:
            return []
        fault = (f"a folder that strainstudy did not make and that is not empty ({held})", "name another folder")
        if (folder / _EARLIER).is_file():
            message = f"results of an earlier version of strainstudy, without {MARKER}"
            fault = (message, f"name another folder, or let this version take them over: {_taking_over(folder)}")
    return [] if fault is None else [Problem(file, *fault, column="results", value=results)]


def _folder_faults(results: Path, planned: Iterable[str]) -> Iterable[tuple[str, str, str]]:
    """Go through the folders that planned files lie in: no file may stand there, no link lead nowhere."""
    folders = {name.rpartition("/")[0] for name in planned}
    above = {str(place) for name in folders for place in (PurePosixPath(name), *PurePosixPath(name).parents)} - {"."}
    for name in sorted(above):
        path = results / name
        if path.is_symlink() and not path.exists():
            yield name, "a link that leads nowhere stands where a folder is needed", "remove it"
        elif path.exists() and not path.is_dir():
            yield name, "a file stands where a folder is needed", "move it elsewhere"
        elif path.is_dir() and not os.access(path, os.W_OK | os.X_OK):
            yield name, "the folder may not be written to", "have its permissions changed"


def _read_there(results: Path, planned: Iterable[str], inputs: Iterable[Path]) -> Iterable[tuple[str, str, str]]:
    """Find folders of the results that are links to where the run reads."""
    places = places_of(inputs)
    for name in sorted({name.rpartition("/")[0] or "." for name in planned}):
        if lies_in(results / name, results):
            continue
        for place, one in places.items():
            if lies_in(place, results / name):
                yield name, f"is a link to where {one} lies, which this run reads", "remove the link"
                break


def planned_problems(
    results: Path, planned: Collection[str], inputs: Iterable[Path], known: Sequence[str] = ()
) -> list[Problem]:
    """Find what stands in the way of the files that a run is about to write.

    Parameters
    ----------
    results : Path
        Results folder, ours, new or empty.
    planned : collection of str
        Every file that the run may write, relative to ``results``.
    inputs : iterable of Path
        Every file that it reads.
    known : sequence of str, optional
        Names that count as ours beside those of the ledger.

    Returns
    -------
    list of Problem
        The first few of each kind; the last says how many more there are.
    """
    ledger = read_ledger(results)
    if ledger.changed:
        message = f"{LEDGER}, by which the files of strainstudy are known, was changed by other hands"
        remedy = f"put it back as it was, name another folder, or have them found anew: {_taking_over(results)}"
        return [Problem(str(results), message, remedy)]
    ours = ledger.names | {*known, MARKER, LEDGER}
    faults = [*_folder_faults(results, planned), *_read_there(results, planned, inputs)]
    for name in [*planned, MARKER, LEDGER]:
        path = results / name
        base = PurePosixPath(name).name
        if len(os.fsencode(base)) + _PART_BYTES > _NAME_BYTES:
            faults.append((name, "a file name that is too long for the file system", "shorten the id in it"))
        elif path.is_dir():
            faults.append((name, "a folder stands where this run writes a file", "move it elsewhere"))
        elif name not in ours and os.path.lexists(path):
            remedy = f"move or rename it; strainstudy overwrites only what {LEDGER} names"
            faults.append((name, _FOREIGN, remedy))
    if any(name not in ours and message == _FOREIGN for name, message, _ in faults) and not (results / LEDGER).exists():
        message = f"{LEDGER} is missing, by which the files of strainstudy are known"
        remedy = f"name another folder, or have them found anew: {_taking_over(results)}"
        return [Problem(str(results), message, remedy)]
    problems = [Problem(str(results / name), message, remedy) for name, message, remedy in faults]
    if len(problems) > _MOST_SAID:
        more = Problem(str(results), f"{len(problems) - _MOST_SAID} more of this kind", "look through the folder")
        problems = [*problems[:_MOST_SAID], more]
    return problems
