"""Figures of people: gait and swallowing by group and session, beside published values, and between sessions.

Each ``draw_*`` takes an axis and a frame and draws, and each ``*_figure`` puts panels together, says what they show and
writes them.
"""

from __future__ import annotations

import re
import textwrap
from collections.abc import Sequence
from pathlib import Path
from typing import Any, Final

import numpy as np
import pandas as pd

from ..tables.gait import GAIT
from ..tables.standing import CHANGE, NORMS
from ..tables.swallows import SWALLOW_SUMMARY
from ..tables.validation import PARAMETERS
from ..validate.unvalidated import unvalidated_words
from .content import Picture
from .results import StudyTables, records
from .spoken import measured, people_text, spoken, with_unit
from .strips import MOST_DOTS, Strip, draw_strips, looked_at, strips_of
from .style import ALERT, BLACK, GREEN, GREY, PLAIN, STATE_COLOURS, drawing, panels, placed, written

__all__ = ["change_figure", "draw_change", "draw_standing", "gait_figure", "norms_figure", "swallow_figure"]

_GAIT: Final = (
    ("cadence", "Cadence (steps per minute)"),
    ("stride_time_cv", "Stride-time variability, CV (%)"),
    ("step_time_symmetry_index", "Step-time asymmetry, right minus left (%)"),
    ("range_of_motion_symmetry_index", "Asymmetry of the knee's range, right minus left (%)"),
    ("coordination_index", "Phase coordination index (%)"),
    ("waveform_likeness", "Likeness of the knees' curves (correlation)"),
)
_MARKERS: Final = {"normal_gait": "o", "limping_gait": "^", "gait": "s"}
_GAIT_COLOURS: Final = STATE_COLOURS | {"gait": GREY}
_SWALLOWS: Final = (
    ("rate", "Swallows per minute"),
    ("duration_mean", "Mean duration (s)"),
    ("interval_mean", "Mean time between swallows (s)"),
    ("volume_per_swallow", "Water per swallow (ml)"),
)
_MOST_PANELS: Final = 12
"""Measures drawn beside published values; the table has all (ours)."""
_CUT: Final = 5.0
"""Multiples of the detectable change at which a change is cut (ours)."""
_LEAST_REACH: Final = 1.5
"""Multiples that the axis shows at least, so that the grey band has an outside (ours)."""


def _of(frame: pd.DataFrame, name: str, missing: str) -> pd.Series:
    return frame[name].astype(object).where(frame[name].notna(), missing).astype(str)


def _strip_panels(
    measures: Sequence[tuple[str, str]], groups: Sequence[tuple[str, str, str, bool, pd.DataFrame]], name: str,
    folder: Path, *, height: float,
) -> tuple[bytes, list[str]]:  # fmt: skip
    """Draw a panel of strips for each measure; give the picture and who lies far from the others."""
    rows = (len(measures) + 1) // 2
    odd: list[str] = []
    with drawing():
        figure, axes = panels(rows, 2, width=8.6, height=rows * (0.62 + height * len(groups)), sharey=True)
        for axis, (measure, words) in zip(axes.flat, measures, strict=False):
            strips: list[Strip] = []
            for label, colour, marker, filled, own in groups:
                strips += strips_of([(label, colour, marker, own)], measure, "called", filled=filled)
            if "symmetry_index" in measure:
                axis.axvline(0.0, color=BLACK, linewidth=0.8)
            odd += draw_strips(axis, strips)
            axis.set_title(words, fontsize=8.5)
        for axis in axes.flat[len(measures) :]:
            axis.set_visible(False)
        png = written(figure, name, folder)
    return png, odd


