"""Captions of the figures: what is shown, n, units and method, apart from the drawing.

In: the result tables and the panels of a figure. Out: a paragraph for each figure, all in one Markdown file.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, Any, Final

import pandas as pd

from ..cautions import KNOWN_COVERAGE
from ..report.content import number_text
from ..report.results import StudyTables
from ..tables.angles import ANGLES
from ..tables.sensors import SENSOR_LOOPS, SENSORS
from ..tables.validation import CONFUSION, PARAMETERS
from ..validate.measurements import MINIMUM_PEOPLE
from ..validate.unvalidated import unvalidated_words
from .frames import withheld_words
from .names import WIDTHS_MM, figure_file
from .prose import listed
from .words import TWO_LIMITS, interval, measure_words

if TYPE_CHECKING:
    from .style import Panel  # which draws, as those that only put captions together do not

__all__ = ["caption_of", "captions_text", "coarse_words"]

_SESSION: Final = "Values are of each participant's first session, recordings of a session averaged."
_LIMITS: Final = f"95 % intervals are Student's t over participants, from {MINIMUM_PEOPLE} participants on."


def _panels(panels: Sequence[Panel]) -> str:
    return "; ".join(f"({chr(ord('a') + k)}) {panel.title}" for k, panel in enumerate(panels))


def _people(count: Any, noun: str = "participant") -> str:
    n = 0 if pd.isna(count) else int(str(count).split(".")[0])
    return f"{n} {noun}{'' if n == 1 else 's'}"


def _of_curves(_tables: StudyTables, panels: Sequence[Panel]) -> str:
    return (
        f"Knee flexion over the stride: {_panels(panels)}. A stride runs from an initial contact to the next of the "
        "same side. Lines: mean over participants, each counted once with the mean of their steady strides; bands: one "
        f"standard deviation between participants; n: participants. {_SESSION}"
    )


def _of_limits(_tables: StudyTables, panels: Sequence[Panel]) -> str:
    ns = "; ".join(
        f"({chr(ord('a') + k)}) {len(p.frame)} pairs of {_people(p.frame['participant_id'].nunique())}"
        for k, p in enumerate(panels)
    )
    return (
        f"Agreement of the pipeline with hand labels: {_panels(panels)}. Differences (pipeline minus labels) against "
        "the mean of both. Solid line: bias; dashed: 95 % limits of agreement for one value of a participant not yet "
        "seen, repeated values of a participant taken as such (Bland and Altman 2007); grey: 95 % intervals of bias "
        f"and limits (Zou 2013); dotted: no difference. n: {ns}."
    )


def _of_angle(tables: StudyTables, panels: Sequence[Panel]) -> str:
    angles = tables(ANGLES)
    row = angles[
        (angles["recording_id"] == "pooled") & angles["participant_id"].isna() & (angles["phase"] == "all")
        & angles["angle_from"].isna() & angles["angle_to"].isna()
    ]  # fmt: skip
    said = ""
    if len(row):
        r = row.iloc[0].to_dict()
        said = (
            f" Over {_people(r['n_participants'])} and {number_text(r['seconds'] / 60.0, 2)} min: RMSE "
            f"{interval(r, 'rmse')}°, bias {interval(r, 'bias')}°, limits of agreement "
            f"{number_text(r['limit_low'])} to {number_text(r['limit_high'])}°, R² {number_text(r['r2'], 2)}; the "
            f"prediction interval held {number_text(100 * r['coverage'], 3)} % of the samples, where it claims "
            f"{number_text(100 * r['coverage_nominal'], 3)} % ({KNOWN_COVERAGE})."
        )
    which = panels[0].frame["recording_id"].iloc[0]
    return (
        f"Knee angle of the strain sensor against the reference: {_panels(panels)}. The recording shown in (a), "
        f"{which}, is the one whose error is the median of all recordings with a reference. Colours in (b): time spent "
        f"at each pair of angles, 2° squares.{said} Recordings and time whose reference or holds made the calibration "
        "are left out."
    )


def _of_sides(_tables: StudyTables, panels: Sequence[Panel]) -> str:
    return (
        f"Paretic and non-paretic side of participants with one affected side: {_panels(panels)}. Points joined by a "
        f"line: one participant; diamonds: mean with its 95 % interval. {_LIMITS} {_SESSION}"
    )


def _of_groups(_tables: StudyTables, panels: Sequence[Panel]) -> str:
    return (
        f"Gait by group and gait state: {_panels(panels)}. Points: participants (their number above each column); "
        f"diamonds: mean with its 95 % interval. {_LIMITS} {_SESSION} Size of the log ratio: 100 |ln(right / left)| "
        "(Plotnik et al. 2005), without its sign, since signs of left and right cancel in a group; paretic side: of "
        "participants without an affected side the mean of both sides stands in either place."
    )


def _of_swallows(tables: StudyTables, panels: Sequence[Panel]) -> str:
    return (
        f"Swallowing by group and kind of recording: {_panels(panels)}. Points: participants (their number above each "
        f"column); diamonds: mean with its 95 % interval, cut at 0, as none of these measures can be negative. "
        f"{_LIMITS} {_SESSION}{withheld_words(tables)} Swallows are counted and timed; that "
        "shows nothing about aspiration."
    )


def _of_reliability(_tables: StudyTables, _panels: Sequence[Panel]) -> str:
    return (
        "Reliability between two sessions: ICC(2,1) (absolute agreement, single values; Shrout and Fleiss 1979) with "
        "its 95 % interval (McGraw and Wong 1996); n: participants with both sessions; SEM: standard error of "
        "measurement; MDC: minimal detectable change of one participant, t × √2 × SEM (Weir 2005), in the unit of "
        f"the measure. {TWO_LIMITS} True change between the sessions counts as error."
    )


def _of_events(_tables: StudyTables, panels: Sequence[Panel]) -> str:
    rows = panels[0].frame
    return (
        f"Detected events against the labels: {_panels(panels)}. Pooled over {_people(rows['n_participants'].max())}; "
        "n: labelled events. Events are matched one to one, with most matches, then least distance. Bars in (a): 95 % "
        "intervals by resampling participants; grey in (b): limits of agreement for one event of a participant not "
        "yet seen."
    )


def _of_classifier(tables: StudyTables, panels: Sequence[Panel]) -> str:
    pooled = tables(CONFUSION)
    pooled = pooled[(pooled["recording_id"] == "pooled") & (pooled["labelled"] != "other")]
    minutes = pooled["seconds"].sum() / 60.0
    people = panels[-1].frame["participant_id"].nunique() if "recall" in panels[-1].frame else 0
    return (
        f"The classifier on participants that it never saw: {_panels(panels)}. Every prediction was made by a model "
        f"trained without that participant ({_people(people)} left out in turn"
        f"{f', {number_text(minutes, 2)} labelled minutes' if len(pooled) else ''}). Percentages are of labelled time; "
        "areas of points are shares of the windows; bars: 95 % intervals by resampling participants; mean recall: of "
        "normal and limping time, turns left out."
    )


def _of_loops(tables: StudyTables, panels: Sequence[Panel]) -> str:
    cycles = tables(SENSORS)["n_cycles"]
    n = f"{int(cycles.min())} to {int(cycles.max())}" if cycles.notna().any() else "no"
    loops = tables(SENSOR_LOOPS)
    apart = sorted(str(name) for name in loops.loc[loops["recording_id"].notna(), "sensor_id"].unique())
    two = f"; of {listed(apart)} a loop of each recording, as they differ in gauge factor" if apart else ""
    return (
        f"Relative resistance change against strain on the bench: {_panels(panels)}. Mean of the settled "
        f"full-amplitude cycles of each sensor (n = {n} cycles){two}; bands: one standard deviation between cycles; "
        "delay between the sensor's record and the reference's removed."
    )


_CAPTIONS: Final = {
    "knee_curves": _of_curves,
    "limits_of_agreement": _of_limits,
    "event_agreement": _of_events,
    "angle_reference": _of_angle,
    "sides": _of_sides,
    "groups": _of_groups,
    "swallows": _of_swallows,
    "reliability": _of_reliability,
    "classifier": _of_classifier,
    "sensor_loops": _of_loops,
}


_OF_MEASURES: Final = ("groups", "limits_of_agreement", "reliability")
"""Figures of measures, some of which labels may be too coarse to validate."""


def caption_of(name: str, tables: StudyTables, panels: Sequence[Panel]) -> str:
    """Write the caption of a figure, without what `coarse_words` says of it."""
    return _CAPTIONS[name](tables, panels)


def coarse_words(name: str, tables: StudyTables) -> str:
    """Name the measures of a figure that the labels are too coarse for, which is known once they are compared."""
    return unvalidated_words(tables(PARAMETERS), measure_words) if name in _OF_MEASURES else ""


def captions_text(captions: Mapping[str, str], of_tables: Mapping[str, str]) -> str:
    """Put the captions of all figures and tables into one Markdown text, figures first."""
    lines = ["# Captions", ""]
    for name, words in captions.items():
        files = ", ".join(f"`{figure_file(name, width, 'pdf')}`" for width in WIDTHS_MM)
        lines += [f"## Figure {name}", "", f"{words}", "", f"Files: {files}, and as SVG.", ""]
    for name, words in of_tables.items():
        lines += [f"## Table {name}", "", words, ""]
    return "\n".join(lines).rstrip() + "\n"
