"""What a job says while it works, and what is left when it fails: a log that is never empty, with its counts.

The story of a job goes to its log alone. The terminal belongs to whatever shows the run as a whole, which finds in the
log how far the job is (`read_counts`) and why it failed (`read_failure`); only where nothing shows the run
(`DISPLAY` is not set) does a failing job say so on the terminal itself.
"""

from __future__ import annotations

import contextlib
import errno
import gc
import logging
import os
import re
import sys
import traceback
from collections.abc import Iterator
from concurrent.futures import BrokenExecutor
from contextlib import contextmanager
from copy import copy
from pathlib import Path
from typing import NamedTuple, Self

from .errors import RecordingError, StudyError, counted
from .io.atomic import bring_to_disk
from .io.running import sharing, watch_engine

__all__ = ["DISPLAY", "Counts", "Progress", "job", "read_counts", "read_failure"]

DISPLAY = "STRAINSTUDY_DISPLAY"
"""Environment variable that is set where something shows the run as a whole."""
_COUNTS = re.compile(r"(?P<done>\d+) of (?P<of>\d+) (?P<noun>\w+?)s?(?:, (?P<faults>\d+) faults?)?")
_FAILS = "] fails: "
_TAIL_BYTES = 8192
"""As much of a log's end as is read again and again while the job runs (ours: dozens of lines)."""
_FULL = {errno.ENOSPC, errno.EDQUOT, errno.EFBIG}
# A job imports some hundred modules, none of which is garbage: looking for it after every 700 objects, as Python does
# by default, takes a tenth of the time.
gc.set_threshold(50_000, 20, 20)


class Counts(NamedTuple):
    """How far a job is: done, of how many, of what, how many of those done have a fault, and in which of its stages."""

    done: int
    of: int
    noun: str
    faults: int
    stage: str


class Progress:
    """Lines to the job's log.

    Parameters
    ----------
    log : Path
        The job's log file.
    title : str
        Stage and batch, in front of each line.
    """

    def __init__(self, log: Path, title: str) -> None:
        self._log = log
        self._title = title
        self._faults = 0
        log.parent.mkdir(parents=True, exist_ok=True)
        # A link in its place would lead the log into another file.
        log.unlink(missing_ok=True)
        log.write_text("", encoding="utf-8")

    def of(self, stage: str) -> Self:
        """Speak for one of the stages that a job is made of, into the same log."""
        part = copy(self)
        part._title = " ".join([stage, *self._title.split(" ")[1:]])
        return part

    def say(self, text: str) -> None:
        """Write one line to the log."""
        self.note(f"[{self._title}] {text}")

    def count(self, text: str, done: int, of: int, noun: str = "recording", *, fault: bool = False) -> None:
        """Write a line that says how far the job is, and whether the last one done has a fault."""
        self._faults += fault
        so_far = f", {counted(self._faults, 'fault')}" if self._faults else ""
        self.say(f"{text}; {done} of {counted(of, noun)}{so_far}")

    def fail(self, text: str) -> None:
        """Say why the job ends: in the log, and on the terminal where nothing else will."""
        line = f"[{self._title}{_FAILS}{' '.join(text.split())}"
        try:
            self.note(line)
        except OSError:
            self._write(line)
        else:
            if DISPLAY not in os.environ:
                self._write(line)

    def show(self, text: str) -> None:
        """Write one line to the terminal alone, which no log shall keep."""
        self._write(f"[{self._title}] {text}")

    def _write(self, line: str) -> None:
        sys.stderr.write(f"{line}\n")
        sys.stderr.flush()

    def note(self, text: str) -> None:
        """Write to the log as it stands."""
        with self._log.open("a", encoding="utf-8") as file:
            file.write(text + "\n")


def _tail(log: Path) -> list[str]:
    try:
        with log.open("rb") as file:
            file.seek(max(0, os.fstat(file.fileno()).st_size - _TAIL_BYTES))
            return file.read().decode("utf-8", errors="replace").splitlines()
    except OSError:
        return []


def read_counts(log: Path) -> Counts | None:
    """Find in a job's log how far it is; None where it has not said so."""
    for line in reversed(_tail(log)):
        found = _COUNTS.fullmatch(line.rpartition("; ")[2])
        if found is not None:
            stage = line.removeprefix("[").split("]")[0].split(" ")[0]
            return Counts(int(found["done"]), int(found["of"]), found["noun"], int(found["faults"] or 0), stage)
    return None


def read_failure(log: Path) -> str | None:
    """Find in a job's log why it failed; None where it did not say so, as when it was killed."""
    lines = [line for line in _tail(log) if _FAILS in line]
    return lines[-1].partition(_FAILS)[2] if lines else None


def _words_of(error: Exception, log: str) -> str:
    """Say in one line why a job ends and what to do."""
    story = f"the whole story is in {log}"
    if isinstance(error, StudyError):
        return " ".join(str(problem) for problem in error.problems)
    if isinstance(error, RecordingError):
        return str(error)
    if isinstance(error, BrokenExecutor):
        return (
            "a process of this job was killed, most often for want of memory; run fewer jobs at once (--cores 1), or "
            f"on a cluster give it more mem_mb; {story}"
        )
    if isinstance(error, MemoryError):
        return f"out of memory; run fewer jobs at once (--cores 1), or on a cluster give it more mem_mb; {story}"
    if isinstance(error, OSError) and error.errno in _FULL:
        where = f" ({error.filename})" if error.filename else ""
        return f"the disk is full{where}; make room and give the same command again, which goes on from here"
    if isinstance(error, OSError) and error.errno in (errno.EROFS, errno.EACCES, errno.EPERM):
        return f"{error.filename} may not be written ({error.strerror}); have its permissions changed; {story}"
    return f"{type(error).__name__}: {error}; {story}"


@contextmanager
def job(log: str, title: str) -> Iterator[Progress]:
    """Run a job's body with its log; end the process with one clear line if the body fails.

    The process ends as well when the engine that started it does.

    Parameters
    ----------
    log : str
        Path of the log file.
    title : str
        Stage and batch for the lines of the log.

    Yields
    ------
    Progress

    Raises
    ------
    SystemExit
        With status 1, after the log has the whole story.
    """
    watch_engine()
    try:
        progress = Progress(Path(log), title)
    except OSError as error:
        sys.stderr.write(f"[{title}{_FAILS}{_words_of(error, log)}\n")
        raise SystemExit(1) from None
    handler = logging.FileHandler(log, encoding="utf-8")
    logging.captureWarnings(capture=True)
    logging.getLogger("py.warnings").addHandler(handler)
    try:
        with sharing(Path(log)) as results:
            progress.say("starts")
            yield progress
            if results is not None:
                bring_to_disk(results)
            progress.say("done")
    except Exception as error:
        if not isinstance(error, StudyError | RecordingError):
            with contextlib.suppress(OSError):  # a full disk has no room for the story; the line below is told anyway
                progress.note(traceback.format_exc())
        progress.fail(_words_of(error, log))
        raise SystemExit(1) from None
    finally:
        logging.getLogger("py.warnings").removeHandler(handler)
        logging.captureWarnings(capture=False)
        handler.close()
