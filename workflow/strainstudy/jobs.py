"""What a job says while it works, and what is left when it fails: progress lines, and a log that is never empty."""

from __future__ import annotations

import logging
import sys
import traceback
from collections.abc import Iterator
from contextlib import contextmanager
from copy import copy
from pathlib import Path
from typing import Self

from .errors import RecordingError, StudyError

__all__ = ["Progress", "job"]


class Progress:
    """Lines to the terminal and to the job's log.

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
        """Write one line to the terminal and to the log."""
        self.show(text)
        self.note(f"[{self._title}] {text}")

    def show(self, text: str) -> None:
        """Write one line to the terminal alone."""
        sys.stderr.write(f"[{self._title}] {text}\n")
        sys.stderr.flush()

    def note(self, text: str) -> None:
        """Write to the log alone."""
        with self._log.open("a", encoding="utf-8") as file:
            file.write(text + "\n")


@contextmanager
def job(log: str, title: str) -> Iterator[Progress]:
    """Run a job's body with its log; end the process with one clear line if the body fails.

    Parameters
    ----------
    log : str
        Path of the log file.
    title : str
        Stage and batch for the progress lines.

    Yields
    ------
    Progress

    Raises
    ------
    SystemExit
        With status 1, after the log has the whole story.
    """
    progress = Progress(Path(log), title)
    handler = logging.FileHandler(log, encoding="utf-8")
    logging.captureWarnings(capture=True)
    logging.getLogger("py.warnings").addHandler(handler)
    progress.say("starts")
    try:
        yield progress
    except (StudyError, RecordingError) as error:
        progress.say(str(error))
        raise SystemExit(1) from None
    except Exception as error:
        progress.note(traceback.format_exc())
        progress.say(f"fails: {type(error).__name__}: {error}; the whole story is in {log}")
        raise SystemExit(1) from None
    else:
        progress.say("done")
    finally:
        logging.getLogger("py.warnings").removeHandler(handler)
        logging.captureWarnings(capture=False)
        handler.close()
