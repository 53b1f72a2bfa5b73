"""Tables to the figures of one kind: images, and their words for the page."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from ..io.frames import write_json
from ..io.store import Trace, iter_traces
from ..jobs import Progress
from ..records import Recording
from ..report.figures import Sources, draw_figure
from ..report.kinds import tables_of
from ..report.names import FIGURE_LIST, forms_of
from ..report.pictures import picture_row
from ..report.results import StudyTables
from .labels import labels_of, reference_first

__all__ = ["run"]


def run(
    kind: str,
    names: Sequence[str],
    recordings: Sequence[Recording],
    *,
    reference_rater: str | None,
    signals: Sequence[Path],
    results: Path,
    made: Path,
    progress: Progress,
) -> None:
    """Draw the figures of a kind; one of an earlier run that the study no longer gives goes.

    Parameters
    ----------
    kind : str
        As in `report.kinds.figure_kinds`.
    names : sequence of str
        Its figures, without suffix.
    recordings : sequence of Recording
        With the labels that hold known angles, for the kind that shows them.
    reference_rater : str or None
        Whose labels count.
    signals : sequence of Path
        Of the bench, for figures of sensors.
    results : Path
        Results folder.
    made : Path
        To write: the words of each figure, and the digest of its image.
    progress : Progress
    """
    folder = (results / FIGURE_LIST.path).parent
    traces: dict[str, dict[str, Trace]] = {}
    for path in signals:
        for trace in iter_traces(path, quantities=("response",)):
            traces.setdefault(trace.recording_id, {})[trace.tracked_point] = trace
    labels = reference_first(labels_of(recordings), reference_rater)
    sources = Sources(StudyTables(results, tables_of(kind)), folder, labels, traces)
    rows = []
    for name in names:
        picture = draw_figure(name, sources)
        if picture is not None:
            rows.append(picture_row(picture))
            continue
        for form in forms_of(name):
            (folder / f"{name}.{form}").unlink(missing_ok=True)
    write_json(made, rows)
    progress.say(f"{len(rows)} figures")
