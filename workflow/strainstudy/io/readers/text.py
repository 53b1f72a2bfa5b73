"""Delimited text: comma, semicolon or tab, decimal point or comma, header lines, comments, units row, gzip.

In: a file. Out: its columns. The numbers are read by pyarrow in one pass; only when a cell is not a number is the
file read a second time, to find it.
"""

from __future__ import annotations

import gzip
import io
import zlib
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path

import numpy as np
import numpy.typing as npt
import pyarrow as pa
import pyarrow.compute as pc
import pyarrow.csv as pcsv

from ..arrow import as_floats
from .clock import clock_seconds
from .model import Peek, RawChannel, RawFile, ReadError, named_like_time, shown, whole_numbers
from .numerals import MARKS, ColumnNumbers, cell_fault, is_doubtful, read_columns
from .room import Room
from .sniff import MISSING_MARKERS, Layout, find_layout

__all__ = ["peek", "read"]

_HEAD_BYTES = 1 << 16
"""Bytes from the start in which the layout of a table is looked for (ours)."""
_HEAD_LINES = 400
"""And so many lines of them (ours)."""
_BINARY_BYTES = 1024
"""Zero bytes this early are a binary file; later they are what a power failure leaves in a text."""
_PEEK_LINES = 20
"""Lines that are tried first where only the columns are asked for: most headers are shorter."""
_PIECE = 1 << 20
"""Bytes unpacked at once, so that a small file that unpacks to a huge one is stopped on the way."""
_PACKING_ERRORS = (EOFError, gzip.BadGzipFile, zlib.error)
_COPIES = 4.0
"""A text is in memory about so often while it is read: itself, and the numbers of cells of a few letters each."""
_COMMENT = ("#", "%", "//")
_MOST_TEXT = 0.5
"""Share of cells that are no numbers from which a column holds no signal (ours)."""


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
    if b"\0" in content[:_BINARY_BYTES]:
        raise ReadError("not a text file; export it as text, or name it by its format")
    if b"\r" in content:
        content = content.replace(b"\r\n", b"\n").replace(b"\r", b"\n")
    return _as_utf8(content)


def _is_gzip(path: Path) -> bool:
    return path.name.lower().endswith(".gz")


def _packing_fault(error: Exception) -> ReadError:
    if isinstance(error, EOFError):
        return ReadError("the gzip file ends early; copy it again from the recorder")
    return ReadError(f"not a whole gzip file ({error}); compress or copy it again")


def _unpacked(path: Path, room: Room) -> bytes:
    """Read a file whole, unpacked."""
    if not _is_gzip(path):
        room.refuse(path.stat().st_size, _COPIES)
        return path.read_bytes()
    out = io.BytesIO()
    try:
        with gzip.open(path) as file:
            # piece by piece: the size at the end of a gzip file is that of its last part, modulo 4 GB
            while piece := file.read(_PIECE):
                room.refuse(out.tell() + len(piece), _COPIES, at_least=True)
                out.write(piece)
    except _PACKING_ERRORS as error:
        raise _packing_fault(error) from None
    return out.getvalue()


def _unpacked_head(path: Path, most: int) -> bytes:
    """Read the first bytes of a file, unpacked, ``most`` of them at the most."""
    try:
        with gzip.open(path) if _is_gzip(path) else path.open("rb") as file:
            head: bytes = file.read(most)
    except _PACKING_ERRORS as error:
        raise _packing_fault(error) from None
    return head


def _whole_lines(head: bytes) -> bytes:
    """Leave out the line that the end of the head cuts, unless it is the only one."""
    return head[: head.rfind(b"\n") + 1] or head


def _head_lines(content: bytes) -> list[str]:
    head = content[:_HEAD_BYTES]
    if len(head) < len(content):
        head = _whole_lines(head)
    text = head.decode("utf-8", errors="replace")
    return text.rstrip("\n").split("\n")


def _offset(content: bytes, line: int) -> int:
    """Find where a line (counted from 0) begins."""
    place = 0
    for _ in range(line):
        place = content.index(b"\n", place) + 1
    return place


def _without_open_quotes(content: bytes, first_row: int) -> bytes:
    """Make quotation marks ordinary letters in rows where one is not closed: it would take in the rows that follow."""
    start = _offset(content, first_row)
    if content.find(b'"', start) < 0:
        return content
    rows = content[start:].split(b"\n")
    if not any(row.count(b'"') % 2 for row in rows):
        return content
    return content[:start] + b"\n".join(row.replace(b'"', b"'") if row.count(b'"') % 2 else row for row in rows)


class _OddRows:
    """Collects rows with the wrong number of cells; comments among the rows are no fault."""

    def __init__(self) -> None:
        self.count = 0
        self.first: str | None = None
        self.last: str | None = None

    def __call__(self, row: pcsv.InvalidRow) -> str:
        if not row.text.lstrip().startswith(_COMMENT):
            self.count += 1
            self.first = self.first or row.text
            self.last = row.text
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


def _as_text_columns(
    content: bytes, layout: Layout, wanted: Sequence[int]
) -> tuple[dict[int, pa.Array], dict[int, ColumnNumbers], _OddRows]:
    """Read the cells as they are written, and those that are no clock times as numbers."""
    odd = _OddRows()
    try:
        table = _read_table(content, layout, dict.fromkeys(wanted, pa.string()), odd)
    except pa.ArrowInvalid as error:
        line = (str(error).splitlines() or [""])[0]
        raise ReadError(f"the rows cannot be read as a table ({line}); export the file again") from None
    cells = {i: pc.utf8_trim_whitespace(column.combine_chunks()) for i, column in table.items()}
    numbers = read_columns(
        {layout.names[i]: cells[i] for i in wanted if not layout.clock[i]},
        point_is_decimal=layout.separator == "," and layout.decimal == ".",
    )
    return cells, {i: numbers[layout.names[i]] for i in wanted if not layout.clock[i]}, odd


