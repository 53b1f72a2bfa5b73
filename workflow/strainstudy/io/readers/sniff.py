"""How a delimited text file is laid out: separator, decimal sign, header lines, column names, units row.

In: the first lines of the file. Out: a `Layout`. The separator is the one under which the rows hold most numbers
in a constant number of cells; nothing is taken from the file's suffix.
"""

from __future__ import annotations

import csv
import re
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass

from .model import ReadError
from .numerals import OVER_RANGE

__all__ = ["MISSING_MARKERS", "Layout", "find_layout"]

SEPARATORS = {"\t": "tab", ";": "semicolon", ",": "comma"}
MISSING_MARKERS = (
    "", "n/a", "N/A", "#N/A", "NA", "na", "NaN", "nan", "NAN", "-NaN", "-nan", "null", "NULL", "None", "none",
    "-", "--",
)  # fmt: skip
_MISSING = frozenset(MISSING_MARKERS)
_NUMBER = {
    ".": re.compile(r"[+-]?(\d+\.?\d*|\.\d+)([eE][+-]?\d+)?", re.ASCII),
    ",": re.compile(r"[+-]?(\d+,?\d*|,\d+)([eE][+-]?\d+)?", re.ASCII),
}
_OVER_RANGE = re.compile(OVER_RANGE, re.IGNORECASE)
_CLOCK = re.compile(
    r"(\d{1,4}[-/.]\d{1,2}[-/.]\d{1,4}[ T])?\d{1,2}:\d{2}(:\d{2}([.,]\d+)?)?(Z|[+-]\d{2}:?\d{2})?", re.ASCII
)
_UNIT = re.compile(
    r"s|sec|seconds?|ms|us|µs|μs|ns|min|h|[mµμuk]?v|volts?|[mkµμu]?ohms?|[mk]?[ΩΩ]|deg|degrees?|°|rad|%|percent|"
    r"[mcµμ]?m|[mk]?n|[mµμ]?a|hz|°?c|g|1|-|a\.?u\.?|hh:mm:ss(\.\w+)?",
    re.IGNORECASE,
)
_COMMENT = ("#", "%", "//")
_ANY_DIGIT = str.maketrans("123456789", "000000000")
_LOOK_BACK = 3
"""Lines above the numbers among which the header is looked for: one of units may stand between (ours)."""


@dataclass(frozen=True)
class Layout:
    """Where the table of a text file begins and how it is written.

    Parameters
    ----------
    separator, decimal : str
        Single characters.
    names : tuple of str
        One for each cell of a row; ``""`` for a cell without a name.
    units : tuple of str or None
        The row of units, if there is one.
    clock : tuple of bool
        Which columns hold dates or times of day.
    first_row : int
        Index of the first line of numbers, from 0.
    """

    separator: str
    decimal: str
    names: tuple[str, ...]
    units: tuple[str, ...] | None
    clock: tuple[bool, ...]
    first_row: int

    @property
    def words(self) -> str:
        """The layout in words, for the table of recordings."""
        return f"{SEPARATORS[self.separator]}, decimal {'comma' if self.decimal == ',' else 'point'}"


def _split(line: str, separator: str) -> list[str]:
    if '"' in line:
        return [cell.strip() for cell in next(csv.reader([line], delimiter=separator), [])]
    return [cell.strip() for cell in line.split(separator)]


def _kind(cell: str, decimal: str) -> str:
    """Name what a cell holds: ``n`` number, ``c`` clock time, ``m`` missing, ``t`` text."""
    if _NUMBER[decimal].fullmatch(cell):
        return "n"
    if cell in _MISSING or _OVER_RANGE.fullmatch(cell):
        return "m"
    return "c" if _CLOCK.fullmatch(cell) else "t"


def _column_kinds(rows: Sequence[str], width: int) -> str:
    """Give the most frequent kind in each column that is not missing."""
    tally = Counter(rows)
    kinds = []
    for place in range(width):
        counts: Counter[str] = Counter()
        for row, times in tally.items():
            if row[place] != "m":
                counts[row[place]] += times
        kinds.append(counts.most_common(1)[0][0] if counts else "m")
    return "".join(kinds)


def _shapes(lines: Sequence[str]) -> list[str]:
    """Write 0 for every digit: of hundreds of rows a few dozen differ then, and what their cells hold is the same.

    A line with the sign ``#`` stays, for the 1 of ``1.#INF`` is no other digit.
    """
    return [line if "#" in line else line.translate(_ANY_DIGIT) for line in lines]


def _agrees(row: str, body: str) -> bool:
    return len(row) == len(body) and all(b in "tm" or k in ("m", b) for k, b in zip(row, body, strict=True))


@dataclass(frozen=True)
class _Body:
    score: float
    separator: str
    decimal: str
    kinds: str
    first: int


