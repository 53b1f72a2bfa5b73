"""Whose the files of a results folder are: a marker that makes the folder ours, and a ledger of what was written there.

In: a results folder and the names of all files that a run may write below it. Out: the marker `MARKER` and the ledger
`LEDGER`; names of files that no run needs any longer. Nothing is removed that the ledger does not name, and a ledger
that was changed by other hands names nothing: what it says is ours may not be.
"""

from __future__ import annotations

import hashlib
import os
import re
from collections.abc import Collection, Iterable, Iterator
from dataclasses import dataclass, field
from pathlib import Path, PurePosixPath

from .atomic import PART, write_text

__all__ = [
    "FORMAT", "LEDGER", "MARKER", "Ledger", "Marker", "adopt", "begin", "clear", "clear_unfinished", "note",
    "read_ledger", "read_marker", "settle",
]  # fmt: skip

MARKER = "strainstudy-results.txt"
LEDGER = "provenance/ledger.txt"
FORMAT = 1
"""Of marker and ledger; counted up when an older version could not read them."""
_MARKER_HEAD = f"""\
This folder holds results of strainstudy. It writes, overwrites and removes the files that
{LEDGER} names, and no others; do not keep files of your own under those names.
format: {FORMAT}
"""
_LEDGER_HEAD = """\
# The files below this folder that strainstudy wrote or is about to write, one a line: "now" belongs to the study as it
# is, "before" to an earlier state of it; the last job of a run removes the latter. Leave this file as it is: where the
# sum is not that of the lines below, nothing is written or removed.
"""
_SUM = "# sha256 of the lines below: "


@dataclass(frozen=True)
class Marker:
    """What a results folder says of itself: format of the ledger, and the study as seen from the folder."""

    format: int
    study: str | None = None


@dataclass(frozen=True)
class Ledger:
    """Names of files below a results folder: those of the study as it is, and those of an earlier state of it.

    ``changed`` where the ledger is no longer as it was written; it has no names then.
    """

    now: frozenset[str] = field(default=frozenset())
    before: frozenset[str] = field(default=frozenset())
    changed: bool = False

    @property
    def names(self) -> frozenset[str]:
        """All names."""
        return self.now | self.before


def _is_plain(name: str) -> bool:
    """Say whether a name leads to a place below the folder it is relative to."""
    path = PurePosixPath(name)
    return bool(path.parts) and not path.is_absolute() and ".." not in path.parts


def read_marker(results: Path) -> Marker | None:
    """Read the marker of a results folder; None where there is none that can be read."""
    try:
        lines = (results / MARKER).read_text(encoding="utf-8").splitlines()
    except (OSError, UnicodeDecodeError):
        return None
    given = dict(line.split(": ", 1) for line in lines if ": " in line)
    number = given.get("format", "")
    return Marker(int(number), given.get("study")) if re.fullmatch(r"[0-9]{1,9}", number) else None


def _sum_of(lines: Iterable[str]) -> str:
    return _SUM + hashlib.sha256("\n".join(lines).encode()).hexdigest()


def read_ledger(results: Path) -> Ledger:
    """Read the ledger of a results folder; empty where there is none. Names that lead out of it are left out."""
    try:
        lines = (results / LEDGER).read_text(encoding="utf-8").splitlines()
    except UnicodeDecodeError:
        return Ledger(changed=True)
    except OSError:
        return Ledger()
    named = [line for line in lines if not line.startswith("#")]
    if _sum_of(named) not in lines:
        return Ledger(changed=True)
    rows = [line.split("\t", 1) for line in named if "\t" in line]
    now, before = (
        frozenset(name for said, name in rows if said == kind and _is_plain(name)) for kind in ("now", "before")
    )
    return Ledger(now, before)


