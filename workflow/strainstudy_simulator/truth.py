"""What happened and when: the events a simulated signal was made from.

In: events as the movement models made them. Out: the same as rows of a label sheet.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

__all__ = ["Event", "in_order", "label_rows"]


@dataclass(frozen=True)
class Event:
    """One true event: seconds, a word of the study vocabulary, and where it has them a side and a value."""

    onset: float
    duration: float
    trial_type: str
    side: str | None = None
    value: float | None = None

    @property
    def end(self) -> float:
        """Offset in seconds."""
        return self.onset + self.duration


def in_order(events: Iterable[Event]) -> tuple[Event, ...]:
    """Sort events by onset, then by word and side."""
    return tuple(sorted(events, key=lambda e: (e.onset, e.trial_type, e.side or "", e.duration)))


def label_rows(events: Iterable[Event], *, decimals: int = 2) -> str:
    """Write events as the text of a label sheet (tab-separated, ``n/a`` where there is nothing)."""
    events = in_order(events)
    sided = any(e.side is not None for e in events)
    valued = any(e.value is not None for e in events)
    lines = ["\t".join(["onset", "duration", "trial_type", *["side"] * sided, *["value"] * valued])]
    for e in events:
        cells = [f"{e.onset:.{decimals}f}", f"{e.duration:.{decimals}f}", e.trial_type]
        if sided:
            cells.append(e.side or "n/a")
        if valued:
            cells.append("n/a" if e.value is None else f"{e.value:g}")
        lines.append("\t".join(cells))
    return "\n".join(lines) + "\n"
