"""Drawing functions of the figures of a paper: each takes an axis and a frame, and draws the one on the other.

Titles, letters, legends and captions are not theirs (`style`, `captions`). What two colours tell apart, markers or line
styles tell apart as well.
"""

from __future__ import annotations

from typing import Any, Final

import matplotlib as mpl
import numpy as np
import pandas as pd
from matplotlib.colors import LogNorm

from ..palette import BLACK, GREEN, GREY, SIDE_COLOURS, STATE_COLOURS, WHITE
from ..report.content import number_text
from ..report.style import ink_on
from ..stats.intervals import t_interval
from ..validate.measurements import MINIMUM_PEOPLE
from ..vocabulary import GAIT_STATES
from .frames import AFFECTED, OTHER
from .words import event_words, measure_words, state_words, unit_words

__all__ = [
    "draw_agreement",
    "draw_calibration",
    "draw_confusion",
    "draw_curve",
    "draw_density",
    "draw_groups",
    "draw_loop",
    "draw_overlay",
    "draw_per_person",
    "draw_reliability",
    "draw_scores",
    "draw_sides",
    "draw_timing",
]  # fmt: skip

_STATE_LOOK: Final = {state: (STATE_COLOURS[state], marker) for state, marker in zip(GAIT_STATES, "o^", strict=True)}
_LINE_LOOK: Final = {
    AFFECTED: (BLACK, "-"),
    OTHER: (GREY, "--"),
    "left": (SIDE_COLOURS["left"], "-"),
    "right": (SIDE_COLOURS["right"], "--"),
}
_PREDICTORS: Final = {
    "classifier": (BLACK, "o", "classifier"),
    "majority": (GREY, "x", "most frequent state"),
    "amplitude_ratio": (GREY, "^", "rule on amplitudes"),
    "published_asymmetry": (GREY, "s", "rule on published limits"),
}
_KIND_LOOK: Final = {
    "swallow task": (GREEN, "o"),
    "timed water test": (WHITE, "D"),
    "free recording": (GREY, "s"),
    "walk": (BLACK, "^"),
    "bend": (BLACK, "v"),
}
_EDGE: Final[Any] = {"markeredgecolor": BLACK, "markeredgewidth": 0.3}
"""Of points in pale colours; in points (ours)."""
_MARGIN: Final = 0.2
"""Room above and below points, as part of their range, where numbers of people stand (ours)."""


def _frequent(frame: pd.DataFrame, column: str) -> Any:
    """Give the value that all rows of a frame share."""
    return frame[column].iloc[0]


def _mean(axis: Any, x: float, values: np.ndarray, least: float = -np.inf) -> None:
    """Draw a mean with its interval, cut where no value can be smaller than ``least``."""
    limits = t_interval(values)
    low = max(limits.low, least)
    reach = [[values.mean() - low], [limits.high - values.mean()]] if values.size >= MINIMUM_PEOPLE else None
    axis.errorbar([x], [values.mean()], yerr=reach, fmt="D", color=BLACK, elinewidth=0.8)


def draw_curve(axis: Any, frame: pd.DataFrame) -> None:
    """Draw mean curves over the stride with a band of one SD between people: line, percent, mean, sd, n."""
    for line, own in frame.groupby("line", sort=False):
        colour, style = _LINE_LOOK[str(line)]
        x, mean, sd = (own[name].to_numpy(dtype=float) for name in ("percent", "mean", "sd"))
        axis.fill_between(x, mean - sd, mean + sd, color=colour, alpha=0.18, linewidth=0)
        axis.plot(x, mean, style, color=colour, label=f"{line} knee")
    least, most = int(frame["n"].min()), int(frame["n"].max())
    axis.text(
        0.03, 0.98, f"n = {most}" if least == most else f"n = {least} to {most}", transform=axis.transAxes, va="top"
    )
    axis.set(xlabel="stride (%)", ylabel="knee flexion (°)", xlim=(0, 100), xticks=[0, 25, 50, 75, 100])


