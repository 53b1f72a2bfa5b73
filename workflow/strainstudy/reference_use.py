"""What a reference angle beside a sensor is for: to calibrate it, to validate it, or each in its own time.

In: a cell ``reference_use`` of the recording sheet. Out: the spans of the recording whose reference calibrates; all
the rest validates. A cell is ``validate`` (as a missing cell is), ``calibrate`` (the whole recording), or the spans
that calibrate, in seconds from the first sample (``0-33.5``) or in percent of the recording (``0-33%``), with commas
between.
"""

from __future__ import annotations

import math
import re
from typing import Final

__all__ = ["REFERENCE_USE_REMEDY", "calibrates", "calibrating_spans", "understood"]

REFERENCE_USE_REMEDY: Final = (
    "write calibrate, validate, or the spans that calibrate: 0-33.5 in seconds or 0-33% of the recording, "
    "with commas between"
)
_CALIBRATE: Final = "calibrate"
_VALIDATE: Final = "validate"
_SPAN: Final = re.compile(r"\s*(\d+(?:\.\d+)?)\s*-\s*(\d+(?:\.\d+)?)\s*(%?)\s*", re.ASCII)


def _spans(text: str) -> list[tuple[float, float, bool]] | None:
    """First and last of each span and whether they are shares; None where the text is none of spans."""
    found = []
    for part in text.split(","):
        match = _SPAN.fullmatch(part)
        if match is None:
            return None
        first, last, share = float(match[1]), float(match[2]), match[3] == "%"
        if not first < last or (share and last > 100):
            return None
        found.append((first, last, share))
    return found


def understood(text: str) -> bool:
    """Whether a cell can be read."""
    return text in (_CALIBRATE, _VALIDATE) or _spans(text) is not None


def calibrates(text: str | None) -> bool:
    """Whether any of a recording's reference calibrates."""
    return text is not None and text != _VALIDATE


def calibrating_spans(text: str | None, duration_s: float) -> list[tuple[float, float]]:
    """Spans whose reference calibrates, in seconds from the first sample, as the cell has them.

    Parameters
    ----------
    text : str or None
        A cell that `understood` accepts.
    duration_s : float
        Length of the recording, for shares of it.
    """
    if text is None or text == _VALIDATE:
        return []
    if text == _CALIBRATE:
        return [(0.0, math.inf)]
    return [
        (first * duration_s / 100, last * duration_s / 100) if share else (first, last)
        for first, last, share in _spans(text) or []
    ]
