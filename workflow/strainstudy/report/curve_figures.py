"""Figure of the knee angle over the stride: mean of each group's people, by gait state and side."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import Any, Final

import numpy as np
import pandas as pd

from ..gait.published_curve import (
    PUBLISHED_CURVE_DEG,
    PUBLISHED_CURVE_PERCENT,
    PUBLISHED_CURVE_SOURCE,
    PUBLISHED_CURVE_WHOSE,
)
from ..tables.curves import CURVES
from ..vocabulary import GAIT_STATES, SIDES
from .content import Picture
from .results import StudyTables
from .style import BLACK, GREY, SIDE_COLOURS, drawing, panels, written

__all__ = ["curves_figure", "group_curves"]

_NO_GROUP: Final = "no group given"
_LOOKS: Final[Mapping[str, tuple[str, str]]] = {
    "left": (SIDE_COLOURS["left"], "-"),
    "right": (SIDE_COLOURS["right"], "--"),
    "affected": (BLACK, "-"),
    "other": (BLACK, "--"),
}
_STATE_WORDS: Final = {"normal_gait": "normal gait", "limping_gait": "limping gait"}


def _legs(own: pd.DataFrame) -> pd.Series:
    """Name each row's leg: affected or other where everybody of the group has one affected side, else left or right."""
    if not own["affected_side"].isin(SIDES).all():
        return own["side"]
    words = np.where(own["side"] == own["affected_side"], "affected", "other")
    return pd.Series(words, index=own.index, dtype=object)


def group_curves(curves: pd.DataFrame) -> pd.DataFrame:
    """Average people's mean curves by group, gait state and leg.

    Parameters
    ----------
    curves : DataFrame
        Columns of ``tables/curves.tsv``, with ``participant_id``, ``group``, ``affected_side``.

    Returns
    -------
    DataFrame
        ``group``, ``trial_type``, ``leg``, ``percent``, ``mean`` and ``sd`` between people (n - 1), ``n`` people; each
        person counts once, all strides of all recordings together.
    """
    known = curves[curves["participant_id"].notna()]
    known = known.assign(group=known["group"].astype(object).where(known["group"].notna(), _NO_GROUP))
    legs = pd.concat([_legs(own) for _, own in known.groupby("group", sort=True)]) if len(known) else known["side"]
    keys = ["group", "trial_type", "leg"]
    people = known.assign(leg=legs).dropna(subset=[*keys, "percent"])
    if people.empty:
        return pd.DataFrame(columns=[*keys, "percent", "mean", "sd", "n"])
    # a person's strides of all recordings together, as `pooled_curve` has them, of all people at once
    whose = people.groupby([*keys, "participant_id", "percent"], sort=True).ngroup().to_numpy()
    _, rows = np.unique(whose, return_index=True)
    n, mean = (people[name].to_numpy(dtype=float) for name in ("n", "mean"))
    whole = np.bincount(whose, n * mean) / np.bincount(whose, n)
    by = people[[*keys, "percent"]].iloc[rows].assign(mean=whole).groupby([*keys, "percent"], sort=True)["mean"]
    return by.agg(mean="mean", sd="std", n="size").reset_index()


def curves_figure(tables: StudyTables, folder: Path) -> Picture | None:
    """Draw the mean knee angle over the stride of each group, with one SD between people."""
    frame = tables(CURVES)
    if frame.empty:
        return None
    whole = group_curves(tables.with_person(frame))
    groups = list(dict.fromkeys(whole["group"]))
    states = [state for state in GAIT_STATES if (whole["trial_type"] == state).any()]
    if not groups:
        return None
    with drawing():
        figure, axes = panels(
            len(groups), len(states), width=3.8 * max(len(states), 2), height=0.8 + 2.1 * len(groups),
            sharex=True, sharey=True,
        )  # fmt: skip
        for row, group in enumerate(groups):
            for column, state in enumerate(states):
                own = whole[(whole["group"] == group) & (whole["trial_type"] == state)]
                _panel(axes[row, column], own, f"{group}, {_STATE_WORDS[state]}")
        for axis in axes[-1]:
            axis.set_xlabel("percent of the stride (%)")
        for axis in axes[:, 0]:
            axis.set_ylabel("knee flexion (deg)")
        entries: dict[str, Any] = {}
        for axis in axes.flat:
            handles, names = axis.get_legend_handles_labels()
            entries |= dict(zip(names, handles, strict=True))
        figure.legend(list(entries.values()), list(entries), loc="outside lower center", ncols=3)
        png = written(figure, "knee_curves", folder)
    return Picture(
        "knee_curves",
        "Knee angle over the stride by group",
        "Mean of people's mean curves, one curve per person and gait state, all steady strides of all sessions "
        "together; bands: one SD between people. From an initial contact (0 %) to the next of the same side. Legs "
        "are called affected and other where everybody of a group has one affected side. Dotted: mean of "
        f"{PUBLISHED_CURVE_WHOSE} ({PUBLISHED_CURVE_SOURCE}).",
        "Mean knee flexion over the stride by group, gait state and leg.",
        png,
    )


def _panel(axis: Any, own: pd.DataFrame, title: str) -> None:
    axis.plot(
        PUBLISHED_CURVE_PERCENT, PUBLISHED_CURVE_DEG, color=GREY, linestyle=":", linewidth=2, label="published mean"
    )
    numbers = []
    for leg in (name for name in _LOOKS if (own["leg"] == name).any()):
        curve = own[own["leg"] == leg]
        colour, dash = _LOOKS[leg]
        x, mean, sd = (curve[name].to_numpy(dtype=float) for name in ("percent", "mean", "sd"))
        axis.fill_between(x, mean - sd, mean + sd, color=colour, alpha=0.15, linewidth=0)
        axis.plot(x, mean, color=colour, linestyle=dash, label=f"{leg} knee")
        numbers.append(f"{leg} {int(curve['n'].max())}")
    people = f"people: {', '.join(numbers)}" if numbers else "nobody"
    axis.set_title(f"{title}\n{people}", fontsize=8.5)
