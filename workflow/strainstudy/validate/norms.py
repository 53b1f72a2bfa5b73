"""Where a person stands among published values: position and z, never pass or fail.

In: a table of published norms (``config/norms.tsv``, or a lab's own of the same columns) and measures per
person. Out: ``validation/norms.tsv``, one row for each person, session, measure and source, so that the
spread between good sources shows. How each published number is known stands beside it: read in the source,
quoted in another text, computed from open data, or from memory; what is from memory gives way where a source was read.
"""

from __future__ import annotations

import csv
import io
import math
import re
from collections.abc import Mapping
from pathlib import Path
from typing import Any, Final

import pandas as pd

from ..errors import Problem, StudyError
from ..io.sheets import to_number
from ..stats.normal import NORMAL_95
from ..tables.standing import NORMS
from ..vocabulary import MISSING, WALKWAYS
from .measurements import GAIT_MEASURES, SIZE, SWALLOW_MEASURES
from .row_frames import rows_frame, text_or_none
from .sources import counts, disagreement, spread
from .wording import norm_words

__all__ = ["MORE_COLUMNS", "NORM_COLUMNS", "position", "published_range", "read_norms"]

NORM_COLUMNS: Final = (
    "measure",
    "unit",
    "population",
    "n",
    "age_low",
    "age_high",
    "sex",
    "mean",
    "sd",
    "low",
    "high",
    "statistic",
    "source",
    "source_read",
    "note",
)
MORE_COLUMNS: Final = ("walkway", "people", "verdict", "quotation")
"""Columns that a table of norms may leave out: where people walked, whether they were patients, what came of reading
the source again, and the sentence that was read."""
_WORDS: Final = {"sex": ("male", "female"), "walkway": WALKWAYS, "people": ("healthy", "patients")}
_NUMBERS: Final = ("n", "age_low", "age_high", "mean", "sd", "low", "high")
STATISTICS: Final = {
    "mean and sd": "mean -/+ 1.96 SD",
    "95 % limits": "published 95 % limits",
    "upper limit": "published upper 95 % limit",
    "typical range": "published typical range",
    "smallest to largest person": "smallest to largest of the people measured",
    "cut-off": "published cut-off",
    "mean": "no range for single people published",
    "interval of mean": "no range for single people published",
}
"""What the numbers of a row are, and in words the range that is made of them."""
_NEEDED: Final = {
    "mean and sd": ("mean", "sd"),
    "95 % limits": ("low", "high"),
    "upper limit": ("high",),
    "typical range": ("low", "high"),
    "smallest to largest person": ("high",),
    "cut-off": ("low",),
    "mean": ("mean",),
    "interval of mean": ("mean", "low", "high"),
}
_READ: Final = re.compile(r"yes|quoted|computed|from memory \(\d{1,3} %\)")
_OF_NORM: Final = ("statistic", "people")
"""What only weighing the sources needs."""
CONTRADICTION: Final = 0.05
"""Largest relative gap between cadence and 120 / stride time of one source (ours: rounding explains less)."""


def _whole(measure: str) -> str:
    """Name a measure without its side, or without the word that it is a size."""
    return measure.removesuffix("_left").removesuffix("_right").removesuffix(SIZE)


_UNITS: Final = {
    name: unit
    for measure, unit in (GAIT_MEASURES | SWALLOW_MEASURES).items()
    for name in sorted({measure, _whole(measure)})
}
"""Units of the measures that a norm can be of, by each name that they may have in it."""


