"""One row for each group of people: dots where they are few, bands where they are many, and the odd ones by name.

In: an axis and the strips to draw on it. Out: the names of those who lie far from the others of their row. A figure of
ten people and one of a thousand are drawn by the same rule.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import Any, Final, NamedTuple

import numpy as np
import pandas as pd

from ..io.store import FloatArray
from .style import ALERT, BLACK

__all__ = ["MOST_DOTS", "SHARES", "Strip", "draw_strips", "looked_at", "outliers", "strips_of"]

MOST_DOTS: Final = 40
"""People of a row up to whom each has a dot; more are bands (ours)."""
SHARES: Final = ((0.90, 0.48, 0.35), (0.50, 0.68, 0.9))
"""Bands: share of the values within, width as part of a row, opacity (ours)."""
_FEWEST: Final = 8
"""People of a row from whom on one can lie far from the others (ours)."""
_FAR: Final = 3.5
"""Modified z score of an outlier (Iglewicz & Hoaglin 1993, How to Detect and Handle Outliers)."""
_MAD_TO_SD: Final = 1.4826
"""Standard deviations of a normal distribution in its median absolute deviation (Iglewicz & Hoaglin 1993)."""
_NAMED: Final = 2
"""Outliers named in a row of a figure (ours)."""
_LOOKED_AT: Final = 8
"""People or recordings named over a figure (ours)."""


class Strip(NamedTuple):
    """A row: its words, look, values, and the name of each value."""

    words: str
    colour: str
    marker: str
    filled: bool
    values: FloatArray
    names: tuple[str, ...]


def strips_of(
    groups: Iterable[tuple[str, str, str, pd.DataFrame]], value: str, name: str, *, filled: bool = True
) -> list[Strip]:
    """Make strips of frames.

    Parameters
    ----------
    groups : iterable of (words, colour, marker, DataFrame)
    value, name : str
        Columns of the value and of what it is called.
    filled : bool, optional
        Whether the dots are.

    Returns
    -------
    list of Strip
        Missing values left out; a group without any has an empty strip.
    """
    strips = []
    for words, colour, marker, frame in groups:
        own = frame[pd.to_numeric(frame[value]).notna()]
        names = tuple(str(n) for n in own[name])
        strips.append(Strip(words, colour, marker, filled, own[value].to_numpy(dtype=float), names))
    return strips


def looked_at(names: Sequence[str]) -> str:
    """Name the first few, and say how many more there are."""
    unique = list(dict.fromkeys(names))
    more = len(unique) - _LOOKED_AT
    return ", ".join(unique[:_LOOKED_AT]) + (f" and {more} more" if more > 0 else "")


def outliers(values: FloatArray) -> FloatArray:
    """Give the modified z score of each value; 0 where too few are there or most are the same."""
    if values.size < _FEWEST:
        return np.zeros(values.size)
    away = values - np.median(values)
    spread = _MAD_TO_SD * float(np.median(np.abs(away)))
    scores: FloatArray = away / spread if spread > 0 else np.zeros(values.size)
    return scores


def _spread(n: int) -> FloatArray:
    """Heights of dots within a row, the same for the same number."""
    heights: FloatArray = 0.26 * np.sin(2.4 * np.arange(n))
    return heights


def draw_strips(axis: Any, strips: Sequence[Strip], *, named: bool = True, median: bool = True) -> list[str]:
    """Draw the rows, first on top.

    Parameters
    ----------
    axis : Axes
    strips : sequence of Strip
    named : bool, optional
        Whether outliers are marked and named.
    median : bool, optional
        Whether the median has a stroke.

    Returns
    -------
    list of str
        Names of the outliers, farthest first.
    """
    found: list[tuple[float, str]] = []
    axis.use_sticky_edges = False  # a band that ends where the axis begins looks cut
    for k, strip in enumerate(strips):
        y = len(strips) - 1.0 - k
        x = strip.values
        if x.size == 0:
            continue
        far = outliers(x) if named else np.zeros(x.size)
        odd = np.abs(far) > _FAR
        if x.size <= MOST_DOTS:
            face = strip.colour if strip.filled else "white"
            axis.plot(x[~odd], (y + _spread(x.size))[~odd], strip.marker, color=strip.colour, markerfacecolor=face,
                      markersize=4, markeredgewidth=0.9)  # fmt: skip
        else:
            for share, height, alpha in SHARES:
                low, high = np.quantile(x, [0.5 - share / 2, 0.5 + share / 2])
                axis.barh(y, high - low, left=low, height=height, color=strip.colour, alpha=alpha, linewidth=0)
        if median and x.size > 2:
            axis.plot([np.median(x)] * 2, [y - 0.38, y + 0.38], color=BLACK, linewidth=1.4)
        worst = np.argsort(-np.abs(far), kind="stable")[: int(odd.sum())]
        if odd.any():
            axis.plot(x[odd], np.full(int(odd.sum()), y), "D", color=ALERT, markersize=4.5)
        for at in worst[:_NAMED]:
            right = x[at] > 0.5 * sum(axis.get_xlim())
            axis.annotate(
                strip.names[at].split(" ")[0].removeprefix("sub-"), (x[at], y), (-4 if right else 4, 3),
                textcoords="offset points", ha="right" if right else "left", fontsize=6.5, color=ALERT,
            )  # fmt: skip
        found += [(abs(float(far[at])), strip.names[at]) for at in worst]
    axis.set_yticks([len(strips) - 1.0 - k for k in range(len(strips))], [s.words for s in strips], fontsize=7)
    axis.set_ylim(-0.7, len(strips) - 0.3)
    axis.grid(visible=False, axis="y")
    return list(dict.fromkeys(name for _, name in sorted(found, key=lambda pair: -pair[0])))
