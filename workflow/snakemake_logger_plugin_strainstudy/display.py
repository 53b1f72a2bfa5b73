"""A run as a whole, in one line: stage, recordings done and to go, time left, faults; a bar on a terminal.

In: what is planned (`Planned`), which of it starts, ends or fails, and the logs of the jobs, which say how far they
are. Out: on a terminal a bar that changes once a second; in a log file few plain lines; lines for what fails. Knows
nothing of the engine.
"""

from __future__ import annotations

import threading
import time
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, NamedTuple, TextIO

from strainstudy.errors import counted
from strainstudy.jobs import Counts, read_counts, read_failure

if TYPE_CHECKING:
    from rich.progress import Progress

__all__ = ["Display", "Planned", "Status", "duration_words", "one_line"]

_TICK_S = 1.0
"""Between two changes of the bar, seconds: one line a second at most (issue of the users)."""
_STAGE_S = 5.0
"""Least time between two plain lines of which the second tells of another stage, seconds (ours)."""
_QUIET_S, _QUIET_SHARE = 30.0, 0.05
"""Longest time without a plain line, seconds, or this share of the whole run if that is longer (ours)."""
_UNKNOWN_SHARE = 0.03
"""Of the work that must be done before a time left is told (ours: the first jobs mostly start Python)."""
_RUNNING = 0.95
"""Most of a job that counts as done while it runs (ours)."""
_WIDEST = 600
"""Longest line for a message of the engine, characters (ours: some list every file)."""
_STATUS_KILLED = ("exit status 137", "SIGKILL", "exit status 9")
_KILLED = (
    "it was killed, most likely because memory ran out; run fewer jobs at once (--cores 1), "
    "or on a cluster give it more mem_mb"
)


@dataclass(frozen=True)
class Planned:
    """A job that is to run.

    Parameters
    ----------
    stage : str
    batch : str or None
        None for a job on the whole study.
    part : str or None
        What of a stage it does, where several jobs on the whole study share one.
    recordings : int
        How many it works on.
    seconds : float
        What it takes, about, relative to the other jobs.
    log : Path
    """

    stage: str
    batch: str | None
    recordings: int
    seconds: float
    log: Path
    part: str | None = None

    @property
    def title(self) -> str:
        """Stage and batch or part."""
        return " ".join(filter(None, (self.stage, self.batch, self.part)))


class Status(NamedTuple):
    """Where a run is: share of the work done, stage, its recordings done and in all, seconds left, faults so far.

    Where jobs share a stage without sharing out recordings, their number stands in place of recordings.
    """

    share: float
    stage: str | None
    done: int
    of: int
    left_s: float | None
    faults: int
    noun: str = "recording"

    def __str__(self) -> str:
        left = "time left not known yet" if self.left_s is None else f"about {duration_words(self.left_s)} left"
        where = "starting"
        if self.stage is not None:
            where = f"{self.stage}: {self.done} of {counted(self.of, self.noun)}, {self.of - self.done} to go"
        return f"{where}; {left}; {counted(self.faults, 'fault') if self.faults else 'no faults'} so far"


def duration_words(seconds: float) -> str:
    """Say a duration as people do: 40 s, 3 min, 2 h 10 min."""
    if seconds < 60:
        return f"{max(1, round(seconds))} s"
    minutes = round(seconds / 60)
    return f"{minutes} min" if minutes < 60 else f"{minutes // 60} h {minutes % 60} min"


def one_line(text: str) -> str:
    """Bring a message to one line of bearable length."""
    line = " ".join(text.split())
    return line if len(line) <= _WIDEST else f"{line[:_WIDEST]} ..."


@dataclass
class _Job:
    planned: Planned
    started: float | None = None
    old_log: tuple[int, int] | None = None
    ended: bool = False
    failed: bool = False
    counts: Counts | None = None

    def log_state(self) -> tuple[int, int] | None:
        try:
            state = self.planned.log.stat()
        except OSError:
            return None
        return state.st_ino, state.st_mtime_ns

    def look(self) -> None:
        """Read from the log how far the job is; that of an earlier run tells nothing."""
        if self.started is not None and self.log_state() not in (None, self.old_log):
            self.counts = read_counts(self.planned.log) or self.counts


