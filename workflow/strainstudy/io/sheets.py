"""Tab-separated sheets as people write them: text to a frame of strings, and rules to a list of problems.

In: a file and the rules of its columns. Out: a `Sheet` (strings as they stand, ``None`` where missing, rows
under their line number) and every `Problem`, none of which stops the search for the next. Byte order marks,
any line end, blank lines and cells quoted by a spreadsheet are read as they are meant; anything that would
have to be guessed is a problem.
"""

from __future__ import annotations

import difflib
import math
import re
import stat
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path
from typing import Any

import pandas as pd

from ..errors import Problem
from ..vocabulary import MISSING

__all__ = [
    "Cells",
    "Check",
    "Rule",
    "Sheet",
    "check_sheets",
    "matches",
    "number",
    "one_of",
    "read_cells",
    "read_sheet",
    "to_number",
]

_SEPARATORS = {",": "commas", ";": "semicolons"}
_MOST_BYTES = 100_000_000
"""A sheet that is larger is no sheet: a million rows have about that (ours)."""
_UTF8_REMEDY = "save it as tab-separated text in UTF-8"
_UNSEEN = re.compile("[\x01-\x08\x0b\x0c\x0e-\x1f\x7f-\x9f]")
_QUOTED = re.compile(r'"((?:[^"]|"")*)"')


@dataclass(frozen=True)
class Sheet:
    """The cells of one sheet.

    Parameters
    ----------
    file : str
        File name for messages.
    frame : DataFrame
        Strings, ``None`` where missing; the index is the line number as an editor counts it.
    """

    file: str
    frame: pd.DataFrame


@dataclass(frozen=True)
class Cells:
    """The cells of one sheet without a frame, which takes longer to make of a small sheet than the sheet to read.

    Parameters
    ----------
    names : list of str
        Columns.
    rows : list of list of str or None
        Strings row by row, ``None`` where missing.
    lines : list of int
        Line number of each row as an editor counts it.
    """

    names: list[str]
    rows: list[list[str | None]]
    lines: list[int]


@dataclass(frozen=True)
class Check:
    """One condition on a cell that is not missing, with the words for a cell that fails it."""

    holds: Callable[[str], bool]
    message: str
    remedy: str


@dataclass(frozen=True)
class Rule:
    """What one column must be.

    Parameters
    ----------
    name : str
        Column.
    checks : tuple of Check
        Conditions; the first that fails is reported for a cell.
    required : bool
        The column must be there.
    filled : bool
        No cell may be missing.
    unique : bool
        No two cells may be equal.
    """

    name: str
    checks: tuple[Check, ...] = ()
    required: bool = False
    filled: bool = False
    unique: bool = False


@lru_cache(maxsize=1 << 16)
def to_number(text: str | None) -> float | None:
    """Read a finite number written with a decimal point; ``None`` if missing or anything else."""
    if text is None or "_" in text:
        return None
    try:
        value = float(text)
    except ValueError:
        return None
    return value if math.isfinite(value) else None


def one_of(words: Iterable[str], shown: str | None = None) -> Check:
    """Make the check that a cell is one of ``words``; ``shown`` stands for them in the remedy."""
    known = tuple(words)
    remedy = f"use one of: {shown or ', '.join(known)}"
    return Check(lambda text: text in known, "not one of the known words", remedy)


def matches(pattern: str, message: str, remedy: str) -> Check:
    """Make the check that a whole cell matches ``pattern``."""
    compiled = re.compile(pattern, re.ASCII)
    return Check(lambda text: compiled.fullmatch(text) is not None, message, remedy)


def number(
    condition: Callable[[float], bool] | None = None, wanted: str = "a number", unit: str | None = None
) -> tuple[Check, ...]:
    """Make the checks that a cell is a number and meets ``condition``, which ``wanted`` says in words."""
    in_unit = f" in {unit}" if unit else ""

    def parses(text: str) -> bool:
        return to_number(text) is not None

    checks = [
        Check(
            lambda text: not (to_number(text.replace(",", ".")) is not None and text.count(",") == 1),
            "a decimal comma",
            "write the number with a decimal point",
        ),
        Check(parses, "not a number", f"give {wanted}{in_unit}, or {MISSING} if it is not known"),
    ]
    if condition is not None:
        met = condition

        def within(text: str) -> bool:
            value = to_number(text)
            return value is None or met(value)

        checks.append(Check(within, "out of range", f"give {wanted}{in_unit}"))
    return tuple(checks)


