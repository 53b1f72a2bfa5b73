"""Column descriptions, and TSV files with a Frictionless Table Schema beside them.

In: a frame and its `TableSpec`. Out: ``<name>.tsv`` (UTF-8, tab, ``n/a``) and ``<name>.json``
(https://datapackage.org/standard/table-schema/, read there: ``fields`` required, ``missingValues`` as BIDS has it).
Every result table is written by `write_table` and read by `read_table` with the same specification; between stages it
goes unrounded, by `write_typed` and `read_typed`. How a text becomes a cell is in `cells`.

A function that works on frames imports pandas itself: a job that only asks for the names of columns starts without it.
"""

from __future__ import annotations

import io
import json
from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final, Literal

import numpy as np

from ..errors import Problem, StudyError
from ..io.atomic import write_text
from ..io.frames import read_frame, write_frame
from ..vocabulary import MISSING
from .cells import bare, quoted, written

if TYPE_CHECKING:
    import pandas as pd

__all__ = [
    "Column",
    "TableSpec",
    "count",
    "flag",
    "interval",
    "number",
    "read_described",
    "read_table",
    "read_typed",
    "text",
    "write_table",
    "write_typed",
]

Kind = Literal["string", "number", "integer", "boolean"]
_TYPES: Final[Mapping[Kind, Any]] = {
    "string": "object",
    "number": "float64",
    "integer": "Int64",
    "boolean": "boolean",
}
_APOSTROPHE_FIRST: Final = (b"\t'", b"\r'", b"\n'", b"\"'")
"""One of these is in a file if a cell below its header begins as those do that `bare` changes."""


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

    def empty(self, extra: Sequence[Column] = ()) -> pd.DataFrame:
        """Return a frame with this table's columns, then those that are added, and no rows."""
        import pandas as pd

        return pd.DataFrame({c.name: pd.Series(dtype=_TYPES[c.kind]) for c in (*self.columns, *extra)})

    def of(self, frame: pd.DataFrame, extra: Sequence[Column] = ()) -> pd.DataFrame:
        """Take this table's columns and further ones out of a frame that may hold more; a missing one is a `KeyError`.

        A frame without rows and columns, as of a study without that data, gives the empty table.
        """
        return self.empty(extra) if frame.empty else frame[[*self.names, *(column.name for column in extra)]]


def text(name: str, title: str, description: str) -> Column:
    """Make a column of words."""
    return Column(name, "string", title, description)


def number(name: str, title: str, description: str, unit: str | None = None, decimals: int | None = None) -> Column:
    """Make a column of numbers, with six significant digits where no decimals are given."""
    return Column(name, "number", title, description, unit, decimals)


def count(name: str, title: str, description: str, unit: str | None = None) -> Column:
    """Make a column of whole numbers."""
    return Column(name, "integer", title, description, unit)


def flag(name: str, title: str, description: str) -> Column:
    """Make a column of true and false."""
    return Column(name, "boolean", title, description)


def interval(name: str, title: str, description: str, unit: str | None = None) -> tuple[Column, Column, Column]:
    """Three columns for an estimate with its 95 % limits: ``name``, ``name_low`` and ``name_high``."""
    return (
        number(name, title, description, unit),
        number(f"{name}_low", f"{title}, lower limit", f"Lower 95 % limit of {name}.", unit),
        number(f"{name}_high", f"{title}, upper limit", f"Upper 95 % limit of {name}.", unit),
    )


def _texts(values: pd.Series, column: Column) -> list[str]:
    """Give the cells of a column as they are written."""
    if column.kind == "string":
        return _words(values)
    if column.kind == "number":
        return _numbers(values, column.decimals)
    known = values.notna().to_numpy()
    if column.kind == "boolean":
        return [("true" if v else "false") if there else MISSING for v, there in zip(values, known, strict=True)]
    return [str(int(v)) if there else MISSING for v, there in zip(values, known, strict=True)]


