"""Every figure of the page by its name: the function that lays it out, draws it and says its caption."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Final

import pandas as pd

from ..io.store import Trace
from .bench_figures import bench_figure, calibration_figure, health_figure
from .content import Picture
from .curve_figures import curves_figure
from .people_figures import change_figure, gait_figure, norms_figure, swallow_figure
from .proof_figures import agreement_figure, bland_altman_figure, classifier_figure, evidence_figure, raters_figure
from .results import StudyTables
from .throat_figures import swallow_proof_figure

__all__ = ["Sources", "draw_figure"]


@dataclass(frozen=True)
class Sources:
    """What figures are drawn from, and the folder for them; labels and signals where a figure needs them.

    ``labels`` of recordings with held angles by rater, the reference rater first; ``traces`` of the bench by recording
    and tracked point.
    """

    tables: StudyTables
    folder: Path
    labels: Mapping[str, Mapping[str, pd.DataFrame]] = field(default_factory=dict)
    traces: Mapping[str, Mapping[str, Trace]] = field(default_factory=dict)


_DRAWN: Final[Mapping[str, Callable[[StudyTables, Path], Picture | None]]] = {
    "agreement_events": agreement_figure,
    "agreement_parameters": bland_altman_figure,
    "agreement_swallows": swallow_proof_figure,
    "change": change_figure,
    "classifier": classifier_figure,
    "classifier_evidence": evidence_figure,
    "gait": gait_figure,
    "knee_curves": curves_figure,
    "norms": norms_figure,
    "raters": raters_figure,
    "sensor_health": health_figure,
    "swallows": swallow_figure,
}


def draw_figure(name: str, sources: Sources) -> Picture | None:
    """Draw a figure and write its files.

    Parameters
    ----------
    name : str
        As in `kinds.figure_kinds`; one that is no figure of a study is that of a sensor.
    sources : Sources

    Returns
    -------
    Picture or None
        None where the study has nothing to show in it.
    """
    if name == "knee_calibration":
        return calibration_figure(sources.tables, sources.labels, sources.folder)
    if name in _DRAWN:
        return _DRAWN[name](sources.tables, sources.folder)
    return bench_figure(sources.tables, sources.traces, name, sources.folder)
