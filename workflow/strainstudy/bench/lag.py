"""Delay of the sensor's record behind the reference's, told apart from hysteresis.

In: response, reference, cycles. Out: a delay in seconds with its interval, and whether the protocol can tell it from
hysteresis at all.

A delay by itself opens a loop whose width is 2 x delay x slope x speed. Rate-independent hysteresis differs in two
ways (Visintin 1994, *Differential Models of Hysteresis*; Brokate & Sprekels 1996): the output turns exactly where
the input turns, so the loop closes at both ends, and its width does not grow with speed. In a step, hysteresis delays
nothing at all. So the delay comes from steps where there are any; else it is the shift at which one smooth closed
loop, the same at every speed, explains all cycles best. With one speed and a reference that slows down towards its
turns (a sine) both look alike: then nothing is removed and the figure says so.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
import pandas as pd
from numpy.polynomial import legendre
from scipy import stats
from scipy.optimize import minimize_scalar

from ..io.store import FloatArray
from ..stats.normal import NORMAL_95
from .intervals import Estimate

__all__ = ["NOT_SEPARABLE", "Lag", "cycle_samples", "estimate_lag", "identifiable_by", "loop_basis"]

NOT_SEPARABLE: Final = "one speed, no corners: not told apart from hysteresis, nothing removed"
_MIDDLE_DEGREE = 5
"""Degree of the polynomial of a loop's middle (ours)."""
_LOOP_DEGREE = 4
"""Degree of the polynomial of its width beside the factor that closes both ends (ours)."""
_SAMPLES_PER_CYCLE = 150
"""Samples of a cycle that are fitted; more say the same (ours, for speed)."""
_MOST_CYCLES = 16
"""Cycles that are fitted, evenly spread over all (ours, for speed)."""
_CORNER_SPEED = 0.7
"""Speed beside a turn over that in the middle from which a cycle has corners: a triangle has 1, a sine 0.56 (ours)."""
_SPEED_RATIO = 1.5
"""Fastest over slowest cycle from which cycles count as of several speeds (ours)."""


@dataclass(frozen=True)
class Lag:
    """How late the sensor's record is (positive: late), and what that rests on.

    Parameters
    ----------
    estimate : Estimate
        Total delay in seconds: offset of the clocks plus the sensor's own.
    method : str
        ``steps``, ``cycles at several speeds``, ``cycles with corners``, ``none`` or `NOT_SEPARABLE`.
    time_constant : float
        Part of the total that is a first-order answer and not a pure delay; known from steps only.
    """

    estimate: Estimate
    method: str
    time_constant: float = 0.0

    @property
    def seconds(self) -> float:
        """Total delay to remove; 0 where none is known."""
        return self.estimate.value if np.isfinite(self.estimate.value) else 0.0

    @property
    def standard_error(self) -> float:
        """Half the 95 % interval over 1.96; 0 where no interval is known."""
        width = self.estimate.high - self.estimate.low
        return float(width / (2 * NORMAL_95)) if np.isfinite(width) else 0.0


def loop_basis(u: FloatArray, direction: FloatArray, knots: int) -> FloatArray:
    """Terms of a closed loop: straight lines between knots, one set for each branch, both ends in common.

    Parameters
    ----------
    u : array, shape (n,)
        Strain as a share of the cycle's range, 0 to 1.
    direction : array, shape (n,)
        +1 while stretching, -1 while releasing.
    knots : int
        Evenly spaced, the ends included.

    Returns
    -------
    array, shape (n, 2 knots - 2)
        Low end, high end, inner knots of the loading branch, those of the unloading branch. Straight pieces, because
        branches have corners where a dead band ends, over which a polynomial would swing.
    """
    place = np.clip(u, 0.0, 1.0) * (knots - 1)
    left = np.minimum(place.astype(int), knots - 2)
    share = place - left
    hats = np.zeros((u.size, knots))
    rows = np.arange(u.size)
    hats[rows, left] = 1.0 - share
    hats[rows, left + 1] += share
    loading = (direction > 0)[:, None]
    inner = hats[:, 1:-1]
    return np.hstack([hats[:, :1], hats[:, -1:], np.where(loading, inner, 0.0), np.where(loading, 0.0, inner)])


def _smooth_basis(u: FloatArray, direction: FloatArray) -> FloatArray:
    """Terms of a smooth closed loop but for its level: with corners allowed, it could follow any delay.

    Legendre terms of the middle line, then those of half the loop width, which vanish at both ends.
    """
    z = 2.0 * np.clip(u, 0.0, 1.0) - 1.0
    middle = legendre.legvander(z, _MIDDLE_DEGREE)[:, 1:]
    loop = (direction * 0.25 * (1.0 - z**2))[:, None] * legendre.legvander(z, _LOOP_DEGREE)
    return np.hstack([middle, loop])


