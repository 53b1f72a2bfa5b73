"""The four sheets as drafts, and what is left to answer.

In: recordings with their columns. Out: rows of the sheets, every cell that nothing tells as ``n/a``, and the questions
that those cells put.
"""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Final

from ..intake.rules import CHANNELS, EVERY_RECORDING, PARTICIPANTS, RECORDINGS, SENSORS
from ..vocabulary import BENCH_TASKS, BODY_POINTS, MISSING, RESPONSE_UNITS
from .guess import Drafted
from .names import stem_of

__all__ = ["Draft", "Question", "draft_sheets"]

_RECORDING_COLUMNS: Final = (
    *("recording_id", "task", "file", "participant_id", "session_id", "sensor_id"),
    *("sampling_frequency", "time_column", "volume_ml"),
)
_CHANNEL_COLUMNS: Final = ("recording_id", "name", "tracked_point", "units", "sensor_id")
_ASKED: Final[Mapping[tuple[str, str], str]] = {
    (PARTICIPANTS.file, "age"): "How old is each person, in years?",
    (PARTICIPANTS.file, "sex"): "What is each person's sex (male, female, other)?",
    (PARTICIPANTS.file, "group"): "Which group does each person belong to?",
    (PARTICIPANTS.file, "affected_side"): "Which side is affected (left, right, both, none)?",
    (SENSORS.file, "excitation_v"): "Which supply does the bridge have, in volts?",
    (SENSORS.file, "r1_ohm"): "Which resistors does the bridge have, in ohms (r1)?",
    (SENSORS.file, "r2_ohm"): "r2 of the bridge; n/a if it is trimmed to zero output at rest.",
    (SENSORS.file, "r3_ohm"): "r3 of the bridge?",
    (SENSORS.file, "amplifier_gain"): "How much does the amplifier amplify (1 without one)?",
    (SENSORS.file, "polarity"): "Does the voltage rise when the sensor is stretched by hand (1) or fall (-1)?",
    (SENSORS.file, "rest_ohm"): "What does an ohmmeter read at rest? Needed where there is no r2.",
    (SENSORS.file, "gauge_factor"): "Relative change of resistance per strain, if it is known.",
    (SENSORS.file, "gauge_length_mm"): "How long is the stretched part of the sensor, in millimetres?",
    (RECORDINGS.file, "task"): "What was done (walk, bend, swallow, free, stretch, tap)?",
    (RECORDINGS.file, "participant_id"): "Whose recording is it (sub-...)?",
    (RECORDINGS.file, "session_id"): "Which session is it (ses-...)?",
    (RECORDINGS.file, "sensor_id"): "Which sensor was on the bench?",
    (RECORDINGS.file, "sampling_frequency"): "How many samples a second? Neither the file nor a time column tells.",
    (RECORDINGS.file, "volume_ml"): "If water was swallowed against time, how much, in millilitres?",
    (CHANNELS.file, "tracked_point"): "Where was it (left_knee, right_knee, throat; on the bench sensor, "
    "reference_strain, reference_displacement)? Remove the row of a column that is none of these.",
    (CHANNELS.file, "units"): "In which unit is it (V, mV, ohm, a.u., deg; on the bench percent, mm)?",
    (CHANNELS.file, "sensor_id"): "Which sensor of sensors.tsv was it?",
}


@dataclass(frozen=True)
class Question:
    """Cells of one column that nothing tells.

    Parameters
    ----------
    sheet, column : str
        Where.
    text : str
        What to find out.
    rows : tuple of str
        Ids of the rows; for channels with the name of the column behind a blank.
    """

    sheet: str
    column: str
    text: str
    rows: tuple[str, ...]


@dataclass(frozen=True)
class Draft:
    """Sheets by file name as header and rows of cells, and the questions that are open."""

    sheets: Mapping[str, tuple[tuple[str, ...], tuple[tuple[str, ...], ...]]]
    questions: tuple[Question, ...]


def _ids(drafted: Sequence[Drafted]) -> list[str]:
    """Make ids of file names; with their folders where two files have one name, numbered where that is not enough."""

    def clean(text: str) -> str:
        return re.sub(r"[^A-Za-z0-9_-]+", "-", text).strip("-") or "recording"

    short = [clean(stem_of(one.seen.file)) for one in drafted]
    counts = Counter(short)
    long = [
        clean(stem_of(one.seen.file, whole=True)) if counts[s] > 1 else s for one, s in zip(drafted, short, strict=True)
    ]
    taken: Counter[str] = Counter()
    ids = []
    for name in long:
        taken[name] += 1
        ids.append(name if taken[name] == 1 else f"{name}-{taken[name]}")
    return ids


def _rate_text(one: Drafted) -> str | None:
    if one.seen.own_rate or one.seen.rate is None:
        return None
    return f"{one.seen.rate:.6g}"


