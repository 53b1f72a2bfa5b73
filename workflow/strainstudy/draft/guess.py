"""Unit, place and task of every column and file of a folder, put together from names, files and signals.

In: what each path says and what each file holds. Out: the same, completed by what the files say of one another: a
column that is a knee in a walk is one under the same name in every file. What was only guessed carries its reason.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import combinations
from typing import Final

from ..vocabulary import BENCH_TASKS, KNEES, MISSING, RESPONSE_UNITS
from .columns import Column, alternate, column_by_name, unit_by_size
from .files import Seen
from .names import Named

__all__ = ["Drafted", "put_together"]

_ELECTRIC: Final = (*RESPONSE_UNITS, None)
_REFERENCES: Final = ("reference_strain", "reference_displacement")


@dataclass(frozen=True)
class Drafted:
    """One recording with its columns.

    Parameters
    ----------
    named : Named
        What its path says; a task that is missing there may come from its columns.
    seen : Seen
        What its file holds.
    columns : tuple of Column
        In the order of the file.
    guesses : tuple of str
        What rests on more than a name, in words.
    """

    named: Named
    seen: Seen
    columns: tuple[Column, ...]
    guesses: tuple[str, ...] = ()


def _likely_unit(column: Column, seen: Seen) -> list[str]:
    """Say which unit is likely by the size of the values: no more, as counts of a converter may have any size."""
    values = seen.values.get(column.name)
    units = None if column.units is not None or values is None else unit_by_size(values)
    if units is None:
        return []
    return [f"column {column.name!r} may be in {units}, by the size of its values; left {MISSING}"]


def _alternate(one: Column, other: Column, seen: Seen) -> bool:
    first, second = seen.values.get(one.name), seen.values.get(other.name)
    if seen.rate is None or first is None or second is None or len(first) != len(second):
        return False
    return alternate(first, second, seen.rate)


def _pairs(drafted: Drafted) -> list[tuple[Column, Column]]:
    """Find pairs of columns without a place that alternate as knees do."""
    seen = drafted.seen
    if drafted.named.task in BENCH_TASKS:
        return []
    without = [column for column in drafted.columns if column.tracked_point is None and column.units in _ELECTRIC]
    return [(one, other) for one, other in combinations(without, 2) if _alternate(one, other, seen)]


def _placed(drafted: Drafted, knees: dict[str, str], told: dict[str, str]) -> Drafted:
    """Give columns without a place that of the same name elsewhere, or that of the task."""
    columns, guesses = [], list(drafted.guesses)
    bench = drafted.named.task in BENCH_TASKS
    lone = [c for c in drafted.columns if c.tracked_point is None and c.units in _ELECTRIC]
    for column in drafted.columns:
        if column.tracked_point is None and not bench and column.name in knees:
            column = replace(column, tracked_point=knees[column.name])
            guesses.append(f"column {column.name!r} on the {knees[column.name].replace('_', ' ')}: {told[column.name]}")
        elif column.tracked_point is None and not bench and lone == [column] and drafted.named.task == "swallow":
            column = replace(column, tracked_point="throat")
            guesses.append(f"column {column.name!r} on the throat, by the task")
        elif column.tracked_point is None and bench and lone == [column]:
            column = replace(column, tracked_point="sensor")
            guesses.append(f"column {column.name!r} is the sensor, as the only one without another meaning")
        columns.append(column)
    return replace(drafted, columns=tuple(columns), guesses=tuple(guesses))


def _with_task(drafted: Drafted) -> Drafted:
    """Guess a task that no name says: two knees that alternate walk, a throat alone swallows."""
    if drafted.named.task is not None:
        return drafted
    seen, points = drafted.seen, {c.tracked_point: c for c in drafted.columns if c.units in _ELECTRIC}
    both = [points[knee] for knee in KNEES.values() if knee in points]
    task, why = None, ""
    if set(points) == {"throat"}:
        task, why = "swallow", "its only sensor is on the throat"
    elif len(both) == 2 and _alternate(both[0], both[1], seen):
        task, why = "walk", "its knees alternate"
    if task is None:
        return drafted
    named = replace(drafted.named, task=task)
    return replace(drafted, named=named, guesses=(*drafted.guesses, f"task {task}: {why}"))


def put_together(named: Sequence[Named], seen: Sequence[Seen]) -> tuple[list[Drafted], list[str]]:
    """Complete what names say by what files say.

    Parameters
    ----------
    named, seen : sequence
        Of the same files in the same order.

    Returns
    -------
    list of Drafted
        In that order.
    list of str
        Questions that signals raise: pairs of columns that are knees, of which no signal tells the left one.
    """
    found = []
    for name, file in zip(named, seen, strict=True):
        columns = [column_by_name(c, file.units, bench=name.task in BENCH_TASKS) for c in file.names]
        if name.task is None and name.participant_id is None:
            as_bench = [column_by_name(c, file.units, bench=True) for c in file.names]
            if any(c.tracked_point in _REFERENCES for c in as_bench):
                name, columns = replace(name, task="stretch"), as_bench
        guesses = [guess for column in columns for guess in _likely_unit(column, file)]
        found.append(Drafted(name, file, tuple(columns), tuple(guesses)))
    knees: dict[str, str] = {}
    told: dict[str, str] = {}
    asked: dict[tuple[str, str], str] = {}
    for drafted in found:
        for one, other in _pairs(drafted):
            if {one.side, other.side} == {"left", "right"}:
                for column in (one, other):
                    knees.setdefault(column.name, KNEES[column.side or "left"])
                    told.setdefault(column.name, f"its side by its name, and it alternates in {drafted.seen.file}")
            else:
                asked.setdefault((one.name, other.name), drafted.seen.file)
    questions = [
        f"Columns {one!r} and {other!r} alternate as two knees in walking do (first in {file}): which is the left one?"
        for (one, other), file in asked.items()
    ]
    return [_with_task(_placed(drafted, knees, told)) for drafted in found], questions