def _find_body(shapes: Sequence[str], filled: Sequence[int], separator: str, decimal: str) -> _Body | None:
    """Find the rows of numbers under one separator and decimal sign, of `_shapes` and which of them hold something."""
    kinds_of = {
        shape: "".join(_kind(cell, decimal) for cell in _split(shape, separator)) for shape in dict.fromkeys(shapes)
    }
    rows = [kinds_of[shape] for shape in shapes]
    later = [rows[i] for i in filled[len(filled) // 2 :] if "n" in rows[i]]
    if not later:
        return None
    width = Counter(len(row) for row in later).most_common(1)[0][0]
    kinds = _column_kinds([row for row in later if len(row) == width], width)
    fits = {row: "n" in row and _agrees(row, kinds) for row in set(rows)}
    fitting = {i for i in filled if fits[rows[i]]}
    for place, i in enumerate(filled):
        if all(j in fitting for j in filled[place : place + 3]):
            share = len(fitting) / len(filled)
            return _Body(sum(kind in "nc" for kind in kinds) * share, separator, decimal, kinds, i)
    return None


def _kinds(cells: Sequence[str], body: _Body) -> str:
    return "".join(_kind(cell, body.decimal) for cell in cells)


def _header_cells(line: str, body: _Body) -> list[str] | None:
    """Split a line above the numbers into names, one for each cell of a row, if it has that many."""
    cells, width = _split(line.lstrip("#%/ "), body.separator), len(body.kinds)
    while len(cells) > width and cells[-1] == "":
        cells.pop()
    if len(cells) == width - 1 and body.kinds[-1] == "m":
        cells.append("")
    return cells if len(cells) == width and any(_kind(cell, body.decimal) == "t" for cell in cells) else None


def _rows_above(lines: Sequence[str], body: _Body) -> int:
    """Find where the rows begin that hold a word or nothing but missing values, and so are not fit to begin the body.

    A line of as many cells as a row, above the body, is such a row if a column of numbers has a number in it, or if
    no cell is text; the names stand above the first of them.
    """
    first = body.first
    for i in range(body.first - 1, -1, -1):
        line = lines[i]
        if not line.strip() or line.startswith(_COMMENT):
            continue
        kinds = _kinds(_split(line, body.separator), body)
        numbers = any(kind in "nc" and own in "nc" for kind, own in zip(kinds, body.kinds, strict=False))
        if len(kinds) != len(body.kinds) or not (numbers or "t" not in kinds):
            break
        first = i
    return first


def _is_units(cells: Sequence[str]) -> bool:
    bare = [cell.strip("[]() ") for cell in cells]
    return any(bare) and all(cell == "" or _UNIT.fullmatch(cell) for cell in bare)


def _no_header(lines: Sequence[str], body: _Body) -> ReadError:
    """Say what stands above the numbers instead of their names."""
    above = [line for line in lines[: body.first] if line.strip()]
    if not above:
        return ReadError("no column names above the numbers; put a row of column names first")
    count = len(_split(above[-1], body.separator))
    return ReadError(
        f"rows of {len(body.kinds)} cells (from line {body.first + 1}) under {count} column"
        f" name{'' if count == 1 else 's'}; give every column a name, and if commas are both decimal sign and"
        " separator export the file with semicolons"
    )


def find_layout(lines: Sequence[str], wanted: Sequence[str] = ()) -> Layout:
    """Find out how a text file is laid out.

    Parameters
    ----------
    lines : sequence of str
        The first lines of the file, without line ends; whole lines only.
    wanted : sequence of str
        Column names that are looked for; a line that has them is the header.

    Returns
    -------
    Layout

    Raises
    ------
    ReadError
        If there are no rows of numbers, or no names above them, or more cells than names.
    """
    shapes = _shapes(lines)
    filled = [i for i, line in enumerate(lines) if line.strip() and not line.startswith(_COMMENT)]
    bodies = [_find_body(shapes, filled, separator, decimal) for separator in SEPARATORS for decimal in ".,"]
    found = [body for body in bodies if body is not None]
    if not found:
        separators = ", ".join(SEPARATORS.values())
        raise ReadError(
            f"no rows of numbers separated by {separators} were found; export the recording as a table with"
            " one row of column names"
        )

    def headers(body: _Body, first: int) -> list[tuple[int, list[str]]]:
        above = [i for i in range(first - 1, -1, -1) if lines[i].strip()][:_LOOK_BACK]
        return [(i, cells) for i in above if (cells := _header_cells(lines[i], body)) is not None]

    def known(cells: Sequence[str]) -> int:
        return len(set(cells) & set(wanted))

    def rank(body: _Body) -> tuple[int, bool, float]:
        # numbers with commas can be read in two ways; the column names tell which is meant
        names = headers(body, _rows_above(lines, body)) or headers(body, body.first)
        return (max((known(cells) for _, cells in names), default=0), bool(names), body.score)

    body = max(found, key=rank)
    first = _rows_above(lines, body)
    candidates, plain = headers(body, first), headers(body, body.first)
    # names may be numbers: a line above the body that has the wanted ones is no row
    if not candidates or max(known(cells) for _, cells in plain or candidates) > max(known(c) for _, c in candidates):
        first, candidates = body.first, plain
    if not candidates:
        raise _no_header(lines, body)
    header, units = candidates[0][1], None
    if first < body.first and _is_units(row := _split(lines[first], body.separator)) and "t" in _kinds(row, body):
        units = tuple(cell.strip("[]() ") for cell in row)
        first = next(i for i in range(first + 1, body.first + 1) if lines[i].strip())
    elif len(candidates) > 1:
        two = [known(cells) for _, cells in candidates[:2]]
        if two[1] > two[0] or (two[0] == two[1] and _is_units(candidates[0][1])):
            header, units = candidates[1][1], tuple(cell.strip("[]() ") for cell in candidates[0][1])
    return Layout(
        body.separator,
        body.decimal,
        tuple(header),
        units,
        tuple(kind == "c" for kind in body.kinds),
        first,
    )
