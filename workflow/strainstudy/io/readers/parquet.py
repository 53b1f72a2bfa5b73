"""Parquet: columns of numbers or of time stamps.

In: a file. Out: its columns; time stamps in seconds from the first.
"""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import Any

import numpy as np
import numpy.typing as npt
import pyarrow as pa
import pyarrow.compute as pc
import pyarrow.parquet as pq

from ..arrow import as_floats
from .clock import clock_seconds
from .model import Peek, RawChannel, RawFile, ReadError, named_like_time, plain, whole_numbers
from .room import Room

__all__ = ["peek", "read"]

_PER_SECOND = {"s": 1.0, "ms": 1e3, "us": 1e6, "ns": 1e9}
"""Ticks per second of each unit of an Arrow timestamp."""
_LONGEST_SPAN = 2**62
"""Differences up to here do not overflow 64 bits."""
_LONGEST_CLOCK = 100
"""Letters of a time of day; a longer text is none (ours)."""
_DAMAGE = (pa.ArrowException, OSError, UnicodeDecodeError)
_BATCH_ROWS = 1 << 18
"""Rows read at once, so that memory is asked for piece by piece."""
_COPIES = 3.0
"""A column is in memory about so often while it is read: its batches, their join, and the numbers."""


def _not_whole(error: Exception) -> ReadError:
    if isinstance(error, UnicodeDecodeError):
        return ReadError("a column name is not UTF-8 text; name the columns anew and export the file again")
    first = (str(error).splitlines() or [""])[0]
    return ReadError(f"not a whole Parquet file ({first}); export or copy it again")


def _is_text(kind: pa.DataType) -> bool:
    return bool(pa.types.is_string(kind) or pa.types.is_large_string(kind))


def _is_time(kind: pa.DataType) -> bool:
    return bool(pa.types.is_timestamp(kind) or pa.types.is_duration(kind) or pa.types.is_time(kind))


def _can_be_read(kind: pa.DataType) -> bool:
    if pa.types.is_dictionary(kind):
        kind = kind.value_type
    number = pa.types.is_floating(kind) or pa.types.is_integer(kind) or pa.types.is_decimal(kind)
    return bool(number or pa.types.is_boolean(kind) or _is_time(kind) or _is_text(kind))


def _integers(column: pa.ChunkedArray) -> tuple[npt.NDArray[Any], npt.NDArray[np.bool_]]:
    """Give whole numbers, 0 where there is none, and where there is one."""
    known = np.asarray(pc.is_valid(column).to_numpy(), dtype=bool)
    return np.asarray(pc.fill_null(column, 0).to_numpy()), known


def _stamps(column: pa.ChunkedArray, name: str) -> tuple[RawChannel, str | None]:
    """Turn time stamps into seconds from the first, as differences of whole numbers."""
    kind = column.type
    narrow = pa.types.is_time32(kind)
    counts, known = _integers(pc.cast(pc.cast(column, pa.int32()) if narrow else column, pa.int64()))
    if not known.any():
        return RawChannel(np.full(len(counts), np.nan), clock=True), None
    there = counts[known]
    if int(there.max()) - int(there.min()) > _LONGEST_SPAN:
        raise ReadError(f"the time stamps of column {name!r} are out of all range; correct the recorder's clock")
    # float64 seconds since 1970 would keep only a quarter of a microsecond
    first = int(there[0])
    seconds = (counts - first) / _PER_SECOND[kind.unit]
    seconds[~known] = np.nan
    if not pa.types.is_timestamp(kind):
        return RawChannel(seconds, clock=True), None
    stamp = np.datetime64(first, kind.unit)
    year = int(stamp.astype("datetime64[Y]").astype(np.int64)) + 1970
    started = str(stamp)[:26] if 1 <= year <= 9999 else None
    return RawChannel(seconds, clock=True), started


