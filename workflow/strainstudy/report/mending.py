"""What to mend, worst first: every fault that the result tables tell of, with its remedy.

In: result tables, the list of faults first. Out: lines in order. Faults of one cause are one line with all whom they
concern.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Any, Final

import pandas as pd

from ..gait.verdict import CANNOT_TELL, VERDICT_COLUMNS
from ..tables.angles import CALIBRATIONS
from ..tables.faults import FAULTS
from ..tables.gait import GAIT
from ..tables.sensors import RECORDINGS_DIFFER, SENSORS
from .results import StudyTables, records
from .spoken import spoken

__all__ = ["Mending", "mendings", "named"]

_NAMED: Final = 6
"""Recordings or people named in one line (ours)."""
_BEYOND_PERCENT: Final = 20.0
"""Percent of a recording's angle beyond its calibration from which on it is a fault (ours)."""
_BEYOND: Final = re.compile(r"(left|right)_knee: (?:(?!_knee).)*?([\d.]+)% of the angle lies beyond")
_SHARE: Final = re.compile(r"[\d.]+ ?%")
_ROW: Final = "row of "
"""What stands before the row of a sheet in a remedy (`stages.bodies.polarity_remedy`)."""
_OF_A_SENSOR: Final = ("wired in reverse", "sensor changed")
_WORST: Final = ("wired in reverse", "unreadable", "sensor changed")
"""Kinds that come first, in this order (ours)."""
_WORDS: Final = {
    "wired in reverse": "Sensor {sensor} was wired the wrong way round in {recordings} of {visits}",
    "unreadable": "{recordings} could not be used",
    "sensor changed": "Sensor {sensor} is not what it was",
    "saturated": "The signal reaches the limit of its amplifier",
    "no signal": "A sensor gives no signal for a while",
    "jump": "The level of a channel jumps",
    "missing samples": "Samples are missing",
    "time stamps": "Time stamps repeat or run backwards",
    "channel left out": "A channel was left out",
}
"""Kinds of fault in a sentence; the others in their own words."""


@dataclass(frozen=True)
class Mending:
    """What to mend: ``what`` is wrong, ``where``, the ``remedy``, how many recordings it spoils, ``kind`` of fault."""

    what: str
    where: str
    remedy: str
    count: int = 1
    kind: str = ""


def named(names: Iterable[Any]) -> str:
    """Name the first few, and say how many more there are."""
    unique = list(dict.fromkeys(str(name) for name in names))
    return ", ".join(unique[:_NAMED]) + (f" and {len(unique) - _NAMED} more" if len(unique) > _NAMED else "")


def _told(tables: StudyTables) -> list[Mending]:
    """Give a line for each kind in the list of faults, and for each sensor where it is a sensor's."""
    found = []
    table = tables(FAULTS)
    own_sensor = table["fault"].isin(_OF_A_SENSOR)
    sensors = table["sensor_id"].where(own_sensor, "")
    for (kind, sensor), rows in table.groupby([table["fault"], sensors], sort=True, dropna=False):
        told = sorted(records(rows), key=lambda row: -_share_of(str(row["description"])))
        places = [_place(row, str(kind)) for row in told]
        # the one found most often first, so that one line says what to do
        remedies = [str(text) for text in rows["remedy"].value_counts().index]
        found.append(
            Mending(
                _WORDS.get(str(kind), str(kind).capitalize()).format(
                    sensor=sensor, recordings=_recordings(len(rows)), visits=named(map(_visit, told))
                ),
                f"({named(places)}).",
                _sentence(remedies),
                len(rows),
                str(kind),
            )
        )
    return found


def _recordings(n: int) -> str:
    return "1 recording" if n == 1 else f"{n} recordings"


def _visit(row: Mapping[str, Any]) -> str:
    """Name whose visit it was, for a sensor may be worn rightly by others; the bench where it was nobody's."""
    if pd.isna(row["participant_id"]):
        return "bench"
    return f"{row['participant_id']} {row['session_id']}" if pd.notna(row["session_id"]) else str(row["participant_id"])


