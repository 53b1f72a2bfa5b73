"""Column descriptions, and TSV files with a Frictionless Table Schema beside them.

In: a frame and its `TableSpec`. Out: ``<name>.tsv`` (UTF-8, tab, ``n/a``) and ``<name>.json``
(https://datapackage.org/standard/table-schema/, read there: ``fields`` required, ``missingValues`` as BIDS has it).
Every result table is written by `write_table` and read by `read_table`; how a text becomes a cell is in `cells`.
"""

from __future__ import annotations

import json
from collections.abc import Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, Literal

import numpy as np
import pandas as pd

from ..io.atomic import write_text
from ..vocabulary import MISSING
from .cells import bare, quoted, written

__all__ = ["Column", "TableSpec", "interval_columns", "read_table", "write_table"]

Kind = Literal["string", "number", "integer", "boolean"]


@dataclass(frozen=True)
class Column:
    """One column: its name, kind, title, description, unit, and how many decimals it is written with.

    ``decimals=None`` writes six significant digits.
    """

    name: str
    kind: Kind
    title: str
    description: str
    unit: str | None = None
    decimals: int | None = None


@dataclass(frozen=True)
class TableSpec:
    """One result table.

    Parameters
    ----------
    path : str
        Path below the results folder, for example ``tables/events.tsv``.
    title, description : str
        For the sidecar and the report.
    columns : tuple of Column
        In the order they are written.
    key : tuple of str
        Columns that rows are sorted by.
    """

    path: str
    title: str
    description: str
    columns: tuple[Column, ...]
    key: tuple[str, ...]
    names: tuple[str, ...] = field(init=False)

    def __post_init__(self) -> None:
        object.__setattr__(self, "names", tuple(column.name for column in self.columns))

    def empty(self) -> pd.DataFrame:
        """Return a frame with this table's columns and no rows."""
        kinds = {"string": "object", "number": "float64", "integer": "Int64", "boolean": "boolean"}
        return pd.DataFrame({c.name: pd.Series(dtype=kinds[c.kind]) for c in self.columns})


def interval_columns(
    name: str, title: str, description: str, unit: str | None = None, level: str = "95 %"
) -> tuple[Column, Column, Column]:
    """Three columns for an estimate: ``name``, ``name_low`` and ``name_high``."""
    return (
        Column(name, "number", title, description, unit),
        Column(f"{name}_low", "number", f"{title}, lower limit", f"Lower {level} limit of {name}.", unit),
        Column(f"{name}_high", "number", f"{title}, upper limit", f"Upper {level} limit of {name}.", unit),
    )


def _texts(values: pd.Series, column: Column) -> list[str]:
    if column.kind == "string":
        return [MISSING if pd.isna(v) or v == "" else written(str(v)) for v in values]
    if column.kind == "boolean":
        return [MISSING if pd.isna(v) else str(bool(v)).lower() for v in values]
    if column.kind == "integer":
        return [MISSING if pd.isna(v) else str(int(v)) for v in values]
    numbers = pd.to_numeric(values).to_numpy(dtype=float, na_value=np.nan)
    form = "{:.6g}" if column.decimals is None else f"{{:.{column.decimals}f}}"
    texts = [form.format(v + 0.0) if np.isfinite(v) else MISSING for v in numbers]
    return [text[1:] if text.startswith("-") and not text.strip("-0.") else text for text in texts]


def _sidecar(spec: TableSpec, columns: Sequence[Column]) -> dict[str, Any]:
    fields = []
    for column in columns:
        entry: dict[str, Any] = {
            "name": written(column.name),
            "type": column.kind,
            "title": column.title,
            "description": column.description,
        }
        if column.unit is not None:
            entry["unit"] = column.unit
        fields.append(entry)
    return {
        "$schema": "https://datapackage.org/profiles/2.0/tableschema.json",
        "title": spec.title,
        "description": spec.description,
        "fields": fields,
        "fieldsMatch": "exact",
        "missingValues": [MISSING, ""],
    }


def write_table(frame: pd.DataFrame, spec: TableSpec, results: Path, extra: Sequence[Column] = ()) -> Path:
    """Write a result table and its sidecar, sorted and formatted so that equal frames give equal bytes.

    Parameters
    ----------
    frame : DataFrame
        Must hold every column of ``spec`` and of ``extra``; others are a `KeyError`, so that no column
        leaves without a description.
    spec : TableSpec
        The table.
    results : Path
        Results folder; ``spec.path`` is below it.
    extra : sequence of Column, optional
        Columns this study adds (those a lab carries along), written last.

    Returns
    -------
    Path
        The written TSV.
    """
    columns = [*spec.columns, *extra]
    names = [column.name for column in columns]
    odd = set(frame.columns).symmetric_difference(names)
    if odd:
        raise KeyError(f"{spec.path}: columns {sorted(map(str, odd))} are not both described and given")
    ordered = frame[names].sort_values(list(spec.key), kind="stable", na_position="last")
    texts = [_texts(ordered[column.name], column) for column in columns]
    lines = ["\t".join(quoted(written(name)) for name in names)]
    lines.extend("\t".join(map(quoted, row)) for row in zip(*texts, strict=True))
    path = results / spec.path
    write_text(path, "\n".join(lines) + "\n")
    sidecar = json.dumps(_sidecar(spec, columns), indent=2, ensure_ascii=False)
    write_text(path.with_suffix(".json"), sidecar + "\n")
    return path


def read_table(path: Path) -> pd.DataFrame:
    """Read a result table with the types that its sidecar gives; ``n/a`` becomes missing."""
    sidecar = json.loads(path.with_suffix(".json").read_text(encoding="utf-8"))
    kinds: dict[str, Any] = {"string": "object", "number": "float64", "integer": "Int64", "boolean": "boolean"}
    types = {bare(entry["name"]): kinds[entry["type"]] for entry in sidecar["fields"]}
    frame = pd.read_csv(path, sep="\t", dtype="object", keep_default_na=False, na_values=[MISSING, ""], index_col=False)
    frame.columns = pd.Index([bare(str(name)) for name in frame.columns])
    for name, kind in types.items():
        if kind == "boolean":
            frame[name] = frame[name].map({"true": True, "false": False}).astype("boolean")
        elif kind != "object":
            frame[name] = pd.to_numeric(frame[name]).astype(kind)
        else:
            frame[name] = frame[name].map(bare, na_action="ignore")
    return frame
