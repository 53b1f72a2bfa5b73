"""All tables of a results folder as one data package, and the large ones as Parquet.

In: the results folder and the names of its tables. Out: ``datapackage.json`` (Data Package 2.0,
https://datapackage.org/standard/data-package/) with one resource for each table, whose schema is the sidecar beside
it; ``<table>.parquet``, the cells of ``<table>.tsv`` with their types, unit and words in the metadata of each field.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from pathlib import Path, PurePosixPath
from typing import Any, Final

import pyarrow as pa
import pyarrow.parquet as pq

from ..io.atomic import replacing
from ..io.frames import read_json
from ..tables.spec import read_described
from .manifest import MANIFEST, sha256_of

__all__ = ["LARGE", "PACKAGE", "data_package", "twin_of", "write_twin"]

PACKAGE: Final = "datapackage.json"
LARGE: Final = (
    "tables/bench_cycles.tsv",
    "tables/bouts.tsv",
    "tables/events.tsv",
    "tables/knee_bends.tsv",
    "tables/sensor_loops.tsv",
    "tables/strides.tsv",
    "tables/swallows.tsv",
    "model/predictions.tsv",
    "model/swallow_predictions.tsv",
)
"""Tables that grow with the length of the recordings."""
_ARROW: Final = {"string": pa.string(), "number": pa.float64(), "integer": pa.int64(), "boolean": pa.bool_()}


def twin_of(table: str) -> str:
    """Name the Parquet twin of a table."""
    return str(PurePosixPath(table).with_suffix(".parquet"))


def write_twin(results: Path, table: str) -> None:
    """Write a table once more as Parquet: the same cells, typed, with units.

    Parameters
    ----------
    results : Path
        Results folder.
    table : str
        Path of the TSV below it; its sidecar stands beside it.
    """
    path = results / table
    sidecar = read_json(path.with_suffix(".json"))
    frame = read_described(path)
    fields, columns = [], []
    for column, entry in zip(frame.columns, sidecar["fields"], strict=True):
        words = {key: entry[key] for key in ("unit", "title", "description") if key in entry}
        kind = _ARROW[entry["type"]]
        fields.append(pa.field(column, kind, metadata=words))
        columns.append(pa.array(frame[column], type=kind, from_pandas=True))
    about = {"title": sidecar["title"], "description": sidecar["description"], "source": table}
    with replacing(results / twin_of(table)) as temporary:
        pq.write_table(pa.Table.from_arrays(columns, schema=pa.schema(fields, about)), temporary, compression="zstd")


def _name(path: str) -> str:
    """Make the name of a resource: lower-case letters, digits, dot, hyphen and underscore."""
    return re.sub(r"[^a-z0-9._-]+", "-", path.lower())


def _told(path: Path) -> dict[str, Any]:
    return {"bytes": path.stat().st_size, "hash": f"sha256:{sha256_of(path)}"}


def data_package(
    results: Path, files: Iterable[str], *, name: str, version: str, growing: Sequence[str] = ()
) -> dict[str, Any]:
    """Describe the tables of a results folder.

    Parameters
    ----------
    results : Path
        Results folder.
    files : iterable of str
        Names of its files; those that are tables with a sidecar become resources. Parquet files do not: programs for
        data packages read every cell of a resource, and signals have hours of samples.
    name : str
        Name of the study.
    version : str
        Version of this software.
    growing : sequence of str
        Tables whose content differs from run to run, listed without size and hash, as the manifest is, which is written
        after this.

    Returns
    -------
    dict
    """
    resources = []
    for file in sorted(files):
        path = results / file
        if file.endswith(".tsv") and path.is_file() and path.with_suffix(".json").is_file():
            sidecar = read_json(path.with_suffix(".json"))
            resources.append(
                {
                    "name": _name(file.removesuffix(".tsv")),
                    "path": file,
                    "type": "table",
                    "title": sidecar["title"],
                    "description": sidecar["description"],
                    "format": "tsv",
                    "mediatype": "text/tab-separated-values",
                    "encoding": "utf-8",
                    "dialect": {"delimiter": "\t"},
                    "schema": str(PurePosixPath(file).with_suffix(".json")),
                    **({} if file in (*growing, MANIFEST.path) else _told(path)),
                }
            )
    return {
        "$schema": "https://datapackage.org/profiles/2.0/datapackage.json",
        "name": _name(f"strainstudy-{name}"),
        "title": f"Results of {name}",
        "description": f"Tables that strainstudy {version} made from the study {name}. n/a is a missing value. "
        "Signals and large tables are there as Parquet too; codebook.html describes all. "
        "Research results; not for diagnosis.",
        "licenses": [{"name": "other", "title": "The study's own"}],
        "resources": resources,
    }
