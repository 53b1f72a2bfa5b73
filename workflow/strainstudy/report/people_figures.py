"""Figures of people: gait and swallowing by person and session, beside published values, and between sessions."""

from __future__ import annotations

import re
from collections.abc import Sequence
from pathlib import Path
from typing import Any, Final

import numpy as np
import pandas as pd

from ..tables.gait import GAIT
from ..tables.standing import CHANGE, NORMS
from ..tables.swallows import SWALLOW_SUMMARY
from .content import Picture
from .results import StudyTables, records
from .style import BLACK, BLUE, GREEN, GREY, ORANGE, PURPLE, SKY, VERMILION, drawing, panels, written

__all__ = ["change_figure", "gait_figure", "norms_figure", "swallow_figure"]

_GAIT: Final = (
    ("cadence", "cadence (steps/min)"),
    ("stride_time_cv", "stride-time CV (%)"),
    ("step_time_symmetry_index", "step time, symmetry index (%)"),
    ("range_of_motion_symmetry_index", "range of motion, symmetry index (%)"),
    ("coordination_index", "phase coordination index (%)"),
    ("waveform_likeness", "waveform likeness of the knees (1)"),
)
_STATE_LOOK: Final = {
    "normal_gait": (BLUE, "o", "normal gait"),
    "limping_gait": (ORANGE, "^", "limping gait"),
    "gait": (GREY, "s", "gait, not classified"),
}
_SWALLOW_LOOK: Final = {
    ("swallow", False): (GREEN, "o", "task swallow, no set volume"),
    ("swallow", True): (ORANGE, "D", "timed water test"),
    ("free", False): (PURPLE, "s", "task free"),
    ("walk", False): (GREY, "^", "task walk"),
    ("bend", False): (SKY, "v", "task bend"),
}
_SWALLOWS: Final = (
    ("rate", "swallows per minute (1/min)"),
    ("duration_mean", "mean duration (s)"),
    ("interval_mean", "mean interval (s)"),
    ("volume_per_swallow", "volume per swallow (ml)"),
)
_MOST_PANELS: Final = 12
"""Measures drawn beside published values; the table has all (ours)."""


def _people(frame: pd.DataFrame) -> list[str]:
    return sorted({str(p) for p in frame["participant_id"].dropna()})


def _bars(axis: Any, x: np.ndarray, frame: pd.DataFrame, name: str, **look: Any) -> None:
    """Points with their intervals, where there are any."""
    value = pd.to_numeric(frame[name]).to_numpy(dtype=float)
    low, high = (
        pd.to_numeric(frame[column]).to_numpy(dtype=float) if column in frame else np.full(value.size, np.nan)
        for column in (f"{name}_low", f"{name}_high")
    )
    reach = np.nan_to_num(np.clip(np.array([value - low, high - value]), 0.0, None))
    axis.errorbar(x, value, yerr=reach, linestyle="none", elinewidth=0.9, markersize=4, **look)