class Display:
    """Shows a run until it is closed.

    Parameters
    ----------
    stream : TextIO
        Where to.
    bar : bool
        Whether it is a terminal.
    clock : callable
        Seconds, as of `time.monotonic`.
    """

    def __init__(self, stream: TextIO, *, bar: bool, clock: Callable[[], float] = time.monotonic) -> None:
        self._stream = stream
        self._clock = clock
        self._lock = threading.RLock()
        self._jobs: dict[int, _Job] = {}
        self._hints: list[str] = []
        self._said: set[str] = set()
        self._whole: list[str] = []
        self._begun: float | None = None
        self._last: tuple[float, str | None] = (clock(), None)
        self._over = threading.Event()
        self._wants_bar = bar
        self._bar: Progress | None = None

    @property
    def begun(self) -> bool:
        """Whether a plan is known."""
        return self._begun is not None

    def plan(self, jobs: dict[int, Planned], of: str) -> None:
        """Begin, or add to what is planned.

        Parameters
        ----------
        jobs : dict of int to Planned
            By the engine's number.
        of : str
            What it is all about, in words for the last line.
        """
        with self._lock:
            self._jobs |= {number: _Job(planned) for number, planned in jobs.items()}
            self._whole.append(of)
            if self._begun is None:
                self._begun = self._clock()
                if self._wants_bar:
                    self._bar = _new_bar(self._stream)
                    self._bar.start()
                threading.Thread(target=self._run, daemon=True, name="display").start()

    def _run(self) -> None:
        while not self._over.wait(_TICK_S):
            self.tick()

    def start(self, number: int) -> None:
        """Note that a job starts."""
        with self._lock:
            job = self._jobs.get(number)
            if job is not None and job.started is None:
                job.old_log, job.started = job.log_state(), self._clock()

    def finish(self, number: int) -> None:
        """Note that a job is done."""
        with self._lock:
            job = self._jobs.get(number)
            if job is not None:
                job.look()
                job.ended = True

    def hint(self, text: str) -> None:
        """Keep what the engine says of a failure that it names next."""
        with self._lock:
            self._hints.append(one_line(text))

    def fail(self, number: int, title: str, logs: Iterable[str]) -> None:
        """Tell which job failed, why in one line, and where its log is; once for each job."""
        with self._lock:
            job, logs = self._jobs.get(number), list(logs)
            hint = self._hints.pop(0) if self._hints else ""
            if job is not None:
                if job.failed:
                    return
                job.look()
                job.ended = job.failed = True
                title = job.planned.title
            why = next(filter(None, (read_failure(Path(log)) for log in logs)), None)
            if why is None:
                why = _KILLED if not hint or any(sign in hint for sign in _STATUS_KILLED) else hint
            where = f"; its log: {', '.join(logs)}" if logs else ""
            self.say(f"failed: {title}: {why}{where}")

    def say(self, text: str) -> None:
        """Write a line above the bar; the same line once."""
        with self._lock:
            if not text or text in self._said:
                return
            self._said.add(text)
            self._write(text)

    def _write(self, text: str) -> None:
        if self._bar is not None:
            self._bar.console.print(text, markup=False, highlight=False, soft_wrap=True)
        else:
            self._stream.write(f"{text}\n")
            self._stream.flush()

    def status(self) -> Status:
        """Work out where the run is."""
        with self._lock:
            now, begun = self._clock(), self._begun or self._clock()
            jobs = list(self._jobs.values())
            whole = sum(job.planned.seconds for job in jobs) or 1.0
            ended = sum(job.planned.seconds for job in jobs if job.ended)
            running = [job for job in jobs if job.started is not None and not job.ended]
            for job in running:
                job.look()
            pace = (now - begun) / ended if ended else 1.0
            shares = {id(job): _share_of(job, now, pace) for job in running}
            done = ended + sum(job.planned.seconds * shares[id(job)] for job in running)
            left = None if done < _UNKNOWN_SHARE * whole else (now - begun) / done * (whole - done)
            faults = sum(job.counts.faults for job in jobs if job.counts is not None)
            if not running:
                return Status(done / whole, None, 0, 0, left, faults)
            first = min(running, key=lambda job: job.started or 0.0)
            same = [job for job in jobs if job.planned.stage == first.planned.stage]
            stage = first.planned.stage if first.counts is None else first.counts.stage
            if first.planned.part is not None:
                through = sum(job.ended and not job.failed for job in same)
                return Status(done / whole, stage, through, len(same), left, faults, "part")
            through = sum(_recordings_done(job, stage) for job in same)
            return Status(done / whole, stage, through, sum(job.planned.recordings for job in same), left, faults)

    def tick(self) -> None:
        """Bring the bar up to date, or write a plain line if one is due."""
        with self._lock:
            if self._begun is None or self._over.is_set():
                return
            status = self.status()
            if self._bar is not None:
                (task,) = self._bar.task_ids
                self._bar.update(task, completed=status.share, words=str(status))
                self._bar.refresh()
                return
            now, (when, stage) = self._clock(), self._last
            run = (now - self._begun) + (status.left_s or 0.0)
            quiet = max(_QUIET_S, _QUIET_SHARE * run)
            if now - when >= (_STAGE_S if status.stage not in (stage, None) else quiet):
                self._last = now, status.stage
                self._write(f"{status.share:4.0%} {status}")

    def close(self) -> None:
        """End with one line: what was done, or what failed and how to go on."""
        with self._lock:
            if self._over.is_set():
                return
            self._over.set()
            if self._bar is not None:
                self._bar.stop()
                self._bar = None
            if self._begun is None:
                return
            took, faults = duration_words(self._clock() - self._begun), self.status().faults
            jobs = self._jobs.values()
            failed, left = sum(job.failed for job in jobs), sum(not job.ended for job in jobs)
            found = f"{counted(faults, 'recording')} with a fault" if faults else "no new faults found"
            if not failed and not left:
                self._write(f"done in {took}: {'; '.join(self._whole)}; {found}")
                return
            parts = [f"{counted(failed, 'job')} failed"] if failed else []
            parts += [f"{counted(left, 'job')} not done"] if left else []
            self._write(f"stopped after {took}: {', '.join(parts)}; the same command goes on from here")


