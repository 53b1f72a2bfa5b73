"""What can be wrong with a recording or a sensor, in words that the list of faults and its readers share.

In: nothing. Out: the kinds of fault with what to do about each, and `Fault`, one of them as it was found. A fault never
stops a run; what is wrong with a study's sheets does, and is a `strainstudy.errors.Problem`.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import asdict, dataclass
from typing import Any, Final

__all__ = ["FAULT_KINDS", "Fault", "faults_of", "spans_in_words"]

FAULT_KINDS: Final[Mapping[str, str]] = {
    "unreadable": "copy the file again from the recorder",
    "damaged file": "copy the file again from the recorder",
    "channel left out": "look at the plug, the export and channels.tsv",
    "missing samples": "look at the recorder's memory or radio",
    "no signal": "look at the lead and the plug",
    "jump": "look at the plug and the amplifier's offset",
    "saturated": "lower the gain",
    "time stamps": "look at the recorder's clock",
    "units": "correct units in channels.tsv",
    "impossible values": "correct units in channels.tsv, or excitation, gain or polarity in sensors.tsv",
    "wired in reverse": "set polarity in channels.tsv",
    "sensor changed": "look at the sensor and its plug, and calibrate it anew before it is used again",
}
"""Kinds of fault, each with what to do where nothing more particular is known."""
_MOST_SPANS: Final = 3
"""Stretches that are named one by one (ours)."""


@dataclass(frozen=True)
class Fault:
    """One fault of a recording.

    Parameters
    ----------
    kind : str
        Of `FAULT_KINDS`.
    words : str
        What was found and what was done about it, as a clause.
    remedy : str or None
        What to do, where more is known than the kind says.
    tracked_point, sensor_id : str or None
        Channel and sensor, where it is theirs.
    """

    kind: str
    words: str
    remedy: str | None = None
    tracked_point: str | None = None
    sensor_id: str | None = None

    def __post_init__(self) -> None:
        if self.kind not in FAULT_KINDS:
            raise ValueError(f"{self.kind!r} is no kind of fault")

    @property
    def said(self) -> str:
        """The fault in one clause, with its remedy where it has one of its own."""
        return self.words if self.remedy is None else f"{self.words}: {self.remedy}"

    @property
    def what_to_do(self) -> str:
        """Its own remedy, or that of its kind."""
        return FAULT_KINDS[self.kind] if self.remedy is None else self.remedy

    def to_dict(self) -> dict[str, Any]:
        """Give plain values for JSON."""
        return asdict(self)


def faults_of(rows: Iterable[Mapping[str, Any]]) -> list[Fault]:
    """Undo `Fault.to_dict`."""
    return [Fault(**row) for row in rows]


def spans_in_words(spans: Iterable[tuple[float, float]]) -> str:
    """Name stretches of a recording, seconds: the first ones, and how many more."""
    told = [f"{start:.1f} to {stop:.1f} s" for start, stop in spans]
    more = f" and {len(told) - _MOST_SPANS} more" if len(told) > _MOST_SPANS else ""
    return ", ".join(told[:_MOST_SPANS]) + more
