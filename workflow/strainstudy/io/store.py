"""Sampled signals between stages and in the results: one Parquet file per batch, one row group per trace.

Every file, intermediate or final, has the columns ``recording_id``, ``time``, ``tracked_point`` and then the
quantities; what a reader needs beside them (rate, units, which row group is which) is in the file's metadata,
so a stage reads one recording without touching the others. A stage that goes on in the same process may have what was
just written handed on (`Kept`), so far as there is room for it.
"""

from __future__ import annotations

import json
from collections.abc import Collection, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from types import TracebackType
from typing import Any, Self

import numpy as np
import numpy.typing as npt
import pyarrow as pa
import pyarrow.parquet as pq

from .arrow import as_arrow, as_word
from .atomic import replacing

__all__ = ["FloatArray", "Kept", "Trace", "TraceReader", "TraceWriter", "iter_traces", "read_recording"]

FloatArray = npt.NDArray[np.float64]
_INDEX_KEY = b"strainstudy.traces"
_BESIDE = ("recording_id", "time", "tracked_point")
_MOST_KEPT_BYTES = 128_000_000
"""Half an hour of three channels at 1 kHz; what is more is read back, and a job stays within its memory (ours)."""


@dataclass(frozen=True)
class Trace:
    """One tracked point of one recording on a uniform time grid.

    Parameters
    ----------
    recording_id, tracked_point : str
        Whose and where.
    units : str
        Unit of the channel in the raw file (``V``, ``mV``, ``ohm``, ``deg``, ``a.u.``, ``percent``, ``mm``).
    sampling_frequency : float
        Hz.
    columns : mapping of str to array, each shape (n,)
        The quantities; NaN where there is none.
    clipped_s : tuple of (float, float)
        Stretches at a rail of converter or amplifier, seconds from the first sample, as ingest found them.
    """

    recording_id: str
    tracked_point: str
    units: str
    sampling_frequency: float
    columns: Mapping[str, FloatArray]
    clipped_s: tuple[tuple[float, float], ...] = ()

    @property
    def n(self) -> int:
        """Number of samples."""
        return len(next(iter(self.columns.values())))

    @property
    def time(self) -> npt.NDArray[np.float64]:
        """Time of each sample in seconds from the first stored one, shape (n,)."""
        return np.arange(self.n) / self.sampling_frequency

    def __getitem__(self, name: str) -> FloatArray:
        return self.columns[name]


class Kept:
    """Traces as a file has them, for the next stage of the same process, so far as there is room.

    Parameters
    ----------
    quantities : collection of str
        Those that will be read.
    most_bytes : int
        Room for them; a recording of which not every trace fits is left to be read from the file.
    """

    def __init__(self, quantities: Collection[str], most_bytes: int = _MOST_KEPT_BYTES) -> None:
        self._quantities = quantities
        self._room = most_bytes
        self._traces: dict[str, dict[str, Trace]] = {}
        self._too_large: set[str] = set()

    def add(self, trace: Trace) -> None:
        """Keep a trace, its columns in the type that they are stored with."""
        name = trace.recording_id
        columns = {quantity: trace[quantity].view() for quantity in self._quantities}
        size = sum(values.nbytes for values in columns.values())
        if name in self._too_large or size > self._room:
            self._too_large.add(name)
            dropped = self._traces.pop(name, {})
            self._room += sum(values.nbytes for one in dropped.values() for values in one.columns.values())
            return
        for values in columns.values():
            values.flags.writeable = False
        self._room -= size
        self._traces.setdefault(name, {})[trace.tracked_point] = replace(trace, columns=columns)

    def recording(self, recording_id: str) -> dict[str, Trace] | None:
        """Give the traces of a recording as `read_recording` would, not to be written to; None if they are not here."""
        found = self._traces.get(recording_id)
        if found is None:
            return None
        return {
            point: replace(trace, columns={n: v.astype(np.float64, copy=False) for n, v in trace.columns.items()})
            for point, trace in found.items()
        }