def _check_numbers(column: ColumnNumbers, cells: pa.Array, name: str, where: int | None) -> str | None:
    """Say what of a column is no number; refuse it if most is."""
    if column.odd == 0:
        return None
    if column.odd > _MOST_TEXT * (len(cells) - cells.null_count):
        first = shown(column.first or "") + (f", line {where}" if where else "")
        raise ReadError(f"column {name!r} holds text, not numbers (first: {first}); name the column of the signal")
    return cell_fault(name, column, where)


def _whole_columns(content: bytes, layout: Layout, large: Sequence[int]) -> dict[int, RawChannel]:
    """Read columns of whole numbers that a float would round, such as nanoseconds since 1970."""
    try:
        table = _read_table(content, layout, dict.fromkeys(large, pa.int64()), _OddRows())
    except pa.ArrowInvalid:
        return {}
    out = {}
    for i, column in table.items():
        known = np.asarray(pc.is_valid(column).to_numpy(), dtype=bool)
        out[i] = whole_numbers(np.asarray(pc.fill_null(column, 0).to_numpy()), known)
    return out


def _is_large(values: npt.NDArray[np.float64]) -> bool:
    finite = values[np.isfinite(values)]
    return finite.size > 0 and float(np.abs(finite).max()) > 2.0**53 and bool(np.all(finite == np.rint(finite)))


def _channels(
    content: bytes, layout: Layout, wanted: Sequence[int]
) -> tuple[dict[str, RawChannel], list[str], str | None, str | None]:
    """Read the wanted columns; give also the faults, when they start, and the mark of thousands, if there is one."""
    odd, cells, values = _OddRows(), {}, {}
    faults: list[str] = []
    marks: set[str] = set()
    point_or_comma = layout.separator != "," or layout.decimal == ","
    try:
        types = {i: pa.string() if layout.clock[i] else pa.float64() for i in wanted}
        table = _read_table(content, layout, types, odd)
    except pa.ArrowInvalid:
        doubtful = True
    else:
        cells = {i: table[i].combine_chunks() for i in wanted if layout.clock[i]}
        values = {i: as_floats(table[i]) for i in wanted if not layout.clock[i]}
        doubtful = point_or_comma and any(is_doubtful(column) for column in values.values())
    if doubtful:
        cells, numbers, odd = _as_text_columns(content, layout, wanted)
        for i, column in numbers.items():
            line = _line_of(content, column.first, layout.first_row) if column.first is not None else None
            fault = _check_numbers(column, cells[i], layout.names[i], line)
            faults += [fault] if fault is not None else []
            marks |= {column.thousands} if column.thousands is not None else set()
        values = {i: column.values for i, column in numbers.items()}
    large = [i for i, column in values.items() if _is_large(column)]
    whole = _whole_columns(content, layout, large) if large else {}
    channels, starts = {}, []
    for i in wanted:
        units = (layout.units[i] if layout.units is not None else None) or None
        if layout.clock[i]:
            seconds, started = clock_seconds(cells[i])
            starts += [started] if started is not None else []
            channels[layout.names[i]] = RawChannel(seconds, units=units, clock=True)
        else:
            made = whole.get(i)
            made = RawChannel(values[i]) if made is None or len(made.values) != len(values[i]) else made
            channels[layout.names[i]] = replace(made, units=units)
    if odd.last is not None and content.endswith(f"\n{odd.last}".encode()):
        odd.count -= 1
        last = content.count(b"\n") + 1
        faults.append(f"the file ends early: its last row (line {last}) is cut off")
    if odd.count:
        number = _line_of(content, odd.first or "", layout.first_row)
        noun, verb = ("row has", "was") if odd.count == 1 else ("rows have", "were")
        where = f" (first: line {number})" if number else ""
        faults.append(f"{odd.count} {noun} the wrong number of cells and {verb} left out{where}")
    return channels, faults, next(iter(starts), None), next(iter(sorted(marks)), None)


def read(path: Path, columns: Sequence[str] | None, room: Room) -> RawFile:
    """Read a delimited text file; see `strainstudy.io.readers.read_raw`."""
    content = _as_text(_unpacked(path, room))
    layout = find_layout(_head_lines(content)[:_HEAD_LINES], columns or ())
    names = layout.names
    wanted = [i for i, name in enumerate(names) if name and (columns is None or name in columns)]
    twice = [name for i, name in enumerate(names) if i in wanted and name in names[:i]]
    if twice:
        raise ReadError(f"column {twice[0]!r} is there twice; give every column a name of its own")
    content = _without_open_quotes(content, layout.first_row)
    channels, faults, started, mark = _channels(content, layout, wanted)
    suffix = "gzip text" if _is_gzip(path) else "text"
    thousands = "" if mark is None else f", thousands {MARKS[mark]}"
    known = tuple(name for name in names if name)
    return RawFile(f"{suffix}: {layout.words}{thousands}", known, channels, started, tuple(faults))


def peek(path: Path, columns: Sequence[str]) -> Peek:
    """Read the head of a delimited text file; see `strainstudy.io.readers.peek`."""
    head = _unpacked_head(path, _HEAD_BYTES + 1)
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