def _words(values: pd.Series) -> list[str]:
    texts = [str(v) if there else "" for v, there in zip(values, values.notna().to_numpy(), strict=True)]
    # A column has few different words: names of recordings, of states, of measures.
    cells = {text: quoted(written(text)) if text else MISSING for text in set(texts)}
    return [cells[text] for text in texts]


def _numbers(values: pd.Series, decimals: int | None) -> list[str]:
    import pandas as pd

    numbers = pd.to_numeric(values).to_numpy(dtype=float, na_value=np.nan) + 0.0
    finite = np.isfinite(numbers)
    known = numbers[finite].tolist()
    form = "%.6g" if decimals is None else f"%.{decimals}f"
    # one call for all of them takes a third of the time of one for each
    texts = (" ".join([form] * len(known)) % tuple(known)).split(" ") if known else []
    if decimals is not None:
        texts = [text[1:] if text[0] == "-" and not text.strip("-0.") else text for text in texts]
    if finite.all():
        return texts
    cells = np.full(len(numbers), MISSING, dtype=object)
    cells[finite] = texts
    return list(cells)


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


def write_table(
    frame: pd.DataFrame, spec: TableSpec, results: Path, extra: Sequence[Column] = (), *, lasting: bool = False
) -> Path:
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
    lasting : bool
        For rows that cannot be made again, as in `io.atomic.replacing`.

    Returns
    -------
    Path
        The written TSV.
    """
    columns = [*spec.columns, *extra]
    ordered = _ordered(frame, spec, columns)
    texts = [_texts(ordered[column.name], column) for column in columns]
    lines = ["\t".join(quoted(written(column.name)) for column in columns)]
    lines.extend(map("\t".join, zip(*texts, strict=True)))
    path = results / spec.path
    write_text(path, "\n".join(lines) + "\n", lasting=lasting)
    sidecar = json.dumps(_sidecar(spec, columns), indent=2, ensure_ascii=False)
    write_text(path.with_suffix(".json"), sidecar + "\n")
    return path


def _ordered(frame: pd.DataFrame, spec: TableSpec, columns: Sequence[Column]) -> pd.DataFrame:
    """Give the rows and columns in the order of the table; a column that is not described, or not given, is refused."""
    names = [column.name for column in columns]
    odd = set(frame.columns).symmetric_difference(names)
    if odd:
        raise KeyError(f"{spec.path}: columns {sorted(map(str, odd))} are not both described and given")
    return frame[names].sort_values(list(spec.key), kind="stable", na_position="last")


def _refuse(file: str, message: str) -> StudyError:
    return StudyError([Problem(file, message, "remove this file and run the study again: it is made anew")])


def _checked(names: Sequence[str], spec: TableSpec, extra: Sequence[Column], file: str) -> None:
    """Hold a header to its specification: its columns first and in order, then added and carried ones."""
    wanted = [*spec.names, *(column.name for column in extra)]
    missing = [name for name in wanted if name not in names]
    if missing:
        raise _refuse(file, f"has no column {', '.join(map(repr, missing))}, which {spec.title!r} is specified with")
    if tuple(names[: len(spec.names)]) != spec.names:
        raise _refuse(file, "has its columns in another order than they are specified in")


def _described(path: Path) -> dict[str, Kind]:
    """Read the kinds of columns from a sidecar."""
    sidecar = json.loads(path.with_suffix(".json").read_text(encoding="utf-8"))
    return {bare(entry["name"]): entry["type"] for entry in sidecar["fields"]}


def _cells(path: Path, kinds: Mapping[str, Kind]) -> pd.DataFrame:
    """Read cells as texts, but for columns of numbers among those whose kind is known."""
    import pandas as pd

    content = path.read_bytes()
    numbers = {name: "float64" for name, kind in kinds.items() if kind == "number"}
    frame = pd.read_csv(
        io.BytesIO(content),
        sep="\t",
        dtype=defaultdict(lambda: "object", numbers),
        keep_default_na=False,
        na_values=[MISSING, ""],
        index_col=False,
        float_precision="high",  # to the digit as `pandas.to_numeric` does
    )
    frame.columns = pd.Index([bare(str(name)) for name in frame.columns])
    if any(start in content for start in _APOSTROPHE_FIRST):
        texts = frame.columns[(frame.dtypes == "object").to_numpy()]
        frame[texts] = frame[texts].map(bare, na_action="ignore")
    return frame


def _from_cells(frame: pd.DataFrame, kinds: Mapping[str, Kind]) -> pd.DataFrame:
    import pandas as pd

    for name, kind in kinds.items():
        if kind == "boolean":
            frame[name] = frame[name].map({"true": True, "false": False}).astype("boolean")
        elif kind != "string":
            frame[name] = pd.to_numeric(frame[name]).astype(_TYPES[kind])
        elif len(frame) and frame[name].isna().all():
            frame[name] = frame[name].astype("float64")
    return frame


def read_table(results: Path, spec: TableSpec, extra: Sequence[Column] = ()) -> pd.DataFrame:
    """Read a result table with the types of its specification; ``n/a`` becomes missing.

    Parameters
    ----------
    results : Path
        Results folder.
    spec : TableSpec
        The table.
    extra : sequence of Column, optional
        Columns that were added when it was written and that the caller relies on. Others that the file has, such as
        those a lab carries along, are read with the types that the sidecar gives.

    Returns
    -------
    DataFrame

    Raises
    ------
    StudyError
        If the header is not that of the specification, or a column is described nowhere.
    """
    path = results / spec.path
    kinds = {column.name: column.kind for column in (*spec.columns, *extra)}
    frame = _cells(path, kinds)
    names = list(frame.columns)
    _checked(names, spec, extra, spec.path)
    carried = [name for name in names if name not in kinds]
    if carried:
        described = _described(path) if path.with_suffix(".json").is_file() else {}
        strange = [name for name in carried if name not in described]
        if strange:
            raise _refuse(spec.path, f"has columns that nothing describes: {', '.join(map(repr, strange))}")
        kinds |= {name: described[name] for name in carried}
    return _from_cells(frame, kinds)


def read_described(path: Path) -> pd.DataFrame:
    """Read a table by its sidecar alone, as one must that an earlier version may have written."""
    kinds = _described(path)
    return _from_cells(_cells(path, kinds), kinds)


def write_typed(frame: pd.DataFrame, spec: TableSpec, path: Path, extra: Sequence[Column] = ()) -> None:
    """Write a table as Parquet for the stages after: rows, columns and types as `write_table`, nothing rounded.

    Parameters
    ----------
    frame : DataFrame
        As for `write_table`.
    spec : TableSpec
        The table.
    path : Path
        The file.
    extra : sequence of Column, optional
        Columns that are added, written last.
    """
    import pandas as pd

    columns = [*spec.columns, *extra]
    ordered = _ordered(frame, spec, columns)
    write_frame(path, pd.DataFrame({column.name: _typed(ordered[column.name], column) for column in columns}))


def _typed(values: pd.Series, column: Column) -> pd.Series:
    """Give a column its type; what would be written as ``n/a`` is missing."""
    import pandas as pd

    if column.kind == "string":
        texts = (str(v) if there else "" for v, there in zip(values, values.notna().to_numpy(), strict=True))
        words = [None if text in ("", MISSING) else text for text in texts]
        return pd.Series(words, index=values.index, dtype=object)
    if column.kind == "number":
        numbers = pd.to_numeric(values).to_numpy(dtype=float, na_value=np.nan)
        return pd.Series(np.where(np.isfinite(numbers), numbers, np.nan), index=values.index)
    return pd.Series(values.astype(_TYPES[column.kind]))


def read_typed(path: Path, spec: TableSpec, extra: Sequence[Column] = ()) -> pd.DataFrame:
    """Read what `write_typed` wrote, held to the same specification."""
    frame = read_frame(path)
    _checked(list(frame.columns), spec, extra, path.name)
    types = {column.name: _TYPES[column.kind] for column in (*spec.columns, *extra)}
    return frame.astype(types)
