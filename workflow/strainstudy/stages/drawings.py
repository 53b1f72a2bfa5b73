"""A drawing of each recording of a batch, with what was detected and labelled in it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from pathlib import Path

from ..io.atomic import write_text
from ..io.frames import read_frame, write_json
from ..io.store import read_recording
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
    signals: Path,
    results: Path,
    made: Path,
    progress: Progress,
) -> None:
    """Write the drawings of a batch; that of a recording that has no signal now goes.

    Parameters
    ----------
    recordings : sequence of Recording
        Of the batch, with their labels.
    reference_rater : str or None
        Whose labels are drawn first.
    frames : mapping of `FRAMES` to Path
    signals : Path
        Of the batch.
    results : Path
        Results folder.
    made : Path
        To write: the words of each drawing, the digest of the file, and how many labels are of a side that was not
        recorded.
    progress : Progress
    """
    folder = (results / FIGURE_LIST.path).parent
    tables = {name: read_frame(path) for name, path in frames.items()}
    own = sorted((r for r in recordings if r.task not in BENCH_TASKS), key=lambda r: r.recording_id)
    known = tables["recordings"][tables["recordings"]["recording_id"].isin([r.recording_id for r in own])]
    rows = {str(row["recording_id"]): row for row in records(known)}
    labels = reference_first(labels_of(own), reference_rater)
    detected = detected_in(tables["events"], tables["bouts"], rows)
    unrecorded = unrecorded_counts(labels, known)
    made_rows = []
    for name in (recording.recording_id for recording in own):
        traces = read_recording(signals, name, _QUANTITIES)
        picture = recording_picture(rows[name], traces, detected.get(name, NOTHING), labels.get(name, {}))
        if picture is None or picture.svg is None:
            (folder / recording_file(name)).unlink(missing_ok=True)
        else:
            write_text(folder / recording_file(name), picture.svg)
        made_rows.append(drawing_row(name, picture, unrecorded.get(name, 0)))
    write_json(made, made_rows)
    progress.say(f"{sum(row['drawing'] is not None for row in made_rows)} recordings drawn")
