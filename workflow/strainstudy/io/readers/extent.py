"""How long a raw file without a rate of its own is, from its first and last rows.

In: a delimited text or Parquet file. Out: the first and the last stamps of its time column, or its number of rows,
as far as few milliseconds tell them; what would take longer is left for the stage that reads the whole file.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import numpy.typing as npt
import pyarrow as pa

from .clock import clock_seconds
from .model import ReadError
from .sniff import MISSING_MARKERS, Layout, find_layout
from .suffixes import file_format
from .text import _as_text, _head_lines, _is_gzip, _unpacked_head, _whole_lines

__all__ = ["Extent", "read_extent"]

_HEADS = (1 << 13, 1 << 16)
"""Bytes in which the table is looked for; the longer if a long preamble stands before it."""
_TAIL_BYTES = 1 << 12
"""Bytes at the end in which the last rows are looked for."""
_MOST_HEAD = 400
"""Lines from the start that are looked at when the first few have no table (ours)."""
_PEEK_LINES = 20
"""Lines that are looked at first, which is enough for most files (ours)."""
_MOST_PACKED = 300_000
"""Bytes of gzip that unpack in about 5 ms."""
_MOST_COUNTED = 4_000_000
"""Bytes of text whose rows are counted in about 2 ms."""
_MOST_ROWS = 1_000_000
"""Rows of Parquet whose stamps are read; how long a longer one lasts is left to the run (ours)."""
_MOST_UNPACKED = 16_000_000
"""Bytes of text that are unpacked at most, whatever a small file promises."""
_MOST_READ = 200_000_000
"""Bytes of text that are read where it must be known."""


@dataclass(frozen=True)
class Extent:
    """First and last rows of a file.

    Parameters
    ----------
    names : tuple of str
        Columns of the file.
    stamps : array, shape (n,)
        The first stamps of the time column as stored (clock times in seconds); empty without one.
    last : float or None
        The last stamp; None where the file would have to be read for it.
    clock : bool
        The stamps are clock times.
    units : str or None
        Of the stamps, as the file says.
    rows : int or None
        Rows with samples; None where they would have to be counted.
    rows_about : int or None
        Their number by the size of the file and of its first rows; not to be relied on.
    """

    names: tuple[str, ...]
    stamps: npt.NDArray[np.float64]
    last: float | None = None
    clock: bool = False
    units: str | None = None
    rows: int | None = None
    rows_about: int | None = None


def _table(content: bytes, columns: Sequence[str]) -> tuple[list[str], Layout]:
    """Find the table in the first lines of a text, reading no more of them than it takes."""
    for size in _HEADS:
        head = content if len(content) <= size else _whole_lines(content[:size])
        lines = _head_lines(_as_text(head))[:_MOST_HEAD]
        for most in (_PEEK_LINES, _MOST_HEAD):
            try:
                return lines, find_layout(lines[:most], columns)
            except ReadError as error:
                reason = error
    raise reason


def _cells(lines: Sequence[str], layout: Layout, i: int) -> list[str | None]:
    """Take one cell out of each whole row."""
    found: list[str | None] = []
    for line in lines:
        parts = line.split(layout.separator)
        if len(parts) == len(layout.names):
            cell = parts[i].strip().strip('"')
            found.append(None if cell in MISSING_MARKERS else cell)
    return found


def _seconds(cells: Sequence[str | None], layout: Layout, i: int) -> npt.NDArray[np.float64]:
    if layout.clock[i]:
        return clock_seconds(pa.array(cells, pa.string()))[0]
    values = []
    for cell in cells:
        try:
            values.append(math.nan if cell is None else float(cell.replace(layout.decimal, ".")))
        except ValueError:
            values.append(math.nan)
    return np.array(values, dtype=np.float64)


def _size(path: Path) -> int:
    """Size of a text in bytes, unpacked (RFC 1952: the last four bytes of a gzip member, modulo 2^32)."""
    size = path.stat().st_size
    if not _is_gzip(path) or size < 4:
        return size
    with path.open("rb") as file:
        file.seek(-4, 2)
        return max(int.from_bytes(file.read(4), "little"), size)


def _text(path: Path, columns: Sequence[str], time_column: str | None, surely: bool) -> Extent | None:
    size, packed, unpacked = path.stat().st_size, _is_gzip(path), _size(path)
    wholly = size <= (_MOST_PACKED if packed else _MOST_COUNTED) or (surely and unpacked <= _MOST_READ)
    most = _MOST_READ if surely else _MOST_UNPACKED
    content = _unpacked_head(path, most + 1 if wholly else _HEADS[-1] + 1)
    wholly = wholly and len(content) <= most
    if content.startswith((b"\xff\xfe", b"\xfe\xff")) and not wholly:
        return None
    lines, layout = _table(content, columns)
    names = tuple(name for name in layout.names if name)
    rows = content.count(b"\n") + (not content.endswith(b"\n")) - layout.first_row if wholly else None
    typical = [len(line) + 1 for line in lines[layout.first_row :]]
    about = None if wholly or not typical else int(unpacked / (sum(typical) / len(typical)))
    if time_column is None or time_column not in layout.names:
        return Extent(names, np.empty(0), rows=rows, rows_about=about)
    i = layout.names.index(time_column)
    tail = b""
    if wholly:
        tail = content[-_TAIL_BYTES:]
    elif not packed:
        with path.open("rb") as file:
            file.seek(-_TAIL_BYTES, 2)
            tail = file.read()
    first = _cells(lines[layout.first_row :], layout, i)
    ends = _cells(tail.decode("utf-8", errors="replace").replace("\r", "\n").split("\n")[1:], layout, i)
    times = _seconds(first + ends, layout, i)
    later = times[len(first) :][np.isfinite(times[len(first) :])]
    last = float(later[-1]) if later.size else None
    units = layout.units[i] if layout.units is not None else None
    return Extent(names, times[: len(first)], last, layout.clock[i], units or None, rows, about)


def _parquet(path: Path, time_column: str | None) -> Extent | None:
    import pyarrow.parquet as pq

    from . import read_raw

    with pq.ParquetFile(path) as file:
        names, rows = tuple(file.schema_arrow.names), file.metadata.num_rows
    if time_column is None or time_column not in names:
        return Extent(names, np.empty(0), rows=rows)
    if rows > _MOST_ROWS:
        return None
    column = read_raw(path, [time_column]).channels[time_column]
    known = column.values[np.isfinite(column.values)]
    return Extent(names, column.values[:_MOST_HEAD], float(known[-1]) if known.size else None, column.clock, None, rows)


def read_extent(path: Path, columns: Sequence[str], time_column: str | None, *, surely: bool = False) -> Extent | None:
    """Read the first and last rows of a raw file whose format knows no rate.

    Parameters
    ----------
    path : Path
        A file that `peek` could open.
    columns : sequence of str
        Names that are looked for, as for `peek`.
    time_column : str or None
        The column of stamps.
    surely : bool
        Read a larger file to its end as well.

    Returns
    -------
    Extent or None
        None for other formats and where too much would have to be read.

    Raises
    ------
    ReadError
        If the rows cannot be read as a table.
    """
    form = file_format(path)
    try:
        if form == "text":
            return _text(path, columns, time_column, surely)
        return _parquet(path, time_column) if form == "parquet" else None
    except (OSError, ValueError, pa.ArrowException) as error:
        raise ReadError(f"the rows cannot be read ({error}); export or copy the file again") from error