def gait_figure(tables: StudyTables, folder: Path) -> Picture | None:
    """Draw the main gait measures of every walk, by person, session and state."""
    gait = tables(GAIT)
    if gait.empty:
        return None
    gait = tables.with_person(gait)
    people = _people(gait)
    sessions = sorted({str(s) for s in gait["session_id"].dropna()})
    measures = [(name, words) for name, words in _GAIT if gait[name].notna().any()]
    if not people or not measures:
        return None
    with drawing():
        rows = (len(measures) + 1) // 2
        figure, axes = panels(rows, 2, width=7.6, height=0.7 + 1.9 * rows, sharex=True)
        for k, (name, words) in enumerate(measures):
            axis = axes[k // 2, k % 2]
            for (state, session), own in gait.groupby(["trial_type", "session_id"], sort=True):
                colour, marker, label = _STATE_LOOK.get(str(state), (BLACK, "x", str(state)))
                late = sessions.index(str(session)) if str(session) in sessions else 0
                shift = (late - (len(sessions) - 1) / 2.0) * 0.6 / max(len(sessions), 1)
                x = np.array([people.index(str(p)) for p in own["participant_id"]]) + shift
                face = colour if late == 0 else "white"
                _bars(
                    axis, x, own, name, color=colour, marker=marker, markerfacecolor=face, label=f"{label}, {session}"
                )
            axis.set_title(words, fontsize=8.5)
            axis.set_xticks(range(len(people)), [p.removeprefix("sub-") for p in people])
            axis.set_xlim(-0.7, len(people) - 0.3)
            if "symmetry_index" in name:
                axis.axhline(0.0, color=BLACK, linewidth=0.8)
        for axis in axes.flat[len(measures) :]:
            axis.set_visible(False)
        for axis in axes[-1]:
            axis.set_xlabel("participant")
        handles, names = axes[0, 0].get_legend_handles_labels()
        figure.legend(handles, names, loc="outside lower center", ncols=2)
        png = written(figure, "gait", folder)
    return Picture(
        "gait",
        "Gait by person, session and state",
        f"n = {gait['recording_id'].nunique()} recordings of {len(people)} people; filled: first session, open: later. "
        "Bars: 95 % bootstrap intervals over strides. Symmetry indices: (right − left) / (0.5 (right + left)) × 100 "
        "(Robinson et al. 1987); that of the range of motion only where both knees are calibrated.",
        "Gait measures of each person in each session.",
        png,
    )


def _swallow_slots(summary: pd.DataFrame) -> list[tuple[dict[str, Any], pd.DataFrame]]:
    """Split recordings by kind and session, each with its look; water tests, which have a volume, stand apart."""
    timed = summary["volume"].notna()
    session_of = summary["session_id"].astype(object).where(summary["session_id"].notna(), "no session given")
    sessions = sorted({str(s) for s in session_of})
    slots = []
    for (task, whether, session), own in summary.groupby([summary["task"].astype(str), timed, session_of], sort=True):
        words = f"task {task}, set volume" if whether else f"task {task}"
        colour, marker, label = _SWALLOW_LOOK.get((str(task), bool(whether)), (BLACK, "x", words))
        look = {
            "color": colour,
            "marker": marker,
            "markerfacecolor": colour if sessions.index(str(session)) == 0 else "white",
            "label": f"{label}, {session} (n = {len(own)})",
        }
        slots.append((look, own))
    return slots


def swallow_figure(tables: StudyTables, folder: Path) -> Picture | None:
    """Draw the swallow measures of every recording with a throat channel."""
    summary = tables(SWALLOW_SUMMARY)
    summary = summary[summary["swallow_count"].notna()]
    if summary.empty:
        return None
    summary = tables.with_person(summary)
    people = _people(summary)
    measures = [(n, w) for n, w in _SWALLOWS if summary[n].notna().any()]
    if not people or not measures:
        return None
    slots = _swallow_slots(summary)
    with drawing():
        rows = (len(measures) + 1) // 2
        figure, axes = panels(rows, 2, width=7.6, height=0.9 + 1.9 * rows, sharex=True)
        handles: dict[str, Any] = {}
        for axis, (name, words) in zip(axes.flat, measures, strict=False):
            for k, (look, own) in enumerate(slots):
                some = own[own[name].notna()]
                if some.empty:
                    continue
                x = np.array([people.index(str(p)) for p in some["participant_id"]], dtype=float)
                _bars(axis, x + (k - (len(slots) - 1) / 2.0) * 0.7 / len(slots), some, name, **look)
            axis.set_title(words, fontsize=8.5)
            axis.set_xticks(range(len(people)), [p.removeprefix("sub-") for p in people])
            axis.set_xlim(-0.7, len(people) - 0.3)
            # A kind that one measure leaves out has another measure to be named from.
            for handle, label in zip(*axis.get_legend_handles_labels(), strict=True):
                handles.setdefault(label, handle)
        for axis in axes.flat[len(measures) :]:
            axis.set_visible(False)
        for axis in axes[-1]:
            axis.set_xlabel("participant")
        names = [look["label"] for look, _ in slots if look["label"] in handles]
        figure.legend([handles[name] for name in names], names, loc="outside lower center", ncols=2)
        png = written(figure, "swallows", folder)
    return Picture(
        "swallows",
        "Swallows by person",
        f"n = {int(summary['swallow_count'].sum())} detected swallows in {len(summary)} recordings of {len(people)} "
        "people; n of the legend: recordings; filled the first session, open later ones. Timed water tests are the "
        "swallow recordings with a volume: a set volume drunk in one go, at a rate not to be held against that of "
        "others. Bars of the rate: 95 % limits of a Poisson count. Counts do not show aspiration.",
        "Swallow measures of each person, timed water tests apart from other recordings.",
        png,
    )


def _short_source(source: str, population: str) -> str:
    """First author (or journal), year, and whom it measured, cut to fit."""
    first = re.match(r"(.+?)(?= [A-Z]{1,3}\b|,| \d|$)", source)
    year = re.search(r"(?:19|20)\d\d", source) if source[:1].isupper() else None
    words = " ".join(filter(None, [first.group(1) if first else source, year.group() if year else ""]))
    words = f"{words}: {population}"
    return words if len(words) <= 40 else words[:39] + "\u2026"


def _strips(axis: Any, own: pd.DataFrame, sources: pd.DataFrame, unit: str, words: str, people: Sequence[str]) -> None:
    """One measure: a line for each source's range, points for people above them."""
    for k, source in enumerate(records(sources)):
        low, high, mean = (source[c] for c in ("published_low", "published_high", "published_mean"))
        y = -1.0 - k
        if pd.notna(low) and pd.notna(high):
            axis.plot([low, high], [y, y], color=GREY, linewidth=5, solid_capstyle="butt", alpha=0.6)
        elif pd.notna(low) or pd.notna(high):
            axis.plot([low if pd.notna(low) else high], [y], ">" if pd.notna(low) else "<", color=GREY)
        if pd.notna(mean):
            axis.plot([mean], [y], "|", color=BLACK, markersize=9, markeredgewidth=1.6)
    place = np.array([people.index(str(p)) for p in own["participant_id"]]) / max(len(people) - 1, 1)
    limping = (own["trial_type"] == "limping_gait").to_numpy(dtype=bool)
    value = own["value"].to_numpy(dtype=float)
    for chosen, marker, colour in ((~limping, "o", BLUE), (limping, "^", ORANGE)):
        axis.plot(value[chosen], 0.2 + 1.3 * place[chosen], marker, color=colour, markersize=3.5)
    names = [_short_source(str(s), str(p)) for s, p in zip(sources["source"], sources["population"], strict=True)]
    axis.set_yticks([0.85, *(-1.0 - k for k in range(len(sources)))], ["this study", *names], fontsize=6.5)
    axis.set_ylim(-1.6 - len(sources) + 0.2, 1.8)
    axis.set_title(f"{words} ({unit})" if unit not in ("", "1", "n/a", "None") else words, fontsize=8.5)


def norms_figure(tables: StudyTables, folder: Path) -> Picture | None:
    """Draw where people stand among published values, with all sources of a measure below each other."""
    norms = tables(NORMS)
    norms = norms[norms["value"].notna()]
    measures = list(dict.fromkeys(norms["measure"]))[:_MOST_PANELS]
    if not measures:
        return None
    people = _people(norms)
    with drawing():
        counts = [
            norms.loc[norms["measure"] == m, ["source", "population"]].drop_duplicates().shape[0] for m in measures
        ]
        rows = (len(measures) + 1) // 2
        tallest = [max(counts[2 * r : 2 * r + 2]) + 3 for r in range(rows)]
        figure, axes = panels(
            rows, 2, width=8.6, height=0.4 + 0.24 * sum(tallest), gridspec_kw={"height_ratios": tallest}
        )
        for axis, measure in zip(axes.flat, measures, strict=False):
            own = norms[norms["measure"] == measure]
            keys = ["source", "population", "published_low", "published_high", "published_mean"]
            sources = own[keys].drop_duplicates(["source", "population"])
            points = own.drop_duplicates(["participant_id", "session_id", "trial_type"])
            _strips(axis, points, sources, str(own["unit"].iloc[0]), measure.replace("_", " "), people)
        for axis in axes.flat[len(measures) :]:
            axis.set_visible(False)
        png = written(figure, "norms", folder)
    return Picture(
        "norms",
        "Position among published values",
        f"Upper points: one per person, session and gait state (circles normal, triangles limping), n = {len(people)} "
        "people, spread upwards by participant. Below: the published range of each source (grey) and its mean "
        "(stroke). Good sources differ because definitions, sensors and walk lengths differ: an orientation, never a "
        "pass or fail. How each number is known stands in validation/norms.tsv.",
        "Values of people beside the ranges of several published sources.",
        png,
    )


def change_figure(tables: StudyTables, folder: Path) -> Picture | None:
    """Draw change between sessions in units of the minimal detectable change."""
    change = tables(CHANGE)
    change = change[change["change"].notna() & (pd.to_numeric(change["minimal_detectable_change"]) > 0)]
    if change.empty:
        return None
    counts = change["measure"].value_counts()
    measures = [m for m in dict.fromkeys(change["measure"]) if counts[m] >= 1][:18]
    with drawing():
        figure, axes = panels(1, 1, width=7.4, height=0.9 + 0.27 * len(measures))
        axis = axes[0, 0]
        axis.axvspan(-1.0, 1.0, color=GREY, alpha=0.18, linewidth=0)
        for k, measure in enumerate(measures):
            own = change[change["measure"] == measure]
            share = (own["change"] / own["minimal_detectable_change"]).to_numpy(dtype=float)
            beyond = np.abs(share) > 1.0
            shown = np.clip(share, -5.0, 5.0)
            y = (
                len(measures) - 1.0 - k + np.linspace(-0.25, 0.25, len(own))
                if len(own) > 1
                else np.array([len(measures) - 1.0 - k])
            )
            axis.plot(shown[~beyond], y[~beyond], "o", color=BLUE, markersize=3.5)
            axis.plot(shown[beyond], y[beyond], "D", color=VERMILION, markersize=4.5)
        axis.set_yticks(range(len(measures)), [m.replace("_", " ") for m in reversed(measures)], fontsize=7.5)
        axis.set(xlabel="change / minimal detectable change (1), cut at ±5", xlim=(-5.3, 5.3))
        png = written(figure, "change", folder)
    beyond_it = change["exceeds"].fillna(value=False).astype(bool)
    n, counted = int(beyond_it.sum()), int((beyond_it & change["lead"].fillna(value=False).astype(bool)).sum())
    return Picture(
        "change",
        "Change between sessions",
        f"n = {len(change)} changes of {change['participant_id'].nunique()} people; grey: within the minimal "
        "detectable change (its error is named in tables/change.tsv); diamonds: beyond it, "
        f"{n}, in {counted} families of measures that are made of the same thing. "
        f"With so many comparisons about one in twenty lies beyond without any true change.",
        "Changes between sessions as multiples of the minimal detectable change.",
        png,
    )
