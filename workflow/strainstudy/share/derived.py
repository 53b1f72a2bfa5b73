"""What the pipeline made of a study, as a derivative: events of each recording, and the result tables.

In: result tables as they were written, with their sidecars. Out: text by name below the shared folder. Cells go as they
stand; columns of the lab's own words go where they may, and ids become those of the shared folder.
"""

from __future__ import annotations

import json
import re
from collections.abc import Iterable, Mapping, Sequence
from pathlib import Path, PurePosixPath
from typing import Final

import pandas as pd

from ..io.bids import DESCRIPTION
from ..records import Recording
from ..tables.classifier import BOUTS
from ..tables.events import EVENTS
from ..tables.recordings import ADDED, RECORDINGS
from ..tables.standing import GROUPS
from ..vocabulary import MISSING
from .names import PIPELINE, Layout
from .parameters import ShareParameters
from .raw import BIDS_VERSION, json_text, tsv_text
from .words import DERIVED_README, events_words

__all__ = ["derived_files", "read_texts"]

_EVENT_COLUMNS: Final = ("onset", "duration", "trial_type", "side", "value", "score")
_NOT_SHARED: Final = ("file", "file_format", "started", "status_description", "channels_left_out", "time_source")
"""Columns of the table of recordings with names of files and of their columns, and with dates."""
_IGNORED: Final = "tables\ntables/**\nvalidation\nvalidation/**\n"
_OF_PEOPLE: Final = ("age", "sex", "affected_side")


def read_texts(path: Path) -> pd.DataFrame:
    """Read a result table with every cell as its text."""
    return pd.read_csv(path, sep="\t", dtype=str, keep_default_na=False, index_col=False)


def _ids(places: Layout, allowed: set[str]) -> dict[str, str]:
    """Say for each id that changes what it becomes; a recording without its own is named as its file."""
    names = places.names
    recordings = {identifier: PurePosixPath(stem).name for identifier, stem in places.stems.items()}
    told = {} if "recordings.recording_id" in allowed else recordings
    every = {**told, **names.raters, **names.sensors, **names.sessions, **names.participants}
    return {old: new for old, new in every.items() if old != new}


def _renamed(frame: pd.DataFrame, ids: Mapping[str, str]) -> pd.DataFrame:
    """Put the shared names in place of ids, in cells and in sentences."""
    if not ids:
        return frame
    any_of = "|".join(re.escape(name) for name in sorted(ids, key=lambda name: (-len(name), name)))
    whole = re.compile(rf"(?<![A-Za-z0-9_-])(?:{any_of})(?![A-Za-z0-9_-])")

    def cells(column: pd.Series) -> pd.Series:
        found = {cell: whole.sub(lambda match: ids[match[0]], cell) for cell in column.unique()}
        return column.map(found)

    return frame.apply(cells)


def _kept(table: str, columns: Sequence[str], allowed: set[str]) -> list[str]:
    """Choose the columns of a table that may leave."""
    kept = list(columns)
    if table == RECORDINGS.path:
        ours = {*RECORDINGS.names, *(column.name for column in ADDED), *_OF_PEOPLE}
        free = [name for name in kept if name not in ours]
        barred = {n for n in free if not {f"participants.{n}", f"recordings.{n}"} & allowed} | {*_NOT_SHARED}
        kept = [name for name in kept if name not in barred]
    if "participant_id" in columns and "participants.group" not in allowed:
        kept = [name for name in kept if name != "group"]
    return kept


def _events(results: Path, recordings: Sequence[Recording], places: Layout) -> dict[str, str]:
    """Write detected events and the classifier's states of each person's recording, in order of onset."""
    events = read_texts(results / EVENTS.path)
    bouts = read_texts(results / BOUTS.path)
    bouts = bouts.rename(columns={"limping_side": "side", "probability": "score"}).assign(value=MISSING)
    frame = pd.concat([one[["recording_id", *_EVENT_COLUMNS]] for one in (events, bouts)], ignore_index=True)
    frame = frame.assign(start=pd.to_numeric(frame["onset"])).sort_values(["recording_id", "start"], kind="stable")
    rows = {str(name): part for name, part in frame.groupby("recording_id")}
    files = {}
    for recording in recordings:
        name, part = places.detected(recording), rows.get(recording.recording_id)
        if name is not None and part is not None:
            cells = part[list(_EVENT_COLUMNS)].itertuples(index=False, name=None)
            files[name] = tsv_text(_EVENT_COLUMNS, cells)
    return files


def derived_files(
    results: Path,
    tables: Iterable[str],
    recordings: Sequence[Recording],
    places: Layout,
    parameters: ShareParameters,
    version: str,
) -> dict[str, str]:
    """Write the derivative of the pipeline.

    Parameters
    ----------
    results : Path
        Results folder.
    tables : iterable of str
        Result tables below it.
    recordings : sequence of Recording
        Those whose samples are shared.
    places : Layout
    parameters : ShareParameters
    version : str
        Of the package.
    """
    allowed = set(parameters.allow_columns or ())
    ids = _ids(places, allowed)
    files = _events(results, recordings, places)
    for table in tables:
        if table == GROUPS.path and "participants.group" not in allowed:
            continue
        path = results / table
        frame = read_texts(path)
        kept = _kept(table, list(frame.columns), allowed)
        frame = _renamed(frame[kept], ids)
        files[f"{PIPELINE}/{table}"] = frame.to_csv(sep="\t", index=False, lineterminator="\n")
        schema = json.loads(path.with_suffix(".json").read_text(encoding="utf-8"))
        schema["fields"] = [field for field in schema["fields"] if field["name"] in kept]
        files[f"{PIPELINE}/{PurePosixPath(table).with_suffix('.json')}"] = json_text(schema)
    description = {
        "Name": f"{parameters.dataset_name}: what was detected and measured",
        "BIDSVersion": BIDS_VERSION,
        "DatasetType": "derivative",
        "GeneratedBy": [{"Name": "strainstudy", "Version": version}],
    }
    return {
        **files,
        f"{PIPELINE}/{DESCRIPTION}": json_text(description),
        f"{PIPELINE}/README.md": DERIVED_README,
        f"{PIPELINE}/.bidsignore": _IGNORED,
        f"{PIPELINE}/events.json": json_text(events_words("Detected events and states.", _EVENT_COLUMNS)),
    }