class TraceWriter:
    """Write traces one after another into one Parquet file that appears only when all are in.

    Parameters
    ----------
    path : Path
        The file.
    quantities : tuple of str
        Quantity columns every trace must have, in this order; stored as 32-bit floats.
    exact : bool
        Store 64-bit floats, for a stage that goes on where the last one stopped.
    words : mapping of str to mapping
        By column: unit, title and description, for the metadata of its field.
    kept : Kept, optional
        Takes every trace as well.
    """

    def __init__(
        self,
        path: Path,
        quantities: tuple[str, ...],
        *,
        exact: bool = False,
        words: Mapping[str, Mapping[str, str]] | None = None,
        kept: Kept | None = None,
    ) -> None:
        self._quantities = quantities
        self._kept = kept
        self._dtype = np.float64 if exact else np.float32
        word = pa.dictionary(pa.int32(), pa.string())
        kinds = {
            **{"recording_id": word, "time": pa.float64(), "tracked_point": word},
            **{name: pa.from_numpy_dtype(self._dtype) for name in quantities},
        }
        told = {} if words is None else words
        self._schema = pa.schema([pa.field(name, kind, metadata=told.get(name)) for name, kind in kinds.items()])
        self._replacing = replacing(path)
        self._index: list[dict[str, Any]] = []

    def __enter__(self) -> Self:
        self._writer = pq.ParquetWriter(
            self._replacing.__enter__(),
            self._schema,
            compression="lz4",
            use_dictionary=["recording_id", "tracked_point"],
            write_statistics=["recording_id", "time", "tracked_point"],
            use_byte_stream_split=["time", *self._quantities],
        )
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trail: TracebackType | None
    ) -> None:
        if kind is None:
            self._writer.add_key_value_metadata({_INDEX_KEY: json.dumps(self._index).encode()})
        self._writer.close()
        self._replacing.__exit__(kind, error, trail)

    def write(self, trace: Trace) -> None:
        """Append one trace as one row group."""
        n = trace.n
        stored: dict[str, npt.NDArray[Any]] = {n: np.asarray(trace[n], dtype=self._dtype) for n in self._quantities}
        arrays = [
            as_word(trace.recording_id, n),
            as_arrow(trace.time),
            as_word(trace.tracked_point, n),
            *map(as_arrow, stored.values()),
        ]
        self._writer.write_table(pa.Table.from_arrays(arrays, schema=self._schema), row_group_size=max(n, 1))
        if self._kept is not None:
            self._kept.add(replace(trace, columns=stored))
        self._index.append(
            {
                "recording_id": trace.recording_id,
                "tracked_point": trace.tracked_point,
                "units": trace.units,
                "sampling_frequency": trace.sampling_frequency,
                "clipped_s": trace.clipped_s,
                "samples": n,
            }
        )


class TraceReader:
    """Read the recordings of a file one by one, in any order.

    Parameters
    ----------
    path : Path
        What a `TraceWriter` wrote.
    quantities : collection of str, optional
        Only these columns, which saves the time and room of the others; all if not given.
    kept : Kept, optional
        What of it was kept when it was written; it must have these quantities.
    """

    def __init__(self, path: Path, quantities: Collection[str] | None = None, kept: Kept | None = None) -> None:
        self._path = path
        self._quantities = quantities
        self._kept = kept

    def __enter__(self) -> Self:
        self._file = pq.ParquetFile(self._path)
        names = [n for n in self._file.schema_arrow.names if n not in _BESIDE]
        self._wanted = [n for n in names if self._quantities is None or n in self._quantities]
        self._entries: list[dict[str, Any]] = json.loads(self._file.metadata.metadata[_INDEX_KEY])
        self._groups: dict[str, list[int]] = {}
        for group, entry in enumerate(self._entries):
            self._groups.setdefault(entry["recording_id"], []).append(group)
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trail: TracebackType | None
    ) -> None:
        self._file.close()

    def __iter__(self) -> Iterator[Trace]:
        """Give all traces in the order of the file."""
        return map(self._trace, range(len(self._entries)))

    def traces(self, recording_id: str) -> Iterator[Trace]:
        """Give the traces of one recording in the order of the file; none if it has none."""
        return map(self._trace, self._groups.get(recording_id, ()))

    def recording(self, recording_id: str) -> dict[str, Trace]:
        """Give one recording as `read_recording` does."""
        kept = None if self._kept is None else self._kept.recording(recording_id)
        if kept is not None:
            return kept
        groups = self._groups.get(recording_id, [])
        if not groups:
            return {}
        table = self._read(groups)
        traces, first = {}, 0
        for entry in (self._entries[group] for group in groups):
            traces[entry["tracked_point"]] = self._made(entry, table.slice(first, entry["samples"]))
            first += entry["samples"]
        return traces

    def _read(self, groups: Sequence[int]) -> pa.Table:
        # the cores have jobs and processes of jobs: threads would only stand in each other's way
        return self._file.read_row_groups(groups, columns=self._wanted, use_threads=False)

    def _trace(self, group: int) -> Trace:
        return self._made(self._entries[group], self._read([group]))

    def _made(self, entry: Mapping[str, Any], table: pa.Table) -> Trace:
        return Trace(
            entry["recording_id"],
            entry["tracked_point"],
            entry["units"],
            entry["sampling_frequency"],
            {name: table[name].to_numpy().astype(np.float64) for name in self._wanted},
            tuple((start, stop) for start, stop in entry["clipped_s"]),
        )


def iter_traces(
    path: Path, recording_id: str | None = None, quantities: Collection[str] | None = None
) -> Iterator[Trace]:
    """Read the traces of a file, or those of one recording, one row group at a time.

    Parameters
    ----------
    path : Path
        What a `TraceWriter` wrote.
    recording_id : str, optional
        All recordings if not given.
    quantities : collection of str, optional
        As for `TraceReader`.

    Yields
    ------
    Trace
        Its columns as float64, in the order of the file.
    """
    with TraceReader(path, quantities) as reader:
        yield from reader if recording_id is None else reader.traces(recording_id)


def read_recording(path: Path, recording_id: str, quantities: Collection[str] | None = None) -> dict[str, Trace]:
    """Read one recording's traces, keyed by tracked point (a reference beside a sensor: ``<point>:reference``).

    Parameters are those of `iter_traces`. For many recordings of one file see `TraceReader`.
    """
    return {trace.tracked_point: trace for trace in iter_traces(path, recording_id, quantities)}
