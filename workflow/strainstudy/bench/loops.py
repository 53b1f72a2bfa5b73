"""Figures of merit that come from cycles: gauge factor, linearity, hysteresis, repeatability, drift.

In: response and strain through settled cycles, delay removed. Out: each figure with an interval over cycles.

Definitions: gauge factor = slope of dR/R over strain of the middle line (mean of the branches), so hysteresis does not
enter. Linearity: largest deviation of the middle line from a named line, terminal-based or least-squares, over the
span (IEC 61298-2; ISA-37.1, from memory). Hysteresis: largest |up - down| of one cycle over that cycle's span (same).
Repeatability: 2 s of readings at one point approached from one direction, over the span (same), linear drift taken
out. The place of a largest deviation is found on the mean over cycles, so that noise is not read as deviation.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from ..io.store import FloatArray
from ..stats.normal import NORMAL_95
from .firstorder import undo_first_order
from .intervals import Estimate, absolute, effective_dof, mean, slope, spread
from .lag import Lag, cycle_samples, loop_basis
from .parameters import BenchParameters

__all__ = ["LoopFigures", "loop_figures"]

_GRID = np.linspace(0.0, 1.0, 81)
"""Places of a loop, as share of its range of strain (ours)."""
# Trapezoid rule, so that least squares over the grid is least squares over the range.
_WEIGHT = np.where((_GRID == 0.0) | (_GRID == 1.0), 0.5, 1.0)
_PLACE_SE = 2.0
"""Standard errors by which a loop must be wider elsewhere than in its middle (ours: about 95 %)."""
_INNER = (_GRID >= 0.05) & (_GRID <= 0.95)
"""Places where a loop is looked for; at its ends it is closed (ours)."""
_SAMPLES_PER_KNOT = 8
"""Samples for each knot of a branch (ours)."""
_FEWEST_KNOTS, _MOST_KNOTS = 5, 21
"""Limits of the number of its knots (ours)."""


@dataclass(frozen=True)
class LoopFigures:
    """Figures of the full-amplitude cycles of one sensor.

    Parameters
    ----------
    full_scale_strain : float
        Range of strain of those cycles, fraction.
    full_scale_response : float
        Range of the response over it.
    n : int
        Cycles used.
    gauge_factor, linearity, linearity_least_squares, hysteresis, repeatability, drift : Estimate
        Gauge factor over the whole range; the others in percent of full scale (drift: per cycle).
    curve : DataFrame
        One row per strain interval: ``strain_low``, ``strain_high`` (fraction), ``gauge_factor`` with limits, ``r2``,
        ``n``.
    loop : DataFrame
        Mean loop: ``strain``, ``loading``, ``unloading``, ``loading_sd``, ``unloading_sd``.
    cycles : DataFrame
        One row per cycle: ``response_low``, ``response_high``, ``hysteresis``, ``gauge_factor``.
    """

    full_scale_strain: float
    full_scale_response: float
    n: int
    gauge_factor: Estimate
    linearity: Estimate
    linearity_least_squares: Estimate
    hysteresis: Estimate
    repeatability: Estimate
    drift: Estimate
    curve: pd.DataFrame
    loop: pd.DataFrame
    cycles: pd.DataFrame


@dataclass(frozen=True)
class _Fit:
    """Middle line and half width of one cycle on the grid, and what an interval's R2 needs."""

    middle: FloatArray
    half: FloatArray
    strain: FloatArray
    response: FloatArray


