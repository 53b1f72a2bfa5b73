"""Figures that come from steps and holds: response and recovery time, delay, creep and its time constants.

In: response and reference, and the holds found in the reference. Out: one row per hold, and pooled time constants.

Response time is 10 to 90 % of the change of the response from the rest before a step to the end of the hold; of a
first-order sensor it is ln 9 = 2.197 time constants. Where the bench's own step is not much faster, the crossing times
are the bench's, so a first-order answer to the reference as it was is fitted as well. In a hold every linear
viscoelastic state fades exponentially whatever came before (Prony series), so creep is a constant and one or two
exponentials with time constants common to all holds; these come by variable projection (Golub & Pereyra 1973).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final, NamedTuple

import numpy as np
import pandas as pd
from scipy import stats
from scipy.optimize import isotonic_regression, minimize

from ..io.store import FloatArray
from .firstorder import first_order
from .intervals import Estimate

__all__ = ["FADED", "LN9", "STEP_COLUMNS", "Creep", "HoldSpan", "StepFit", "creep_constants", "fit_step", "step_table"]

LN9: Final = float(np.log(9.0))
"""From 10 to 90 % of a first-order step, in time constants."""
FADED: Final = 8.0
"""Time constants after which a step is taken to have faded: 0.03 % of it is left (ours)."""
_SMALLEST_STEP_SHARE = 0.2
"""Share of the range of strain below which a change is no step to read times from (ours)."""
_WINDOWS_S = (0.5, 2.0, 8.0, 32.0)
"""Seconds after a step that are fitted, each tried if the one before was too short for the answer (ours)."""
_SETTLED = 4.0
"""Time constants that a window must hold: 2 % of the step is left then (ours)."""
_MOST_SAMPLES = 400
"""Samples of a step that are fitted; more say the same (ours, for speed)."""
_FEWEST_SAMPLES = 15
"""Samples of a step below which nothing is fitted (ours)."""
_BLOCKS = 120
"""Means, evenly spaced in the logarithm of time, that a hold is reduced to (ours, for speed)."""
_TAUS = 64
"""Time constants of the coarse search, evenly spaced in their logarithm (ours)."""
_KEPT = 0.998
"""Probability of the F test from which a further term is kept (ours)."""
_FINE = 48
"""Points of a finer grid around a time constant (ours)."""
_REACHES = (2.0, 1.15, 1.02)
"""Factors to each side that the finer grids reach, one after the other (ours)."""
_APART = 2.0
"""Factor between two time constants that can be told apart (ours)."""
STEP_COLUMNS = (
    "onset", "duration", "direction", "strain_from", "strain_to", "response_from", "response_to", "bench_time",
    "rise_time", "delay", "time_constant", "delay_se", "log_time_constant_se", "sum_se", "creep", "creep_se",
)  # fmt: skip


def _crossing_time(values: FloatArray, fs: float, start_level: float, end_level: float) -> float:
    """Time from 10 to 90 % of a change, on the best monotone fit."""
    share = (values - start_level) / (end_level - start_level)
    good = np.isfinite(share)
    if good.sum() < 3:
        return float("nan")
    # Beyond the end level an overshoot that fades would pull the monotone fit down.
    over = np.flatnonzero(share[good] >= 1.0)
    last = int(over[0]) + 1 if over.size else int(good.sum())
    time = np.flatnonzero(good)[:last] / fs
    rising = np.asarray(isotonic_regression(share[good][:last]).x)
    if rising[0] > 0.1 or rising[-1] < 0.9:
        return float("nan")
    unique, first = np.unique(rising, return_index=True)
    final = np.append(first[1:] - 1, rising.size - 1)
    # On a plateau of the fit the crossing is its last sample below and its first above.
    low = int(np.searchsorted(unique, 0.1))
    high = int(np.searchsorted(unique, 0.9))

    def at(level: float, k: int) -> float:
        if k == 0:
            return float(time[0])
        a, b = unique[k - 1], unique[k]
        ta, tb = time[final[k - 1]], time[first[k]]
        return float(ta + (level - a) / (b - a) * (tb - ta))

    return at(0.9, high) - at(0.1, low)


class StepFit(NamedTuple):
    """Delay and time constant in seconds with standard errors, that of their sum too; NaN where not had."""

    delay: float = float("nan")
    time_constant: float = float("nan")
    delay_se: float = float("nan")
    log_time_constant_se: float = float("nan")
    sum_se: float = float("nan")


def _step_residual(
    point: FloatArray, u: FloatArray, fs: float, keep: np.ndarray, target: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """Residual of a step's best first-order answer with this delay and log time constant, and the basis' Q."""
    grid = np.arange(u.size) / fs
    moved = np.interp(grid - point[0], grid, u)
    terms = first_order(np.column_stack([moved, moved**2, moved**3]), fs, float(np.exp(point[1])))
    slow = np.cumsum(moved) / fs
    q, _ = np.linalg.qr(np.column_stack([np.ones(keep.size), terms[keep], slow[keep]]))
    return target - q @ (q.T @ target), q


def _step_errors(point: FloatArray, u: FloatArray, fs: float, keep: np.ndarray, target: FloatArray) -> StepFit:
    """Give the standard errors of the fit: Gauss-Newton, residual variance widened for first-order autocorrelation."""
    residual, q = _step_residual(point, u, fs, keep, target)
    steps = np.array([max(0.05 / fs, 0.02 * float(np.exp(point[1]))), 0.05])
    columns = []
    for k in range(2):
        move = np.zeros(2)
        move[k] = steps[k]
        later, _ = _step_residual(point + move, u, fs, keep, target)
        earlier, _ = _step_residual(point - move, u, fs, keep, target)
        column = (later - earlier) / (2.0 * steps[k])
        columns.append(column - q @ (q.T @ column))
    jacobian = np.column_stack(columns)
    power = float(residual @ residual)
    r = float(residual[1:] @ residual[:-1] / power) if power > 0.0 else 0.0
    r = min(max(r, 0.0), 0.95)
    variance = power / max(residual.size - 7, 1) * (1.0 + r) / (1.0 - r)
    tau = float(np.exp(point[1]))
    try:
        covariance = variance * np.linalg.inv(jacobian.T @ jacobian)
    except np.linalg.LinAlgError:
        return StepFit(float(point[0]), tau)
    both = np.array([1.0, tau])
    spread = np.sqrt(np.maximum([covariance[0, 0], covariance[1, 1], both @ covariance @ both], 0.0))
    return StepFit(float(point[0]), tau, *(float(value) for value in spread))


def fit_step(response: FloatArray, reference: FloatArray, fs: float, move_start: int, start: int, stop: int) -> StepFit:
    """Fit the first-order answer to one step of the reference as it was.

    Parameters
    ----------
    response, reference : array, shape (n,)
        Relative resistance change and strain.
    fs : float
        Hz.
    move_start, start, stop : int
        Samples at which the movement starts, the hold starts, the hold stops.

    Returns
    -------
    StepFit
        NaN where the samples are too few. The static curve is a cubic of the strain; slow creep is a term that grows
        with strain and time. The window after the step lengthens until it holds four time constants.
    """
    fit = StepFit()
    for window in _WINDOWS_S:
        before = round(max(min(0.25 * window, 0.5), 4.0 / fs) * fs)
        first, last = max(move_start - before, 0), min(stop, start + round(window * fs))
        x = reference[first:last]
        finite = np.flatnonzero(np.isfinite(response[first:last]))
        if finite.size < _FEWEST_SAMPLES or not np.isfinite(x).all() or np.ptp(x) == 0.0:
            if last < stop:
                continue
            return fit
        level = float(np.median(x[: max(before // 2, 1)]))
        u = (x - level) / (float(np.median(x[start - first :])) - level)
        keep = finite[:: max(1, finite.size // _MOST_SAMPLES)]
        target = response[first:last][keep]

        def misfit(point: FloatArray, u: FloatArray = u, keep: np.ndarray = keep, target: FloatArray = target) -> float:
            residual, _ = _step_residual(point, u, fs, keep, target)
            return float(residual @ residual)

        # Shorter than a fifth of a sample or longer than the window cannot be told from nothing.
        lowest, highest = np.log(0.2 / fs), np.log(window)
        guesses = [(d, t) for d in (-0.03, 0.0, 0.03, 0.08) for t in np.linspace(lowest, highest, 6)[:-1]]
        guess = min(guesses, key=lambda point: misfit(np.array(point)))
        simplex = np.array([guess, (guess[0] + 1.0 / fs, guess[1]), (guess[0], guess[1] + 0.5)])
        tolerance = 1e-6 * max(misfit(np.array(guess)), 1e-300)
        best = minimize(
            misfit,
            np.array(guess),
            method="Nelder-Mead",
            options={"initial_simplex": simplex, "xatol": 1e-4, "fatol": tolerance, "maxiter": 120},
        ).x
        best[1] = np.clip(best[1], lowest, highest)
        fit = _step_errors(best, u, fs, keep, target)
        if _SETTLED * fit.time_constant < window or last == stop:
            break
    return fit


def step_table(response: FloatArray, reference: FloatArray, fs: float, holds: pd.DataFrame) -> pd.DataFrame:
    """Measure each step that starts from a rest or hold and ends in one.

    Parameters
    ----------
    response, reference : array, shape (n,)
        Relative resistance change and strain.
    fs : float
        Hz.
    holds : DataFrame
        Of `find_holds`.

    Returns
    -------
    DataFrame
        Seconds, fractions; ``direction`` is stretch or release; ``bench_time`` and ``rise_time`` are the 10-90 % times
        of reference and response; then the `StepFit`; ``creep`` is the change
        during the hold in percent of the step, from eight time constants after its start, with its standard error.
    """
    rows = []
    span = float(np.ptp(reference[np.isfinite(reference)])) if np.isfinite(reference).any() else 0.0
    previous_stop = -1
    for hold in holds.to_dict("records"):
        move, start, stop = int(hold["move_start"]), int(hold["start"]), int(hold["stop"])
        strain_from, strain_to = float(hold["strain_from"]), float(hold["strain_to"])
        change = strain_to - strain_from
        from_hold = previous_stop >= 0 and move <= previous_stop
        previous_stop = stop
        if not from_hold or abs(change) < _SMALLEST_STEP_SHARE * span:
            continue
        tail = max(2, min(round(0.1 * (stop - start)), round(0.5 * fs)))
        before = response[max(move - tail, 0) : move + 1]
        after = response[stop - tail : stop]
        if not (np.isfinite(before).any() and np.isfinite(after).any()):
            continue
        level, end = float(np.nanmean(before)), float(np.nanmean(after))
        bench = _crossing_time(reference[move:stop], fs, strain_from, strain_to)
        rise = _crossing_time(response[move:stop], fs, level, end) if end != level else float("nan")
        fit = fit_step(response, reference, fs, move, start, stop)
        delay, tau = fit.delay, fit.time_constant
        settled = start + round((max(delay, 0.0) + FADED * tau) * fs) if np.isfinite(tau) else start
        early = response[settled : settled + tail]
        creep = creep_se = float("nan")
        if settled + 2 * tail < stop and np.isfinite(early).any() and end != level:
            scale = 100.0 / abs(end - level)
            creep = scale * (end - float(np.nanmean(early)))
            # White noise from first differences; what is slower than the tail is not seen in one hold.
            white = float(np.nanstd(np.diff(after))) / np.sqrt(2.0)
            creep_se = scale * white * float(np.sqrt(2.0 / tail))
        rows.append(
            (
                start / fs, (stop - start) / fs, "stretch" if change > 0 else "release", strain_from,
                strain_to, level, end, bench, rise, *fit, creep if change > 0 else -creep, creep_se,
            )
        )  # fmt: skip
    return pd.DataFrame(rows, columns=list(STEP_COLUMNS))


@dataclass(frozen=True)
class HoldSpan:
    """Response from when movement and most of the fast answer are over to the end of a hold.

    ``time_constant`` is that of the fast answer, whose rest is fitted along; 0 for none.
    """

    response: FloatArray
    sampling_frequency: float
    time_constant: float = 0.0


@dataclass(frozen=True)
class Creep:
    """Time constants of creep common to all holds, fast to slow, with profile-likelihood intervals.

    ``high`` is infinite where the holds are too short to bound it.
    """

    constants: tuple[Estimate, ...]
    n: int


@dataclass(frozen=True)
class _Piece:
    """Block means of one hold: time, mean, samples, and the terms that are not creep (constant, fast answer)."""

    time: FloatArray
    mean: FloatArray
    weight: FloatArray
    other: FloatArray


def _blocks(hold: HoldSpan) -> _Piece:
    """Average over blocks that lengthen with time."""
    values, fs = hold.response, hold.sampling_frequency
    edges = np.unique(np.round(np.geomspace(1, values.size + 1, _BLOCKS)).astype(int)) - 1
    good = np.isfinite(values)
    count = np.add.reduceat(good, edges[:-1]).astype(float)
    time = np.arange(values.size) / fs
    kept = count > 0

    def means(x: FloatArray) -> FloatArray:
        return np.asarray(np.add.reduceat(np.where(good, x, 0.0), edges[:-1])[kept] / count[kept])

    other = [np.ones(int(kept.sum()))]
    if hold.time_constant > 0.5 / fs:
        other.append(means(np.exp(-time / hold.time_constant)))
    return _Piece(means(time), means(values), count[kept], np.column_stack(other))


def _profile(pieces: list[_Piece], taus: FloatArray) -> tuple[FloatArray, FloatArray, float]:
    """Misfit with one exponential (per tau), two (per pair of taus) and none, summed over holds."""
    one, two, none = np.zeros(taus.size), np.zeros((taus.size, taus.size)), 0.0
    for piece in pieces:
        root = np.sqrt(piece.weight)[:, None]
        q, _ = np.linalg.qr(root * piece.other)
        terms = root * np.exp(-piece.time[:, None] / taus[None, :])
        target = root[:, 0] * piece.mean
        terms -= q @ (q.T @ terms)
        target -= q @ (q.T @ target)
        gram, product = terms.T @ terms, terms.T @ target
        total = float(target @ target)
        diagonal = np.maximum(np.diag(gram), 1e-300)
        single = product**2 / diagonal
        determinant = np.outer(diagonal, diagonal) - gram**2
        cross = np.outer(diagonal, product**2)
        pair = (cross + cross.T - 2.0 * gram * np.outer(product, product)) / np.where(
            determinant > 1e-7 * np.outer(diagonal, diagonal), determinant, np.inf
        )
        one += total - single
        two += total - np.maximum(pair, np.maximum.outer(single, single))
        none += total
    return one, two, none


def _limits(misfit: FloatArray, taus: FloatArray, dof: float, level: float) -> Estimate:
    """Profile-likelihood limits: where the misfit rises by the F quantile."""
    best = int(np.argmin(misfit))
    bound = misfit[best] * (1.0 + float(stats.f.ppf(level, 1, dof)) / dof)
    low, high = best, best
    while low > 0 and misfit[low - 1] <= bound:
        low -= 1
    while high < taus.size - 1 and misfit[high + 1] <= bound:
        high += 1

    def edge(inside: int, outside: int) -> float:
        share = (bound - misfit[inside]) / (misfit[outside] - misfit[inside])
        return float(np.exp(np.log(taus[inside]) + share * (np.log(taus[outside]) - np.log(taus[inside]))))

    return Estimate(
        float(taus[best]),
        edge(low, low - 1) if low > 0 else 0.0,
        edge(high, high + 1) if high < taus.size - 1 else float("inf"),
    )


def creep_constants(holds: list[HoldSpan], level: float = 0.95) -> Creep:
    """Time constants of the fading during holds.

    Parameters
    ----------
    holds : list of HoldSpan
    level : float
        Confidence level.

    Returns
    -------
    Creep
        None, one or two constants: an exponential is kept when it lowers the misfit beyond the F test's 0.2 % point
        (strict, because the time constant was searched for). Residuals are those of block means whose blocks lengthen
        with time, so slow noise counts as the few it is.
    """
    pieces = [_blocks(hold) for hold in holds if np.isfinite(hold.response).sum() >= _FEWEST_SAMPLES]
    if not pieces:
        return Creep((), 0)
    shortest = max(max(4.0 / hold.sampling_frequency, 2.0 * hold.time_constant) for hold in holds)
    longest = max(hold.response.size / hold.sampling_frequency for hold in holds)
    if not 10.0 * longest > shortest:
        return Creep((), len(pieces))
    points, others = sum(p.time.size for p in pieces), sum(p.other.shape[1] for p in pieces)
    # A coarse search finds the constants, a fine grid around each gives their limits.
    taus = np.geomspace(shortest, 10.0 * longest, _TAUS)
    extra = len(pieces) + 1
    dof_one, dof_two = points - others - extra, points - others - 2 * extra
    if dof_two < 5:
        return Creep((), len(pieces))
    one, two, none = _profile(pieces, taus)
    single = taus
    for reach in _REACHES:
        single = _finer(single, [int(np.argmin(one))], reach)
        one, _, _ = _profile(pieces, single)
    if not _lowers(none, float(one.min()), extra, dof_one):
        return Creep((), len(pieces))
    double = taus
    for reach in _REACHES:
        double = _finer(double, sorted(int(k) for k in np.unravel_index(int(np.argmin(two)), two.shape)), reach)
        _, two, _ = _profile(pieces, double)
        # Constants closer than this factor are one constant between two points of the grid.
        two = np.where(np.abs(np.log(double[:, None] / double[None, :])) > np.log(_APART), two, np.inf)
    if not _lowers(float(one.min()), float(two.min()), extra, dof_two):
        return Creep((_limits(one, single, dof_one, level),), len(pieces))
    fast, slow = sorted(int(k) for k in np.unravel_index(int(np.argmin(two)), two.shape))
    short = double <= float(np.sqrt(double[fast] * double[slow]))
    block = two[np.ix_(short, ~short)]
    limits = (
        _limits(block.min(axis=1), double[short], dof_two, level),
        _limits(block.min(axis=0), double[~short], dof_two, level),
    )
    return Creep(limits, len(pieces))


def _lowers(before: float, after: float, extra: int, dof: int) -> bool:
    """F test: whether further terms lower the misfit by more than chance does."""
    return (before - after) / extra > after / dof * float(stats.f.ppf(_KEPT, extra, dof))


def _finer(taus: FloatArray, places: list[int], reach: float) -> FloatArray:
    """Keep the grid and add a finer one around the places, a factor to each side."""
    near = [np.geomspace(taus[k] / reach, taus[k] * reach, _FINE) for k in places]
    return np.unique(np.concatenate([taus, *near]))
