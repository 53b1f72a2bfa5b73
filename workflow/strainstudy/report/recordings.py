"""The drawing of each recording with its words, and how it comes from the job that drew it to the page."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final

import pandas as pd

from ..io.frames import read_json
from ..io.store import Trace
from ..vocabulary import EVENT_TYPES
from .content import Picture
from .names import recording_file
from .pictures import picture_row
from .recording_drawings import draw_recording

__all__ = ["NOTHING", "Drawings", "detected_in", "drawing_row", "drawings_in", "recording_picture"]

_SHOWN: Final = ("onset", "duration", "trial_type", "side")
NOTHING: Final = pd.DataFrame({name: pd.Series(dtype=object) for name in _SHOWN})
"""What is detected in a recording in which nothing is."""


def detected_in(events: pd.DataFrame, bouts: pd.DataFrame, recordings: Collection[str]) -> dict[str, pd.DataFrame]:
    """Give events and bouts of some recordings in one frame each.

    Parameters
    ----------
    events, bouts : DataFrame
        ``tables/events.tsv`` and ``tables/bouts.tsv``, of all recordings.
    recordings : collection of str

    Returns
    -------
    dict of str to DataFrame
        Columns of `NOTHING`; a recording without any is left out.
    """
    parts = [events, bouts.assign(side=None)]
    own = [p.loc[p["recording_id"].isin(recordings), ["recording_id", *_SHOWN]] for p in parts]
    joined = pd.concat([p.astype({"trial_type": object, "side": object}) for p in own])
    return {str(name): rows for name, rows in joined.groupby("recording_id", sort=True)}


def _caption(row: Mapping[str, Any], detected: pd.DataFrame, raters: Collection[str]) -> str:
    counts = detected["trial_type"].value_counts()
    found = [f"{counts[name]} {kind.plural}" for name, kind in EVENT_TYPES.items() if counts.get(name, 0)]
    words = f"Task {row['task']}, {float(row['duration']):.0f} s, {row['status']}"
    words += f" ({row['status_description']})" if pd.notna(row["status_description"]) else ""
    words += ". Detected: " + (", ".join(found) if found else "nothing") + "."
    return words + (f" Labelled by {', '.join(raters)}." if raters else " Not labelled.")


def recording_picture(
    row: Mapping[str, Any], traces: Mapping[str, Trace], detected: pd.DataFrame, raters: Mapping[str, pd.DataFrame]
) -> Picture | None:
    """Draw a recording.

    Parameters
    ----------
    row : mapping
        Of ``tables/recordings.tsv``.
    traces : mapping of tracked point to Trace
    detected : DataFrame
        As `detected_in` gives it.
    raters : mapping of rater to DataFrame
        Labels, the reference rater first.

    Returns
    -------
    Picture or None
        None where no signal is left to draw.
    """
    name = str(row["recording_id"])
    drawing = draw_recording(traces, detected, raters, f"Signals, detected and labelled events of {name}")
    if not drawing:
        return None
    caption = _caption(row, detected, raters)
    return Picture(f"recording_{name}", name, caption, caption, svg=drawing)


@dataclass(frozen=True)
class Drawings:
    """What the page says of recordings, by name: words of the drawing, labels of no recorded side, types labelled."""

    captions: Mapping[str, str]
    unrecorded: Mapping[str, int]
    labelled: Mapping[str, Sequence[str]]
    folder: Path

    def picture(self, name: str) -> Picture:
        """Read the drawing of a recording."""
        svg = (self.folder / recording_file(name)).read_text(encoding="utf-8")
        return Picture(f"recording_{name}", name, self.captions[name], self.captions[name], svg=svg)


def drawing_row(
    name: str, picture: Picture | None, raters: Mapping[str, pd.DataFrame], unrecorded: int
) -> dict[str, Any]:
    """Give what is kept of a recording beside its drawing: its words, and what was labelled in it."""
    drawn = None if picture is None else picture_row(picture)
    labelled = sorted({str(kind) for frame in raters.values() for kind in frame["trial_type"]})
    return {"recording_id": name, "unrecorded": unrecorded, "labelled": labelled, "drawing": drawn}


def drawings_in(made: Iterable[Path], folder: Path) -> Drawings:
    """Read what jobs have drawn.

    Parameters
    ----------
    made : iterable of Path
        Lists of `drawing_row`.
    folder : Path
        Folder of the figures.

    Returns
    -------
    Drawings
        Recordings sorted by name.
    """
    rows = sorted((row for path in made for row in read_json(path)), key=lambda row: row["recording_id"])
    return Drawings(
        {row["recording_id"]: row["drawing"]["caption"] for row in rows if row["drawing"] is not None},
        {row["recording_id"]: row["unrecorded"] for row in rows if row["unrecorded"]},
        {row["recording_id"]: row["labelled"] for row in rows},
        folder,
    )