def _fit_cycle(response: FloatArray, reference: FloatArray, fs: float, cycle: pd.Series, delay_s: float) -> _Fit | None:
    y, strain, direction = cycle_samples(response, reference, fs, cycle, delay_s)
    u = (strain - cycle["strain_low"]) / (cycle["strain_high"] - cycle["strain_low"])
    knots = int(np.clip(y.size // (2 * _SAMPLES_PER_KNOT), _FEWEST_KNOTS, _MOST_KNOTS))
    basis = loop_basis(u, direction, knots)
    if y.size <= basis.shape[1]:
        return None
    terms, *_ = np.linalg.lstsq(basis, y, rcond=None)
    up = loop_basis(_GRID, np.ones_like(_GRID), knots) @ terms
    down = loop_basis(_GRID, -np.ones_like(_GRID), knots) @ terms
    return _Fit(0.5 * (up + down), 0.5 * (up - down), strain, y)


def _largest(curves: FloatArray, span: FloatArray, middle_first: bool = False) -> Estimate:
    """Largest size of the mean curve, percent of span, with the interval of the cycles at that place.

    With ``middle_first`` the place is mid-range, where loops are widest, unless another is wider beyond `_PLACE_SE`
    standard errors of the difference: the largest of many noisy places is too large, and its interval seldom right.
    """
    share = 100.0 * curves / span[:, None]
    middle = share.shape[1] // 2
    size = np.abs(share.mean(axis=0))
    # At its ends a loop is closed; what is left there is noise of the reference.
    place = int(np.argmax(np.where(_INNER, size, -1.0) if middle_first else size))
    if middle_first and share.shape[0] > 2:
        gain = np.sign(share[:, place].mean()) * share[:, place] - np.sign(share[:, middle].mean()) * share[:, middle]
        if gain.mean() <= _PLACE_SE * gain.std(ddof=1) / np.sqrt(gain.size):
            place = middle
    return absolute(mean(share[:, place]))


def _terminal_deviation(middle: FloatArray) -> FloatArray:
    line = middle[:, :1] + (middle[:, -1:] - middle[:, :1]) * _GRID
    return np.asarray(middle - line)


def _least_squares_deviation(middle: FloatArray) -> FloatArray:
    u = _GRID - 0.5
    slope_per_range = middle @ (_WEIGHT * u) / (_WEIGHT @ u**2)
    level = middle @ _WEIGHT / _WEIGHT.sum()
    return np.asarray(middle - level[:, None] - slope_per_range[:, None] * u)


def _slopes(middle: FloatArray, strain_span: FloatArray, low: float, high: float) -> FloatArray:
    """Least-squares slope of each cycle's middle line between two shares of the range."""
    inside = (low - 1e-9 <= _GRID) & (high + 1e-9 >= _GRID)
    weight = np.ones(int(inside.sum()))
    weight[[0, -1]] = 0.5
    u = _GRID[inside] - 0.5 * (low + high)
    return np.asarray(middle[:, inside] @ (weight * u) / (weight @ u**2) / strain_span)


def _curve(middle: FloatArray, fits: list[_Fit], low: FloatArray, span: FloatArray, intervals: int) -> pd.DataFrame:
    rows = []
    strain = np.concatenate([fit.strain for fit in fits])
    response = np.concatenate([fit.response - fit.middle[0] for fit in fits])
    lowest, width = float(low.mean()), float(span.mean())
    for k in range(intervals):
        a, b = k / intervals, (k + 1) / intervals
        estimate = mean(_slopes(middle, span, a, b))
        inside = (strain >= lowest + a * width) & (strain <= lowest + b * width)
        r2 = float(np.corrcoef(strain[inside], response[inside])[0, 1] ** 2) if inside.sum() > 2 else np.nan
        rows.append((lowest + a * width, lowest + b * width, *estimate, r2, len(fits)))
    names = ["strain_low", "strain_high", "gauge_factor", "gauge_factor_low", "gauge_factor_high", "r2", "n"]
    return pd.DataFrame(rows, columns=names)


def _repeatability(readings: FloatArray, number: FloatArray, run: np.ndarray, scale: float) -> Estimate:
    """2 s over the span after taking a straight line over cycles, one level per run, out of each point."""
    n = readings.shape[0]
    design = np.column_stack([run[:, None] == np.unique(run)[None, :], number])
    fitted = design.shape[1]
    if n < fitted + 2:
        return Estimate()
    full, _ = np.linalg.qr(np.hstack([design, np.eye(n)]))
    # Contrasts orthogonal to the lines: n - fitted independent rows.
    contrasts = full[:, fitted:n].T @ readings
    variance = float(np.mean(np.sum(contrasts**2, axis=0) / (n - fitted)))
    dof = effective_dof(np.vstack([contrasts, np.zeros((1, readings.shape[1]))]))
    return Estimate(*(200.0 * value / scale for value in spread(variance, dof)))


def _drift(number: FloatArray, level: FloatArray, run: np.ndarray, scale: float) -> Estimate:
    """Slope of the level over cycles, within runs, percent of full scale per cycle."""
    groups = pd.DataFrame({"number": number, "level": level}).groupby(run)
    centred = groups.transform(lambda values: values - values.mean())
    b = slope(centred["number"].to_numpy(), centred["level"].to_numpy(), groups.ngroups)
    return Estimate(*(100.0 * value / scale for value in b))


def _with_lag(hysteresis: Estimate, lag: Lag, half_cycle_s: float) -> Estimate:
    """Widen by what the error of the removed delay does: 2 x delay / time of a half cycle, in shares of span."""
    extra = 100.0 * 2.0 * NORMAL_95 * lag.standard_error / half_cycle_s
    value, low, high = hysteresis
    below, above = float(np.hypot(value - low, extra)), float(np.hypot(high - value, extra))
    return Estimate(value, max(value - below, 0.0), value + above)


def loop_figures(
    pieces: list[tuple[FloatArray, FloatArray, float, pd.DataFrame, Lag]], parameters: BenchParameters
) -> LoopFigures | None:
    """Compute the figures of the largest settled cycles.

    Parameters
    ----------
    pieces : list of (response, reference, fs, cycles, lag)
        One per recording; reference in strain fraction, cycles with ``used`` set.
    parameters : BenchParameters

    Returns
    -------
    LoopFigures or None
        None without a usable cycle.
    """
    fits, kept, lags = [], [], []
    for response, reference, fs, cycles, lag in pieces:
        answer = undo_first_order(response, fs, lag.time_constant)
        for _, cycle in cycles[cycles["used"].astype(bool)].iterrows():
            fit = _fit_cycle(answer, reference, fs, cycle, lag.seconds - lag.time_constant)
            if fit is not None:
                fits.append(fit)
                kept.append({**cycle.to_dict(), "half_cycle_s": 0.5 * (cycle["stop"] - cycle["start"]) / fs})
                lags.append(lag)
    if not fits:
        return None
    table = pd.DataFrame(kept)
    low = table["strain_low"].to_numpy(dtype=float)
    span = table["strain_high"].to_numpy(dtype=float) - low
    middle, half = np.array([f.middle for f in fits]), np.array([f.half for f in fits])
    response_span = np.abs(middle[:, -1] - middle[:, 0])
    scale = float(response_span.mean())
    readings = np.hstack([(middle + half)[:, ::8], (middle - half)[:, ::8]])
    number = table["position"].to_numpy(dtype=float)
    run = pd.factorize(table["recording_id"])[0]
    worst = lags[int(np.argmax([lag.standard_error for lag in lags]))]
    loop = pd.DataFrame(
        {
            "strain": low.mean() + _GRID * span.mean(),
            "loading": (middle + half).mean(axis=0),
            "unloading": (middle - half).mean(axis=0),
            "loading_sd": (middle + half).std(axis=0, ddof=min(1, len(fits) - 1)),
            "unloading_sd": (middle - half).std(axis=0, ddof=min(1, len(fits) - 1)),
        }
    )
    per_cycle = table[["recording_id", "position"]].assign(
        response_low=middle[:, 0],
        response_high=middle[:, -1],
        hysteresis=100.0 * np.max(np.abs(2.0 * half), axis=1) / response_span,
        gauge_factor=_slopes(middle, span, 0.0, 1.0),
    )
    hysteresis = _with_lag(
        _largest(2.0 * half, response_span, middle_first=True), worst, float(table["half_cycle_s"].median())
    )
    return LoopFigures(
        full_scale_strain=float(span.mean()),
        full_scale_response=scale,
        n=len(fits),
        gauge_factor=mean(_slopes(middle, span, 0.0, 1.0)),
        linearity=_largest(_terminal_deviation(middle), response_span),
        linearity_least_squares=_largest(_least_squares_deviation(middle), response_span),
        hysteresis=hysteresis,
        repeatability=_repeatability(readings, number, run, scale),
        drift=_drift(number, middle[:, 0], run, scale),
        curve=_curve(middle, fits, low, span, parameters.strain_intervals),
        loop=loop,
        cycles=per_cycle,
    )
