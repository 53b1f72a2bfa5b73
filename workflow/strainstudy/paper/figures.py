"""The figures of a paper: which panels each has, and how they are laid out at each width.

A figure is a row of `FIGURES`: its panels (a drawing function of `drawings`, a frame of `frames`, a title), panels
beside each other and height of a row at each width. Its caption stands in `captions`, its file name in `names`.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import Final

import pandas as pd

from ..report.content import number_text
from ..report.results import StudyTables
from ..tables.angles import ANGLES
from ..tables.classifier import EVIDENCE
from ..tables.sensors import SENSOR_LOOPS
from ..tables.validation import CONFUSION
from ..vocabulary import GAIT_STATES
from . import drawings
from .frames import (
    agreement_frames,
    curve_frame,
    event_frame,
    group_frame,
    main_outcomes,
    paired_sides,
    reliability_frame,
    swallow_frame,
    swallow_measures,
)
from .style import Panel
from .words import measure_words, state_words, unit_words, with_unit

__all__ = ["FIGURES", "Layout", "PaperFigure"]

_MOST_SENSORS: Final = 12
"""Sensors drawn; tables/sensor_loops.tsv has all (ours)."""
Angles = Mapping[str, pd.DataFrame]
"""What is drawn from signals: ``overlay`` and ``density``, empty where no angle has a reference."""


@dataclass(frozen=True)
class Layout:
    """Panels beside each other, and the height of a row in mm: fixed, and more for each row of a panel's frame."""

    columns: int
    row_mm: float
    per_row_mm: float = 0.0

    def height(self, panels: Sequence[Panel]) -> float:
        """Height of a row of panels."""
        return self.row_mm + self.per_row_mm * max(len(panel.frame) for panel in panels)


@dataclass(frozen=True)
class PaperFigure:
    """One figure: its panels from a study's tables, its layout by width in mm, whether panels share an axis."""

    panels: Callable[[StudyTables, Angles], list[Panel]]
    layouts: Mapping[int, Layout]
    same_y: bool = False


def _curves(tables: StudyTables, _angles: Angles) -> list[Panel]:
    frame = curve_frame(tables)
    groups = frame.groupby(["group", "trial_type"], sort=True)
    return [Panel(drawings.draw_curve, own, f"{group}, {state_words(state)}") for (group, state), own in groups]


def _limits(tables: StudyTables, _angles: Angles) -> list[Panel]:
    panels = []
    for row, frame in agreement_frames(tables):
        state = state_words(row["trial_type"])
        title = f"{with_unit(row['measure'], row['unit'])}{f', {state}' if state else ''}"
        note = f"n = {len(frame)}, {frame['participant_id'].nunique()} people"
        panels.append(Panel(drawings.draw_agreement, frame, title, note))
    return panels


def _people(tables: StudyTables) -> str:
    angles = tables(ANGLES)
    pooled = angles[(angles["recording_id"] == "pooled") & (angles["phase"] == "all")]
    return f"n = {int(pooled['n_participants'].max())} people" if len(pooled) else ""


def _angle(tables: StudyTables, angles: Angles) -> list[Panel]:
    if angles["overlay"].empty or angles["density"].empty:
        return []
    return [
        Panel(drawings.draw_overlay, angles["overlay"], f"{angles['overlay']['side'].iloc[0]} knee, some strides"),
        Panel(drawings.draw_density, angles["density"], "all time with a reference", _people(tables)),
    ]


def _sides(tables: StudyTables, _angles: Angles) -> list[Panel]:
    groups = paired_sides(tables).groupby(["measure", "unit"], sort=False)
    named = [(with_unit(str(measure), unit), own) for (measure, unit), own in groups]
    return [Panel(drawings.draw_sides, own.assign(label=name), name, headed=False) for name, own in named]


def _groups(tables: StudyTables, _angles: Angles) -> list[Panel]:
    named = [(with_unit(measure, unit), group_frame(tables, measure)) for measure, unit in main_outcomes(tables)]
    return [
        Panel(drawings.draw_groups, frame.assign(label=name), name, headed=False) for name, frame in named if len(frame)
    ]


