"""Who is at work in a results folder: one run at a time, and none beside jobs that a killed run left behind.

In: a results folder. Out: locks of the operating system, which end with the process that holds them, however it ends;
a lock that can be had therefore proves that its last holder is gone, which a file with a number in it never does. Two
files carry them, both named after the marker: `RUN`, held by the process of the engine while it works, and `JOBS`,
which every job shares while it runs. `RUN` says which process, where and since when.
"""

from __future__ import annotations

import contextlib
import errno
import fcntl
import os
import platform
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from datetime import datetime
from pathlib import Path

from ..errors import Problem, StudyError
from .ledger import MARKER

__all__ = [
    "ENGINE", "JOBS", "RUN", "engine_mark", "hold", "is_held", "sharing", "succeed", "wait_for_jobs", "watch_engine",
]  # fmt: skip

RUN = f".{MARKER}.run"
JOBS = f".{MARKER}.jobs"
ENGINE = "STRAINSTUDY_ENGINE"
"""Environment variable by which jobs know the process they belong to; its value is `engine_mark`."""
_WAIT_S = 20.0
"""How long a new run waits for the jobs of a killed one, which end by themselves within `_LOOK_S` (ours)."""
_LOOK_S = 0.5
"""Between two looks of a job at the process it belongs to, seconds (ours: unseen beside the start of a job)."""
_NO_LOCKS = {errno.ENOSYS, errno.ENOLCK, errno.EOPNOTSUPP, errno.EINVAL, errno.EBADF}
"""What a file system answers that knows no locks."""
_held: list[int] = []
"""Open files whose locks this process keeps until it ends."""


def _read(path: str) -> str:
    try:
        return Path(path).read_text(encoding="utf-8")
    except OSError:
        return ""


def _space() -> str:
    """Name the machine since it was started, and the space of process numbers; empty where the system tells neither."""
    try:
        numbers = str(Path("/proc/self/ns/pid").readlink())
    except OSError:
        numbers = ""
    return f"{_read('/proc/sys/kernel/random/boot_id').strip() or platform.node()}/{numbers}"


def _started(process: int) -> str:
    """When a process started, in ticks since the machine did: a number may be given to another process later."""
    fields = _read(f"/proc/{process}/stat").rpartition(")")[2].split()
    # proc(5): field 22, counted from the state, which is field 3
    return fields[19] if len(fields) > 19 else ""


def engine_mark() -> str:
    """Name this process so that no other one, now or later, here or elsewhere, has the same name."""
    return f"{os.getpid()} {_started(os.getpid())} {_space()}"


def _is_gone(mark: str) -> bool:
    """Say whether a process is known to have ended; one of another machine is never known to."""
    number, started, space = mark.split(" ", 2)
    if space != _space():
        return False
    try:
        os.kill(int(number), 0)
    except ProcessLookupError:
        return True
    except PermissionError:
        return False
    return _started(int(number)) != started


def _open(path: Path, how: int) -> int | None:
    """Open a lock file and lock it; None if another process has it.

    Raises
    ------
    OSError
        If it cannot be opened, or the file system has no locks.
    """
    file = os.open(path, os.O_RDWR | os.O_CREAT, 0o666)
    try:
        fcntl.flock(file, how | fcntl.LOCK_NB)
    except BlockingIOError:
        os.close(file)
        return None
    except OSError:
        os.close(file)
        raise
    return file


def is_held(path: Path) -> bool | None:
    """Say whether a living process has this lock; None where that cannot be known, or nobody ever had it."""
    if not path.is_file():
        return None
    try:
        file = _open(path, fcntl.LOCK_EX)
    except OSError:
        return None
    if file is None:
        return True
    os.close(file)
    return False


def _words(record: str) -> str:
    lines = record.splitlines()
    return lines[1] if len(lines) > 1 else "by a process that did not say which it is"


