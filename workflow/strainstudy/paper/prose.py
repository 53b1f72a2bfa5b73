"""Numbers and lists in running text."""

from __future__ import annotations

from collections.abc import Sequence

from ..errors import counted

__all__ = ["counted", "listed", "span"]


def listed(words: Sequence[str]) -> str:
    """Join words with commas and an ``and``."""
    return " and ".join([", ".join(words[:-1]), words[-1]]) if len(words) > 1 else "".join(words)


def span(values: Sequence[float], unit: str = "", digits: int = 3) -> str:
    """Write a value that all share, or the least and the greatest."""
    low, high = (f"{value:.{digits}g}" for value in (min(values), max(values)))
    return f"{low}{unit}" if low == high else f"{low} to {high}{unit}"