def _decode(content: bytes, file: str) -> tuple[str, list[Problem]]:
    if content.startswith((b"\xff\xfe", b"\xfe\xff")):
        return "", [Problem(file, "UTF-16 text, not UTF-8", _UTF8_REMEDY)]
    if b"\0" in content or content.startswith(b"PK\x03\x04"):
        return "", [Problem(file, "not a text file (a spreadsheet's own format, perhaps)", _UTF8_REMEDY)]
    try:
        text = content.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        row = len(re.findall(rb"\r\n|\r|\n", content[: error.start])) + 1
        message = f"a character that is not UTF-8 (byte 0x{content[error.start]:02x})"
        return "", [Problem(file, message, _UTF8_REMEDY, row=row)]
    unseen = {len(re.findall(r"\r\n|\r|\n", text[: match.start()])) + 1: match[0] for match in _UNSEEN.finditer(text)}
    return text, [
        Problem(file, f"a control character (U+{ord(character):04X})", "delete it, or type the cell again", row=row)
        for row, character in unseen.items()
    ]


@lru_cache(maxsize=1 << 16)
def _cell(text: str) -> str | None:
    text = text.strip()
    if whole := _QUOTED.fullmatch(text):
        text = whole[1].replace('""', '"').strip()
    return None if text in ("", MISSING) else text


def _header_problems(names: Sequence[str | None], file: str, row: int) -> list[Problem]:
    problems = []
    for i, name in enumerate(names):
        if name is None:
            problems.append(Problem(file, f"column {i + 1} has no name", "give it one or remove it", row=row))
        elif name in names[:i]:
            problems.append(Problem(file, "the column is there twice", "keep one", row=row, column=name))
    return problems


def read_cells(path: Path, file: str, columns: Sequence[str]) -> tuple[Cells | None, list[Problem]]:
    """Read the cells of one tab-separated sheet.

    Parameters
    ----------
    path : Path
        The file.
    file : str
        Its name for messages.
    columns : sequence of str
        The columns that must be there, named in the remedy when the file is missing or empty.

    Returns
    -------
    Cells or None
        ``None`` if the text as a whole cannot be read as a table.
    list of Problem
        Faults of the text. Rows of the wrong length are reported and left out.
    """
    wanted = f"a header row with {', '.join(columns)}"
    try:
        about = path.stat()
        if not stat.S_ISREG(about.st_mode):
            return None, [Problem(file, "not an ordinary file", f"make it one, with {wanted}")]
        if about.st_size > _MOST_BYTES:
            message = f"{about.st_size / 1e6:.0f} MB, too large for a sheet"
            return None, [Problem(file, message, "is it a raw file? Then name it in recordings.tsv")]
        content = path.read_bytes()
    except FileNotFoundError:
        return None, [Problem(file, "the file is not there", f"make it, with {wanted}")]
    except (OSError, ValueError) as error:
        why = error.strerror if isinstance(error, OSError) else error
        return None, [Problem(file, f"the file cannot be opened ({why})", "make it a readable file")]
    text, problems = _decode(content, file)
    if problems:
        return None, problems
    lines = text.replace("\r\n", "\n").replace("\r", "\n").split("\n")
    numbered = [(i, line) for i, line in enumerate(lines, start=1) if line.strip()]
    if not numbered:
        return None, [Problem(file, "the file is empty", f"give it {wanted}")]
    first, header = numbered[0]
    for separator, word in _SEPARATORS.items():
        if "\t" not in header and separator in header:
            message = f"the columns are separated by {word}, not by tabs"
            return None, [Problem(file, message, "save it as tab-separated text", row=first)]
    names = [_cell(part) for part in header.split("\t")]
    while len(names) > 1 and names[-1] is None:
        names.pop()
    problems = _header_problems(names, file, first)
    if problems:
        return None, problems
    rows, index = [], []
    for i, line in numbered[1:]:
        cells = [_cell(part) for part in line.split("\t")]
        if line.count("\t") + 1 < len(names) or any(cell is not None for cell in cells[len(names) :]):
            message = f"{len(cells)} cells where the header has {len(names)}"
            remedy = f"give every column a cell ({MISSING} where there is no value), one tab between them"
            problems.append(Problem(file, message, remedy, row=i))
            continue
        rows.append(cells[: len(names)])
        index.append(i)
    return Cells([str(name) for name in names], rows, index), problems


def read_sheet(path: Path, file: str, columns: Sequence[str]) -> tuple[Sheet | None, list[Problem]]:
    """Read one tab-separated sheet, as `read_cells` does, into a frame.

    Returns
    -------
    Sheet or None
        ``None`` if the text as a whole cannot be read as a table.
    list of Problem
        As `read_cells` gives them.
    """
    cells, problems = read_cells(path, file, columns)
    if cells is None:
        return None, problems
    index = pd.Index(cells.lines, dtype="int64", name="row")
    return Sheet(file, pd.DataFrame(cells.rows, index=index, columns=cells.names, dtype=object)), problems


