"""Train on one thread: the same sums in the same order every time, and no waiting for threads on small data."""

from __future__ import annotations

from collections.abc import Callable
from functools import wraps
from typing import ParamSpec, TypeVar

from threadpoolctl import threadpool_limits  # type: ignore[import-untyped]

__all__ = ["one_thread"]

P = ParamSpec("P")
R = TypeVar("R")


def one_thread(function: Callable[P, R]) -> Callable[P, R]:
    """Decorate a function so that numerical libraries use one thread within it."""

    @wraps(function)
    def wrapped(*args: P.args, **kwargs: P.kwargs) -> R:
        with threadpool_limits(limits=1):
            return function(*args, **kwargs)

    return wrapped