def _write_ledger(results: Path, ledger: Ledger) -> None:
    lines = [f"now\t{name}" for name in sorted(ledger.now)]
    lines += [f"before\t{name}" for name in sorted(ledger.before - ledger.now)]
    text = _LEDGER_HEAD + "".join(f"{line}\n" for line in (_sum_of(lines), *lines))
    write_text(results / LEDGER, text, lasting=True)


def begin(results: Path, planned: Iterable[str], study: Path) -> None:
    """Make a results folder ours and note what a run may write, before it writes anything else.

    Parameters
    ----------
    results : Path
        Results folder; made if it is not there.
    planned : iterable of str
        Every file that the run may write, relative to ``results``, with forward slashes.
    study : Path
        Study folder, which the marker names as seen from ``results``.
    """
    results.mkdir(parents=True, exist_ok=True)
    old, now = read_ledger(results), frozenset(planned)
    seen = os.path.relpath(os.path.realpath(study), os.path.realpath(results))
    write_text(results / MARKER, f"{_MARKER_HEAD}study: {seen}\n", lasting=True)
    _write_ledger(results, Ledger(now, old.names - now))


def note(results: Path, names: Iterable[str]) -> None:
    """Add names to the ledger of a run that goes on after the job that settled it."""
    ledger = read_ledger(results)
    if not ledger.changed:
        _write_ledger(results, Ledger(ledger.now | frozenset(names), ledger.before))


def adopt(results: Path, names: Iterable[str]) -> None:
    """Make a folder ours whose files of these names an earlier version wrote."""
    _write_ledger(results, Ledger(before=frozenset(names)))
    write_text(results / MARKER, _MARKER_HEAD, lasting=True)


def _parts(results: Path, names: Collection[str]) -> Iterator[Path]:
    """Find unfinished files under the names of the ledger whose writers are gone and which are older than this run."""
    started = (results / LEDGER).stat().st_mtime_ns
    for folder in sorted({results / PurePosixPath(name).parent for name in names}):
        for entry in sorted(folder.glob(".*.part")):
            found = PART.fullmatch(entry.name)
            if found is None or (folder / found["name"]).relative_to(results).as_posix() not in names:
                continue
            if entry.lstat().st_mtime_ns < started and not _runs(int(found["process"])):
                yield entry


def _runs(process: int) -> bool:
    try:
        os.kill(process, 0)
    except (ProcessLookupError, OverflowError):
        return False
    except PermissionError:
        return True
    return True


def clear(results: Path) -> list[str]:
    """Remove what an earlier state of the study left, and unfinished files of runs that were stopped.

    Parameters
    ----------
    results : Path
        Results folder of a run that is through but for its list of files.

    Returns
    -------
    list of str
        Names of the files removed, sorted.
    """
    ledger = read_ledger(results)
    left = [path for path in (results / name for name in ledger.before) if path.is_file() or path.is_symlink()]
    removed = []
    for path in [*left, *_parts(results, ledger.names | {MARKER, LEDGER})]:
        path.unlink(missing_ok=True)
        removed.append(path.relative_to(results).as_posix())
    return sorted(removed)


def clear_unfinished(results: Path) -> None:
    """Remove unfinished files of runs that were stopped, where a run that ends well was asked for a part alone."""
    for path in list(_parts(results, read_ledger(results).names | {MARKER, LEDGER})):
        path.unlink(missing_ok=True)


def settle(results: Path) -> None:
    """Leave in the ledger only files that are there: a name that a run could have used is free for others again."""
    ledger = read_ledger(results)
    if ledger.changed:
        return
    _write_ledger(results, Ledger(_present(results, ledger.now), _present(results, ledger.before)))


def _present(results: Path, names: Collection[str]) -> frozenset[str]:
    """Keep the names of files that are there, by what their folders list.

    A network file system may say for a while that a new file is not there; a folder that is opened is read anew.
    """
    found: set[str] = set()
    for folder in {PurePosixPath(name).parent for name in names}:
        if (results / folder).is_dir():
            found.update((folder / entry.name).as_posix() for entry in os.scandir(results / folder))
    return frozenset(names) & found