def cycle_samples(
    response: FloatArray, reference: FloatArray, fs: float, cycle: pd.Series, lag_s: float, most: int | None = None
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Response, strain and direction through one cycle with the delay removed.

    Parameters
    ----------
    response, reference : array, shape (n,)
        On one grid.
    fs : float
        Hz.
    cycle : Series
        A row of `find_cycles`.
    lag_s : float
        Delay of the response; it is read that much later.
    most : int, optional
        At most this many samples, evenly spread.

    Returns
    -------
    tuple of arrays, shape (m,)
        Response, strain (fraction), direction; samples without response are left out.
    """
    start, stop = int(cycle["start"]), int(cycle["stop"])
    shift = round(lag_s * fs)
    first, last = max(start + shift, 0), min(stop + shift, response.size - 1)
    step = 1 if most is None else max(1, (last - first + 1) // most)
    index = np.arange(first, last + 1, step)
    at = np.clip(index - lag_s * fs, start, stop)
    strain = np.interp(at, np.arange(start, stop + 1), reference[start : stop + 1])
    direction = np.where(at <= cycle["peak"], 1.0, -1.0)
    y = response[index]
    good = np.isfinite(y) & np.isfinite(strain)
    return y[good], strain[good], direction[good]


def identifiable_by(reference: FloatArray, cycles: pd.DataFrame) -> str:
    """Say what in the protocol tells delay from hysteresis: speeds, corners, or nothing."""
    if len(cycles) < 3:
        return "none"
    speed = (cycles["strain_high"] - cycles["strain_low"]) / (cycles["stop"] - cycles["start"])
    if speed.max() > _SPEED_RATIO * speed.min():
        return "cycles at several speeds"
    ratios = []
    for _, cycle in cycles.iterrows():
        x = reference[int(cycle["start"]) : int(cycle["stop"]) + 1]
        u = (x - cycle["strain_low"]) / (cycle["strain_high"] - cycle["strain_low"])
        velocity = np.abs(np.gradient(x))
        # The samples at the very turn average both directions.
        edge, middle = velocity[(u > 0.85) & (u < 0.96)], velocity[(u > 0.4) & (u < 0.6)]
        if edge.size and middle.size:
            ratios.append(float(np.median(edge) / max(np.median(middle), 1e-300)))
    return "cycles with corners" if ratios and np.median(ratios) > _CORNER_SPEED else NOT_SEPARABLE


def _design(
    response: FloatArray, reference: FloatArray, fs: float, cycles: pd.DataFrame, lag_s: float
) -> tuple[FloatArray, FloatArray, np.ndarray]:
    """Stack the cycles: response, basis with one offset per cycle and one shape per amplitude, cycle number."""
    amplitude = (cycles["strain_high"] - cycles["strain_low"]).to_numpy()
    group = np.unique(np.round(np.log(amplitude / amplitude.max()) / 0.1), return_inverse=True)[1]
    groups = int(group.max()) + 1
    ys, rows, owner = [], [], []
    for number, (_, cycle) in enumerate(cycles.iterrows()):
        y, strain, direction = cycle_samples(response, reference, fs, cycle, lag_s, _SAMPLES_PER_CYCLE)
        u = (strain - cycle["strain_low"]) / (cycle["strain_high"] - cycle["strain_low"])
        basis = _smooth_basis(u, direction)
        block = np.zeros((y.size, groups * basis.shape[1] + len(cycles)))
        block[:, group[number] * basis.shape[1] : (group[number] + 1) * basis.shape[1]] = basis
        block[:, groups * basis.shape[1] + number] = 1.0
        ys.append(y)
        rows.append(block)
        owner.append(np.full(y.size, number))
    return np.concatenate(ys), np.vstack(rows), np.concatenate(owner)


def _residual(
    response: FloatArray, reference: FloatArray, fs: float, cycles: pd.DataFrame, lag_s: float
) -> tuple[FloatArray, FloatArray, np.ndarray]:
    y, basis, owner = _design(response, reference, fs, cycles, lag_s)
    q, _ = np.linalg.qr(basis)
    return y - q @ (q.T @ y), q, owner


def estimate_lag(response: FloatArray, reference: FloatArray, fs: float, cycles: pd.DataFrame) -> Lag:
    """Estimate the delay from cycles.

    Parameters
    ----------
    response, reference : array, shape (n,)
        Relative resistance change and strain, on one grid.
    fs : float
        Hz.
    cycles : DataFrame
        Settled cycles of `find_cycles`.

    Returns
    -------
    Lag
        The interval is cluster-robust over cycles with Student's t (Gauss-Newton linearisation at the optimum).
    """
    method = identifiable_by(reference, cycles)
    if method in ("none", NOT_SEPARABLE):
        return Lag(Estimate(), method)
    if len(cycles) > _MOST_CYCLES:
        cycles = cycles.iloc[np.linspace(0, len(cycles) - 1, _MOST_CYCLES).round().astype(int)]
    limit = 0.2 * float((cycles["stop"] - cycles["start"]).min()) / fs

    def misfit(lag_s: float) -> float:
        residual, _, _ = _residual(response, reference, fs, cycles, float(lag_s))
        return float(np.mean(residual**2))

    grid = np.linspace(-limit, limit, 21)
    best = int(np.argmin([misfit(lag) for lag in grid]))
    bounds = (float(grid[max(best - 1, 0)]), float(grid[min(best + 1, grid.size - 1)]))
    lag_s = float(minimize_scalar(misfit, bounds=bounds, method="bounded", options={"xatol": 1e-2 / fs}).x)
    residual, q, owner = _residual(response, reference, fs, cycles, lag_s)
    step = max(0.25 / fs, 1e-4)
    later, _, _ = _residual(response, reference, fs, cycles, lag_s + step)
    earlier, _, _ = _residual(response, reference, fs, cycles, lag_s - step)
    size = min(later.size, earlier.size, residual.size)
    gradient = (later[:size] - earlier[:size]) / (2.0 * step)
    gradient -= q[:size] @ (q[:size].T @ gradient)
    norm = float(gradient @ gradient)
    if norm == 0.0:
        return Lag(Estimate(), NOT_SEPARABLE)
    score = np.bincount(owner[:size], weights=residual[:size] * gradient, minlength=len(cycles)) / norm
    n = len(cycles)
    half = float(stats.t.ppf(0.975, n - 1) * np.sqrt(n / (n - 1) * np.sum(score**2)))
    if method == "cycles with corners":
        # Near the right shift only the samples next to a corner speak, so it is known to a sampling interval.
        half = float(np.hypot(half, NORMAL_95 / fs / np.sqrt(12.0)))
    return Lag(Estimate(lag_s, lag_s - half, lag_s + half), method)