def _column_problems(sheet: Sheet, rules: Sequence[Rule], extra_allowed: bool) -> list[Problem]:
    here = [str(name) for name in sheet.frame.columns]
    known = [rule.name for rule in rules]
    absent = [name for name in known if name not in here]
    odd = [name for name in here if name not in known]
    problems, taken = [], set()
    for rule in rules:
        if rule.required and rule.name in absent:
            near = difflib.get_close_matches(rule.name, odd, n=1, cutoff=0.75)
            taken.update(near)
            remedy = f"is it {near[0]!r}? Then rename that one" if near else "add it"
            problems.append(Problem(sheet.file, "a required column is missing", remedy, row=1, column=rule.name))
    if not extra_allowed:
        for name in odd:
            near = difflib.get_close_matches(name, absent, n=1, cutoff=0.75)
            if near and name not in taken:
                remedy = f"did you mean {near[0]!r}? Then rename it, else give it a name less like it"
                problems.append(Problem(sheet.file, "unknown column", remedy, row=1, column=name))
    return problems


def _failures(frame: pd.DataFrame, rules: Sequence[Rule]) -> list[tuple[int, str, str]]:
    """List (row position, column, number of the check or its pandera name) of every failure."""
    import pandera.pandas as pa  # here, so that the stages that only read sheets start without it

    columns = {}
    for rule in rules:
        if rule.name in frame.columns:
            checks = [
                pa.Check(check.holds, element_wise=True, ignore_na=True, name=str(i))
                for i, check in enumerate(rule.checks)
            ]
            columns[rule.name] = pa.Column(
                object,
                checks,
                nullable=not rule.filled,
                unique=rule.unique,
                report_duplicates="exclude_first",
            )
    try:
        pa.DataFrameSchema(columns, strict=False).validate(frame, lazy=True)
    except pa.errors.SchemaErrors as error:
        cases = error.failure_cases
        return [
            (int(i), str(c), str(k)) for i, c, k in zip(cases["index"], cases["column"], cases["check"], strict=True)
        ]
    return []


def check_sheets(sheets: Sequence[Sheet], rules: Sequence[Rule], *, extra_allowed: bool) -> list[Problem]:
    """Compare sheets of one kind with the rules of that kind, all in one pass.

    Parameters
    ----------
    sheets : sequence of Sheet
        One sheet, or many of one kind (label files); uniqueness holds over all of them.
    rules : sequence of Rule
        The columns.
    extra_allowed : bool
        Whether a column without a rule is the lab's own. If not, one whose name is nearly that of an
        absent column is reported, and others are passed over.

    Returns
    -------
    list of Problem
        Sheet by sheet; first the columns, then the cells by row and column.
    """
    problems = {sheet.file: _column_problems(sheet, rules, extra_allowed) for sheet in sheets}
    by_name = {rule.name: (i, rule) for i, rule in enumerate(rules)}
    used = [sheet.frame[[c for c in sheet.frame.columns if c in by_name]] for sheet in sheets]
    if not any(len(frame) for frame in used):
        return [problem for found in problems.values() for problem in found]
    frame = pd.concat(used, ignore_index=True).astype(object)
    missing: Any = None
    frame = frame.where(frame.notna(), missing)
    places = [(sheet, int(row)) for sheet in sheets for row in sheet.frame.index]
    seen: set[tuple[int, str]] = set()
    found: list[tuple[int, int, Problem]] = []
    for position, column, check in sorted(_failures(frame, rules), key=lambda f: (f[0], f[1], f[2])):
        sheet, row = places[position]
        if column not in sheet.frame.columns or (position, column) in seen:
            continue
        seen.add((position, column))
        order, rule = by_name[column]
        value = frame[column].iloc[position]
        if value is None:
            problem = Problem(sheet.file, "no value", "fill it in", row=row, column=column)
        elif check.isdigit():
            failed = rule.checks[int(check)]
            problem = Problem(sheet.file, failed.message, failed.remedy, row=row, column=column, value=value)
        else:
            remedy = "give every row its own"
            problem = Problem(sheet.file, "there twice", remedy, row=row, column=column, value=value)
        found.append((position, order, problem))
    for position, _, problem in sorted(found, key=lambda f: f[:2]):
        problems[places[position][0].file].append(problem)
    return [problem for group in problems.values() for problem in group]
