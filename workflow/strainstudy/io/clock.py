"""Files from the future, as a clock that was put back leaves them: by their times the engine knows what is out of date.

In: files, and the names of ours. Out: problems for files of the user, whose times are the user's; times of our own put
right. A few seconds, by which the clock of a file server may be ahead, are waited for.
"""

from __future__ import annotations

import os
import time
from collections.abc import Collection, Iterable
from datetime import datetime
from pathlib import Path

from ..errors import Problem, counted

__all__ = ["future_problems", "put_right"]

_WAIT_S = 10.0
"""Longest wait for a file whose time is ahead of this machine's clock, seconds (ours: clocks kept by a network differ
by less)."""


def _modified(path: Path) -> int | None:
    try:
        return path.stat().st_mtime_ns
    except OSError:
        return None


def future_problems(paths: Iterable[Path]) -> list[Problem]:
    """Find files that were changed later than now, and wait for those that are so by seconds only.

    Parameters
    ----------
    paths : iterable of Path
        What a run reads.

    Returns
    -------
    list of Problem
        One at most, which names the first file and counts the others.
    """
    times = {path: at for path in paths if (at := _modified(path)) is not None}
    now, wait_ns = time.time_ns(), round(_WAIT_S * 1e9)
    late = [path for path, at in times.items() if at > now + wait_ns]
    if not late:
        ahead_s = (max(times.values(), default=now) - now) / 1e9
        time.sleep(max(0.0, ahead_s))
        return []
    when = datetime.fromtimestamp(times[late[0]] / 1e9).astimezone().isoformat(sep=" ", timespec="seconds")
    more = f" (and {counted(len(late) - 1, 'further file')})" if len(late) > 1 else ""
    message = f"was changed in the future, {when}{more}, so that what rests on it would never be up to date"
    return [Problem(str(late[0]), message, "set the clock of this machine, or give the files today's date with touch")]


def put_right(folder: Path, names: Collection[str]) -> int:
    """Bring files of ours that are from the future back to now, in the order in which they were made.

    Parameters
    ----------
    folder : Path
        Results folder.
    names : collection of str
        Files below it.

    Returns
    -------
    int
        How many there were.
    """
    now = time.time_ns()
    times = {path: at for path in (folder / name for name in names) if (at := _modified(path)) is not None and at > now}
    shift = max(times.values(), default=now) - now
    for path, at in times.items():
        os.utime(path, ns=(at - shift, at - shift), follow_symlinks=False)
    return len(times)