def _sentence(remedies: list[str]) -> str:
    """Write what to do once: of remedies that differ in their rows of a sheet only, the rows one after the other."""
    rows: dict[str, list[str]] = {}
    for remedy in remedies:
        start, between, row = remedy.partition(_ROW)
        rows.setdefault(start + between, []).append(row)
    words = named(start + (named(own) if start.endswith(_ROW) else "") for start, own in rows.items())
    return f"{words[:1].upper()}{words[1:]}."


def _place(row: Mapping[str, Any], kind: str) -> str:
    if kind in _OF_A_SENSOR:
        return f"{_visit(row)}: {row['description']}"
    share = _SHARE.search(str(row["description"]))
    return str(row["recording_id"]) + (f" {share.group()}" if share else "")


def _share_of(words: str) -> float:
    found = _SHARE.search(words)
    return float(found.group().rstrip(" %")) if found else 0.0


def _angles(tables: StudyTables, recordings: pd.DataFrame) -> list[Mending]:
    """Calibrations refused, and angles far beyond what was calibrated."""
    found = []
    calibrations = tables(CALIBRATIONS)
    for reason, rows in calibrations[calibrations["status"] != "fitted"].groupby("status_description", sort=True):
        names = [f"{r['participant_id']} {r['session_id']} {spoken(r['tracked_point'])}" for r in records(rows)]
        found.append(
            Mending(f"No angle in degrees: {reason}", f"({named(names)}).",
                  "Repeat the bends, held at known angles, or correct their labels.", len(rows))
        )  # fmt: skip
    far = []
    for row in records(recordings[recordings["notes"].notna()]):
        for side, share in _BEYOND.findall(str(row["notes"])):
            if float(share) >= _BEYOND_PERCENT:
                far.append((float(share), f"{row['recording_id']} {side} knee {share} %"))
    if far:
        far.sort(reverse=True)
        found.append(
            Mending(
                "The knee angle lies beyond its calibration", f"({named(name for _, name in far)}).",
                "Did the sleeve slip, or is the signal cut off? Hold bends to the largest angle of the task, before "
                "and after it.", len(far),
            )
        )  # fmt: skip
    return found


def _walks(tables: StudyTables) -> list[Mending]:
    """List walks that are too short, or in which sensor and gait cannot be told apart."""
    frame = tables(GAIT, *VERDICT_COLUMNS)
    found = []
    apart = frame[frame["verdict"] == CANNOT_TELL]
    if len(apart):
        found.append(
            Mending("Sensor or gait cannot be told apart", f"({named(apart['recording_id'])}).",
                  "Record bends at known angles with the same sensors in the same session.", len(apart))
        )  # fmt: skip
    few = frame[frame["warning"].notna()]
    if len(few):
        found.append(
            Mending(
                f"{len(few)} of {len(frame)} rows of gait rest on few strides", f"({named(few['recording_id'])}).",
                "Walk longer: 20 steady strides of each side and state, turns left out.", len(few),
            )
        )  # fmt: skip
    return found


def mendings(tables: StudyTables) -> list[Mending]:
    """List all that is to be mended, worst first.

    Parameters
    ----------
    tables : StudyTables

    Returns
    -------
    list of Mending
        Wiring first, for it spoils what follows; then what was lost, sensors that changed, then what is partly lost, by
        the number of recordings.
    """
    sensors = tables(SENSORS)
    found = [*_told(tables), *_angles(tables, tables.recordings), *_walks(tables)]
    found += [
        Mending(
            f"On the bench, {named(rows['sensor_id'])}:",
            f"{warning}.",
            "Take the value of each recording by itself, and put the sensor on the bench again."
            if RECORDINGS_DIFFER in str(warning)
            else "Hold longer, or repeat the run.",
            len(rows),
        )
        for warning, rows in sensors[sensors["warning"].notna()].groupby("warning", sort=True)
    ]
    rank = {kind: k for k, kind in enumerate(_WORST)}
    return sorted(found, key=lambda one: (rank.get(one.kind, len(rank)), -one.count))