def draw_agreement(axis: Any, frame: pd.DataFrame) -> None:
    """Draw differences against means with bias, limits of agreement and their 95 % intervals (grey)."""
    colour, marker = _STATE_LOOK.get(str(_frequent(frame, "state")), (GREEN, "o"))
    for line, style in (("bias", "-"), ("loa_lower", "--"), ("loa_upper", "--")):
        value, low, high = (float(_frequent(frame, f"{line}{end}")) for end in ("", "_low", "_high"))
        if np.isfinite([low, high]).all():
            axis.axhspan(low, high, color=GREY, alpha=0.18, linewidth=0)
        axis.axhline(value, linestyle=style, color=BLACK, linewidth=0.8)
    axis.axhline(0.0, linestyle=":", color=GREY, linewidth=0.8)
    axis.plot(frame["mean"], frame["difference"], marker, color=colour, **_EDGE)
    axis.set(xlabel="mean of both", ylabel="pipeline − labels")
    axis.ticklabel_format(useOffset=False, style="plain")
    axis.locator_params(axis="x", nbins=4)


def draw_overlay(axis: Any, frame: pd.DataFrame) -> None:
    """Draw an angle with its interval and the reference over time: time, angle, low, high, reference, side."""
    time = frame["time"].to_numpy(dtype=float)
    colour = SIDE_COLOURS[str(_frequent(frame, "side"))]
    low, high = frame["low"].to_numpy(dtype=float), frame["high"].to_numpy(dtype=float)
    axis.fill_between(time, low, high, color=colour, alpha=0.2, linewidth=0, label="its prediction interval")
    axis.plot(time, frame["reference"], "--", color=BLACK, label="reference")
    axis.plot(time, frame["angle"], color=colour, label="strain sensor")
    axis.set(xlabel="time (s)", ylabel="knee angle (°)", xlim=(time[0], time[-1]))


def draw_density(axis: Any, frame: pd.DataFrame) -> None:
    """Draw how much time was spent at each pair of angles: reference, angle (centres of squares) and seconds."""
    side = float(_frequent(frame, "side"))
    low = float(min(frame["reference"].min(), frame["angle"].min())) - side / 2.0
    high = float(max(frame["reference"].max(), frame["angle"].max())) + side / 2.0
    edges = np.arange(low, high + side / 2.0, side)
    cells = np.full((edges.size - 1, edges.size - 1), np.nan)
    column, row = (np.floor((frame[name].to_numpy(dtype=float) - low) / side).astype(int)
                   for name in ("reference", "angle"))  # fmt: skip
    cells[row, column] = frame["seconds"].to_numpy(dtype=float)
    mesh = axis.pcolormesh(edges, edges, cells, cmap="Blues", norm=LogNorm(), edgecolor="face", linewidth=0.1)
    axis.plot([low, high], [low, high], ":", color=BLACK, linewidth=0.8)
    axis.set(xlabel="reference (°)", ylabel="strain sensor (°)", aspect="equal")
    bar = axis.figure.colorbar(mesh, ax=axis, label="time (s)", shrink=0.85, format="%g")
    bar.minorticks_off()


def draw_sides(axis: Any, frame: pd.DataFrame) -> None:
    """Draw both sides of each person joined by a line, means with 95 % intervals beside them, for each gait state."""
    states = [state for state in _STATE_LOOK if (frame["trial_type"] == state).any()]
    for k, state in enumerate(states):
        colour, marker = _STATE_LOOK[state]
        own = frame[frame["trial_type"] == state]
        label = state_words(state)
        x = np.array([0.0, 1.0]) + 2.4 * k
        axis.plot(
            x, own[[OTHER, AFFECTED]].to_numpy(dtype=float).T, "-", marker=marker, color=colour, linewidth=0.6, **_EDGE
        )
        for at, side in zip((x[0] - 0.25, x[1] + 0.25), (OTHER, AFFECTED), strict=True):
            _mean(axis, at, own[side].to_numpy(dtype=float))
        axis.plot([], [], marker=marker, color=colour, linewidth=0.6, label=label, **_EDGE)
        axis.text(x.mean(), 1.0, f"n = {len(own)}", transform=axis.get_xaxis_transform(), ha="center", va="top")
    ticks = [x for k in range(len(states)) for x in (2.4 * k, 2.4 * k + 1.0)]
    axis.set_xticks(ticks, [OTHER, AFFECTED] * len(states), rotation=40, ha="right", rotation_mode="anchor")
    axis.set_xlim(-0.7, 2.4 * (len(states) - 1) + 1.7)
    axis.set_ymargin(_MARGIN)
    axis.set_ylabel(_frequent(frame, "label"))


