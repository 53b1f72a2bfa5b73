"""Signals made small enough for a page: 16 bits a sample, and of long recordings the least and greatest of each part.

In: arrays on a uniform time grid. Out: texts that ``assets/series.js`` reads. Each block of `BLOCK` samples has its own
scale, so that a spike costs the rest of a recording no resolution: what is shown is within 1 / 65,534 of the range of
its block. What does not fit into `MOST_VALUES` is thinned to the least and greatest of equal parts, with the samples
themselves kept around what was labelled and detected.
"""

from __future__ import annotations

import base64
import math
from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from ..stats.spans import merged, total_length

__all__ = ["BLOCK", "MOST_VALUES", "Thinning", "packed", "packed_series", "thinned", "thinning_of"]

Floats = NDArray[np.float64]

BLOCK: Final = 1024
"""Samples that share one scale (ours)."""
MOST_VALUES: Final = 3_400_000
"""Values on a page: 2 bytes each, a third more as text, is 9.1 MB (ours)."""
_THINNED_SHARE: Final = 0.4
"""Of the values, what the thinned signal may take; the rest is for samples around events (ours)."""
_STEPS: Final = 65534
"""Steps from least to greatest of 16 bits with a sign, one code left over."""
_NONE: Final = -32768
"""That code: no sample."""


@dataclass(frozen=True)
class Thinning:
    """How the signals of a recording are made small.

    Parameters
    ----------
    factor : int
        Samples of which the least and greatest are kept; 1 keeps every sample.
    windows : ndarray, shape (n, 2)
        Stretches in s that are kept whole besides.
    """

    factor: int = 1
    windows: Floats = field(default_factory=lambda: np.empty((0, 2)))


def _text(values: NDArray[Any]) -> str:
    return base64.b64encode(values.tobytes()).decode("ascii")


def packed(values: Floats) -> dict[str, Any]:
    """Pack a signal.

    Parameters
    ----------
    values : ndarray, shape (n,)
        NaN where there is none.

    Returns
    -------
    dict
        ``n``; ``scales``, base64 of 32-bit floats, lowest value and step of each block; ``codes``, base64 of 16-bit
        integers, little-endian: value = lowest + step * (code + 32767), and -32768 for none.
    """
    n = len(values)
    blocks = math.ceil(n / BLOCK)
    grid = np.full((blocks, BLOCK), np.nan)
    grid.ravel()[:n] = values
    known = np.isfinite(grid)
    low = np.where(known, grid, np.inf).min(axis=1, initial=np.inf)
    high = np.where(known, grid, -np.inf).max(axis=1, initial=-np.inf)
    low, high = np.where(np.isfinite(low), low, 0.0), np.where(np.isfinite(high), high, 0.0)
    scales = np.column_stack([low, (high - low) / _STEPS]).astype("<f4")
    step = np.where(scales[:, 1] > 0, scales[:, 1], np.float32(1)).astype(np.float64)
    codes = np.rint((np.where(known, grid, 0.0) - scales[:, :1]) / step[:, None]) - (_STEPS // 2)
    codes = np.where(known, np.clip(codes, -(_STEPS // 2), _STEPS // 2), _NONE)
    return {"n": n, "scales": _text(scales), "codes": _text(codes.ravel()[:n].astype("<i2"))}


def thinned(values: Floats, factor: int) -> Floats:
    """Give the least and greatest of each ``factor`` samples in turn, shape (2 * ceil(n / factor),)."""
    grid = np.full((math.ceil(len(values) / factor), factor), np.nan)
    grid.ravel()[: len(values)] = values
    known = np.isfinite(grid)
    low = np.where(known, grid, np.inf).min(axis=1, initial=np.inf)
    high = np.where(known, grid, -np.inf).max(axis=1, initial=-np.inf)
    pairs = np.column_stack([low, high]).ravel()
    return np.where(np.isfinite(pairs), pairs, np.nan)


def _as_far_as(spans: Floats, seconds: float) -> Floats:
    """Keep spans from the first on, up to so many seconds together; the last one is cut."""
    length = spans[:, 1] - spans[:, 0]
    before = np.cumsum(length) - length
    kept = spans[before < seconds].copy()
    if len(kept):
        kept[-1, 1] = min(kept[-1, 1], kept[-1, 0] + seconds - before[len(kept) - 1])
    return kept


def thinning_of(
    values: int, values_per_s: float, wanted: Sequence[Floats], *, most: int = MOST_VALUES
) -> Thinning:  # fmt: skip
    """Decide how the signals of a recording are made small.

    Parameters
    ----------
    values : int
        Of all its signals together.
    values_per_s : float
        Of all its signals together.
    wanted : sequence of ndarray, each shape (n, 2)
        Stretches in s to keep whole, the more important ones first.
    most : int
        Values that a page may hold.

    Returns
    -------
    Thinning
    """
    if values <= most:
        return Thinning()
    factor = math.ceil(2 * values / (_THINNED_SHARE * most))
    seconds = (1 - _THINNED_SHARE) * most / values_per_s
    kept = np.empty((0, 2))
    for spans in wanted:
        left = seconds - total_length(kept)
        if left > 0 and len(spans):
            kept = merged(np.vstack([kept, _as_far_as(merged(spans), left)]))
    return Thinning(factor, kept)


def packed_series(values: Floats, rate: float, thinning: Thinning) -> dict[str, Any]:
    """Pack a signal as a page shows it.

    Parameters
    ----------
    values : ndarray, shape (n,)
    rate : float
        Samples per second.
    thinning : Thinning

    Returns
    -------
    dict
        ``rate``; ``first`` and ``period``, time of the first value and from one to the next in s; ``whole``, the packed
        values; ``windows``, pairs of first sample and number of samples; ``parts``, their samples packed one after
        another.
    """
    factor = thinning.factor
    period = factor / (2 * rate) if factor > 1 else 1 / rate
    places = np.clip(np.rint(thinning.windows * rate).astype(int), 0, len(values))
    places = places[places[:, 1] > places[:, 0]]
    parts = [values[first:end] for first, end in places]
    return {
        "rate": rate,
        "first": period / 2 if factor > 1 else 0.0,
        "period": period,
        "whole": packed(thinned(values, factor) if factor > 1 else values),
        "windows": [[int(first), int(end - first)] for first, end in places],
        "parts": packed(np.concatenate(parts) if parts else np.empty(0)),
    }
