"""Weigh published sources against each other: which of them count for a person, and which contradict each other.

In: the norms that fit one person and measure, with their ranges. Out: which give way, and in words who disagrees.
"""

from __future__ import annotations

import math
import re
from collections.abc import Mapping, Sequence
from typing import Any

__all__ = ["counts", "disagreement", "from_memory", "short_source", "spread"]

Entry = Mapping[str, Any]


def from_memory(entry: Entry) -> bool:
    """Tell whether a published number was recalled and not read."""
    return str(entry["source_read"]).startswith("from memory")


def counts(entry: Entry, others: Sequence[Entry]) -> bool:
    """Tell whether a source may place a person.

    A source of patients never does. One from memory gives way where a source of healthy people was read for the same
    measure, be it only their mean.
    """
    if entry["people"] == "patients" and entry["statistic"] != "cut-off":
        return False
    read = any(not from_memory(other) and other["people"] != "patients" for other in others)
    return not (from_memory(entry) and read)


def short_source(source: str) -> str:
    """First author, or the first words where none is known, and year."""
    first = re.match(r"(.+?)(?= [A-Z]{1,3}\b|,| \d|$)", source)
    words = first.group(1) if first else source
    words = words if len(words) <= 40 else words[:39].rstrip() + "\u2026"
    year = re.search(r"\b(?:19|20)\d\d\b", source)
    return f"{words} {year.group()}" if year and year.group() not in words else words


def _figure(value: float) -> str:
    return f"{value:.3g}"


def _says(entry: Entry) -> str:
    low, high, mean = (entry[f"published_{name}"] for name in ("low", "high", "mean"))
    if math.isfinite(low) and math.isfinite(high):
        return f"{_figure(low)} to {_figure(high)}"
    if math.isfinite(high):
        return f"up to {_figure(high)}"
    if math.isfinite(low):
        return f"from {_figure(low)} on"
    return f"mean {_figure(mean)}"


def _contradict(a: Entry, b: Entry) -> bool:
    """Ranges without a common value, or a mean outside the other's range."""
    if a["published_low"] > b["published_high"] or b["published_low"] > a["published_high"]:
        return True
    for one, other in ((a, b), (b, a)):
        if one["published_mean"] < other["published_low"] or one["published_mean"] > other["published_high"]:
            return True
    return False


def disagreement(entries: Sequence[Entry]) -> str | None:
    """Say which sources of healthy people contradict each other, each with what it says; None where none do.

    Two contradict each other where their ranges have no value in common, or where the mean of one lies outside
    the range of the other. A cut-off is no range of people, and contradicts nothing. All are compared, also one from
    memory that gives way.
    """
    own = [e for e in entries if e["people"] != "patients" and e["statistic"] != "cut-off"]
    at_odds = [k for k, a in enumerate(own) if any(_contradict(a, b) for j, b in enumerate(own) if j != k)]
    if not at_odds:
        return None
    said = [f"{short_source(str(own[k]['source']))}: {_says(own[k])}" for k in at_odds]
    return "; ".join(dict.fromkeys(said))


def spread(entries: Sequence[Entry]) -> str | None:
    """Say in how many ranges of healthy people that count the value lies where."""
    placed = [e["position"] for e in entries if e["position"] is not None and e["statistic"] != "cut-off"]
    if not placed:
        return None
    numbers = [f"{word} {placed.count(word)}" for word in ("below", "within", "above") if word in placed]
    return f"{', '.join(numbers)} of {len(placed)} published range{'s' if len(placed) > 1 else ''}"