def _channel_rows(drafted: Sequence[Drafted], ids: Sequence[str]) -> list[dict[str, str | None]]:
    """Make rows for every recording of what has no sensor and means the same everywhere, others one by one."""
    meanings: dict[str, set[tuple[str | None, str | None, bool]]] = {}
    counts: Counter[str] = Counter()
    for one in drafted:
        for column in one.columns:
            bench = one.named.task in BENCH_TASKS
            meanings.setdefault(column.name, set()).add((column.tracked_point, column.units, bench))
            counts[column.name] += 1
    shared, single = [], []
    for name, found in sorted(meanings.items()):
        point, units, _ = next(iter(found))
        if len(found) == 1 and counts[name] > 1 and (point is None or units not in RESPONSE_UNITS):
            shared.append(name)
    rows: list[dict[str, str | None]] = [
        {"recording_id": EVERY_RECORDING, "name": name, "tracked_point": point, "units": units}
        for name in shared
        for point, units, _ in meanings[name]
    ]
    for one, identifier in zip(drafted, ids, strict=True):
        for column in one.columns:
            if column.name in shared:
                continue
            sensor = one.named.sensor_id if column.tracked_point == "sensor" else None
            single.append(
                {
                    "recording_id": identifier,
                    "name": column.name,
                    "tracked_point": column.tracked_point,
                    "units": column.units,
                    "sensor_id": sensor,
                }
            )
    return rows + single


def _open_cells(
    sheet: str, rows: Sequence[Mapping[str, str | None]], bench: set[str], own_rate: set[str]
) -> list[Question]:
    """Find the cells that somebody has to fill, column by column."""

    def is_open(row: Mapping[str, str | None], column: str) -> bool:
        if row.get(column) is not None:
            return False
        if sheet == RECORDINGS.file:
            name, of_bench = row["recording_id"] or "", row["recording_id"] in bench
            return {
                "participant_id": not of_bench,
                "sensor_id": of_bench,
                "sampling_frequency": name not in own_rate and row.get("time_column") is None,
                "volume_ml": row.get("task") == "swallow",
            }.get(column, True)
        if sheet == CHANNELS.file and column == "sensor_id":
            # a point that is asked for tells with its answer whether there is a sensor
            worn = row.get("tracked_point") in (*BODY_POINTS, "sensor")
            return worn and row.get("units") in ("V", "mV", "ohm", "a.u.")
        return True

    found = []
    for (of_sheet, column), text in _ASKED.items():
        if of_sheet == sheet:
            cells = [
                f"{row['recording_id']} {row['name']}" if sheet == CHANNELS.file else str(next(iter(row.values())))
                for row in rows
                if is_open(row, column)
            ]
            if cells:
                found.append(Question(sheet, column, text, tuple(cells)))
    return found


def draft_sheets(drafted: Sequence[Drafted]) -> Draft:
    """Write down what is known.

    Parameters
    ----------
    drafted : sequence of Drafted
        One for each raw file.

    Returns
    -------
    Draft
    """
    ids = _ids(drafted)
    recordings: list[dict[str, str | None]] = [
        {
            "recording_id": identifier,
            "task": one.named.task,
            "file": one.seen.file,
            "participant_id": one.named.participant_id,
            "session_id": one.named.session_id,
            "sensor_id": one.named.sensor_id,
            "sampling_frequency": _rate_text(one),
            "time_column": one.seen.time_column,
            "volume_ml": one.named.volume_ml,
        }
        for one, identifier in zip(drafted, ids, strict=True)
    ]
    people = sorted({one.named.participant_id for one in drafted} - {None}, key=str)
    sensors = sorted({one.named.sensor_id for one in drafted} - {None}, key=str)
    rows: dict[str, tuple[tuple[str, ...], list[dict[str, str | None]]]] = {
        PARTICIPANTS.file: (PARTICIPANTS.known, [{"participant_id": person} for person in people]),
        SENSORS.file: (SENSORS.known, [{"sensor_id": sensor} for sensor in sensors]),
        RECORDINGS.file: (_RECORDING_COLUMNS, recordings),
        CHANNELS.file: (_CHANNEL_COLUMNS, _channel_rows(drafted, ids)),
    }
    bench = {i for one, i in zip(drafted, ids, strict=True) if one.named.task in BENCH_TASKS}
    own_rate = {i for one, i in zip(drafted, ids, strict=True) if one.seen.own_rate}
    questions = [q for sheet, (_, found) in rows.items() for q in _open_cells(sheet, found, bench, own_rate)]
    sheets = {
        sheet: (columns, tuple(tuple(row.get(column) or MISSING for column in columns) for row in found))
        for sheet, (columns, found) in rows.items()
    }
    return Draft(sheets, tuple(questions))
