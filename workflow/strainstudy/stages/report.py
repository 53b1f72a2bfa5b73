"""Tables, signals and labels of a finished study to figures and one page."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

from ..jobs import Progress
from ..records import Recording
from ..report.page import build_report
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
    figures: Path,
    progress: Progress,
) -> None:
    """Write ``report.html`` and ``figures/``.

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
    results, page, figures : Path
        Results folder; the page and the folder of figures to write.
    progress : Progress
    """
    labels = {
        recording: dict(sorted(raters.items(), key=lambda item: (item[0] != reference_rater, item[0])))
        for recording, raters in labels_of(recordings).items()
    }
    build_report(
        results,
        labels=labels,
        settings=settings,
        signals=signals,
        study=Path(study).name,
        page=page,
        figures=figures,
        say=progress.say,
    )
