"""What the bench says of how a sensor answers, in a form that can be undone on a person.

In: figures and mean loop of one sensor. Out: an `Answer`, or None where no step told delay from hysteresis.

The time constant is the mean over stretches and releases; half their difference adds to its error, since one lag is
undone both ways. The loop is taken apart into play operators (Prandtl-Ishlinskii model; Brokate M, Sprekels J 1996,
*Hysteresis and Phase Transitions*, ch. 2): after a turn, a play of half width a and radius r has crossed from branch to
branch after 2 r, so over a full cycle of span S the branches are a (min(s / r, 2) + min((S - s) / r, 2) - 2) apart at
travel s. The half widths are those of least squares, none negative.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import Any, Final

import numpy as np
import pandas as pd
from scipy.optimize import nnls

from ..calibrate.answer import Answer
from ..stats.normal import NORMAL_95
from .holds import LN9

__all__ = ["answer_of"]

_RADII: Final = np.array([0.05, 0.1, 0.15, 0.2, 0.25])
"""Shares of the span: up to a quarter, at which a play has just crossed when the cycle is half way."""


def _loop(row: Mapping[str, Any], loops: pd.DataFrame) -> tuple[tuple[float, float], ...]:
    span = float(row["response_full_scale"])
    if loops.empty or not float(row["hysteresis_low"]) > 0 or not span > 0:
        return ()
    rows = loops.sort_values("strain")
    loading, unloading = rows["loading"].to_numpy(dtype=float), rows["unloading"].to_numpy(dtype=float)
    middle = (loading + unloading) / 2
    sign = 1.0 if middle[-1] >= middle[0] else -1.0
    travel = np.clip(sign * (middle - middle[0]) / span, 0.0, 1.0)[:, None]
    apart = np.minimum(travel / _RADII, 2.0) + np.minimum((1 - travel) / _RADII, 2.0) - 2.0
    widths, _ = nnls(apart, sign * (unloading - loading))
    return tuple(
        (float(width), float(radius * span)) for width, radius in zip(widths, _RADII, strict=True) if width > 0
    )


def answer_of(row: Mapping[str, Any], loops: pd.DataFrame) -> Answer | None:
    """Answer of one sensor.

    Parameters
    ----------
    row : mapping
        Of ``tables/sensors.tsv``.
    loops : DataFrame
        Its rows of ``tables/sensor_loops.tsv``.

    Returns
    -------
    Answer or None
        None where neither response nor recovery time has an interval.
    """
    constants, errors = [], []
    for name in ("response_time", "recovery_time"):
        value, low, high = (float(row[f"{name}{end}"]) for end in ("", "_low", "_high"))
        if all(map(math.isfinite, (value, low, high))):
            constants.append(value / LN9)
            errors.append((high - low) / (2 * NORMAL_95) / LN9)
    if not constants:
        return None
    error = math.hypot(*errors) / len(errors)
    return Answer(
        float(np.mean(constants)),
        math.hypot(error, (max(constants) - min(constants)) / 2),
        _loop(row, loops),
    )
