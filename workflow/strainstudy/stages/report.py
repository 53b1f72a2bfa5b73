"""Tables and drawn figures of a finished study to one page."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

import pandas as pd

from ..jobs import Progress
from ..report.names import FIGURE_LIST, forms_of, recording_file
from ..report.page import build_report
from ..report.pictures import pictures_in
from ..report.recordings import drawings_in
from ..tables import write_table

__all__ = ["run"]


def run(
    *,
    settings: Mapping[str, Any],
    figures: Sequence[Path],
    drawings: Sequence[Path],
    study: str,
    results: Path,
    page: Path,
    progress: Progress,
) -> None:
    """Write ``report.html`` and the list of figures.

    Parameters
    ----------
    settings : mapping of section to parameters
        What the study ran with.
    figures, drawings : sequence of Path
        What the jobs that draw have made: of the study by kind, of recordings by part of the people.
    study : str
        Study folder, for the title.
    results, page : Path
        Results folder; the page to write.
    progress : Progress
    """
    folder = (results / FIGURE_LIST.path).parent
    pictures, of_recordings = pictures_in(figures, folder), drawings_in(drawings, folder)
    build_report(
        results,
        pictures=pictures,
        drawings=of_recordings,
        settings=settings,
        study=Path(study).name,
        page=page,
        say=progress.say,
    )
    rows = [(f"{name}.{form}", picture.title) for name, picture in pictures.items() for form in forms_of(name)]
    rows += [(recording_file(name), name) for name in of_recordings.captions]
    write_table(pd.DataFrame(rows, columns=list(FIGURE_LIST.names), dtype=object), FIGURE_LIST, results)
