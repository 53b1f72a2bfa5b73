"""A drawing of each recording of some batches, with what was detected and labelled in it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from itertools import chain, groupby
from pathlib import Path

from ..io.atomic import write_text
from ..io.frames import read_frame, write_json
from ..io.store import iter_traces
from ..jobs import Progress
from ..records import Recording
from ..report.names import FIGURE_LIST, recording_file
from ..report.recordings import NOTHING, detected_in, drawing_row, recording_picture
from ..report.results import records
from ..validate.unrecorded import unrecorded_counts
from ..vocabulary import BENCH_TASKS
from .labels import labels_of, reference_first

__all__ = ["FRAMES", "run"]

FRAMES = ("recordings", "events", "bouts")
"""Tables of the whole study that are read as Parquet."""
_QUANTITIES = ("response", "angle")


def run(
    recordings: Sequence[Recording],
    *,
    reference_rater: str | None,
    frames: Mapping[str, Path],
    signals: Sequence[Path],
    results: Path,
    made: Path,
    progress: Progress,
) -> None:
    """Write the drawings of some batches; that of a recording that has no signal now goes.

    Parameters
    ----------
    recordings : sequence of Recording
        Of these batches, with their labels.
    reference_rater : str or None
        Whose labels are drawn first.
    frames : mapping of `FRAMES` to Path
    signals : sequence of Path
        Of each batch.
    results : Path
        Results folder.
    made : Path
        To write: the words of each drawing, the digest of the file, what was labelled, and how many labels are of a
        side that was not recorded.
    progress : Progress
    """
    folder = (results / FIGURE_LIST.path).parent
    tables = {name: read_frame(path) for name, path in frames.items()}
    own = [r for r in recordings if r.task not in BENCH_TASKS]
    known = tables["recordings"][tables["recordings"]["recording_id"].isin([r.recording_id for r in own])]
    rows = {str(row["recording_id"]): row for row in records(known)}
    labels = reference_first(labels_of(own), reference_rater)
    detected = detected_in(tables["events"], tables["bouts"], rows)
    unrecorded = unrecorded_counts(labels, known)
    pictures = {}
    every = chain.from_iterable(iter_traces(path, quantities=_QUANTITIES) for path in signals)
    for name, traces in groupby(every, key=lambda trace: trace.recording_id):
        points = {trace.tracked_point: trace for trace in traces}
        found = detected.get(name, NOTHING)
        picture = recording_picture(rows[name], points, found, labels.get(name, {})) if name in rows else None
        if picture is not None and picture.svg is not None:
            write_text(folder / recording_file(name), picture.svg)
            pictures[name] = picture
    for name in rows.keys() - pictures.keys():
        (folder / recording_file(name)).unlink(missing_ok=True)
    kept = [
        drawing_row(name, pictures.get(name), labels.get(name, {}), unrecorded.get(name, 0)) for name in sorted(rows)
    ]
    write_json(made, kept)
    progress.say(f"{len(pictures)} recordings drawn")