def draw_groups(axis: Any, frame: pd.DataFrame) -> None:
    """Draw a point for each person, mean and 95 % interval: group, trial_type, value, label of the axis.

    A column ``least`` holds the smallest value that there can be.
    """
    least = float(frame["least"].iloc[0]) if "least" in frame else -np.inf
    kinds = list(dict.fromkeys(frame["trial_type"].sort_values(ascending=False)))
    groups = sorted(set(frame["group"]))
    for k, kind in enumerate(kinds):
        colour, marker = {**_STATE_LOOK, **_KIND_LOOK}.get(str(kind), (GREY, "x"))
        for j, group in enumerate(groups):
            own = frame.loc[(frame["trial_type"] == kind) & (frame["group"] == group), "value"].to_numpy(dtype=float)
            if not own.size:
                continue
            step = 0.84 / len(kinds)
            x = j + (k - (len(kinds) - 1) / 2.0) * step - 0.1 * step
            spread = step * np.linspace(-0.2, 0.2, own.size) if own.size > 1 else np.zeros(1)
            axis.plot(
                x + spread,
                own,
                marker,
                color=colour,
                markersize=3.0,
                label=state_words(kind) if j == 0 else None,
                **_EDGE,
            )
            _mean(axis, x + 0.42 * step, own, least)
            axis.text(x, 0.99, f"{own.size}", transform=axis.get_xaxis_transform(), ha="center", va="top")
    axis.set_xticks(range(len(groups)), groups)
    axis.set_xlim(-0.6, len(groups) - 0.4)
    axis.set_ymargin(_MARGIN)
    axis.set_ylabel(_frequent(frame, "label"))


def _rows(axis: Any, names: list[str]) -> np.ndarray:
    """Name the rows of an axis, first on top."""
    y = np.arange(len(names))[::-1]
    axis.set_yticks(y, names)
    axis.set_ylim(-0.7, len(names) - 0.3)
    axis.grid(visible=True, axis="x", color="#E3E3E3", linewidth=0.5)
    return y


def _bars(axis: Any, y: np.ndarray, frame: pd.DataFrame, name: str, colour: str, marker: str = "o") -> None:
    value = frame[name].to_numpy(dtype=float)
    low, high = (frame[f"{name}_{end}"].to_numpy(dtype=float) for end in ("low", "high"))
    reach = np.nan_to_num(np.clip([value - low, high - value], 0.0, None))
    axis.errorbar(value, y, xerr=reach, fmt=marker, color=colour, elinewidth=0.8)


def draw_reliability(axis: Any, frame: pd.DataFrame) -> None:
    """Draw ICC(2,1) with its interval, SEM and MDC in words beside each measure."""
    names = []
    for row in frame.to_dict("records"):
        unit = unit_words(row["unit"], row["measure"])
        sem, mdc = (
            number_text(row[name], 2) for name in ("standard_error_of_measurement", "minimal_detectable_change")
        )
        state = state_words(row["trial_type"])
        what = f"{measure_words(row['measure'])}{f', {state}' if state else ''}"
        names.append(f"{what}\nn = {row['n_participants']}, SEM {sem}, MDC {mdc} {unit}".rstrip())
    y = _rows(axis, names)
    for state in dict.fromkeys(frame["trial_type"].fillna("")):
        own = (frame["trial_type"].fillna("") == state).to_numpy()
        colour, marker = _STATE_LOOK.get(state, (GREEN, "s"))
        _bars(axis, y[own], frame[own], "icc_agreement", colour, marker)
    axis.set(xlabel="ICC(2,1), 95 % interval", xlim=(min(-0.05, float(frame["icc_agreement_low"].min()) - 0.05), 1.12))


def _event_names(frame: pd.DataFrame) -> list[str]:
    names = []
    for row in frame.to_dict("records"):
        value = f"{row['tolerance']:g}"
        rule = f"overlap ≥ {value}" if row["criterion"] == "overlap" else f"±{value} s"
        side = "" if row["side"] == "all" else f", {row['side']}"
        names.append(f"{event_words(row['trial_type'])}{side}, {rule}\n(n = {row['n_labelled']})")
    return names


def draw_scores(axis: Any, frame: pd.DataFrame) -> None:
    """Draw F1 of each event type and tolerance with its interval."""
    y = _rows(axis, _event_names(frame))
    _bars(axis, y, frame, "f1", BLACK)
    axis.set(xlabel="F1, 95 % interval over participants")
    axis.set_xlim(right=1.02)