def _row_problems(file: str, line: int, row: Mapping[str, str]) -> list[Problem]:
    problems = []
    for name in ("measure", "unit", "population", "statistic", "source", "source_read"):
        if row[name] in ("", MISSING):
            problems.append(Problem(file, "empty cell", f"give the {name}", line, name))
    known = _UNITS.get(row["measure"])
    if known is None and row["measure"] not in ("", MISSING):
        remedy = f"use one of: {', '.join(sorted(_UNITS))}"
        problems.append(Problem(file, "no table has this measure", remedy, line, "measure", row["measure"]))
    elif known is not None and row["unit"] not in ("", MISSING, known):
        remedy = f"give the numbers in {known}"
        problems.append(Problem(file, f"{row['measure']} has another unit", remedy, line, "unit", row["unit"]))
    for name in _NUMBERS:
        if row[name] not in ("", MISSING) and to_number(row[name]) is None:
            problems.append(Problem(file, "not a number", f"give a number or {MISSING}", line, name, row[name]))
    for name, words in _WORDS.items():
        if row[name] not in ("", MISSING, *words):
            remedy = f"use {', '.join(words)} or {MISSING}"
            problems.append(Problem(file, "unknown word", remedy, line, name, row[name]))
    if row["statistic"] not in STATISTICS:
        remedy = f"use one of: {', '.join(STATISTICS)}"
        problems.append(Problem(file, "unknown word", remedy, line, "statistic", row["statistic"]))
    else:
        problems += [
            Problem(file, f"needed for {row['statistic']!r}", "give the number", line, name)
            for name in _NEEDED[row["statistic"]]
            if row[name] in ("", MISSING)
        ]
    if row["source_read"] and not _READ.fullmatch(row["source_read"]):
        remedy = "use yes, quoted, computed, or from memory (NN %)"
        problems.append(Problem(file, "unknown word", remedy, line, "source_read", row["source_read"]))
    for lower, upper in (("low", "high"), ("age_low", "age_high")):
        a, b = to_number(row[lower]), to_number(row[upper])
        if a is not None and b is not None and a > b:
            problems.append(Problem(file, f"larger than {upper}", "swap the two", line, lower, row[lower]))
    sd = to_number(row["sd"])
    if sd is not None and sd <= 0:
        problems.append(Problem(file, "not above 0", "give a standard deviation above 0", line, "sd", row["sd"]))
    return problems


def _contradictions(file: str, rows: list[tuple[int, dict[str, str]]]) -> list[Problem]:
    """Check that cadence and stride time of one source belong together: cadence = 120 / stride time."""
    problems = []
    who = ("source", "population", "age_low", "age_high", "sex")
    strides = {tuple(row[k] for k in who): row for _, row in rows if row["measure"] == "stride_time_mean"}
    for line, row in rows:
        stride = strides.get(tuple(row[k] for k in who))
        if row["measure"] != "cadence" or stride is None:
            continue
        for name, other in (("mean", "mean"), ("low", "high"), ("high", "low")):
            cadence, time = to_number(row[name]), to_number(stride[other])
            if cadence is None or time is None or time <= 0:
                continue
            if abs(cadence * time / 120 - 1) > CONTRADICTION:
                message = f"contradicts the stride time of the same source ({other} {time:g} s = {120 / time:.1f}/min)"
                problems.append(Problem(file, message, "look it up again or leave it out", line, name, row[name]))
    return problems


def read_norms(path: Path, shown: str | None = None) -> pd.DataFrame:
    """Read and check a table of norms.

    Parameters
    ----------
    path : Path
        Tab-separated text with the columns `NORM_COLUMNS`, and any of `MORE_COLUMNS`.
    shown : str, optional
        Name of the file in messages.

    Returns
    -------
    DataFrame
        Numbers as float (NaN for ``n/a``), words as text or None.

    Raises
    ------
    StudyError
        With every fault: missing columns, cells that are no numbers, unknown words, measures or units that no table
        has, ranges upside down, a cadence and a stride time of one source that contradict each other.
    """
    file = shown or path.name
    try:
        text = path.read_text(encoding="utf-8")
    except (OSError, UnicodeDecodeError) as error:
        reason = error.strerror if isinstance(error, OSError) else "not UTF-8 text"
        raise StudyError([Problem(file, f"cannot be read ({reason})", "give a readable table of norms")]) from None
    reader = csv.DictReader(io.StringIO(text), delimiter="\t", quoting=csv.QUOTE_NONE)
    names = reader.fieldnames or []
    missing = [name for name in NORM_COLUMNS if name not in names]
    if missing:
        raise StudyError([Problem(file, "column is missing", "add it to the header", 1, name) for name in missing])
    rows: list[tuple[int, dict[str, str]]] = []
    problems = []
    for line, row in enumerate(reader, start=2):
        if None in row or any(row[name] is None for name in NORM_COLUMNS):
            problems.append(Problem(file, "wrong number of cells", "give one cell for each column", line))
            continue
        clean = {name: (row.get(name) or MISSING).strip() for name in (*NORM_COLUMNS, *MORE_COLUMNS)}
        rows.append((line, clean))
        problems += _row_problems(file, line, clean)
    problems += _contradictions(file, rows)
    if problems:
        raise StudyError(sorted(problems, key=lambda p: p.row or 0))
    frame = pd.DataFrame([row for _, row in rows], columns=[*NORM_COLUMNS, *MORE_COLUMNS]).astype(object)
    frame = frame.mask(frame.isin(["", MISSING]), None)
    for name in _NUMBERS:
        frame[name] = pd.to_numeric(frame[name]).astype("float64")
    return frame


