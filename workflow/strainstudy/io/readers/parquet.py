"""Parquet: columns of numbers or of time stamps.

In: a file. Out: its columns; time stamps in seconds from the first.
"""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc
import pyarrow.parquet as pq

from .clock import clock_seconds
from .model import Peek, RawChannel, RawFile, ReadError, named_like_time

__all__ = ["peek", "read"]


def _not_whole(error: Exception) -> ReadError:
    first = (str(error).splitlines() or [""])[0]
    return ReadError(f"not a whole Parquet file ({first}); export or copy it again")


def _channel(column: pa.ChunkedArray, name: str) -> tuple[RawChannel, str | None]:
    kind = column.type
    if pa.types.is_dictionary(kind):
        column = column.cast(kind.value_type)
        kind = column.type
    if pa.types.is_timestamp(kind):
        nanoseconds = pc.cast(column, pa.timestamp("ns", kind.tz), safe=False)
        first = pc.min(nanoseconds)
        if not first.is_valid:
            return RawChannel(np.full(len(column), np.nan), clock=True), None
        # differences as integers: float64 seconds since 1970 would keep only a quarter of a microsecond
        since = pc.subtract(pc.cast(nanoseconds, pa.int64()), pc.cast(first, pa.int64()))
        seconds = pc.cast(since, pa.float64()).to_numpy() / 1e9
        started = pc.strftime(first, "%Y-%m-%dT%H:%M:%S").as_py()[:26]
        return RawChannel(np.asarray(seconds, dtype=np.float64), clock=True), started
    if pa.types.is_string(kind) or pa.types.is_large_string(kind):
        seconds, started = clock_seconds(column.cast(pa.string()).combine_chunks())
        if np.isnan(seconds).all():
            raise ReadError(f"column {name!r} holds text, not numbers; name the column of the signal")
        return RawChannel(seconds, clock=True), started
    try:
        values = pc.cast(column, pa.float64()).to_numpy()
    except (pa.ArrowInvalid, pa.ArrowNotImplementedError):
        raise ReadError(f"column {name!r} holds {kind}, not numbers; name the column of the signal") from None
    return RawChannel(np.array(values, dtype=np.float64)), None


def read(path: Path, columns: Sequence[str] | None) -> RawFile:
    """Read a Parquet file; see `strainstudy.io.readers.read_raw`."""
    try:
        with pq.ParquetFile(path) as file:
            schema = file.schema_arrow
            names = tuple(schema.names)
            numeric = [
                field.name for field in schema if pa.types.is_floating(field.type) or pa.types.is_integer(field.type)
            ]
            times = [field.name for field in schema if pa.types.is_timestamp(field.type)]
            wanted = [n for n in names if n in (columns if columns is not None else [*numeric, *times])]
            table = file.read(columns=wanted)
    except (pa.ArrowInvalid, pa.ArrowIOError) as error:
        raise _not_whole(error) from None
    channels, started = {}, None
    for name in wanted:
        channels[name], first_stamp = _channel(table.column(name), name)
        started = started or first_stamp
    return RawFile("parquet", names, channels, started)


def peek(path: Path, _columns: Sequence[str]) -> Peek:
    """Read the footer of a Parquet file; see `strainstudy.io.readers.peek`."""
    try:
        with pq.ParquetFile(path) as file:
            schema, rows = file.schema_arrow, file.metadata.num_rows
    except (pa.ArrowInvalid, pa.ArrowIOError) as error:
        raise _not_whole(error) from None
    times = tuple(f.name for f in schema if pa.types.is_timestamp(f.type) or named_like_time(f.name))
    return Peek(tuple(schema.names), None, rows, {}, times)
