"""Cells of a column of text to numbers: decimal signs, thousands marks, marks of over-range.

In: the cells of the columns of one file. Out: floats, and a count of what is no number. ``1,023`` may be one thousand
and twenty-three or a little more than one: which of them is told by the other cells of its column, else by the other
columns of the file, and if nothing tells, the file is refused. A column is never read in both ways.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt
import pyarrow as pa
import pyarrow.compute as pc

from .model import ReadError, shown

__all__ = ["MARKS", "OVER_RANGE", "ColumnNumbers", "cell_fault", "is_doubtful", "read_columns"]

OVER_RANGE = (
    r"[+-]?(?:over|ol|ovl|ovld|over[ _-]?load|over[ _-]?flow|over[ _-]?range|ovr|ovf|inf|infinity|∞|1?\.?#inf)"
    r"|-{3,}|\+{3,}"
)
"""How recorders and meters write a value beyond their range, whatever the case; common practice, no source."""
_HEAD = 1000
"""Cells looked at before all are: most columns are told from these."""
_GROUPED = {",": r"[+-]?[1-9]\d{0,2}(?:,\d{3})+", ".": r"[+-]?[1-9]\d{0,2}(?:\.\d{3})+"}
_ONE_GROUP = {",": r"[+-]?[1-9]\d{0,2},\d{3}", ".": r"[+-]?[1-9]\d{0,2}\.\d{3}"}
_DECIMAL = {
    ",": r"[+-]?(?:(?:\d+,\d*|,\d+)(?:[eE][+-]?\d+)?)",
    ".": r"[+-]?(?:(?:\d+\.\d*|\.\d+)(?:[eE][+-]?\d+)?)",
}
_BLANK_GROUPS = r"[+-]?[1-9]\d{0,2}(?:[ '’\x{00a0}\x{2009}\x{202f}]\d{3})+(?:[.,]\d*)?"
_NUMBER = r"^[+-]?(?:(?:\d+\.?\d*|\.\d+)(?:[eE][+-]?\d+)?|inf|nan)$"
_OTHER = {",": ".", ".": ","}
MARKS = {",": "comma", ".": "point", " ": "blank"}


@dataclass(frozen=True)
class ColumnNumbers:
    """A column of text as numbers.

    Parameters
    ----------
    values : array, shape (n,)
        NaN where a cell is missing or no number, infinite where it is a mark of over-range.
    odd : int
        Cells that are no numbers.
    first : str or None
        The first of them.
    thousands : str or None
        The mark of thousands that was left out.
    """

    values: npt.NDArray[np.float64]
    odd: int
    first: str | None
    thousands: str | None


@dataclass(frozen=True)
class _Evidence:
    """What the cells of a column tell: for each sign, cells in which it is decimal, groups, or either."""

    decimal: Mapping[str, int]
    groups: Mapping[str, int]
    either: Mapping[str, int]
    short: int
    long: int
    example: str
    plain: str


def is_doubtful(values: npt.NDArray[np.float64]) -> bool:
    """Say whether numbers that were read with a decimal sign may have been whole numbers with thousands marks.

    They may if there are fractions, and all of them have three digits at most and lie from 1 to 1000.
    """
    broken = np.zeros(0, dtype=bool)
    for part in (values[:_HEAD], values):
        finite = part[np.isfinite(part)]
        size = np.abs(finite)
        broken = size != np.rint(size)
        sure = broken & ((size < 1) | (size >= 1000) | (np.abs(size * 1000 - np.rint(size * 1000)) > 1e-7))
        if sure.any():
            return False
    return bool(broken.any())


def _count(cells: pa.Array, pattern: str) -> int:
    return int(pc.sum(pc.match_substring_regex(cells, f"^(?:{pattern})$")).as_py() or 0)


def _example(cells: pa.Array, pattern: str) -> str:
    hits = cells.filter(pc.match_substring_regex(cells, f"^(?:{pattern})$"))
    return str(hits[0].as_py()) if len(hits) else ""


def _evidence(cells: pa.Array) -> _Evidence:
    """Weigh the cells of a column; those that are numbers with a point are weighed as numbers, which is fast."""
    pointed = pc.fill_null(pc.match_substring_regex(cells, _NUMBER, ignore_case=True), False)
    values = pc.cast(cells.filter(pointed), pa.float64()).to_numpy(zero_copy_only=False)
    if len(values) and is_doubtful(values):
        rest, points = cells, 0
    else:
        finite = values[np.isfinite(values)]
        rest, points = cells.filter(pc.invert(pointed)), int(np.count_nonzero(finite != np.rint(finite)))
    either = {mark: _count(rest, _ONE_GROUP[mark]) for mark in ",."}
    mixed = {mark: _count(rest, f"{_GROUPED[mark]}\\{_OTHER[mark]}\\d*") for mark in ",."}
    decimal = {mark: _count(rest, _DECIMAL[mark]) - either[mark] + mixed[_OTHER[mark]] for mark in ",."}
    decimal["."] += points
    asked = any(either.values())
    return _Evidence(
        decimal,
        {mark: _count(rest, _GROUPED[mark]) - either[mark] + mixed[mark] for mark in ",."},
        either,
        _count(cells, r"[+-]?\d{1,3}") if asked else 0,
        _count(cells, r"[+-]?\d{4,}") if asked else 0,
        next((found for mark in ",." if (found := _example(rest, _ONE_GROUP[mark]))), "") if asked else "",
        _example(cells, r"[+-]?\d+") if asked else "",
    )


def _whole(cells: pa.Array) -> npt.NDArray[np.float64] | None:
    """Read a column of nothing but plain numbers; ``None`` if it is not, or if its points may be thousands marks."""
    try:
        values = pc.cast(cells, pa.float64()).to_numpy(zero_copy_only=False)
    except pa.ArrowInvalid:
        return None
    return None if is_doubtful(values) else np.asarray(values, dtype=np.float64)


def _sure_point(values: npt.NDArray[np.float64]) -> _Evidence:
    finite = values[np.isfinite(values)]
    none = {",": 0, ".": 0}
    return _Evidence({",": 0, ".": int(np.count_nonzero(finite != np.rint(finite)))}, none, none, 0, 0, "", "")


def _ambiguous(name: str, evidence: _Evidence, why: str) -> ReadError:
    beside = f" beside {evidence.plain}" if evidence.plain else ""
    return ReadError(
        f"column {name!r} holds {evidence.example}{beside}, and {why}; export the numbers without thousands marks and"
        " with a decimal point"
    )


def _reading(name: str, own: _Evidence, others: Mapping[str, int]) -> tuple[str, str | None]:
    """Tell the decimal sign and the thousands mark of a column, or refuse it.

    ``others`` counts the cells of other columns in which a sign is surely decimal.
    """
    decimal = {mark for mark in ",." if own.decimal[mark]}
    groups = {mark for mark in ",." if own.groups[mark]}
    if len(decimal) > 1 or len(groups) > 1 or decimal & groups:
        raise _ambiguous(
            name, own, "its commas and points are decimal signs in some cells and thousands marks in others"
        )
    for mark in ",.":
        if not own.either[mark] or mark in decimal:
            continue
        other = _OTHER[mark]
        if mark in groups or other in decimal:
            grouped = True
        elif bool(others[mark]) != bool(others[other]):
            grouped = bool(others[other])
        elif mark == "." and not own.short and not own.long and not others[other]:
            grouped = False
        else:
            raise _ambiguous(
                name, own, f"nothing tells whether the {MARKS[mark]} is a decimal sign or a thousands mark"
            )
        if grouped and own.long:
            raise _ambiguous(name, own, "only some of its thousands have a mark")
        (groups if grouped else decimal).add(mark)
    if len(groups) > 1 or len(decimal) > 1 or decimal & groups:
        raise _ambiguous(name, own, "nothing tells which sign is the decimal sign")
    thousands = next(iter(groups), None)
    return next(iter(decimal), "." if thousands is None else _OTHER[thousands]), thousands


def _numbers(cells: pa.Array, decimal: str, thousands: str | None) -> ColumnNumbers:
    """Read cells with the signs that were found; only what is no plain number is looked at closely."""
    if decimal == "," or thousands == ".":
        return _looked_at(cells, decimal, thousands)
    plain = pc.fill_null(pc.match_substring_regex(cells, _NUMBER, ignore_case=True), False)
    rest = _looked_at(cells.filter(pc.invert(plain)), decimal, thousands)
    mask = np.asarray(plain.to_numpy(zero_copy_only=False), dtype=bool)
    values = np.empty(len(cells))
    values[mask] = pc.cast(cells.filter(plain), pa.float64()).to_numpy(zero_copy_only=False)
    values[~mask] = rest.values
    return replace(rest, values=values)


def _looked_at(cells: pa.Array, decimal: str, thousands: str | None) -> ColumnNumbers:
    bare = cells
    blanks = _count(cells, _BLANK_GROUPS)
    if blanks:
        spaced = pc.match_substring_regex(bare, f"^(?:{_BLANK_GROUPS})$")
        bare = pc.if_else(spaced, pc.replace_substring_regex(bare, r"[ '’\x{00a0}\x{2009}\x{202f}]", ""), bare)
    if thousands is not None:
        grouped = pc.match_substring_regex(bare, f"^(?:{_GROUPED[thousands]}(?:\\{decimal}\\d*)?)$")
        bare = pc.if_else(grouped, pc.replace_substring(bare, thousands, ""), bare)
    if decimal == ",":
        # a point is then no decimal sign: what still has one is no number
        pointed = pc.match_substring(bare, ".")
        bare = pc.if_else(pointed, bare, pc.replace_substring(bare, ",", "."))
        number = pc.and_(pc.match_substring_regex(bare, _NUMBER, ignore_case=True), pc.invert(pointed))
    else:
        number = pc.match_substring_regex(bare, _NUMBER, ignore_case=True)
    over = pc.match_substring_regex(cells, f"^(?:{OVER_RANGE})$", ignore_case=True)
    values = pc.cast(pc.if_else(number, bare, None), pa.float64()).to_numpy(zero_copy_only=False)
    values = np.where(pc.fill_null(over, False).to_numpy(zero_copy_only=False), np.inf, values)
    odd = pc.fill_null(pc.invert(pc.or_(number, over)), False)
    count = int(pc.sum(odd).as_py() or 0)
    first = str(cells.filter(odd)[0].as_py()) if count else None
    return ColumnNumbers(np.asarray(values, dtype=np.float64), count, first, thousands or (" " if blanks else None))


def read_columns(columns: Mapping[str, pa.Array], *, point_is_decimal: bool) -> dict[str, ColumnNumbers]:
    """Read the columns of a file as numbers.

    Parameters
    ----------
    columns : mapping of str to pyarrow string array
        Cells without blanks around them; null where missing.
    point_is_decimal : bool
        The comma separates the cells, and so the point is the decimal sign.

    Returns
    -------
    dict of str to ColumnNumbers

    Raises
    ------
    ReadError
        If a column may be read in two ways.
    """
    whole = {name: values for name, cells in columns.items() if (values := _whole(cells)) is not None}
    found = {n: _sure_point(whole[n]) if n in whole else _evidence(cells) for n, cells in columns.items()}
    out = {name: ColumnNumbers(values, 0, None, None) for name, values in whole.items()}
    for name, cells in columns.items():
        if name in whole:
            continue
        others = {m: sum(e.decimal[m] for n, e in found.items() if n != name) for m in ",."}
        others["."] += int(point_is_decimal)
        out[name] = _numbers(cells, *_reading(name, found[name], others))
    return out


def cell_fault(name: str, column: ColumnNumbers, line: int | None) -> str:
    """Say what became of the cells of a column that are no numbers."""
    where = f"{shown(column.first or '')}, line {line}" if line else shown(column.first or "")
    one = column.odd == 1
    noun, verb = ("cell", "is not a number and counts") if one else ("cells", "are not numbers and count")
    return f"{column.odd} {noun} of column {name!r} {verb} as missing (first: {where})"
