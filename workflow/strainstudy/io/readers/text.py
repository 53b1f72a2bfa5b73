"""Delimited text: comma, semicolon or tab, decimal point or comma, header lines, comments, units row, gzip.

In: a file. Out: its columns. The numbers are read by pyarrow in one pass; only when a cell is not a number is the
file read a second time, to find it.
"""

from __future__ import annotations

import gzip
import zlib
from collections.abc import Sequence
from pathlib import Path

import numpy as np
import numpy.typing as npt
import pyarrow as pa
import pyarrow.compute as pc
import pyarrow.csv as pcsv

from .clock import clock_seconds
from .model import Peek, RawChannel, RawFile, ReadError, named_like_time
from .sniff import MISSING_MARKERS, Layout, find_layout

__all__ = ["peek", "read"]

_HEAD_BYTES = 1 << 16
_HEAD_LINES = 400
_PEEK_LINES = 20
_COMMENT = ("#", "%", "//")
_MOST_TEXT = 0.5


def _as_utf8(content: bytes) -> bytes:
    """Give text in an old code page as UTF-8; its numbers are the same bytes in both."""
    if content.isascii():
        return content
    try:
        content.decode("utf-8")
    except UnicodeDecodeError:
        return content.decode("cp1252", errors="replace").encode()
    return content


def _as_text(content: bytes) -> bytes:
    """Bring the bytes of a file to UTF-8 with line feeds, or say why they are no text."""
    if content.startswith(b"\x1f\x8b"):
        raise ReadError("a gzip file without the suffix .gz; rename it")
    if content.startswith((b"\xff\xfe", b"\xfe\xff")):
        content = content.decode("utf-16", errors="replace").encode()
    content = content.removeprefix(b"\xef\xbb\xbf")
    if not content or (content[:_HEAD_BYTES].isspace() and content.isspace()):
        raise ReadError("the file is empty")
    if b"\0" in content[:_HEAD_BYTES]:
        raise ReadError("not a text file; export it as text, or name it by its format")
    if b"\n" not in content and b"\r" in content:
        content = content.replace(b"\r", b"\n")
    return _as_utf8(content)


def _is_gzip(path: Path) -> bool:
    return path.name.lower().endswith(".gz")


def _unpacked(path: Path, size: int = -1) -> bytes:
    """Read a file, or its first ``size`` bytes when unpacked."""
    if not _is_gzip(path):
        with path.open("rb") as file:
            return file.read(size)
    try:
        with gzip.open(path) as file:
            return file.read(size)
    except EOFError:
        raise ReadError("the gzip file ends early; copy it again from the recorder") from None
    except (gzip.BadGzipFile, zlib.error) as error:
        raise ReadError(f"not a whole gzip file ({error}); compress or copy it again") from None


def _whole_lines(head: bytes) -> bytes:
    """Leave out the line that the end of the head cuts, unless it is the only one."""
    return head[: head.rfind(b"\n") + 1] or head


def _head_lines(content: bytes) -> list[str]:
    head = content[:_HEAD_BYTES]
    if len(head) < len(content):
        head = _whole_lines(head)
    text = head.decode("utf-8", errors="replace")
    return [line.rstrip("\r") for line in text.rstrip("\n").split("\n")]


def _offset(content: bytes, line: int) -> int:
    """Find where a line (counted from 0) begins."""
    place = 0
    for _ in range(line):
        place = content.index(b"\n", place) + 1
    return place


class _OddRows:
    """Collects rows with the wrong number of cells; comments among the rows are no fault."""

    def __init__(self) -> None:
        self.count = 0
        self.first: str | None = None

    def __call__(self, row: pcsv.InvalidRow) -> str:
        if not row.text.lstrip().startswith(_COMMENT):
            self.count += 1
            self.first = self.first or row.text
        return "skip"


def _read_table(
    content: bytes, layout: Layout, types: dict[int, pa.DataType], odd: _OddRows
) -> dict[int, pa.ChunkedArray]:
    body = pa.py_buffer(memoryview(content)[_offset(content, layout.first_row) :])
    names = [str(i) for i in range(len(layout.names))]
    table = pcsv.read_csv(
        pa.BufferReader(body),
        read_options=pcsv.ReadOptions(column_names=names, use_threads=False, encoding="utf8"),
        parse_options=pcsv.ParseOptions(delimiter=layout.separator, invalid_row_handler=odd),
        convert_options=pcsv.ConvertOptions(
            include_columns=[str(i) for i in types],
            column_types={str(i): kind for i, kind in types.items()},
            null_values=list(MISSING_MARKERS),
            strings_can_be_null=True,
            decimal_point=layout.decimal,
            check_utf8=False,
        ),
    )
    return {i: table.column(str(i)) for i in types}


def _line_of(content: bytes, text: str, first_row: int) -> int | None:
    """Give the line number, from 1, of the first row at or after the table that has ``text`` in it."""
    place = content.find(text.encode(), _offset(content, first_row))
    return None if place < 0 else content.count(b"\n", 0, place) + 1


