"""What the engine's log events become on the terminal; the profiles name it (``logger: strainstudy``).

The engine finds it by the name of this package. Its events (a job starts, ends, fails) go to one `Display`, together
with the plan that the Snakefile gives (`announce`); of its other messages those are shown that tell a user something:
each warning and error, in one line. The engine's own log file, which it names at the end, has all of them.
"""

from __future__ import annotations

import logging
import os
import re
import sys
from pathlib import Path
from typing import Any

from snakemake_interface_logger_plugins.base import LogHandlerBase
from snakemake_interface_logger_plugins.common import LogEvent
from strainstudy.errors import StudyError
from strainstudy.intake.settings_files import check_config_files
from strainstudy.jobs import DISPLAY

from .display import Display, Planned, one_line

__all__ = ["LogHandler", "Planned", "announce"]

_OF_A_JOB = re.compile(r"returned non-zero exit status \d+|died with <Signals\.\w+", re.DOTALL)
_ROUTINE = (
    "Building DAG of jobs", "Using shell", "Using ", "Provided ", "Rules claiming", "Job stats", "Select jobs",
    "Execute ", "Conda environments", "Singularity containers", "Group jobs", "Elapsed time", "Assuming unrestricted",
    "Workflow has started", "Complete log", "host:", "Removing output", "SLURM run ID", "MinJobAge",
    "Will exit after finishing", "Exiting because a job execution failed", "Shutting down, this might",
    "At least one job did not complete", "No SLURM account given", "No account was given",
    "Unable to guess SLURM account",
)  # fmt: skip
"""Beginnings of messages of the engine that say what the bar says, or nothing."""
_STILL_TOLD = ("Trying to restart", "Terminating processes", "Unlocked", "Nothing to be done")
_NO_CONFIG = "Config file is not valid"
_LOCKED = "Directory cannot be locked"
_LOCKED_WORDS = (
    "another run is going on in this working folder, or one was killed and it cannot be told whether it is gone; wait "
    "for it, or if none is going on give the same command once with --unlock (make resume does both)"
)
_displays: list[Display] = []


def announce(jobs: dict[int, Planned], of: str) -> None:
    """Tell the display, if there is one, what is about to run."""
    for display in _displays:
        display.plan(jobs, of)


def _config_files(arguments: list[str]) -> list[str]:
    """Find the settings files of a command line."""
    files: list[str] = []
    taking = False
    for argument in arguments:
        if argument.startswith("-"):
            name, _, value = argument.partition("=")
            taking = name in ("--configfile", "--configfiles")
            files += [value] if taking and value else []
        elif taking:
            files.append(argument)
    return files


class LogHandler(LogHandlerBase):
    """Events and messages of the engine to a `Display`."""

    def __post_init__(self) -> None:
        """Show a bar on a terminal, plain lines elsewhere; nothing but faults if the engine is told to be quiet."""
        settings = self.common_settings
        self._stream = sys.stdout if settings.stdout else sys.stderr
        quiet = {str(getattr(kind, "value", kind)) for kind in settings.quiet or ()}
        self._quiet = bool(quiet & {"all", "progress"})
        self._plain = bool(settings.dryrun or settings.verbose or settings.debug_dag)
        dumb = os.environ.get("TERM") == "dumb"
        self._display = Display(self._stream, bar=self._stream.isatty() and not dumb)
        if not self._plain:
            os.environ[DISPLAY] = "1"
            if not self._quiet:
                _displays.append(self._display)

    def emit(self, record: logging.LogRecord) -> None:
        """Take an event or a message."""
        try:
            self._take(record)
        except Exception:  # the engine's thread must go on; the fault is told as logging tells its own
            self.handleError(record)

    def _take(self, record: logging.LogRecord) -> None:
        given: dict[str, Any] = record.__dict__
        event, display = given.get("event"), self._display
        if self._plain:
            text = self.format(record)
            if text and text != "None":
                self._stream.write(f"{text}\n")
                self._stream.flush()
        elif event == LogEvent.JOB_INFO:
            display.start(given["jobid"])
        elif event == LogEvent.JOB_FINISHED:
            display.finish(given["job_id"])
        elif event == LogEvent.JOB_ERROR:
            display.fail(given["jobid"], given["rule_name"], given["log"])
        elif event == LogEvent.GROUP_ERROR:
            # which of its jobs failed is told by their own logs, and by those of the cluster if none of them began
            for job in given["job_error_info"]:
                display.fail(job["jobid"], job["rule_name"], [*job["log"], *given["aux_logs"]])
        elif event in (None, LogEvent.ERROR):
            self._message(str(given.get("msg") or ""), record.levelno)

    def _message(self, text: str, level: int) -> None:
        text = text.removeprefix("WorkflowError:").strip().removeprefix("Error: ")
        if _OF_A_JOB.search(text):
            self._display.hint(text)
        elif _LOCKED in text:
            self._display.say(_LOCKED_WORDS)
        elif _NO_CONFIG in text:
            self._display.say(self._config_fault(text))
        elif text.startswith(_ROUTINE) or text in ("", "None"):
            return
        elif level >= logging.WARNING or text.startswith(_STILL_TOLD) or not self._display.begun:
            self._display.say(one_line(text) if level >= logging.WARNING else text)

    def _config_fault(self, text: str) -> str:
        """Name file and line of settings that the engine could not read."""
        try:
            check_config_files([file for file in _config_files(sys.argv) if Path(file).suffix != ".json"])
        except StudyError as error:
            return str(error)
        return one_line(text)

    def close(self) -> None:
        """End the display."""
        if not self._plain:
            self._display.close()
        super().close()

    @property
    def writes_to_stream(self) -> bool:
        """It takes the place of the engine's own output."""
        return True

    @property
    def writes_to_file(self) -> bool:
        """It writes no file."""
        return False

    @property
    def has_filter(self) -> bool:
        """It sees every event, whatever the engine is told to be quiet about; a dry run is as the engine shows it."""
        return not self._plain

    @property
    def has_formatter(self) -> bool:
        """The engine formats what is passed on as it stands."""
        return False

    @property
    def needs_rulegraph(self) -> bool:
        """It draws no graph."""
        return False