def _channel(column: pa.ChunkedArray, name: str) -> tuple[RawChannel, str | None]:
    kind = column.type
    if pa.types.is_dictionary(kind):
        if _is_text(kind.value_type):
            lengths = [pc.max(pc.binary_length(part.dictionary)).as_py() or 0 for part in column.chunks]
            longest = max(lengths, default=0)
            if longest > _LONGEST_CLOCK:
                raise _no_numbers(name, "text")
        column = column.cast(kind.value_type)
        kind = column.type
    if _is_time(kind):
        return _stamps(column, name)
    if _is_text(kind):
        seconds, started = clock_seconds(column.cast(pa.string()).combine_chunks())
        if np.isnan(seconds).all():
            raise _no_numbers(name, "text")
        return RawChannel(seconds, clock=True), started
    if pa.types.is_integer(kind):
        return whole_numbers(*_integers(column)), None
    return RawChannel(np.array(as_floats(pc.cast(column, pa.float64(), safe=False)))), None


def _no_numbers(name: str, what: str) -> ReadError:
    return ReadError(f"column {name!r} holds {what}, not numbers; name the column of the signal")


def _wanted(schema: pa.Schema, columns: Sequence[str] | None) -> list[str]:
    """Choose the columns to read; refuse what cannot be told apart or is no number."""
    names = tuple(schema.names)
    numeric = [n for n, kind in zip(names, schema.types, strict=True) if _can_be_read(kind) and not _is_text(kind)]
    wanted = [n for n in dict.fromkeys(names) if n in (columns if columns is not None else numeric)]
    twice = [name for name in wanted if names.count(name) > 1]
    if twice:
        raise ReadError(f"column {twice[0]!r} is there twice; give every column a name of its own")
    for name in wanted:
        kind = schema.types[names.index(name)]
        if not _can_be_read(kind):
            raise _no_numbers(name, plain(str(kind)))
    return wanted


def _read_table(file: pq.ParquetFile, wanted: list[str], room: Room) -> pa.Table:
    """Read columns batch by batch, no further than there is room: what a footer says may be false."""
    # a run of equal values takes no room in the file: what its rows expand to counts. The columns' own sizes in the
    # footer are not asked for: where they are damaged the library ends the process
    room.refuse(8 * file.metadata.num_rows * len(wanted), _COPIES)
    batches, size = [], 0
    for batch in file.iter_batches(batch_size=_BATCH_ROWS, columns=wanted, use_threads=False):
        size += batch.nbytes
        room.refuse(size, _COPIES, at_least=True)
        batches.append(batch)
    schema = file.schema_arrow
    names = schema.names
    part = pa.schema([schema.field(names.index(name)) for name in wanted])
    return pa.Table.from_batches(batches, schema=batches[0].schema if batches else part)


def read(path: Path, columns: Sequence[str] | None, room: Room) -> RawFile:
    """Read a Parquet file; see `strainstudy.io.readers.read_raw`."""
    try:
        with pq.ParquetFile(path) as file:
            wanted = _wanted(file.schema_arrow, columns)
            names = tuple(file.schema_arrow.names)
            texts = [
                n for n, kind in zip(names, file.schema_arrow.types, strict=True) if n in wanted and _is_text(kind)
            ]
        # words stay numbers of a dictionary, so that one long word is not written out for every row
        with pq.ParquetFile(path, read_dictionary=texts) as file:
            table = _read_table(file, wanted, room)
        table.validate(full=True)
        channels, started = {}, None
        for name in wanted:
            channels[name], first_stamp = _channel(table.column(name), name)
            started = started or first_stamp
    except MemoryError:
        raise
    except _DAMAGE as error:
        raise _not_whole(error) from None
    return RawFile("parquet", names, channels, started)


def peek(path: Path, _columns: Sequence[str]) -> Peek:
    """Read the footer of a Parquet file; see `strainstudy.io.readers.peek`."""
    try:
        with pq.ParquetFile(path) as file:
            schema, rows = file.schema_arrow, file.metadata.num_rows
            names = tuple(schema.names)
    except MemoryError:
        raise
    except _DAMAGE as error:
        raise _not_whole(error) from None
    kinds = zip(names, schema.types, strict=True)
    times = tuple(name for name, kind in kinds if _is_time(kind) or named_like_time(name))
    return Peek(names, None, rows, {}, times)
