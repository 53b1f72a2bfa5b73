"""Sampled signals between stages and in the results: one Parquet file per batch, one row group per trace.

Every file, intermediate or final, has the columns ``recording_id``, ``time``, ``tracked_point`` and then the
quantities; what a reader needs beside them (rate, units, which row group is which) is in the file's metadata,
so a stage reads one recording without touching the others.
"""

from __future__ import annotations

import json
from collections.abc import Collection, Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path
from types import TracebackType
from typing import Any, Self

import numpy as np
import numpy.typing as npt
import pyarrow as pa
import pyarrow.parquet as pq

from .atomic import replacing

__all__ = ["FloatArray", "Trace", "TraceWriter", "iter_traces", "read_recording"]

FloatArray = npt.NDArray[np.float64]
_INDEX_KEY = b"strainstudy.traces"


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
    """

    def __init__(
        self,
        path: Path,
        quantities: tuple[str, ...],
        *,
        exact: bool = False,
        words: Mapping[str, Mapping[str, str]] | None = None,
    ) -> None:
        self._quantities = quantities
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

        def word(value: str) -> pa.Array:
            return pa.DictionaryArray.from_arrays(np.zeros(n, dtype=np.int32), pa.array([value]))

        arrays = [
            word(trace.recording_id),
            pa.array(trace.time),
            word(trace.tracked_point),
            *(pa.array(np.asarray(trace[name], dtype=self._dtype)) for name in self._quantities),
        ]
        self._writer.write_table(pa.Table.from_arrays(arrays, schema=self._schema), row_group_size=max(n, 1))
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
        Only these columns, which saves the time and room of the others; all if not given.

    Yields
    ------
    Trace
        Its columns as float64, in the order of the file.
    """
    with pq.ParquetFile(path) as file:
        index = json.loads(file.metadata.metadata[_INDEX_KEY])
        names = [n for n in file.schema_arrow.names if n not in ("recording_id", "time", "tracked_point")]
        wanted = [n for n in names if quantities is None or n in quantities]
        for group, entry in enumerate(index):
            if recording_id is not None and entry["recording_id"] != recording_id:
                continue
            table = file.read_row_group(group, columns=wanted)
            yield Trace(
                entry["recording_id"],
                entry["tracked_point"],
                entry["units"],
                entry["sampling_frequency"],
                {name: table[name].to_numpy().astype(np.float64) for name in wanted},
                tuple((start, stop) for start, stop in entry["clipped_s"]),
            )


def read_recording(path: Path, recording_id: str, quantities: Collection[str] | None = None) -> dict[str, Trace]:
    """Read one recording's traces, keyed by tracked point (a reference beside a sensor: ``<point>:reference``).

    Parameters are those of `iter_traces`.
    """
    return {trace.tracked_point: trace for trace in iter_traces(path, recording_id, quantities)}