def _swallows(tables: StudyTables, _angles: Angles) -> list[Panel]:
    names = {"rate": "swallow rate", "duration_mean": "swallow duration", "interval_mean": "interval between swallows"}
    panels = []
    for measure, unit in swallow_measures(tables):
        title = f"{names.get(measure, measure_words(measure))} ({unit_words(unit)})"
        frame = swallow_frame(tables, measure).assign(label=title, least=0.0)
        if len(frame):
            panels.append(Panel(drawings.draw_groups, frame, title, headed=False))
    return panels


def _reliability(tables: StudyTables, _angles: Angles) -> list[Panel]:
    frame = reliability_frame(tables)
    return [Panel(drawings.draw_reliability, frame)] if len(frame) else []


def _events(tables: StudyTables, _angles: Angles) -> list[Panel]:
    frame = event_frame(tables)
    if frame.empty:
        return []
    return [
        Panel(drawings.draw_scores, frame, "detection"),
        Panel(drawings.draw_timing, frame, "timing: bias and limits"),
    ]


def _classifier(tables: StudyTables, _angles: Angles) -> list[Panel]:
    confusion, reliability = tables(CONFUSION), tables(EVIDENCE["reliability"])
    confusion = confusion[(confusion["recording_id"] == "pooled") & (confusion["labelled"] != "other")]
    scores = tables(EVIDENCE["classifier"])
    fold = scores[(scores["scope"] == "fold") & scores["trial_type"].isin(GAIT_STATES) & scores["recall"].notna()]
    people = fold.groupby(["predictor", "participant_id"], sort=True)["recall"].mean().reset_index()
    whole = scores[(scores["scope"] == "pooled") & (scores["trial_type"] == "all")]
    own = whole.loc[whole["predictor"] == "classifier", "balanced_accuracy"].to_list()
    said = f", balanced accuracy {number_text(own[0], 3)}" if own else ""
    n = f"n = {people['participant_id'].nunique()} people"
    minutes = f"n = {number_text(confusion['seconds'].sum() / 60.0, 2)} min"
    panels = [
        Panel(drawings.draw_confusion, confusion, "labelled time by state (%)", minutes),
        Panel(drawings.draw_calibration, reliability, "calibration of the probability", n),
        Panel(drawings.draw_per_person, people, f"each participant left out{said}", n),
    ]
    # without a trained classifier there are no folds, and the figure would show nothing of one
    return [panel for panel in panels if len(panel.frame)] if len(people) else []


def _loops(tables: StudyTables, _angles: Angles) -> list[Panel]:
    groups = list(tables(SENSOR_LOOPS).groupby("sensor_id", sort=True))[:_MOST_SENSORS]
    return [Panel(drawings.draw_loop, own, str(sensor)) for sensor, own in groups]


FIGURES: Final[Mapping[str, PaperFigure]] = {
    "knee_curves": PaperFigure(_curves, {85: Layout(2, 46.0), 174: Layout(4, 50.0)}, same_y=True),
    "limits_of_agreement": PaperFigure(_limits, {85: Layout(2, 46.0), 174: Layout(3, 48.0)}),
    "event_agreement": PaperFigure(_events, {85: Layout(1, 20.0, 6.2), 174: Layout(2, 20.0, 6.2)}),
    "angle_reference": PaperFigure(_angle, {85: Layout(1, 62.0), 174: Layout(2, 66.0)}),
    "sides": PaperFigure(_sides, {85: Layout(2, 50.0), 174: Layout(3, 55.0)}),
    "groups": PaperFigure(_groups, {85: Layout(2, 46.0), 174: Layout(3, 50.0)}),
    "swallows": PaperFigure(_swallows, {85: Layout(1, 45.0), 174: Layout(2, 50.0)}),
    "reliability": PaperFigure(_reliability, {85: Layout(1, 14.0, 6.4), 174: Layout(1, 14.0, 6.4)}),
    "classifier": PaperFigure(_classifier, {85: Layout(1, 58.0), 174: Layout(2, 58.0)}),
    "sensor_loops": PaperFigure(_loops, {85: Layout(3, 38.0), 174: Layout(4, 42.0)}),
}
"""Figures by name, with their layouts at 85 and 174 mm; heights in mm (ours)."""
