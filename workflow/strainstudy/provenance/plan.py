"""Every file that a run may write, from those that its rules declare and those that come with them.

In: declared files, recordings. Out: names below the results folder.
"""

from __future__ import annotations

from collections.abc import Iterable
from pathlib import PurePosixPath

from ..gait.model_files import GAIT_FILES
from ..paper.names import paper_files
from ..people.names import people_files
from ..records import Recording
from ..report.names import FIGURE_LIST, figure_files
from ..review.names import review_files
from ..swallow.model_files import SWALLOW_FILES

__all__ = ["planned_files"]


def planned_files(declared: Iterable[str], recordings: Iterable[Recording]) -> list[str]:
    """List what a run may write.

    Parameters
    ----------
    declared : iterable of str
        Outputs and logs of all jobs, relative to the results folder.
    recordings : iterable of Recording
        All of the study.

    Returns
    -------
    list of str
        Sorted: these, the sidecar of each table, the files of models, those of figures, of review pages, of people and
        of the kit for a paper.
    """
    known = list(recordings)
    names = set(declared)
    names |= {str(PurePosixPath(name).with_suffix(".json")) for name in names if name.endswith(".tsv")}
    names |= {f"model/{name}" for files in (GAIT_FILES, SWALLOW_FILES) for name in files.of_a_model}
    names |= set(review_files(known)) | set(people_files(known))
    names |= set(paper_files())
    names |= {f"{PurePosixPath(FIGURE_LIST.path).parent}/{name}" for name in figure_files(known)}
    return sorted(names)