def gait_figure(tables: StudyTables, folder: Path) -> Picture | None:
    """Draw the main gait measures by group, state and session."""
    gait = tables(GAIT)
    if gait.empty:
        return None
    gait = tables.with_person(gait)
    measures = [(name, words) for name, words in _GAIT if gait[name].notna().any()]
    if not gait["participant_id"].notna().any() or not measures:
        return None
    gait = gait.assign(called=_of(gait, "participant_id", "?") + " " + _of(gait, "session_id", ""))
    sessions = sorted(set(_of(gait, "session_id", "no session")))
    groups = []
    keys = [_of(gait, "group", "people"), gait["trial_type"], _of(gait, "session_id", "no session")]
    for (group, kind, session), own in gait.groupby(keys, sort=True):
        label = f"{group}, {spoken(kind)}, {session} (n = {own['participant_id'].nunique()})"
        look = (_GAIT_COLOURS.get(str(kind), PLAIN), _MARKERS.get(str(kind), "x"))
        groups.append((label, *look, session == sessions[0], own))
    png, odd = _strip_panels(measures, groups, "gait", folder, height=0.19)
    people = gait["participant_id"].nunique()
    return Picture(
        "gait",
        "Gait by group, state and session",
        f"n = {gait['recording_id'].nunique()} recordings of {people_text(people)}; n of a row: people. Filled: first "
        f"session, open: later; a row of more than {MOST_DOTS} walks is drawn as bands of the middle 50 and 90 %. "
        "Diamonds: far from the others of the row (modified z score above 3.5, Iglewicz & Hoaglin 1993). Asymmetries: "
        "(right − left) / (0.5 (right + left)) × 100 (Robinson et al. 1987), negative where the left is larger; means "
        "of groups are of the size 100 |ln(right / left)|, which has no sign. That of the range only where both knees "
        "are calibrated. Intervals of each walk stand in the table.",
        "Gait measures by group, state and session.",
        png,
        first=looked_at(odd),
    )


def swallow_figure(tables: StudyTables, folder: Path) -> Picture | None:
    """Draw the swallow measures of every recording with a throat channel; water tests, with a volume, stand apart."""
    summary = tables(SWALLOW_SUMMARY)
    summary = summary[summary["swallow_count"].notna()]
    if summary.empty:
        return None
    summary = tables.with_person(summary)
    measures = [(n, w) for n, w in _SWALLOWS if summary[n].notna().any()]
    if not summary["participant_id"].notna().any() or not measures:
        return None
    summary = summary.assign(called=_of(summary, "participant_id", "?") + " " + _of(summary, "session_id", ""))
    sessions = sorted(set(_of(summary, "session_id", "no session given")))
    groups = []
    timed = summary["volume"].notna()
    keys = [summary["task"].astype(str), timed, _of(summary, "session_id", "no session given")]
    for (task, whether, session), own in summary.groupby(keys, sort=True):
        words = f"task {task}{', set volume' if whether else ''}"
        if task == "swallow":
            words = "timed water test" if whether else "task swallow, no set volume"
        marker = "v" if whether and task == "swallow" else "P" if whether else "o" if task == "swallow" else "s"
        groups.append((f"{words}, {session} (n = {len(own)})", GREEN, marker, session == sessions[0], own))
    png, odd = _strip_panels(measures, groups, "swallows", folder, height=0.21)
    return Picture(
        "swallows",
        "Swallows by task and session",
        f"n = {int(summary['swallow_count'].sum())} detected swallows in {len(summary)} recordings of "
        f"{people_text(summary['participant_id'].nunique())}; n of a row: recordings; filled: first session, open: "
        "later. Timed water tests are the swallow recordings with a volume: a set volume drunk in one go, at a "
        "rate not to be held against that of others. Intervals of each rate stand in the table. Counts "
        "do not show aspiration.",
        "Swallow measures by task and session, timed water tests apart from other recordings.",
        png,
        first=looked_at(odd),
    )


def _short_source(source: str, population: str) -> str:
    """First author (or journal), year, and whom it measured; nothing is cut."""
    first = re.match(r"(.+?)(?= [A-Z]{1,3}\b|,| \d|$)", source)
    year = re.search(r"(?:19|20)\d\d", source) if source[:1].isupper() else None
    words = " ".join(filter(None, [first.group(1) if first else source, year.group() if year else ""]))
    return f"{words}: {population}"


_WRAP: Final = 46
"""Letters of a line of a source's name, so that wide ones have room as well (ours)."""
_ROW_IN: Final = 0.136
"""Height of a row of people, in inches (ours)."""
_LINE, _BETWEEN, _TITLE = 0.80, 0.20, 2.9
"""Rows that a line of a source takes, the room between sources, and what a panel needs for title and ticks (ours)."""
_NAMES_IN, _PLOT_IN, _MARGIN_IN = 2.55, 2.1, 0.2
"""Width of the names, of the plot and of what is right of it, in inches: two columns fit 1,300 pixels (ours)."""
_TITLE_IN: Final = 0.2
"""Height of the title of a panel, in inches (ours)."""


