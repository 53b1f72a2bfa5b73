"""Pages on which a rater looks at a recording and corrects its labels: those of a batch, and what all of them share."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from pathlib import Path

import pandas as pd

from ..errors import counted
from ..io.atomic import write_text
from ..io.frames import read_frame, read_json, write_json
from ..io.store import TraceReader
from ..jobs import Progress
from ..records import Recording
from ..review.names import INDEX, detected_file, page_file, reviewed
from ..review.page import Tolerances, asset_texts, detected_text, index_text, page_text
from .labels import labels_of

__all__ = ["FOUND", "run", "run_shared"]

FOUND = ("events", "knee_bends", "candidates")
"""Frames of segmentation that tell where in a long recording every sample is kept."""


def run(
    recordings: Sequence[Recording],
    *,
    reference_rater: str | None,
    tolerances: Tolerances,
    traces: Path,
    signals: Path,
    quality: Path,
    found: Mapping[str, Path],
    results: Path,
    made: Path,
    progress: Progress,
) -> None:
    """Write the pages of a batch; that of a recording that is rejected now goes.

    Parameters
    ----------
    recordings : sequence of Recording
        With their labels.
    reference_rater : str or None
    tolerances : Tolerances
    traces, signals, quality : Path
        Of the batch, from ingest and condition.
    found : mapping of `FOUND` to Path
    results : Path
        Results folder.
    made : Path
        To write: size in bytes of each page by its name.
    progress : Progress
    """
    rows = {row["recording_id"]: row for row in read_json(quality)}
    frames = [read_frame(path) for path in found.values()]
    labels = labels_of(recordings)
    sizes = {}
    with TraceReader(traces) as raw, TraceReader(signals) as processed:
        for recording in reviewed(recordings):
            name = recording.recording_id
            page = results / page_file(name)
            conditioned = processed.recording(name)
            if not conditioned:
                page.unlink(missing_ok=True)
                continue
            text = page_text(
                recording,
                rows[name],
                raw.recording(name),
                conditioned,
                labels.get(name, {}),
                [frame[frame["recording_id"] == name] for frame in frames],
                reference_rater=reference_rater,
                tolerances=tolerances,
            )
            write_text(page, text)
            sizes[page_file(name)] = len(text.encode())
    write_json(made, sizes)
    progress.say(f"{counted(len(sizes), 'page')}, {sum(sizes.values()) / 1e6:.1f} MB")


def _own(frame: pd.DataFrame) -> dict[str, pd.DataFrame]:
    return {str(name): own for name, own in frame.groupby("recording_id", sort=True)}


def run_shared(
    recordings: Sequence[Recording],
    *,
    study: str,
    events: Path,
    bouts: Path,
    quality: Sequence[Path],
    results: Path,
    progress: Progress,
) -> None:
    """Write what was detected in each recording, the list of the pages, and what all pages load.

    Parameters
    ----------
    recordings : sequence of Recording
        All of the study, with their labels.
    study : str
        Study folder, for the title.
    events, bouts : Path
        Tables as Parquet, with nothing rounded.
    quality : sequence of Path
        Of all batches, from ingest.
    results : Path
        Results folder.
    progress : Progress
    """
    status = {row["recording_id"]: row["status"] for path in quality for row in read_json(path)}
    all_events, all_bouts = read_frame(events), read_frame(bouts)
    own_events, own_bouts = _own(all_events), _own(all_bouts)
    listed = []
    for recording in reviewed(recordings):
        name = recording.recording_id
        if status[name] == "rejected":
            (results / detected_file(name)).unlink(missing_ok=True)
            continue
        parts = (own_events.get(name, all_events.iloc[:0]), own_bouts.get(name, all_bouts.iloc[:0]))
        write_text(results / detected_file(name), detected_text(*parts))
        row = {key: getattr(recording, key) for key in ("recording_id", "participant_id", "session_id", "task")}
        listed.append(row | {"status": status[name], "raters": ", ".join(sorted(recording.labels))})
    for name, text in asset_texts().items():
        write_text(results / name, text)
    write_text(results / INDEX, index_text(Path(study).name, listed))
    progress.say(f"{counted(len(listed), 'recording')} to look at")
