"""One recording as a drawing: every tracked point, what was detected in it, and what raters labelled.

Drawn as SVG by hand and not by a plotting library: a study has hundreds of recordings, and a page of them has to stay
small. Each column of pixels holds the least and greatest sample under it, so no spike is lost.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Final
from xml.sax.saxutils import escape

import numpy as np
import numpy.typing as npt
import pandas as pd

from ..io.store import FloatArray, Trace
from ..palette import BLACK, GREEN, KIND_COLOURS, SIDE_COLOURS, STATE_COLOURS
from ..vocabulary import INTERVALS, SIDE_OF_POINT, STATES
from .spoken import spoken

IntArray = npt.NDArray[np.int_]
BoolArray = npt.NDArray[np.bool_]
_Row = tuple[float, float, str, str]
"""Onset and duration (s), kind and side of what was detected or labelled; without a side, a word that is none."""

__all__ = ["draw_recording", "trace_path"]

_WIDTH, _LEFT, _RIGHT = 1080, 118, 12
"""Pixels: the drawing, and its margins for names and for nothing (ours)."""
_PANEL, _ROW, _GAP, _AXIS = 88, 13, 5, 30
"""Pixels: heights of a curve, of a row of spans, of what parts them, of the time axis (ours)."""
_COLUMNS = 480
"""Points of a curve: least and greatest of so many parts, about one for two pixels (ours)."""
_BLOCK: Final = 2**20
"""Samples looked at together, which bounds the memory of a long recording (ours)."""
_STATES: Final = frozenset({"rest", "normal_gait", "limping_gait", "turn", "gait", "other"})
_OTHERS: Final = frozenset(INTERVALS) - frozenset(STATES)
_LETTERS: Final = {"rest": "rest", "normal_gait": "normal", "limping_gait": "limping", "turn": "turn", "gait": "gait"}
_POINTS: Final = {
    "left_knee": ("left knee", SIDE_COLOURS["left"]),
    "right_knee": ("right knee", SIDE_COLOURS["right"]),
    "throat": ("throat", GREEN),
}


def trace_path(values: FloatArray, low: float, high: float, *, width: float, height: float) -> str:
    """SVG path of a signal, in tenths of a pixel.

    Parameters
    ----------
    values : array, shape (n,)
        NaN breaks the line.
    low, high : float
        Values at the bottom and the top.
    width, height : float
        Pixels.

    Returns
    -------
    str
        Path data; each of at most 480 columns gives its least and greatest value, in the order they come.
    """
    n = values.size
    if n == 0 or not high > low:
        return ""
    at, breaks = _turning(values)
    if at.size == 0:
        return ""
    share = (np.clip(values[at], low, high) - low) / (high - low)
    points = np.column_stack([10.0 * width * at / max(n - 1, 1), 10.0 * height * (1.0 - share)])
    points = np.rint(points).astype(int)
    breaks[0] = True
    numbers = np.where(breaks[:, None], points, np.diff(points, axis=0, prepend=0))
    kept = breaks | numbers.any(axis=1)
    form = "".join(np.where(breaks[kept], "M%d %d", "l%d %d").tolist())
    return (form % tuple(numbers[kept].ravel().tolist())).replace(" -", "-")


def _turning(values: FloatArray) -> tuple[IntArray, BoolArray]:
    """Find the least and the greatest sample of each column, in the order they come.

    Parameters
    ----------
    values : array, shape (n,)

    Returns
    -------
    at : array of int
        Samples; one where both are the same.
    breaks : array of bool
        Whether a column without any value lies before it.
    """
    n = values.size
    edges = np.linspace(0, n, min(_COLUMNS, n) + 1).astype(int)
    longest = int(np.diff(edges).max())
    rows = max(_BLOCK // longest, 1)
    found, empty = [], []
    for first in range(0, edges.size - 1, rows):
        start, end = edges[first:-1][:rows], edges[first + 1 :][:rows]
        # A shorter column repeats its last sample, which changes neither its least nor its greatest.
        samples = np.minimum(start[:, None] + np.arange(longest), end[:, None] - 1)
        block = values[samples]
        finite = np.isfinite(block)
        least = np.argmin(np.where(finite, block, np.inf), axis=1) + start
        most = np.argmax(np.where(finite, block, -np.inf), axis=1) + start
        found.append(np.column_stack([np.minimum(least, most), np.maximum(least, most)]))
        empty.append(~finite.any(axis=1))
    ends, without = np.concatenate(found), np.concatenate(empty)
    kept = np.column_stack([~without, ~without & (ends[:, 0] != ends[:, 1])])
    breaks = np.zeros(ends.shape, dtype=bool)
    breaks[1:, 0] = without[:-1]
    return ends[kept], breaks[kept]


def _nice_step(span: float) -> float:
    rough = span / 8.0
    power = 10.0 ** np.floor(np.log10(max(rough, 1e-9)))
    return float(next(power * m for m in (1.0, 2.0, 5.0, 10.0) if power * m >= rough))


def _axis(top: float, duration: float, scale: float) -> list[str]:
    step = _nice_step(duration)
    out = [f'<path d="M{_LEFT} {top}H{_WIDTH - _RIGHT}" stroke="#000" stroke-width=".8"/>']
    for k in range(int(duration / step) + 1):
        x = _LEFT + scale * k * step
        out.append(
            f'<path d="M{x:.1f} {top}v4" stroke="#000" stroke-width=".8"/>'
            f'<text x="{x:.1f}" y="{top + 15}" text-anchor="middle">{k * step:g}</text>'
        )
    out.append(f'<text x="{_WIDTH - _RIGHT}" y="{top + 27}" text-anchor="end">time (s)</text>')
    return out


def _rows(frame: pd.DataFrame) -> list[_Row]:
    """Take a frame apart once: it is looked through for every kind of row that is drawn."""
    columns = (frame[name].to_numpy(dtype=object).tolist() for name in ("onset", "duration", "trial_type", "side"))
    return [
        (float(onset), float(duration), str(kind), str(side))
        for onset, duration, kind, side in zip(*columns, strict=True)
    ]


def _spans(rows: Sequence[_Row], top: float, scale: float) -> list[str]:
    """One row of coloured spans with their names where they fit."""
    out = []
    for onset, duration, kind, _ in rows:
        x = _LEFT + scale * onset
        w = max(min(scale * duration, _WIDTH - _RIGHT - x), 1.5)
        colour = STATE_COLOURS.get(kind, KIND_COLOURS.get(kind, "#999"))
        out.append(
            f'<rect x="{x:.1f}" y="{top}" width="{w:.1f}" height="{_ROW - 2}" fill="{colour}"><title>'
            f"{escape(spoken(kind))} {onset:.2f} to {onset + duration:.2f} s</title></rect>"
        )
        word = _LETTERS.get(kind, spoken(kind))
        if w > 6.0 * len(word) + 4.0:
            out.append(f'<text x="{x + 3:.1f}" y="{top + 9}" class="in">{escape(word)}</text>')
    return out


def _ticks(times: Sequence[float], top: float, height: float, colour: str, scale: float, *, up: bool) -> str:
    """Ticks for instants: detected rise from the foot of the panel, labelled hang from its head."""
    y, reach = (top + height, -10) if up else (top, 10)
    path = "".join(f"M{_LEFT + scale * t:.1f} {y:g}v{reach}" for t in times)
    return f'<path d="{path}" stroke="{colour}" stroke-width="1.2"/>' if path else ""


def _side_times(rows: Sequence[_Row], point: str) -> list[float]:
    own = point.removesuffix("_knee")
    return [onset for onset, _, kind, side in rows if kind == "initial_contact" and side == own]


def _value(trace: Trace) -> tuple[FloatArray, str]:
    angle = trace.columns.get("angle")
    if angle is not None and np.isfinite(angle).any():
        return angle, "deg"
    unit = "deg" if trace.units == "deg" else "a.u." if trace.units == "a.u." else "\u0394R/R"
    return trace["response"], unit


def _reach(parts: Sequence[FloatArray]) -> tuple[float, float]:
    """Lower and upper end of an axis: all but one in a thousand samples at either end."""
    values = np.concatenate(parts)
    finite = values[np.isfinite(values)]
    low, high = np.quantile(finite, [0.001, 0.999]) if finite.size else (0.0, 1.0)
    return float(low), float(high) if high > low else float(low) + 1.0


def _shared_reach(traces: Mapping[str, Trace]) -> tuple[float, float] | None:
    """One axis for both knees where both are in degrees: a knee that bends less is then seen to."""
    knees = [_value(traces[point]) for point in SIDE_OF_POINT if point in traces and traces[point].n]
    if len(knees) < len(SIDE_OF_POINT) or any(unit != "deg" for _, unit in knees):
        return None
    return _reach([values for values, _ in knees])


def draw_recording(
    traces: Mapping[str, Trace], detected: pd.DataFrame, labelled: Mapping[str, pd.DataFrame], title: str
) -> str:
    """Draw one recording.

    Parameters
    ----------
    traces : mapping of tracked point to Trace
        Conditioned signals; references beside them (``<point>:reference``) are left out.
    detected : DataFrame
        ``onset``, ``duration``, ``trial_type``, ``side`` of everything detected, bouts included.
    labelled : mapping of rater to DataFrame
        The same from the raters.
    title : str
        For those who cannot see it.

    Returns
    -------
    str
        An ``svg`` element.
    """
    points = [p for p in _POINTS if p in traces and traces[p].n > 0]
    if not points:
        return ""
    duration = max(traces[p].n / traces[p].sampling_frequency for p in points)
    scale = (_WIDTH - _LEFT - _RIGHT) / duration
    out: list[str] = []
    y = 4.0
    shared = _shared_reach(traces)
    found, told = _rows(detected), {rater: _rows(frame) for rater, frame in labelled.items()}
    first = next(iter(told.values()), [])
    for point in points:
        words, colour = _POINTS[point]
        trace = traces[point]
        values, unit = _value(trace)
        low, high = shared if shared is not None and point != "throat" else _reach([values])
        margin = 0.06 * (high - low)
        width = scale * trace.n / trace.sampling_frequency
        path = trace_path(values, low - margin, high + margin, width=width, height=_PANEL)
        out.append(f'<rect x="{_LEFT}" y="{y}" width="{_WIDTH - _LEFT - _RIGHT}" height="{_PANEL}" fill="#F7F7F5"/>')
        out.append(
            f'<g transform="translate({_LEFT:.1f} {y}) scale(.1)"><path d="{path}" fill="none" stroke="{colour}" '
            f'stroke-width="11" stroke-linejoin="round"/></g>'
        )
        out.append(f'<text x="{_LEFT - 8}" y="{y + 40}" text-anchor="end" class="b">{words}</text>')
        out.append(f'<text x="{_LEFT - 8}" y="{y + 53}" text-anchor="end">{unit}</text>')
        for value, at in ((high, y + 10), (low, y + _PANEL - 3)):
            out.append(f'<text x="{_LEFT - 8}" y="{at}" text-anchor="end" class="s">{value:.3g}</text>')
        if point != "throat":
            out.append(_ticks(_side_times(found, point), y, _PANEL, BLACK, scale, up=True))
            out.append(_ticks(_side_times(first, point), y, _PANEL, "#555", scale, up=False))
        y += _PANEL + _GAP
    for source, rows in {"detected": found, **told}.items():
        for kinds in (_STATES, _OTHERS):
            own = [row for row in rows if row[2] in kinds]
            if own:
                out.append(f'<text x="{_LEFT - 8}" y="{y + 9}" text-anchor="end">{escape(source)}</text>')
                out.extend(_spans(own, y, scale))
                y += _ROW
    out.extend(_axis(y + 3, duration, scale))
    height = y + 3 + _AXIS
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {_WIDTH} {height:g}" role="img" '
        f'font-family="sans-serif" font-size="10.5"><title>{escape(title)}</title>'
        "<style>.b{font-weight:bold}.s{font-size:9px;fill:#555}.in{font-size:9px}</style>" + "".join(out) + "</svg>"
    )
