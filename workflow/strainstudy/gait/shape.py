"""Shape of a knee curve over the stride, whatever the sensor's gain and offset.

In: curves over strides that were normalised in time, one row each, the first and the last point at initial
contact. Out: one number per curve and measure. Every measure is taken from the curve scaled to its own range,
so ``a * curve + b`` with any positive ``a`` gives the same numbers. The landmarks are those of the mean adult
knee curve (Schwartz et al. 2008, J Biomech 41(8):1639-1650): loading wave near 12 %, straightest in stance near
42 %, swing wave near 72 % of the stride.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

__all__ = [
    "complete",
    "fundamental_phase",
    "half_height",
    "loading_wave",
    "scaled",
    "stance_level",
    "swing_peak_timing",
]

FloatArray = NDArray[np.float64]

LOADING_SPAN = (0.03, 0.30)
"""Share of the stride in which the loading wave peaks; its straightest point follows within `STANCE_END`."""
STANCE_SPAN = (0.10, 0.45)
"""Share of the stride over which the level of stance is read: from loading to the end of single support (ours)."""
STANCE_END = 0.55
"""Share of the stride before which stance is at its straightest (ours: about 42 % in Schwartz et al., with margin)."""
SWING_SPAN = (0.50, 0.92)
"""Share of the stride in which swing flexion peaks; stiff knees peak early, near toe-off."""


def _columns(curves: FloatArray, span: tuple[float, float]) -> slice:
    last = curves.shape[1] - 1
    return slice(round(span[0] * last), round(span[1] * last) + 1)


def complete(curves: FloatArray) -> NDArray[np.bool_]:
    """Tell which curves have no gap, over the last axis."""
    return np.asarray(np.isfinite(curves).all(axis=-1), dtype=np.bool_)


def scaled(curves: FloatArray) -> FloatArray:
    """Scale each curve to its own range: lowest point 0, highest 1.

    Parameters
    ----------
    curves : array, shape (n, m)
        One curve per row, in any unit.

    Returns
    -------
    array, shape (n, m)
        NaN rows where a curve has no range or holds a NaN.
    """
    low = curves.min(axis=1, keepdims=True, initial=np.inf)
    extent = curves.max(axis=1, keepdims=True, initial=-np.inf) - low
    with np.errstate(invalid="ignore", divide="ignore"):
        return np.where(extent > 0, (curves - low) / extent, np.nan)


def swing_peak_timing(curves: FloatArray) -> FloatArray:
    """Time of the highest flexion in swing, percent of the stride, shape (n,).

    The top is refined by the parabola through the highest sample and its neighbours.
    """
    window = _columns(curves, SWING_SPAN)
    valid = complete(curves)
    top = np.argmax(np.where(valid[:, None], curves, 0.0)[:, window], axis=1) + window.start
    rows = np.arange(len(curves))
    before, at, after = curves[rows, top - 1], curves[rows, top], curves[rows, top + 1]
    bend = before - 2 * at + after
    with np.errstate(invalid="ignore", divide="ignore"):
        shift = np.where(bend < 0, 0.5 * (before - after) / bend, 0.0)
    return np.where(valid, 100.0 * (top + np.clip(shift, -0.5, 0.5)) / (curves.shape[1] - 1), np.nan)


def half_height(curves: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Width and lean of the swing wave at half its height.

    Parameters
    ----------
    curves : array, shape (n, m)
        Curves scaled to 0..1 by `scaled`.

    Returns
    -------
    width : array, shape (n,)
        Time that the swing wave spends above one half, percent of the stride.
    lean : array, shape (n,)
        ``(fall - rise) / (fall + rise)``, where rise is the time from the upward crossing of one half to the
        peak and fall that from the peak to the downward crossing; 0 for a symmetrical wave.
    """
    n, m = curves.shape
    width, lean = np.full(n, np.nan), np.full(n, np.nan)
    tops = swing_peak_timing(curves)
    for row in np.flatnonzero(np.isfinite(tops)):
        # A wave that has not come down by the end of its stride is followed into the next one, which begins alike.
        curve = np.concatenate([curves[row], curves[row, 1 : m // 4]])
        peak = tops[row] / 100.0 * (m - 1)
        top = round(peak)
        below = np.flatnonzero(curve[:top] < 0.5)
        under = np.flatnonzero(curve[top:] < 0.5)
        if curve[top] < 0.5 or not below.size or not under.size:
            continue
        i, j = int(below[-1]), int(top + under[0])
        start = i + (0.5 - curve[i]) / (curve[i + 1] - curve[i])
        end = j - 1 + (curve[j - 1] - 0.5) / (curve[j - 1] - curve[j])
        rise, fall = peak - start, end - peak
        width[row] = 100.0 * (end - start) / (m - 1)
        lean[row] = (fall - rise) / (fall + rise)
    return width, lean


def loading_wave(curves: FloatArray) -> FloatArray:
    """Height of the loading wave over the straightest point after it, as a share of the curve's range, shape (n,).

    Zero where the knee only straightens; at slow speeds the wave all but vanishes (Holden et al. 1997, Clin
    Biomech 12(6):375-382), so it is never required.
    """
    valid = complete(curves)
    solid = np.where(valid[:, None], curves, 0.0)
    window = _columns(curves, LOADING_SPAN)
    top = np.argmax(solid[:, window], axis=1) + window.start
    end = _columns(curves, (0.0, STANCE_END)).stop
    after = np.where(np.arange(curves.shape[1]) >= top[:, None], solid, np.inf)[:, :end]
    height = solid[np.arange(len(curves)), top] - after.min(axis=1, initial=np.inf)
    return np.where(valid, np.maximum(height, 0.0), np.nan)


def stance_level(curves: FloatArray) -> FloatArray:
    """Mean of the scaled curve from 10 to 45 % of the stride: how bent the knee is in stance, shape (n,)."""
    return np.asarray(curves[:, _columns(curves, STANCE_SPAN)].mean(axis=1))


def fundamental_phase(curves: FloatArray) -> FloatArray:
    """Place of the top of the first harmonic, as a share of the stride, shape (n,), from 0 to 1.

    The whole curve speaks for it, so it shifts less than any single landmark when a contact is misplaced.
    """
    m = curves.shape[1] - 1
    harmonic = curves[:, :m] @ np.exp(-2j * np.pi * np.arange(m) / m)
    return np.asarray((-np.angle(harmonic) / (2 * np.pi)) % 1.0)