def published_range(norm: Mapping[str, Any]) -> tuple[float, float]:
    """Range for single people that a row of norms stands for; NaN on a side that it does not give."""
    match norm["statistic"]:
        case "mean and sd":
            return norm["mean"] - NORMAL_95 * norm["sd"], norm["mean"] + NORMAL_95 * norm["sd"]
        case "mean" | "interval of mean":
            return math.nan, math.nan
        case _:
            return norm["low"], norm["high"]


def _applies(norm: Mapping[str, Any], age: float | None, sex: str | None, walkway: str | None) -> bool:
    limited = math.isfinite(norm["age_low"]) or math.isfinite(norm["age_high"])
    if limited and age is None:
        return False
    if age is not None and (age < norm["age_low"] or age > norm["age_high"]):
        return False
    # Most people are recorded on the ground, and a treadmill changes how they walk.
    if norm["walkway"] is not None and norm["walkway"] != (walkway or "overground"):
        return False
    return norm["sex"] is None or norm["sex"] == sex


def _place(value: float, low: float, high: float) -> str | None:
    if not (math.isfinite(low) or math.isfinite(high)):
        return None
    if math.isfinite(low) and value < low:
        return "below"
    if math.isfinite(high) and value > high:
        return "above"
    return "within"


def position(
    people: pd.DataFrame,
    norms: pd.DataFrame,
    ages: Mapping[str, float | None],
    sexes: Mapping[str, str | None],
) -> pd.DataFrame:
    """Place each person's measures among the published values that fit their age and sex.

    Parameters
    ----------
    people : DataFrame
        From `measurements.per_person`; with a column ``walkway`` where it is known.
    norms : DataFrame
        From `read_norms`. A norm without age limits or sex fits everybody; one with age limits is not used
        for a person whose age is not known. One of a treadmill is used for recordings of one only; one of overground
        walking for recordings that do not say treadmill; one that does not say for all. A norm of measure
        ``stance_fraction_mean`` is used for ``_left`` and ``_right``, one of ``swing_time_log_ratio`` for its size.
    ages, sexes : mapping of participant_id
        Years; ``male``, ``female``, ``other`` or None.

    Returns
    -------
    DataFrame
        Columns of ``validation/norms.tsv``; measures without any norm have no row.
    """
    table: list[dict[str, Any]] = [{str(k): v for k, v in row.items()} for row in norms.to_dict("records")]
    rows: list[dict[str, Any]] = []
    for person in people.to_dict("records"):
        who, measure = str(person["participant_id"]), str(person["measure"])
        names = (measure, _whole(measure))
        age = ages.get(who)
        age = None if age is None or not math.isfinite(age) else age
        walkway = text_or_none(person.get("walkway"))
        fitting = [
            norm
            for norm in table
            if norm["measure"] in names
            and norm["unit"] == person["unit"]
            and _applies(norm, age, sexes.get(who), walkway)
        ]
        entries = [{**_entry(person, norm, counts(norm, fitting)), "walkway": walkway} for norm in fitting]
        summary, at_odds = spread(entries), disagreement(entries)
        rows += [{**entry, "all_sources": summary, "sources_disagree": at_odds} for entry in entries]
    return rows_frame([{k: v for k, v in row.items() if k not in _OF_NORM} for row in rows], NORMS, norm_words)


def _entry(person: Mapping[Any, Any], norm: Mapping[str, Any], counted: bool) -> dict[str, Any]:
    """One person's measure beside one source."""
    low, high = published_range(norm)
    value = float(person["value"])
    z = (value - norm["mean"]) / norm["sd"] if counted and norm["statistic"] == "mean and sd" else math.nan
    return {
        "participant_id": str(person["participant_id"]),
        "session_id": text_or_none(person["session_id"]),
        "trial_type": text_or_none(person["trial_type"]),
        "measure": str(person["measure"]),
        "unit": person["unit"],
        "value": value,
        "n_recordings": int(person["n_recordings"]),
        "published_mean": norm["mean"],
        "published_sd": norm["sd"],
        "published_low": low,
        "published_high": high,
        "range_kind": STATISTICS[norm["statistic"]],
        "z": z,
        "position": _place(value, low, high) if counted else None,
        "counts": counted,
        "population": norm["population"],
        "population_walkway": norm["walkway"],
        "population_n": None if math.isnan(norm["n"]) else int(norm["n"]),
        "source": norm["source"],
        "source_read": norm["source_read"],
        "verdict": norm["verdict"],
        "note": norm["note"],
        "statistic": norm["statistic"],
        "people": norm["people"],
    }