def _share_of(job: _Job, now: float, pace: float) -> float:
    """Estimate how much of a running job is done: by what it counts, else by the time that it has run.

    A job of several stages counts in each of them anew, which says little of the whole.
    """
    if job.counts is not None and job.counts.of and job.counts.stage == job.planned.stage:
        return _RUNNING * job.counts.done / job.counts.of
    expected = job.planned.seconds * max(pace, 1e-3)
    return min(_RUNNING, (now - (job.started or now)) / expected) if expected > 0 else 0.0


def _recordings_done(job: _Job, stage: str) -> int:
    if job.ended:
        return 0 if job.failed else job.planned.recordings
    if job.counts is None or job.counts.noun != "recording" or job.counts.stage != stage:
        return 0
    return min(job.counts.done, job.planned.recordings)


def _new_bar(stream: TextIO) -> Progress:
    """Make a bar that changes only when it is told to."""
    from rich.console import Console
    from rich.progress import BarColumn, Progress, TaskProgressColumn, TextColumn

    columns = (TaskProgressColumn(), BarColumn(bar_width=20), TextColumn("{task.fields[words]}", markup=False))
    bar = Progress(*columns, console=Console(file=stream), auto_refresh=False, transient=True)
    bar.add_task("run", total=1.0, words="starting")
    return bar