def draw_standing(axis: Any, own: pd.DataFrame) -> None:
    """Draw one measure: strips of people above, a line for each source's range below.

    Parameters
    ----------
    axis : Axes
    own : DataFrame
        Rows of ``validation/norms.tsv`` of one measure, with ``side`` (left, right or nothing).
    """
    keys = ["source", "population"]
    sources = own[[*keys, "published_low", "published_high", "published_mean"]].drop_duplicates(keys)
    points = own.drop_duplicates(["participant_id", "session_id", "trial_type", "side"])
    points = points.assign(called=_of(points, "participant_id", "?") + " " + _of(points, "session_id", ""))
    strips = []
    for (side, kind), rows in points.groupby([points["side"], _of(points, "trial_type", "")], sort=True):
        words = " ".join(filter(None, ["this study", str(side), spoken(kind) if kind else ""]))
        look = (_GAIT_COLOURS.get(str(kind), PLAIN), _MARKERS.get(str(kind), "o"))
        strips += strips_of([(f"{words} (n = {rows['participant_id'].nunique()})", *look, rows)], "value", "called")
    draw_strips(axis, strips, named=False)
    ticks, names = list(axis.get_yticks()), [t.get_text() for t in axis.get_yticklabels()]
    axis.axhline(-0.6, color=BLACK, linewidth=0.6)
    top = -0.8
    for source in records(sources):
        low, high, mean = (source[c] for c in ("published_low", "published_high", "published_mean"))
        called = textwrap.wrap(_short_source(str(source["source"]), str(source["population"])), _WRAP)
        y = top - 0.5 * _LINE * len(called)
        if pd.notna(low) and pd.notna(high):
            axis.plot([low, high], [y, y], color=GREY, linewidth=5, solid_capstyle="butt", alpha=0.6)
        elif pd.notna(low) or pd.notna(high):
            axis.plot([low if pd.notna(low) else high], [y], ">" if pd.notna(low) else "<", color=GREY)
        if pd.notna(mean):
            axis.plot([mean], [y], "|", color=BLACK, markersize=9, markeredgewidth=1.6)
        ticks.append(y)
        names.append("\n".join(called))
        top -= _LINE * len(called) + _BETWEEN
    axis.set_yticks(ticks, names, fontsize=6.5)
    axis.set_ylim(top, len(strips) - 0.3)
    axis.tick_params(axis="x", labelsize=7)
    axis.locator_params(axis="x", nbins=6)


def _rows_of(own: pd.DataFrame) -> float:
    """Lines that a measure takes beside published values."""
    sources = own[["source", "population"]].drop_duplicates()
    lines = [
        len(textwrap.wrap(_short_source(str(s), str(p)), _WRAP))
        for s, p in zip(sources["source"], sources["population"], strict=True)
    ]
    return (
        0.5
        + _LINE * sum(lines)
        + _BETWEEN * len(lines)
        + own[["side", "trial_type"]].drop_duplicates().shape[0]
        + _TITLE
    )


def _columns(rows: Sequence[float]) -> tuple[list[tuple[float, float, float, float]], float, float]:
    """Place panels of so many rows in two columns of about the same height, one below the other in reading order.

    Returns
    -------
    list of (left, top, width, height), width, height
        Of the axes and of the figure, in inches.
    """
    first = min(range(1, len(rows) + 1), key=lambda k: max(sum(rows[:k]), sum(rows[k:])))
    boxes = []
    for column, own in enumerate((rows[:first], rows[first:])):
        left, top = column * (_NAMES_IN + _PLOT_IN + _MARGIN_IN) + _NAMES_IN, 0.05
        for own_rows in own:
            boxes.append((left, top + _TITLE_IN, _PLOT_IN, _ROW_IN * (own_rows - _TITLE)))
            top += _ROW_IN * own_rows
    height = 0.1 + _ROW_IN * max(sum(rows[:first]), sum(rows[first:]))
    columns = 2 if first < len(rows) else 1
    return boxes, columns * (_NAMES_IN + _PLOT_IN + _MARGIN_IN), height


