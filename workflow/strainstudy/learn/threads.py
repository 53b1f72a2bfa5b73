"""Train on as many processes as a run has cores, each on one thread: the same sums in the same order every time.

Many small fits gain nothing from threads within one, and much from one another's company. Which process does a fit, and
how many there are, changes no result: every job brings its own seed, and results come back in the order of the jobs.
"""

from __future__ import annotations

import os
import signal
import sys
import warnings
from collections.abc import Callable, Iterable, Iterator, Sequence
from concurrent.futures import ProcessPoolExecutor
from contextlib import contextmanager
from contextvars import ContextVar
from functools import partial, wraps
from multiprocessing import get_context, parent_process
from multiprocessing.connection import wait
from threading import Thread
from typing import Any, ParamSpec, TypeVar

from joblib import Parallel, delayed
from threadpoolctl import threadpool_limits  # type: ignore[import-untyped]

__all__ = ["begin", "one_thread", "processes", "spread"]

P = ParamSpec("P")
R = TypeVar("R")
Heard = tuple[Any, list[warnings.WarningMessage]]
Team = Callable[[Callable[..., Any], Sequence[tuple[Any, ...]]], Iterable[Heard]]
"""Gives what a function gave for each job, in order, with the warnings it made."""

_TEAM: ContextVar[Team | None] = ContextVar("team", default=None)


def _elsewhere(function: Callable[..., Any], job: tuple[Any, ...]) -> Heard:
    """Do one job in a process of its own; its warnings come back with the result, for the log of the run."""
    with threadpool_limits(limits=1), warnings.catch_warnings(record=True) as said:
        return function(*job), said


def _end_with(parent: int) -> None:
    """End this process once its parent is gone, even if that was killed: nobody else would."""
    wait([parent])
    os._exit(1)


def _settle() -> None:
    """Make a process that was forked work alone, and no longer than the one that forked it; an interrupt ends both."""
    _TEAM.set(None)
    signal.signal(signal.SIGINT, signal.SIG_DFL)
    parent = parent_process()
    if parent is not None:
        Thread(target=_end_with, args=(parent.sentinel,), daemon=True).start()


def _forked(
    pool: ProcessPoolExecutor, function: Callable[..., Any], jobs: Sequence[tuple[Any, ...]]
) -> Iterable[Heard]:
    return pool.map(_elsewhere, [function] * len(jobs), jobs)


def _started(count: int, function: Callable[..., Any], jobs: Sequence[tuple[Any, ...]]) -> Iterable[Heard]:
    found: Iterable[Heard] = Parallel(n_jobs=count, pre_dispatch="all")(
        delayed(_elsewhere)(function, job) for job in jobs
    )
    return found


@contextmanager
def _team(count: int, writing: bool) -> Iterator[Team | None]:
    if count < 2 or (writing and sys.platform != "linux"):
        yield None
    elif sys.platform == "linux":
        # A fork has the libraries loaded already, which take a fresh process as long as many a fit.
        pool = ProcessPoolExecutor(count, mp_context=get_context("fork"), initializer=_settle)
        try:
            # The first job forks all: now, while there is little to copy and no thread of a numerical library.
            pool.submit(os.getpid).result()
            yield partial(_forked, pool)
        finally:
            pool.shutdown(cancel_futures=True)
    else:
        yield partial(_started, count)


@contextmanager
def processes(count: int, *, writing: bool = False) -> Iterator[None]:
    """Let `spread` use so many processes within the block, which had best begin before anything large is read.

    Parameters
    ----------
    count : int
    writing : bool
        Whether the jobs write files. Where processes are not forked they outlive the one that began them if it is
        killed, so that they would write beside the next run: there such jobs are done one after the other.
    """
    with _team(count, writing) as team:
        token = _TEAM.set(team)
        try:
            yield
        finally:
            _TEAM.reset(token)


def begin(function: Callable[..., R], jobs: Sequence[tuple[Any, ...]]) -> Callable[[], list[R]]:
    """Begin to call a function for every job, in as many processes as `processes` allows, while the caller goes on.

    Parameters
    ----------
    function : callable
        Of a module, so that another process finds it; what it gives depends on its arguments alone.
    jobs : sequence of tuple
        Arguments of each call.

    Returns
    -------
    callable
        Waits, and gives what each call gave, in the order of the jobs.
    """
    team = _TEAM.get()
    if team is None or not jobs:
        return lambda: [function(*job) for job in jobs]
    begun = team(function, jobs)

    def collect() -> list[R]:
        results: list[R] = []
        for result, said in begun:
            for one in said:
                warnings.warn_explicit(one.message, one.category, one.filename, one.lineno)
            results.append(result)
        return results

    return collect


def spread(function: Callable[..., R], jobs: Sequence[tuple[Any, ...]]) -> list[R]:
    """Call a function for every job as `begin` does, and wait; a single job is done here.

    Returns
    -------
    list
        What each call gave, in the order of the jobs.
    """
    return [function(*job) for job in jobs] if len(jobs) < 2 else begin(function, jobs)()


def one_thread(function: Callable[P, R]) -> Callable[P, R]:
    """Decorate a function so that numerical libraries use one thread within it."""

    @wraps(function)
    def wrapped(*args: P.args, **kwargs: P.kwargs) -> R:
        with threadpool_limits(limits=1):
            return function(*args, **kwargs)

    return wrapped
