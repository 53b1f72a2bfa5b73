"""How figures look, and how they are written so that the same numbers give the same bytes.

Colours are those of `strainstudy.palette`; sides and states differ in marker or pattern too, so that a black-and-white
print loses nothing.
"""

from __future__ import annotations

import io
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import Any, Final

import matplotlib as mpl

mpl.use("Agg")
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure
from matplotlib.text import Text

from ..io.atomic import write_bytes
from ..palette import ALERT, BLACK, GREEN, GREY, ORANGE, PLAIN, SIDE_COLOURS, SKY, STATE_COLOURS, WHITE
from .names import forms_of

__all__ = [
    "ALERT", "BLACK", "GREEN", "GREY", "ORANGE", "PLAIN", "SIDE_COLOURS", "SKY", "SPEED", "STATE_COLOURS", "WHITE",
    "drawing", "in_forms", "ink_on", "panels", "placed", "written",
]  # fmt: skip

SPEED: Final[Any] = {
    "axes.titley": 1.0,
    "axes.formatter.useoffset": False,
    "axes.formatter.limits": (-12, 12),
    "ps.fonttype": 42,
}
"""Settings that spare time: titles have a fixed height, numbers at an axis are whole, and a font is embedded once.

A title whose height is left to the library is moved clear of the power of ten in the corner of its axis, for which all
numbers at the axis are measured again at every drawing. How many letters a font of a PDF may hold the library takes
from the setting for PostScript: with that of Type 3 a minus sign is a font of its own.
"""
_STYLE: Final[Any] = {
    **SPEED,
    "font.family": "DejaVu Sans",
    "font.size": 9,
    "axes.titlesize": 9.5,
    "axes.titleweight": "bold",
    "axes.titlelocation": "left",
    "axes.spines.top": False,
    "axes.spines.right": False,
    "axes.linewidth": 0.8,
    "axes.grid": True,
    "axes.axisbelow": True,
    "grid.color": "#DDDDDD",
    "grid.linewidth": 0.6,
    "legend.frameon": False,
    "legend.fontsize": 8,
    "lines.linewidth": 1.4,
    "figure.dpi": 110,
    "savefig.dpi": 110,
    "text.hinting": "no_hinting",
    "figure.constrained_layout.w_pad": 0.07,
    "svg.hashsalt": "strainstudy",
    "svg.fonttype": "path",
    "pdf.fonttype": 42,
}
"""Of all figures; sizes in points, resolutions in dots per inch (ours)."""
_NO_LIGATURES: Final = ("-liga",)
_OPTIONS: Final[dict[str, dict[str, Any]]] = {
    # measured on these figures: a tenth smaller than at the default level 6, in two thirds of the time
    "png": {"pil_kwargs": {"compress_level": 3}},
}
_METADATA: Final[dict[str, dict[str, Any]]] = {
    "png": {"Software": None},
    "svg": {"Date": None, "Creator": None},
    "pdf": {"CreationDate": None, "ModDate": None, "Creator": None, "Producer": None},
}


def ink_on(colour: Sequence[float]) -> str:
    """Choose black or white for text on a colour, whichever stands out more.

    Parameters
    ----------
    colour : sequence of float
        Red, green and blue (sRGB), 0 to 1; more is left aside.

    Returns
    -------
    str
        `BLACK` or `WHITE`: its contrast ratio with the colour is 4.58 or more (WCAG 2.2, relative luminance and
        contrast ratio).
    """
    linear = [c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in colour[:3]]
    luminance = 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]
    return BLACK if (luminance + 0.05) / 0.05 >= 1.05 / (luminance + 0.05) else WHITE


@contextmanager
def drawing() -> Iterator[None]:
    """Draw with the report's style, whatever the reader's own settings are."""
    with mpl.rc_context():
        mpl.rcdefaults()
        mpl.use("Agg")
        mpl.rcParams.update(_STYLE)
        yield


def panels(
    rows: int = 1,
    columns: int = 1,
    *,
    width: float = 7.2,
    height: float = 3.0,
    room: Mapping[str, float] | None = None,
    **options: Any,
) -> tuple[Figure, Any]:
    """Make a figure with a grid of axes (always a 2-D array), with room between them as given or worked out."""
    figure = Figure(figsize=(width, height), layout="constrained" if room is None else None)
    # A canvas of its own measures text as it will be drawn.
    FigureCanvasAgg(figure)
    if room is not None:
        figure.subplots_adjust(**room)
    return figure, figure.subplots(rows, columns, squeeze=False, **options)


def placed(width: float, height: float, boxes: Sequence[tuple[float, float, float, float]]) -> tuple[Figure, list[Any]]:
    """Make a figure with axes where they are told to be, which needs no working out.

    Parameters
    ----------
    width, height : float
        In inches.
    boxes : sequence of (left, top, width, height)
        Of each axis, in inches from the upper left corner.

    Returns
    -------
    Figure, list of Axes
    """
    figure = Figure(figsize=(width, height))
    FigureCanvasAgg(figure)
    axes = [figure.add_axes((x / width, 1.0 - (y + h) / height, w / width, h / height)) for x, y, w, h in boxes]
    return figure, axes


def _keep_labels(figure: Figure) -> None:
    """Leave the labels of all axes where they were drawn, and do not measure again the numbers beside them."""
    for axes in figure.axes:
        for axis in (axes.xaxis, axes.yaxis):
            at = axis.label.get_transform().transform(axis.label.get_position())
            axis.set_label_coords(*axes.transAxes.inverted().transform(at))
            for number in axis.get_ticklabels():
                number.set_in_layout(False)


def in_forms(figure: Figure, forms: Sequence[str]) -> dict[str, bytes]:
    """Draw a figure in some forms, without dates or random ids.

    Parameters
    ----------
    figure : Figure
        Its resolution (``figure.dpi``) is that of the first form.
    forms : sequence of str
        Of ``png``, ``svg`` and ``pdf``.

    Returns
    -------
    dict of str to bytes
        By form.
    """
    engine = figure.get_layout_engine()
    if engine is not None:
        # The layout is worked out once and kept for all forms; any engine left would draw everything twice.
        engine.execute(figure)
        figure.set_layout_engine(None)
    for text in figure.findobj(Text):
        # A PDF holds ligatures as a font of their own, which takes as long to make as that of all other letters.
        text.set_fontfeatures(_NO_LIGATURES)
    drawn: dict[str, bytes] = {}
    for form in forms:
        stream = io.BytesIO()
        figure.savefig(stream, format=form, metadata=_METADATA[form], **_OPTIONS.get(form, {}))
        if not drawn:
            # Placing a label anew takes measuring all numbers at its axis, in every form.
            _keep_labels(figure)
        drawn[form] = stream.getvalue()
    return drawn


def written(figure: Figure, name: str, folder: Path) -> bytes:
    """Write a figure in its forms (`forms_of`) without dates or random ids, and give the PNG.

    Parameters
    ----------
    figure : Figure
    name : str
        File name without suffix.
    folder : Path

    Returns
    -------
    bytes
        The PNG.
    """
    drawn = in_forms(figure, forms_of(name))
    for form, data in drawn.items():
        write_bytes(folder / f"{name}.{form}", data)
    return drawn["png"]