def _salvage(
    texts: pa.ChunkedArray, layout: Layout, name: str, content: bytes
) -> tuple[npt.NDArray[np.float64], str | None]:
    """Turn a column with some cells that are not numbers into numbers and a fault."""
    cells = pc.utf8_trim_whitespace(texts.combine_chunks())
    if layout.decimal == ",":
        cells = pc.replace_substring(cells, ",", ".")
    number = pc.match_substring_regex(cells, r"^[+-]?((\d+\.?\d*|\.\d+)([eE][+-]?\d+)?|inf|nan)$", ignore_case=True)
    values = pc.cast(pc.if_else(number, cells, None), pa.float64()).to_numpy(zero_copy_only=False)
    bad = pc.and_(pc.is_valid(cells), pc.invert(pc.fill_null(number, True)))
    count = pc.sum(bad).as_py() or 0
    if count == 0:
        return values, None
    first = texts.combine_chunks().filter(bad)[0].as_py()
    line = _line_of(content, first, layout.first_row)
    where = f"{first!r}, line {line}" if line else repr(first)
    if count > _MOST_TEXT * (len(cells) - cells.null_count):
        raise ReadError(f"column {name!r} holds text, not numbers (first: {where}); name the column of the signal")
    noun, verb = ("cell", "is not a number and counts") if count == 1 else ("cells", "are not numbers and count")
    return values, f"{count} {noun} of column {name!r} {verb} as missing (first: {where})"


def _column(
    cells: pa.ChunkedArray, i: int, layout: Layout, content: bytes
) -> tuple[npt.NDArray[np.float64], str | None, str | None]:
    """Turn one column into numbers; give also the fault it has and the date and time it starts with."""
    if layout.clock[i]:
        seconds, started = clock_seconds(cells.combine_chunks())
        return seconds, None, started
    if pa.types.is_string(cells.type):
        values, fault = _salvage(cells, layout, layout.names[i], content)
        return values, fault, None
    return np.asarray(cells.to_numpy(), dtype=np.float64), None, None


def read(path: Path, columns: Sequence[str] | None) -> RawFile:
    """Read a delimited text file; see `strainstudy.io.readers.read_raw`."""
    content = _as_text(_unpacked(path))
    layout = find_layout(_head_lines(content)[:_HEAD_LINES], columns or ())
    names = layout.names
    wanted = [i for i, name in enumerate(names) if name and (columns is None or name in columns)]
    twice = [name for i, name in enumerate(names) if i in wanted and name in names[:i]]
    if twice:
        raise ReadError(f"column {twice[0]!r} is there twice; give every column a name of its own")
    odd = _OddRows()
    try:
        types = {i: pa.string() if layout.clock[i] else pa.float64() for i in wanted}
        table = _read_table(content, layout, types, odd)
    except pa.ArrowInvalid:
        odd = _OddRows()
        try:
            table = _read_table(content, layout, dict.fromkeys(wanted, pa.string()), odd)
        except pa.ArrowInvalid as error:
            line = str(error).splitlines()[0]
            raise ReadError(f"the rows cannot be read as a table ({line}); export the file again") from None
    channels, faults, starts = {}, [], []
    for i in wanted:
        values, fault, started = _column(table[i], i, layout, content)
        faults += [fault] if fault is not None else []
        starts += [started] if started is not None else []
        units = layout.units[i] if layout.units is not None else None
        channels[names[i]] = RawChannel(values, units=units or None, clock=layout.clock[i])
    if odd.count:
        number = _line_of(content, odd.first or "", layout.first_row)
        noun, verb = ("row has", "was") if odd.count == 1 else ("rows have", "were")
        where = f" (first: line {number})" if number else ""
        faults.append(f"{odd.count} {noun} the wrong number of cells and {verb} left out{where}")
    suffix = "gzip text" if _is_gzip(path) else "text"
    known = tuple(name for name in names if name)
    return RawFile(f"{suffix}: {layout.words}", known, channels, next(iter(starts), None), tuple(faults))


def peek(path: Path, columns: Sequence[str]) -> Peek:
    """Read the head of a delimited text file; see `strainstudy.io.readers.peek`."""
    head = _unpacked(path, _HEAD_BYTES + 1)
    whole = len(head) <= _HEAD_BYTES
    if not whole and b"\n" in head and not head.startswith((b"\xff\xfe", b"\xfe\xff")):
        head = _whole_lines(head)  # a cut letter would look like an old code page
    lines = _head_lines(_as_text(head))
    try:
        layout = find_layout(lines[:_PEEK_LINES], columns)
    except ReadError:
        layout = find_layout(lines[:_HEAD_LINES], columns)
    below = lines[layout.first_row :] if whole else []
    rows = [line for line in below if line.strip() and not line.lstrip().startswith(_COMMENT)]
    names = tuple(name for name in layout.names if name)
    units = {} if layout.units is None else {n: u for n, u in zip(layout.names, layout.units, strict=True) if n and u}
    clocks = {name for name, clock in zip(layout.names, layout.clock, strict=True) if clock}
    times = tuple(name for name in names if name in clocks or named_like_time(name))
    return Peek(names, None, len(rows) if whole else None, units, times)
