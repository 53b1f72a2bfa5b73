"""Drawings of one person: knee angle over the stride, walks over time, holds against known angles, swallows over time.

In: `Facts`. Out: SVG text; None where there is nothing to draw. Sessions stand side by side on common axes.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from html import escape
from typing import Final

import numpy as np
import pandas as pd

from ..gait.mean_curves import pooled_curve
from ..gait.published_curve import PUBLISHED_CURVE_DEG, PUBLISHED_CURVE_PERCENT
from ..palette import GREY, KIND_COLOURS, SIDE_COLOURS, STATE_COLOURS
from ..review.names import page_file as review_file
from ..vocabulary import GAIT_STATES, SIDES
from .drawing import QUIET, WIDTH, Panel, drawing, label
from .facts import Facts, rows_of

__all__ = ["STATE_WORDS", "bend_figure", "curve_figure", "swallow_strip", "walk_figure"]

STATE_WORDS: Final = {
    "rest": "rest", "normal_gait": "normal", "limping_gait": "limping", "turn": "turn", "gait": "walking",
    "other": "other",
}  # fmt: skip
_DASHES: Final = {"left": "", "right": "7 3"}
_MARGIN: Final = 34
"""Room for the numbers of an axis, in units."""
_GAP: Final = 20
"""Between panels, in units."""
_END: Final = 9
"""Room for half of the last number of an axis, in units."""
_ROOM_FOR_TITLE: Final = 260
"""Width of a panel, in units, above which title and number of strides stand on one line (ours)."""
_MOST_WALKS: Final = 8
"""Walks drawn of one person, for two sheets to be enough (ours)."""


def _columns(n: int) -> list[tuple[float, float]]:
    """Left end and width of panels side by side; one alone does not fill the page."""
    most = max(n, 2)
    each = (WIDTH - _MARGIN - _END - _GAP * (most - 1)) / most
    return [(_MARGIN + k * (each + _GAP), each) for k in range(n)]


def _round_limits(low: float, high: float, step: float) -> tuple[float, float]:
    return math.floor(low / step) * step, math.ceil(high / step) * step


def _key(left: float, top: float, entries: Sequence[tuple[str, str, str]], *, wide: float = 130) -> list[str]:
    """Say what lines mean: colour, dash, words."""
    parts = []
    for k, (colour, dash, words) in enumerate(entries):
        at = left + k * wide
        more = f' stroke-dasharray="{dash}"' if dash else ""
        parts.append(
            f'<line x1="{at:g}" y1="{top - 3.5:g}" x2="{at + 24:g}" y2="{top - 3.5:g}" stroke="{colour}" '
            f'stroke-width="2"{more}/>'
        )
        parts.append(label(at + 29, top, words))
    return parts


def curve_figure(facts: Facts) -> str | None:
    """Draw the mean knee angle over the stride, with one SD around it, before a published mean curve."""
    curves = facts.tables["curves"]
    states = [state for state in GAIT_STATES if (curves["trial_type"] == state).any()]
    if not states:
        return None
    cells = [(session, state) for state in states for session in facts.sessions]
    across = len(facts.sessions) if len(facts.sessions) > 1 else len(states)
    pooled = {
        (session, state, side): pooled_curve(own)
        for (session, state, side), own in curves.groupby(["session", "trial_type", "side"], sort=True)
    }
    spread = [(c["mean"] - c["sd"].fillna(0.0)).min() for c in pooled.values()]
    reach = [(c["mean"] + c["sd"].fillna(0.0)).max() for c in pooled.values()]
    y = _round_limits(min(0.0, *spread), max(*PUBLISHED_CURVE_DEG, *reach), 10)
    high, top = 104.0, 36.0
    parts = _key(
        _MARGIN,
        11,
        [*((SIDE_COLOURS[side], _DASHES[side], f"{side} knee") for side in SIDES), ("#B4B1A9", "", "published mean")],
    )
    for k, (session, state) in enumerate(cells):
        row, column = divmod(k, across)
        left, width = _columns(across)[column]
        panel = Panel(left, top + row * (high + 38), width, high, (0, 100), y)
        last = row == (len(cells) - 1) // across
        panel.axes(
            range(0, 101, 50 if width < _ROOM_FOR_TITLE else 20),
            np.arange(math.ceil(y[0] / 20) * 20, y[1] + 1, 20),
            named=(True, column == 0),
        )
        panel.line(np.array(PUBLISHED_CURVE_PERCENT, float), np.array(PUBLISHED_CURVE_DEG), "#B4B1A9", width=3)
        drawn = [side for side in SIDES if (session, state, side) in pooled]
        for side in drawn:
            c = pooled[session, state, side]
            x, mean, sd = (c[name].to_numpy(dtype=float) for name in ("percent", "mean", "sd"))
            panel.band(x, mean - sd, mean + sd, SIDE_COLOURS[side])
        for side in drawn:
            c = pooled[session, state, side]
            x, mean = c["percent"].to_numpy(dtype=float), c["mean"].to_numpy(dtype=float)
            panel.line(x, mean, SIDE_COLOURS[side], dash=_DASHES[side])
        words = f"{session}, {STATE_WORDS[state]} gait"
        panel.parts.append(label(left, panel.top - 7, words, look='font-weight="bold"'))
        if drawn:
            numbers = ", ".join(f"{side} {int(pooled[session, state, side]['n'].max())}" for side in drawn)
            # beside the title where there is room, else in the corner where no curve comes
            narrow = width < _ROOM_FOR_TITLE
            where = (left + 5, panel.top + 10, "start") if narrow else (left + width, panel.top - 7, "end")
            numbered = f"strides: {numbers}"
            panel.parts.append(label(*where[:2], numbered, anchor=where[2], size=9, look=f'fill="{QUIET}"'))
        else:
            panel.note(_why_no_curve(facts, session, state))
        if last:
            panel.parts.append(label(left + width / 2, panel.top + high + 27, "% of the stride", anchor="middle"))
        parts += panel.parts
    rows = (len(cells) - 1) // across + 1
    height = top + rows * (high + 38) - 4
    turned = f'transform="rotate(-90 9 {height / 2:g})"'
    parts.append(label(9, height / 2, "knee flexion (\u00b0)", anchor="middle", look=turned))
    return drawing(parts, height, "Mean knee angle over the stride by session, gait and side")


def _why_no_curve(facts: Facts, session: str, state: str) -> str:
    walked = facts.of("gait", session)
    if (walked["trial_type"] == state).any():
        return "no knee angle: not calibrated"
    return f"no {STATE_WORDS[state]} gait found" if len(facts.of("bouts", session)) else "no walk recorded"


def walk_figure(facts: Facts) -> tuple[str, int] | None:
    """Draw walks over time: states as spans, initial contacts as strokes; and the number of walks left out."""
    bouts, events = facts.tables["bouts"], facts.tables["events"]
    by_session = [
        [r for r in facts.in_session(session) if (bouts["recording_id"] == r.recording_id).any()]
        for session in facts.sessions
    ]
    each = max(1, _MOST_WALKS // max(len(by_session), 1))
    shown = [own[:each] for own in by_session]
    deepest = max((len(own) for own in shown), default=0)
    if not deepest:
        return None
    lengths = facts.tables["recordings"].set_index("recording_id")["duration"]
    longest = max(float(lengths[r.recording_id]) for own in shown for r in own)
    step = next((s for s in (10, 20, 30, 60, 120, 300, 600) if longest / s <= 12 / max(len(shown), 2)), 1800)
    strip, top = 34.0, 18.0
    parts = []
    for (left, width), own in zip(_columns(len(shown)), shown, strict=True):
        for row, recording in enumerate(own):
            name = recording.recording_id
            panel = Panel(left, top + row * (strip + 32), width, strip, (0.0, longest), (0.0, 1.0))
            panel.axes(np.arange(0, longest + 1e-9, step), (), named=(True, False))
            link = label(left, panel.top - 5, name, look='font-weight="bold"')
            panel.parts.append(f'<a href="../{escape(review_file(name))}">{link}</a>')
            spans = bouts[bouts["recording_id"] == name]
            for span in rows_of(spans):
                start, end = float(span["onset"]), float(span["onset"]) + float(span["duration"])
                words = STATE_WORDS.get(str(span["trial_type"]), str(span["trial_type"]))
                side = span["limping_side"]
                words = f"{words} {str(side)[0].upper()}" if isinstance(side, str) else words
                panel.span(start, end, STATE_COLOURS.get(str(span["trial_type"]), "#ECECEC"), words)
            feet = events[(events["recording_id"] == name) & (events["trial_type"] == "initial_contact")]
            for side, low, high in (("left", 0.0, 9.0), ("right", strip - 9.0, strip)):
                panel.strokes(feet.loc[feet["side"] == side, "onset"], low, high, SIDE_COLOURS[side], width=1.1)
            parts += panel.parts
    height = top + deepest * (strip + 32) - 12
    parts.append(label(WIDTH, height - 2, "time (s)", anchor="end", size=9, look=f'fill="{QUIET}"'))
    return drawing(parts, height, "Gait states and steps over time"), sum(map(len, by_session)) - sum(map(len, shown))


def bend_figure(facts: Facts) -> str | None:
    """Draw the measured angle of each labelled hold against the angle it was held at."""
    held = facts.holds[facts.holds["angle"].notna()]
    if held.empty:
        return None
    least = float(np.nanmin([0.0, held["angle_low"].min(), held["angle"].min()]))
    most = float(np.nanmax([90.0, held["nominal"].max(), held["angle_high"].max(), held["angle"].max()]))
    y = _round_limits(least, most, 10)
    high, top = 96.0, 34.0
    parts = [
        *_marks_key(11),
        label(_MARGIN + 220, 11, "line: measured = held; bars: 90 % limits of the angle", look=f'fill="{QUIET}"'),
    ]
    for k, (session, (left, width)) in enumerate(zip(facts.sessions, _columns(len(facts.sessions)), strict=True)):
        panel = Panel(left, top, width, high, (0.0, y[1]), y)
        ticks = np.arange(math.ceil(y[0] / 30) * 30, y[1] + 1, 30)
        panel.axes(ticks[ticks >= 0], ticks, named=(True, k == 0))
        panel.line(np.array([0.0, y[1]]), np.array([0.0, y[1]]), GREY, width=0.9)
        own = held[held["session"] == session]
        for row in rows_of(own):
            left_one = row["side"] == "left"
            aside = -0.9 if left_one else 0.9
            limits = (float(row["angle_low"]), float(row["angle_high"]))
            place = (float(row["nominal"]) + aside, float(row["angle"]))
            panel.mark(*place, *limits, SIDE_COLOURS[row["side"]], round_one=left_one)
        panel.parts.append(label(left, top - 7, session, look='font-weight="bold"'))
        if own.empty:
            panel.note("no hold at a known angle")
        panel.parts.append(label(left + width / 2, top + high + 27, "held at (\u00b0)", anchor="middle"))
        parts += panel.parts
    height = top + high + 34
    turned = f'transform="rotate(-90 9 {top + high / 2:g})"'
    parts.append(label(9, top + high / 2, "measured (\u00b0)", anchor="middle", look=turned))
    return drawing(parts, height, "Measured against held knee angle by session and side")


def _marks_key(y: float) -> list[str]:
    panel = Panel(_MARGIN, y - 8, 200, 8, (0.0, 200.0), (0.0, 8.0))
    for at, side in ((4.0, "left"), (104.0, "right")):
        panel.mark(at, 4.0, math.nan, math.nan, SIDE_COLOURS[side], round_one=side == "left")
        panel.parts.append(label(_MARGIN + at + 8, y, f"{side} knee"))
    return panel.parts


def swallow_strip(facts: Facts, recording_id: str, seconds: float, longest: float) -> str:
    """Draw the swallows of a recording as spans on a line of time that ends where the recording does."""
    events: pd.DataFrame = facts.tables["events"]
    own = events[(events["recording_id"] == recording_id) & (events["trial_type"] == "swallow")]
    width = 220.0
    panel = Panel(1, 1, width - 2, 12, (0.0, longest), (0.0, 1.0))
    panel.span(0.0, seconds, "#ECEAE4")
    for swallow in rows_of(own):
        start = float(swallow["onset"])
        panel.span(start, start + float(swallow["duration"]), KIND_COLOURS["swallow"])
    return drawing(panel.parts, 14, f"{len(own)} swallows over {seconds:.0f} s", width)