def norms_figure(tables: StudyTables, folder: Path) -> Picture | None:
    """Draw where people stand among published values, with all sources of a measure below each other."""
    norms = tables(NORMS)
    norms = norms[norms["value"].notna()]
    sides = norms["measure"].astype(str).str.extract(r"_(left|right)$")[0].fillna("")
    norms = norms.assign(side=sides, base=norms["measure"].astype(str).str.replace(r"_(?:left|right)$", "", regex=True))
    measures = list(dict.fromkeys(norms["base"]))[:_MOST_PANELS]
    if not measures:
        return None
    frames = [norms[norms["base"] == m] for m in measures]
    boxes, width, height = _columns([_rows_of(own) for own in frames])
    with drawing():
        figure, axes = placed(width, height, boxes)
        for axis, measure, own in zip(axes, measures, frames, strict=True):
            draw_standing(axis, own)
            axis.set_title(with_unit(measure, own["unit"].iloc[0]), fontsize=8.5, x=-_NAMES_IN / _PLOT_IN + 0.02)
        png = written(figure, "norms", folder)
    return Picture(
        "norms",
        "Position among published values",
        f"Upper rows: one value per person, session and gait state (bands for more than {MOST_DOTS}), "
        f"n = {people_text(norms['participant_id'].nunique())}. Below: the published range of each source (grey) and "
        "its mean (stroke); an arrow: a limit with one end. Good sources differ because definitions, sensors and walk "
        "lengths differ: an orientation, never a pass or fail. How each number is known stands in "
        f"validation/norms.tsv. {unvalidated_words(tables(PARAMETERS), measured)}".rstrip(),
        "Values of people beside the ranges of several published sources.",
        png,
    )


def draw_change(axis: Any, change: pd.DataFrame) -> list[str]:
    """Draw each change as a multiple of the minimal detectable one, a row for each measure.

    Parameters
    ----------
    axis : Axes
    change : DataFrame
        Rows of ``tables/change.tsv`` whose detectable change is known.

    Returns
    -------
    list of str
        Who changed beyond it, farthest first.
    """
    axis.axvspan(-1.0, 1.0, color=GREY, alpha=0.18, linewidth=0)
    own = change.assign(share=change["change"] / change["minimal_detectable_change"])
    measures = list(dict.fromkeys(own["measure"]))
    words = []
    for measure in measures:
        rows = own[own["measure"] == measure]
        words.append((f"{measured(measure)} (n = {rows['participant_id'].nunique()})", PLAIN, "o", rows))
    draw_strips(axis, strips_of(words, "share", "participant_id"), named=False)
    beyond = own[own["share"].abs() > 1.0].sort_values("share", key=lambda s: -s.abs(), kind="stable")
    for k, measure in enumerate(measures):
        rows = records(beyond[beyond["measure"] == measure])
        y = len(measures) - 1.0 - k
        x = np.clip([float(r["share"]) for r in rows], -_CUT, _CUT)
        axis.plot(x, np.full(len(rows), y), "D", color=ALERT, markersize=4.5)
        for row, at in list(zip(rows, x, strict=True))[:2]:
            axis.annotate(str(row["participant_id"]).removeprefix("sub-"), (at, y), (4, 3), fontsize=6.5, color=ALERT,
                          textcoords="offset points")  # fmt: skip
    largest = float(own["share"].abs().max())
    reach = min(max(1.1 * largest, _LEAST_REACH), _CUT + 0.4)
    cut = f", cut at ±{_CUT:g}" if largest > _CUT else ""
    axis.set(xlabel=f"change / minimal detectable change{cut}", xlim=(-reach, reach))
    return [str(name) for name in beyond["participant_id"]]


def change_figure(tables: StudyTables, folder: Path) -> Picture | None:
    """Draw change between sessions in units of the minimal detectable change."""
    change = tables(CHANGE)
    change = change[change["change"].notna() & (pd.to_numeric(change["minimal_detectable_change"]) > 0)]
    if change.empty:
        return None
    with drawing():
        figure, axes = panels(1, 1, width=7.6, height=0.9 + 0.24 * change["measure"].nunique())
        beyond = draw_change(axes[0, 0], change)
        png = written(figure, "change", folder)
    beyond_it = change["exceeds"].fillna(value=False).astype(bool)
    n, counted = int(beyond_it.sum()), int((beyond_it & change["lead"].fillna(value=False).astype(bool)).sum())
    return Picture(
        "change",
        "Change between sessions",
        f"n = {len(change)} changes of {people_text(change['participant_id'].nunique())}, states of gait together; "
        "grey: within the minimal detectable change (its error is named in tables/change.tsv); diamonds: beyond it, "
        f"{n}, in {counted} families of measures that are made of the same thing. "
        "Of so many comparisons a few lie beyond without any true change.",
        "Changes between sessions as multiples of the minimal detectable change.",
        png,
        first=looked_at(beyond),
    )
