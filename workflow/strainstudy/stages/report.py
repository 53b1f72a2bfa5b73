"""Tables, signals and labels of a finished study to figures and one page."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

import pandas as pd

from ..jobs import Progress
from ..records import Recording
from ..report.names import FIGURE_LIST, figure_files
from ..report.page import build_report
from ..tables import write_table
from .labels import labels_of

__all__ = ["run"]


def run(
    recordings: Sequence[Recording],
    *,
    settings: Mapping[str, Any],
    reference_rater: str | None,
    signals: Sequence[Path],
    study: str,
    results: Path,
    page: Path,
    progress: Progress,
) -> None:
    """Write ``report.html``, the figures and their list; a figure of an earlier run that is no longer made goes.

    Parameters
    ----------
    recordings : sequence of Recording
        All of the study, with their labels.
    settings : mapping of section to parameters
        What the study ran with.
    reference_rater : str or None
        Whose labels are drawn first.
    signals : sequence of Path
        Conditioned signals of all batches.
    study : str
        Study folder, for the title.
    results, page : Path
        Results folder; the page to write.
    progress : Progress
    """
    labels = {
        recording: dict(sorted(raters.items(), key=lambda item: (item[0] != reference_rater, item[0])))
        for recording, raters in labels_of(recordings).items()
    }
    figures = results / FIGURE_LIST.path
    made = build_report(
        results,
        labels=labels,
        settings=settings,
        signals=signals,
        study=Path(study).name,
        page=page,
        figures=figures.parent,
        say=progress.say,
    )
    for name in set(figure_files(recordings)) - set(made):
        (figures.parent / name).unlink(missing_ok=True)
    write_table(pd.DataFrame(list(made.items()), columns=list(FIGURE_LIST.names), dtype=object), FIGURE_LIST, results)
