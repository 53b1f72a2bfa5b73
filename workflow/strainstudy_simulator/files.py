"""Raw files as acquisition programs write them, the same bytes for the same samples.

In: named columns of samples. Out: delimited text (plain, compressed, or with a preamble and decimal commas),
Parquet, EDF+ and TDMS files. Dates are fixed, since nobody was recorded.
"""

from __future__ import annotations

import datetime
import gzip
import io
from collections.abc import Mapping
from pathlib import Path

import numpy as np
import numpy.typing as npt
import pyarrow as pa
import pyarrow.csv as pacsv
import pyarrow.parquet as pq
from strainstudy.io.atomic import replacing, write_bytes, write_text

__all__ = ["write_csv", "write_edf", "write_european_csv", "write_parquet", "write_tdms"]

Array = npt.NDArray[np.float64]
_START = datetime.datetime(2024, 1, 1, 9, 0, 0)


def write_csv(path: Path, columns: Mapping[str, Array], decimals: Mapping[str, int]) -> None:
    """Write comma-separated text, compressed where the name ends in ``.gz``; NaN becomes an empty field."""
    arrays = {}
    for name, values in columns.items():
        rounded = np.round(values, decimals[name]) + 0.0
        if decimals[name] == 0 and np.isfinite(rounded).all():
            arrays[name] = pa.array(rounded.astype(np.int64))
        else:
            arrays[name] = pa.array(rounded, from_pandas=True)
    body = io.BytesIO()
    pacsv.write_csv(pa.table(arrays), body, pacsv.WriteOptions(include_header=False))
    text = ",".join(columns).encode() + b"\n" + body.getvalue()
    if path.suffix != ".gz":
        write_bytes(path, text)
        return
    packed = io.BytesIO()
    with gzip.GzipFile(filename="", mode="wb", compresslevel=6, fileobj=packed, mtime=0) as stream:
        stream.write(text)
    write_bytes(path, packed.getvalue())


def write_european_csv(
    path: Path, columns: Mapping[str, Array], decimals: Mapping[str, int], preamble: tuple[str, ...]
) -> None:
    """Write semicolon-separated text with decimal commas below some lines of preamble."""
    texts = [
        ["" if np.isnan(v) else f"{v + 0.0:.{decimals[name]}f}".replace(".", ",") for v in values]
        for name, values in columns.items()
    ]
    rows = [";".join(columns), *(";".join(cells) for cells in zip(*texts, strict=True))]
    write_text(path, "\n".join([*preamble, *rows]) + "\n")


def write_parquet(path: Path, columns: Mapping[str, Array], fs: float, units: Mapping[str, str]) -> None:
    """Write a Parquet file without a time column; rate and units stand in the file's metadata."""
    fields = [pa.field(name, pa.float32(), metadata={"units": units[name]}) for name in columns]
    schema = pa.schema(fields, metadata={"sampling_frequency": f"{fs:g}"})
    arrays = [pa.array(values.astype(np.float32), from_pandas=True) for values in columns.values()]
    with replacing(path) as temporary:
        pq.write_table(pa.Table.from_arrays(arrays, schema=schema), temporary, compression="zstd")


def write_edf(path: Path, columns: Mapping[str, Array], fs: float, units: Mapping[str, str], rail_v: float) -> None:
    """Write an EDF+ file of whole seconds; volts span the converter's range, lost samples repeat the last."""
    import edfio

    ranges = {"V": rail_v, "mV": 1000 * rail_v, "deg": 180.0}
    n = round(int(len(next(iter(columns.values()))) / fs) * fs)
    signals = []
    for name, values in columns.items():
        last = np.maximum.accumulate(np.where(np.isfinite(values[:n]), np.arange(n), 0))
        limit = ranges[units[name]]
        signals.append(
            edfio.EdfSignal(
                values[last],
                fs,
                label=name,
                physical_dimension=units[name],
                physical_range=(-limit, limit),
            )
        )
    edf = edfio.Edf(
        signals,
        patient=edfio.Patient(),
        recording=edfio.Recording(startdate=_START.date()),
        starttime=_START.time(),
        data_record_duration=1,
        annotations=[edfio.EdfAnnotation(0.0, None, "start")],
    )
    with replacing(path) as temporary:
        edf.write(temporary)


def write_tdms(path: Path, columns: Mapping[str, Array], fs: float, units: Mapping[str, str]) -> None:
    """Write a TDMS file of one group, with the waveform properties of each channel."""
    from nptdms import ChannelObject, TdmsWriter

    properties = {"wf_start_time": np.datetime64(_START), "wf_start_offset": 0.0, "wf_increment": 1 / fs}
    channels = [
        ChannelObject(
            "bench",
            name,
            values.astype(np.float32),
            {**properties, "wf_samples": len(values), "unit_string": units[name]},
        )
        for name, values in columns.items()
    ]
    with replacing(path) as temporary, TdmsWriter(str(temporary)) as writer:
        writer.write_segment(channels)