def succeed(path: Path) -> bool:
    """Lock a file for this process until it ends; tell whether another process had locked it before and is gone.

    Parameters
    ----------
    path : Path
        Made if it is not there, with its folder.

    Returns
    -------
    bool
        False if nobody had it before, if a living process has it, or if that cannot be known.
    """
    before = path.is_file()
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        file = _open(path, fcntl.LOCK_EX)
    except OSError:
        return False
    if file is None:
        return False
    _held.append(file)
    return before


def hold(results: Path) -> str | None:
    """Take a results folder for this process until it ends, however it ends.

    Parameters
    ----------
    results : Path
        Results folder; made if it is not there.

    Returns
    -------
    str or None
        A caution where the file system has no locks.

    Raises
    ------
    StudyError
        If another run has it.
    """
    results.mkdir(parents=True, exist_ok=True)
    host = platform.node()
    now = datetime.now().astimezone().isoformat(sep=" ", timespec="seconds")
    record = f"{engine_mark()}\nby process {os.getpid()} on {host}, since {now}\n".encode()
    path = results / RUN
    try:
        file = _open(path, fcntl.LOCK_EX)
    except OSError as error:
        if error.errno not in _NO_LOCKS:
            raise
        return f"the file system of {results} has no locks: see to it that one run at a time writes there"
    if file is None:
        message = f"another run is writing there, {_words(_read(str(path)))}"
        problem = Problem(str(results), message, "wait until it is done, end it, or name another results folder")
        raise StudyError([problem])
    os.ftruncate(file, 0)
    os.write(file, record)
    _held.append(file)
    return None


def wait_for_jobs(results: Path, say: Callable[[str], None], wait_s: float = _WAIT_S) -> None:
    """Wait for jobs that a killed run left behind in a results folder which this process holds.

    Parameters
    ----------
    results : Path
    say : callable
        Told once in words if there are any.
    wait_s : float
        How long, seconds.

    Raises
    ------
    StudyError
        If they are still at work then.
    """
    until, told = time.monotonic() + wait_s, False
    (results / JOBS).touch()
    while is_held(results / JOBS):
        if time.monotonic() > until:
            message = "jobs of a run that was killed are still at work there"
            remedy = "wait until they are done, or end them (on a cluster: squeue lists them, scancel ends them)"
            raise StudyError([Problem(str(results), message, remedy)])
        if not told:
            say(f"waiting for jobs of a killed run in {results} to end")
            told = True
        time.sleep(0.1)


def _folder_of(log: Path) -> Path | None:
    """Find the results folder that a job's log lies in; None where no run has begun, as in a test."""
    return next((folder for folder in log.absolute().parents if (folder / JOBS).is_file()), None)


@contextmanager
def sharing(log: Path) -> Iterator[Path | None]:
    """Be at work in the results folder of a job's log, so that a later run knows it.

    Yields
    ------
    Path or None
        The results folder; None where no run has begun, as in a test.

    Raises
    ------
    StudyError
        If the job belongs to a run that was killed, and another one has taken over.
    """
    folder, mark = _folder_of(log), os.environ.get(ENGINE)
    if folder is None:
        yield None
        return
    try:
        file = _open(folder / JOBS, fcntl.LOCK_SH)
    except OSError:
        file = None
    try:
        holder = _read(str(folder / RUN)).split("\n")[0]
        if mark is not None and holder not in ("", mark):
            message = "this job belongs to a run that was killed, and a later run has taken over"
            raise StudyError([Problem(str(folder), message, "nothing is to be done: the later run does the work")])
        yield folder
    finally:
        if file is not None:
            os.close(file)


def watch_engine() -> None:
    """End this process soon after the engine has ended that started it, where both are on one machine."""
    mark = os.environ.get(ENGINE)
    if mark is None or mark.split(" ", 2)[2] != _space():
        return

    def look() -> None:
        while not _is_gone(mark):
            time.sleep(_LOOK_S)
        with contextlib.suppress(OSError):
            os.write(2, b"the run that this job belongs to was killed: so is the job\n")
        os._exit(1)

    threading.Thread(target=look, daemon=True, name="watch_engine").start()
