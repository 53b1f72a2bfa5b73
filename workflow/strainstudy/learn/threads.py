"""Train on as many processes as a run has cores, each on one thread: the same sums in the same order every time.

Many small fits gain nothing from threads within one, and much from one another's company. Which process does a fit, and
how many there are, changes no result: every job brings its own seed, and results come back in the order of the jobs.
"""

from __future__ import annotations

import warnings
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from contextvars import ContextVar
from functools import wraps
from typing import Any, ParamSpec, TypeVar

from joblib import Parallel, delayed
from threadpoolctl import threadpool_limits  # type: ignore[import-untyped]

__all__ = ["one_thread", "processes", "spread"]

P = ParamSpec("P")
R = TypeVar("R")

_PROCESSES: ContextVar[int] = ContextVar("processes", default=1)


@contextmanager
def processes(count: int) -> Iterator[None]:
    """Let `spread` use so many processes within the block."""
    token = _PROCESSES.set(count)
    try:
        yield
    finally:
        _PROCESSES.reset(token)


def _elsewhere(function: Callable[..., R], job: tuple[Any, ...]) -> tuple[R, list[warnings.WarningMessage]]:
    """Do one job in a process of its own; its warnings come back with the result, for the log of the run."""
    with threadpool_limits(limits=1), warnings.catch_warnings(record=True) as said:
        return function(*job), said


def spread(function: Callable[..., R], jobs: Sequence[tuple[Any, ...]]) -> list[R]:
    """Call a function for every job, in as many processes as `processes` allows.

    Parameters
    ----------
    function : callable
        Of a module, so that another process finds it; what it gives depends on its arguments alone.
    jobs : sequence of tuple
        Arguments of each call.

    Returns
    -------
    list
        What each call gave, in the order of the jobs.
    """
    count = min(_PROCESSES.get(), len(jobs))
    if count < 2:
        return [function(*job) for job in jobs]
    results: list[R] = []
    for result, said in Parallel(n_jobs=_PROCESSES.get(), pre_dispatch="all")(
        delayed(_elsewhere)(function, job) for job in jobs
    ):
        for one in said:
            warnings.warn_explicit(one.message, one.category, one.filename, one.lineno)
        results.append(result)
    return results


def one_thread(function: Callable[P, R]) -> Callable[P, R]:
    """Decorate a function so that numerical libraries use one thread within it."""

    @wraps(function)
    def wrapped(*args: P.args, **kwargs: P.kwargs) -> R:
        with threadpool_limits(limits=1):
            return function(*args, **kwargs)

    return wrapped
