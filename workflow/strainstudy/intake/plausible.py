"""Orders of magnitude: numbers of the sheets that no rig can have, and numbers that are rather of another unit.

In: rows of ``sensors.tsv`` and ``recordings.tsv``, each cell checked as a number. Out: a fault for what cannot be, a
caution for what is unlikely, both with the unit that the number is likely in. The limits are wide on purpose: a rig at
100 V or with a gain of 10 000 goes on.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Final

from ..errors import Problem
from ..io.sheets import to_number
from ..vocabulary import BODY_TASKS
from .links import Row
from .rules import RECORDINGS, SENSORS

__all__ = ["magnitude_problems"]

_KEEP = "if it is right, leave it"


@dataclass(frozen=True)
class _Range:
    """What a column's size may be and what it usually is, in its unit; units a thousand times smaller and larger."""

    possible: tuple[float, float]
    usual: tuple[float, float]
    unit: str
    smaller: str | None = None
    larger: str | None = None


# Rule of thumb: common practice, no source. Usual: strain gauges of 120 ohm and carbon elastomers of megohms, supplies
# of a battery, amplifiers of bridges; possible: what can be built at all.
_OHM: Final = _Range((1e-3, 1e13), (50.0, 1e8), "ohm", "mohm", "kohm")
_SENSORS: Final[Mapping[str, _Range]] = {
    "excitation_v": _Range((1e-6, 1e3), (0.2, 50.0), "V", "mV"),
    **dict.fromkeys(("r1_ohm", "r2_ohm", "r3_ohm", "rest_ohm"), _OHM),
    "amplifier_gain": _Range((1e-6, 1e8), (0.05, 2e4), ""),
    "gauge_factor": _Range((1e-6, 1e9), (0.05, 1e4), ""),
    "gauge_length_mm": _Range((1e-3, 1e5), (1.0, 1e3), "mm", "um", "m"),
}
_RECORDINGS: Final[Mapping[str, _Range]] = {
    "sampling_frequency": _Range((1e-4, 1e8), (1.0, 1e5), "Hz", None, "kHz"),
    "volume_ml": _Range((1e-3, 1e5), (1.0, 1e3), "ml", "ul", "l"),
}
# Below this a bridge hardly answers to its sensor: r_sensor * r3 / (r_sensor + r3)^2 is 1 % of the supply, not 25 %.
_MOST_UNEQUAL: Final = 100.0
# As ingest rejects what is slower; see there for the source.
_SLOWEST_BODY_HZ: Final = 20.0


def _within(value: float, limits: tuple[float, float]) -> bool:
    return limits[0] <= value <= limits[1]


def _meant(column: str, value: float, size: float, limits: _Range) -> str | None:
    """Say what the number is likely to be, or nothing."""
    if column == "amplifier_gain" and size < limits.usual[0]:
        return "did you mean that the channel is in mV? Then give it the units mV in channels.tsv and leave the gain 1"
    if column == "sampling_frequency" and size < limits.usual[0] and _within(1 / size, (10.0, limits.usual[1])):
        return f"did you mean the time between samples? Then write {1 / value:.6g}"
    for unit, factor in ((limits.smaller, 1e-3), (limits.larger, 1e3)):
        if unit is not None and _within(size * factor, limits.usual) and (size > limits.usual[1]) == (factor < 1):
            return f"did you mean {value:.6g} {unit}? Then write {value * factor:.6g}"
    return None


def _cell_problem(file: str, row: Row, column: str, limits: _Range) -> Problem | None:
    value = to_number(row[column])
    if not value or _within(abs(value), limits.usual):
        return None
    size, unit = abs(value), f" {limits.unit}" if limits.unit else ""
    meant = _meant(column, value, size, limits)
    possible = _within(size, limits.possible)
    remedy = "; ".join(filter(None, [meant, _KEEP if possible else None])) or "correct it"
    low, high = limits.usual
    message = f"{'implausible' if possible else 'cannot be'}: {low:g} to {high:g}{unit} is usual"
    return Problem(file, message, remedy, row=row.number, column=column, value=row[column], caution=possible)


def _unequal(row: Row, column: str, other: str) -> Problem | None:
    """Say of two arms of a bridge that they can hardly both be right."""
    value, beside = to_number(row[column]), to_number(row[other])
    if not value or not beside or value < 0 or beside < 0:
        return None
    ratio = beside / value
    if 1 / _MOST_UNEQUAL <= ratio <= _MOST_UNEQUAL:
        return None
    message = f"implausible: {other} is {beside:g} ohm, and a bridge of arms so unequal hardly answers"
    remedy = f"are both in ohms (not one in kohm)? {_KEEP[0].upper()}{_KEEP[1:]}"
    return Problem(SENSORS.file, message, remedy, row=row.number, column=column, value=row[column], caution=True)


def _too_slow(row: Row) -> Problem | None:
    rate = to_number(row["sampling_frequency"])
    if rate is None or row["task"] not in BODY_TASKS or not _RECORDINGS["sampling_frequency"].usual[0] <= rate:
        return None
    if rate >= _SLOWEST_BODY_HZ:
        return None
    message = f"steps and swallows need at least {_SLOWEST_BODY_HZ:g} Hz: sampled so slowly, the recording is rejected"
    remedy = "correct it, or record faster"
    value = row["sampling_frequency"]
    return Problem(RECORDINGS.file, message, remedy, row.number, "sampling_frequency", value, caution=True)


def magnitude_problems(sensors: Sequence[Row], recordings: Sequence[Row]) -> list[Problem]:
    """Find numbers of the wrong order of magnitude.

    Parameters
    ----------
    sensors, recordings : sequence of Row
        Rows of the two sheets; cells that are no numbers or missing are passed over.

    Returns
    -------
    list of Problem
        By sheet and row; cautions except for what cannot be.
    """
    problems: list[Problem | None] = []
    for row in sensors:
        found = [_cell_problem(SENSORS.file, row, column, limits) for column, limits in _SENSORS.items()]
        problems += found
        odd = {problem.column for problem in found if problem is not None}
        problems += [
            _unequal(row, column, other)
            for column, other in (("r2_ohm", "r1_ohm"), ("rest_ohm", "r3_ohm"))
            if not odd & {column, other}
        ]
    for row in recordings:
        problems += [_cell_problem(RECORDINGS.file, row, column, limits) for column, limits in _RECORDINGS.items()]
        problems.append(_too_slow(row))
    return [problem for problem in problems if problem is not None]