def draw_timing(axis: Any, frame: pd.DataFrame) -> None:
    """Draw bias and limits of agreement of the time of found events, in ms."""
    y = _rows(axis, _event_names(frame))
    bias, low, high = (1000.0 * frame[c].to_numpy(dtype=float) for c in ("bias", "loa_lower", "loa_upper"))
    axis.hlines(y, low, high, color=GREY, linewidth=3.0, alpha=0.6)
    axis.plot(bias, y, "|", color=BLACK, markersize=7.0, markeredgewidth=1.2)
    axis.axvline(0.0, color=BLACK, linewidth=0.6, linestyle=":")
    axis.set(xlabel="detected − labelled (ms)")


def draw_confusion(axis: Any, frame: pd.DataFrame) -> None:
    """Draw the share of labelled time by detected state, in percent: labelled, detected, share."""
    words = ["rest", "normal_gait", "limping_gait", "turn", "gait", "other", "none"]
    rows = [w for w in words if (frame["labelled"] == w).any()]
    columns = [w for w in words if (frame["detected"] == w).any()]
    share = np.zeros((len(rows), len(columns)))
    for labelled, detected, value in zip(frame["labelled"], frame["detected"], frame["share"], strict=True):
        if labelled in rows and detected in columns:
            share[rows.index(labelled), columns.index(detected)] = float(value)
    colours = mpl.colormaps["Blues"]
    axis.imshow(share, cmap=colours, vmin=0.0, vmax=1.0, aspect="auto")
    for i, j in np.ndindex(share.shape):
        axis.text(j, i, f"{100 * share[i, j]:.1f}", ha="center", va="center", color=ink_on(colours(float(share[i, j]))))
    axis.set_xticks(range(len(columns)), [c.replace("_", "\n") for c in columns])
    axis.set_yticks(range(len(rows)), [r.replace("_", "\n") for r in rows])
    axis.set(xlabel="detected", ylabel="labelled")


def draw_calibration(axis: Any, frame: pd.DataFrame) -> None:
    """Draw observed against predicted probability with intervals; areas are shares of the windows."""
    axis.plot([0, 1], [0, 1], ":", color=GREY)
    x, y = (frame[name].to_numpy(dtype=float) for name in ("predicted", "observed"))
    low, high = (frame[f"observed_{end}"].to_numpy(dtype=float) for end in ("low", "high"))
    axis.errorbar(x, y, yerr=np.nan_to_num(np.clip([y - low, high - y], 0, None)), fmt="none", ecolor=BLACK,
                  elinewidth=0.8)  # fmt: skip
    size = 6.0 + 120.0 * frame["windows_share"].fillna(0).to_numpy(dtype=float)
    axis.scatter(x, y, s=size, color=BLACK, alpha=0.7, linewidths=0)
    axis.set(xlabel="predicted probability of limping", ylabel="share labelled limping")


def draw_per_person(axis: Any, frame: pd.DataFrame) -> None:
    """Draw the mean recall of each person left out, by predictor: predictor, participant_id, recall."""
    people = sorted(set(frame["participant_id"].astype(str)))
    for k, (predictor, (colour, marker, label)) in enumerate(_PREDICTORS.items()):
        own = frame[frame["predictor"] == predictor]
        if len(own):
            x = np.array([people.index(str(p)) for p in own["participant_id"]]) + 0.14 * (k - 1.5)
            axis.plot(x, own["recall"], marker, color=colour, label=label)
    short = [p.removeprefix("sub-") for p in people]
    every = max(len(short) // 12, 1)
    axis.set_xticks(range(0, len(short), every), short[::every])
    axis.set(xlabel="participant left out", ylabel="mean recall", ylim=(-0.04, 1.06))


def draw_loop(axis: Any, frame: pd.DataFrame) -> None:
    """Draw the mean loop of a sensor with one SD over cycles: strain, loading, unloading, and their SDs.

    Where ``recording_id`` is given, the recordings differ, and each has a loop.
    """
    for _, own in frame.groupby("recording_id", sort=True, dropna=False):
        strain = own["strain"].to_numpy(dtype=float)
        for name, colour, style in (("loading", BLACK, "-"), ("unloading", GREY, "--")):
            mean, sd = (own[f"{name}{end}"].to_numpy(dtype=float) for end in ("", "_sd"))
            axis.fill_between(strain, mean - sd, mean + sd, color=colour, alpha=0.2, linewidth=0)
            axis.plot(strain, mean, style, color=colour, label=name)
    axis.set(xlabel="strain (%)", ylabel="ΔR/R₀")
    axis.locator_params(nbins=4)
