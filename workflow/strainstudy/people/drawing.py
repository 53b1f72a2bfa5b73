"""Light drawings as SVG text: panels with axes, in a page that needs no library to show them.

In: numbers. Out: markup with one decimal per coordinate, the same bytes for the same numbers. Lengths are in units of
the drawing, which is as wide as the page (`WIDTH`).
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field
from html import escape
from typing import Final

import numpy as np
from numpy.typing import NDArray

from ..palette import BLACK

__all__ = ["QUIET", "WIDTH", "Panel", "drawing", "label"]

FloatArray = NDArray[np.float64]

WIDTH: Final = 720
"""Units across the page; about 0.26 mm each on A4 (ours)."""
QUIET: Final = "#5d5d58"
_GRID: Final = "#dddbd5"
_LETTER: Final = 0.53
"""Width of a letter in heights, of common sans-serif fonts (measured roughly, ours)."""
_SIZE: Final = 10.5
"""Height of letters in units: 8 pt on A4 (ours)."""


def _at(value: float) -> str:
    return f"{value:.1f}".removesuffix(".0")


def label(x: float, y: float, words: str, *, anchor: str = "start", size: float = _SIZE, look: str = "") -> str:
    """Write words at a place; ``look`` holds further attributes."""
    more = f" {look}" if look else ""
    where = "" if anchor == "start" else f' text-anchor="{anchor}"'
    return f'<text x="{_at(x)}" y="{_at(y)}" font-size="{size:g}"{where}{more}>{escape(words)}</text>'


def fits(words: str, width: float, size: float) -> bool:
    """Say whether words of this size fit into a width."""
    return len(words) * _LETTER * size <= width


def drawing(parts: Iterable[str], height: float, title: str, width: float = WIDTH) -> str:
    """Put parts into one drawing that grows with the page and names itself to a reader who cannot see it."""
    return (
        f'<svg viewBox="0 0 {_at(width)} {_at(height)}" role="img" aria-label="{escape(title)}" '
        f'style="max-width:{_at(1.45 * width)}px">' + "".join(parts) + "</svg>"
    )


@dataclass
class Panel:
    """A frame with two axes, drawn part by part.

    Parameters
    ----------
    left, top, width, height : float
        Of the frame, in units.
    x, y : (float, float)
        What the ends of the axes stand for.
    parts : list of str
        Markup so far, in the order it is drawn.
    """

    left: float
    top: float
    width: float
    height: float
    x: tuple[float, float]
    y: tuple[float, float]
    parts: list[str] = field(default_factory=list)

    def across(self, value: FloatArray | float) -> FloatArray:
        """Place of values on the horizontal axis, in units."""
        return np.asarray(self.left + self.width * (np.asarray(value) - self.x[0]) / (self.x[1] - self.x[0]))

    def up(self, value: FloatArray | float) -> FloatArray:
        """Place of values on the vertical axis, in units."""
        return np.asarray(self.top + self.height * (1.0 - (np.asarray(value) - self.y[0]) / (self.y[1] - self.y[0])))

    def axes(self, x: Iterable[float], y: Iterable[float], *, named: tuple[bool, bool] = (True, True)) -> None:
        """Draw frame, grid and the numbers of the axes, where they are named."""
        for tick in y:
            at = float(self.up(tick))
            self.parts.append(self._stroke(self.left, at, self.left + self.width, at, _GRID, 0.7))
            if named[1]:
                self.parts.append(label(self.left - 5, at + 3.5, f"{tick:g}".replace("-", "\u2212"), anchor="end"))
        for tick in x:
            at = float(self.across(tick))
            self.parts.append(self._stroke(at, self.top, at, self.top + self.height, _GRID, 0.7))
            if named[0]:
                self.parts.append(label(at, self.top + self.height + 13, f"{tick:g}", anchor="middle"))
        bottom = self.top + self.height
        self.parts.append(self._stroke(self.left, bottom, self.left + self.width, bottom, BLACK, 0.9))
        self.parts.append(self._stroke(self.left, self.top, self.left, bottom, BLACK, 0.9))

    @staticmethod
    def _stroke(x1: float, y1: float, x2: float, y2: float, colour: str, width: float) -> str:
        return (
            f'<line x1="{_at(x1)}" y1="{_at(y1)}" x2="{_at(x2)}" y2="{_at(y2)}" stroke="{colour}" '
            f'stroke-width="{width:g}"/>'
        )

    def _points(self, x: FloatArray, y: FloatArray) -> str:
        pairs = zip(self.across(x).tolist(), self.up(y).tolist(), strict=True)
        return " ".join(f"{_at(a)},{_at(b)}" for a, b in pairs)

    def line(self, x: FloatArray, y: FloatArray, colour: str, *, width: float = 1.8, dash: str = "") -> None:
        """Draw a line through points, broken where there is none."""
        more = f' stroke-dasharray="{dash}"' if dash else ""
        there = np.flatnonzero(np.isfinite(y))
        for run in np.split(there, np.flatnonzero(np.diff(there) > 1) + 1):
            if run.size:
                self.parts.append(
                    f'<polyline points="{self._points(x[run], y[run])}" fill="none" stroke="{colour}" '
                    f'stroke-width="{width:g}"{more}/>'
                )

    def band(self, x: FloatArray, low: FloatArray, high: FloatArray, colour: str) -> None:
        """Fill between two lines."""
        there = np.isfinite(low) & np.isfinite(high)
        if there.sum() > 1:
            around = np.concatenate([x[there], x[there][::-1]]), np.concatenate([high[there], low[there][::-1]])
            self.parts.append(f'<polygon points="{self._points(*around)}" fill="{colour}" fill-opacity="0.16"/>')

    def span(self, start: float, end: float, colour: str, words: str = "", *, size: float = 9.0) -> None:
        """Fill the height of the panel from one place to another; words are written where they fit."""
        a, b = float(self.across(start)), float(self.across(end))
        self.parts.append(
            f'<rect x="{_at(a)}" y="{_at(self.top)}" width="{_at(max(b - a, 0.3))}" height="{_at(self.height)}" '
            f'fill="{colour}"/>'
        )
        if words and fits(words, b - a, size):
            middle = self.top + self.height / 2 + size / 3
            self.parts.append(label((a + b) / 2, middle, words, anchor="middle", size=size))

    def strokes(self, x: Iterable[float], low: float, high: float, colour: str, *, width: float = 0.9) -> None:
        """Draw a short upright stroke at each place, between two heights in units from the top of the panel."""
        path = "".join(
            f"M{_at(at)} {_at(self.top + low)}V{_at(self.top + high)}" for at in self.across(np.fromiter(x, float))
        )
        if path:
            self.parts.append(f'<path d="{path}" stroke="{colour}" stroke-width="{width:g}" fill="none"/>')

    def mark(self, x: float, y: float, low: float, high: float, colour: str, *, round_one: bool) -> None:
        """Draw a point, a disc or a triangle, with its limits."""
        at, here = float(self.across(x)), float(self.up(y))
        if np.isfinite(low) and np.isfinite(high):
            self.parts.append(self._stroke(at, float(self.up(low)), at, float(self.up(high)), colour, 1.0))
        if round_one:
            self.parts.append(f'<circle cx="{_at(at)}" cy="{_at(here)}" r="2.8" fill="{colour}"/>')
        else:
            corners = f"{_at(at)},{_at(here - 3.4)} {_at(at + 3.2)},{_at(here + 2.6)} {_at(at - 3.2)},{_at(here + 2.6)}"
            self.parts.append(f'<polygon points="{corners}" fill="{colour}"/>')

    def note(self, words: str) -> None:
        """Write in the middle of the panel why nothing is drawn."""
        middle = self.left + self.width / 2, self.top + self.height / 2
        self.parts.append(label(*middle, words, anchor="middle", look=f'fill="{QUIET}" font-style="italic"'))
