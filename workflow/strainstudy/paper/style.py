"""Sheets at the width of a column or a page, and how they are written to the same bytes every time.

In: panels (a drawing function, the frame it draws, a title). Out: a figure; a PDF with its fonts as TrueType (Type 42)
and an SVG. No text is smaller than 7 points, and no sheet wider than its column.
"""

from __future__ import annotations

import math
import textwrap
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final

import matplotlib as mpl

mpl.use("Agg")
import pandas as pd
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure

from ..io.atomic import write_bytes
from ..report.style import SPEED, in_forms

__all__ = ["POINTS", "Panel", "drawing", "save", "sheet", "wrapped"]

POINTS: Final = 7.0
"""Least size of text (what journals ask for, common practice, no source)."""
_MM_PER_INCH: Final = 25.4  # mm
_LETTER_MM: Final = 1.5
"""Width of a letter of `POINTS` (measured on DejaVu Sans)."""
_BESIDE_MM: Final = 13.0
"""What stands left of an axis: numbers and a label (ours)."""
_LEGEND_MM: Final = 4.5
"""Height of a line of the legend (ours)."""
_STYLE: Final[Any] = {
    **SPEED,
    # of PDF and SVG, the forms it is drawn in
    "figure.dpi": 72,
    "font.family": "DejaVu Sans",
    "font.size": POINTS,
    "axes.labelsize": POINTS,
    "axes.titlesize": POINTS,
    "axes.titlelocation": "left",
    "xtick.labelsize": POINTS,
    "ytick.labelsize": POINTS,
    "legend.fontsize": POINTS,
    "axes.spines.top": False,
    "axes.spines.right": False,
    "axes.linewidth": 0.6,
    "xtick.major.width": 0.6,
    "ytick.major.width": 0.6,
    "xtick.major.size": 2.5,
    "ytick.major.size": 2.5,
    "axes.grid": False,
    "axes.axisbelow": True,
    "legend.frameon": False,
    "lines.linewidth": 1.0,
    "lines.markersize": 3.0,
    "text.hinting": "no_hinting",
    "svg.hashsalt": "strainstudy",
    "svg.fonttype": "path",
    "pdf.fonttype": 42,
}
"""Sizes in points (ours)."""


@dataclass(frozen=True)
class Panel:
    """One axis of a sheet: what draws it, from which frame, under which title.

    ``headed`` is False where the axis itself says what it shows, and the title is for the caption alone; ``note`` is a
    line of its own below the title.
    """

    draw: Callable[[Any, pd.DataFrame], None]
    frame: pd.DataFrame
    title: str = ""
    note: str = ""
    headed: bool = True


@contextmanager
def drawing() -> Iterator[None]:
    """Draw with the style of sheets, whatever the reader's own settings are."""
    with mpl.rc_context():
        mpl.rcdefaults()
        mpl.use("Agg")
        mpl.rcParams.update(_STYLE)
        yield


def wrapped(text: str, width_mm: float) -> str:
    """Break a text into lines of at most so many mm."""
    return textwrap.fill(text, max(int(width_mm / _LETTER_MM), 8), break_long_words=False)


def _head(panel: Panel, letter: str, room_mm: float) -> str:
    words = f"{letter}  {panel.title if panel.headed else ''}".strip()
    return "\n".join(wrapped(line, room_mm) for line in (words, panel.note) if line)


def sheet(panels: Sequence[Panel], width_mm: float, columns: int, row_mm: float, *, same_y: bool = False) -> Figure:
    """Lay panels on a sheet, row by row, with letters before their titles and one legend below all.

    Parameters
    ----------
    panels : sequence of Panel
        At least one.
    width_mm : float
        Width of the sheet.
    columns : int
        Panels beside each other.
    row_mm : float
        Height of a row.
    same_y : bool
        All panels have the same vertical axis.

    Returns
    -------
    Figure
    """
    columns = min(columns, len(panels))
    rows = math.ceil(len(panels) / columns)
    figure = Figure(figsize=(width_mm / _MM_PER_INCH, rows * row_mm / _MM_PER_INCH), layout="constrained")
    FigureCanvasAgg(figure)  # a canvas of its own measures text as it will be drawn
    axes = figure.subplots(rows, columns, squeeze=False, sharey=same_y)
    handles: dict[str, Any] = {}
    for k, (axis, panel) in enumerate(zip(axes.flat, panels, strict=False)):
        panel.draw(axis, panel.frame)
        room = width_mm / columns - _BESIDE_MM
        axis.set_title(_head(panel, chr(ord("a") + k) if len(panels) > 1 else "", room))
        axis.set_xlabel(wrapped(axis.get_xlabel(), room))
        axis.set_ylabel(wrapped(axis.get_ylabel(), row_mm - _BESIDE_MM))
        axis.yaxis.set_tick_params(labelleft=True)
        for handle, label in zip(*axis.get_legend_handles_labels(), strict=True):
            handles.setdefault(label, handle)
    for axis in axes.flat[len(panels) :]:
        axis.set_visible(False)
    if handles:
        longest = max(map(len, handles)) * _LETTER_MM + 10.0
        beside = max(min(int(width_mm / longest), len(handles)), 1)
        figure.legend(handles.values(), handles, loc="outside lower center", ncols=beside)
        lines = math.ceil(len(handles) / beside)
        figure.set_figheight((rows * row_mm + lines * _LEGEND_MM) / _MM_PER_INCH)
    return figure


def save(figure: Figure, paths: Mapping[str, Path]) -> None:
    """Write a figure to a file of each form, at the width it was laid out with."""
    for form, data in in_forms(figure, list(paths)).items():
        write_bytes(paths[form], data)
