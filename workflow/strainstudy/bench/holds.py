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
from typing import Final

import numpy as np
import pandas as pd
from scipy import stats
from scipy.optimize import isotonic_regression, minimize
from scipy.signal import lfilter

from ..io.store import FloatArray
from .intervals import Estimate

__all__ = ["LN9", "Creep", "creep_constants", "fit_step", "step_table"]

LN9: Final = float(np.log(9.0))
_SMALLEST_STEP_SHARE = 0.2
_WINDOWS_S = (0.5, 2.0, 8.0, 32.0)
_SETTLED = 4.0
_MOST_SAMPLES = 600
_BLOCKS = 120
_TAUS = 64
STEP_COLUMNS = (
    "onset", "duration", "direction", "strain_from", "strain_to", "response_from", "response_to", "bench_time",
    "rise_time", "delay", "time_constant", "creep",
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


def _first_order(signal: FloatArray, fs: float, tau: float) -> FloatArray:
    """Answer of a first-order lag to straight lines between samples, settled at the first."""
    decay = float(np.exp(-1.0 / (fs * tau)))
    part = tau * fs * (1.0 - decay)
    b, a = [1.0 - part, part - decay], [1.0, -decay]
    return np.asarray(lfilter(b, a, signal, axis=0, zi=(b[1] + decay) * signal[:1])[0])


def fit_step(
    response: FloatArray, reference: FloatArray, fs: float, move_start: int, start: int, stop: int
) -> tuple[float, float]:
    """Delay and time constant of the first-order answer to one step of the reference as it was.

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
    tuple of float
        Delay and time constant in seconds; NaN where the samples are too few or the hold too short for it. The static
        curve is a cubic of the strain; slow creep is a term that grows with strain and time.
    """
    delay = tau = float("nan")
    for window in _WINDOWS_S:
        before = round(min(0.25 * window, 0.5) * fs)
        first, last = max(move_start - before, 0), min(stop, start + round(window * fs))
        y = response[first:last]
        x = reference[first:last]
        good = np.isfinite(y)
        if good.sum() < 12 or not np.isfinite(x).all() or np.ptp(x) == 0.0:
            return delay, tau
        u = (x - x[0]) / (x[-1] - x[0])
        grid = np.arange(u.size) / fs
        dilute = max(1, u.size // _MOST_SAMPLES)
        keep = np.flatnonzero(good)[::dilute]
        target = y[keep]

        def misfit(
            point: FloatArray,
            u: FloatArray = u,
            grid: FloatArray = grid,
            keep: np.ndarray = keep,
            target: FloatArray = target,
        ) -> float:
            moved = np.interp(grid - point[0], grid, u)
            terms = _first_order(np.column_stack([moved, moved**2, moved**3]), fs, float(np.exp(point[1])))
            slow = np.cumsum(moved) / fs
            basis = np.column_stack([np.ones(keep.size), terms[keep], slow[keep]])
            fitted = basis @ np.linalg.lstsq(basis, target, rcond=None)[0]
            return float(np.sum((target - fitted) ** 2))

        # Shorter than a fifth of a sample or longer than the window cannot be told from nothing.
        lowest, highest = np.log(0.2 / fs), np.log(window)
        guesses = [(d, t) for d in (0.0, 2.0 / fs) for t in np.linspace(lowest, highest, 5)[:-1]]
        guess = min(guesses, key=lambda point: misfit(np.array(point)))
        simplex = np.array([guess, (guess[0] + 2.0 / fs, guess[1]), (guess[0], guess[1] + 0.7)])
        best = minimize(
            misfit,
            np.array(guess),
            method="Nelder-Mead",
            options={"initial_simplex": simplex, "xatol": 1e-3, "fatol": 1e-9 * max(misfit(np.array(guess)), 1e-300)},
        ).x
        delay, tau = float(best[0]), float(np.exp(np.clip(best[1], lowest, highest)))
        if _SETTLED * tau < window or last == stop:
            break
    return delay, tau


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
        of reference and response; ``delay`` and ``time_constant`` of the first-order fit; ``creep`` is the change
        during the hold in percent of the step, from five time constants after its start.
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
        delay, tau = fit_step(response, reference, fs, move, start, stop)
        settled = start + round((max(delay, 0.0) + 5.0 * tau) * fs) if np.isfinite(tau) else start
        early = response[settled : settled + tail]
        creep = float("nan")
        if settled + 2 * tail < stop and np.isfinite(early).any() and end != level:
            creep = 100.0 * (end - float(np.nanmean(early))) / abs(end - level)
        rows.append(
            (
                start / fs, (stop - start) / fs, "stretch" if change > 0 else "release", strain_from,
                strain_to, level, end, bench, rise, delay, tau, creep if change > 0 else -creep,
            )
        )  # fmt: skip
    return pd.DataFrame(rows, columns=list(STEP_COLUMNS))


@dataclass(frozen=True)
class Creep:
    """Time constants of creep common to all holds, fast to slow, with profile-likelihood intervals.

    ``high`` is infinite where the holds are too short to bound it.
    """

    constants: tuple[Estimate, ...]
    n: int


def _blocks(values: FloatArray, fs: float) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Averages over blocks that lengthen with time: time, mean, samples of each."""
    edges = np.unique(np.round(np.geomspace(1, values.size + 1, _BLOCKS)).astype(int)) - 1
    good = np.isfinite(values)
    count = np.add.reduceat(good, edges[:-1]).astype(float)
    time = np.arange(values.size) / fs
    total = np.add.reduceat(np.where(good, values, 0.0), edges[:-1])
    when = np.add.reduceat(np.where(good, time, 0.0), edges[:-1])
    kept = count > 0
    return when[kept] / count[kept], total[kept] / count[kept], count[kept]


def _profile(
    pieces: list[tuple[FloatArray, FloatArray, FloatArray]], taus: FloatArray
) -> tuple[FloatArray, FloatArray, float]:
    """Misfit with one exponential (per tau) and two (per pair of taus), and with none, summed over holds."""
    one, two, none = np.zeros(taus.size), np.zeros((taus.size, taus.size)), 0.0
    for time, y, weight in pieces:
        w = weight / weight.sum()
        terms = np.exp(-time[:, None] / taus[None, :])
        terms -= w @ terms
        centred = y - w @ y
        gram = (terms * weight[:, None]).T @ terms
        product = terms.T @ (weight * centred)
        total = float(weight @ centred**2)
        diagonal = np.diag(gram)
        one += total - product**2 / diagonal
        determinant = np.outer(diagonal, diagonal) - gram**2
        explained = (
            np.outer(product**2, diagonal).T + np.outer(product**2, diagonal) - 2.0 * gram * np.outer(product, product)
        ) / np.where(determinant > 1e-9 * np.outer(diagonal, diagonal), determinant, np.inf)
        two += total - np.maximum(explained, np.maximum.outer(product**2 / diagonal, product**2 / diagonal))
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


def creep_constants(holds: list[tuple[FloatArray, float]], level: float = 0.95) -> Creep:
    """Time constants of the fading during holds.

    Parameters
    ----------
    holds : list of (response, fs)
        Response from when the movement and the sensor's own answer to it are over to the end of the hold.
    level : float
        Confidence level.

    Returns
    -------
    Creep
        None, one or two constants: an exponential is kept when it lowers the misfit beyond the F test's 1 % point.
        Residuals are those of block means whose blocks lengthen with time, so slow noise counts as the few it is.
    """
    pieces = [_blocks(values, fs) for values, fs in holds if np.isfinite(values).sum() >= 10]
    if not pieces:
        return Creep((), 0)
    shortest = max(2.0 / fs for _, fs in holds)
    longest = max(values.size / fs for values, fs in holds)
    taus = np.geomspace(shortest, 10.0 * longest, _TAUS)
    points = sum(time.size for time, _, _ in pieces)
    for _ in range(2):
        one, two, none = _profile(pieces, taus)
        place = np.unravel_index(int(np.argmin(two)), two.shape)
        fast, slow = sorted(int(k) for k in place)
        dof_one, dof_two = points - 2 * len(pieces) - 1, points - 3 * len(pieces) - 2
        if dof_two < 5:
            return Creep((), len(pieces))
        extra = len(pieces) + 1
        has_one = (none - one.min()) / extra / (one.min() / dof_one) > stats.f.ppf(0.99, extra, dof_one)
        has_two = (one.min() - two.min()) / extra / (two.min() / dof_two) > stats.f.ppf(0.99, extra, dof_two)
        centre = [taus[fast], taus[slow]] if has_two else [taus[int(np.argmin(one))]]
        around = [np.geomspace(tau / 4.0, tau * 4.0, _TAUS) for tau in centre]
        taus = np.unique(np.concatenate([taus[:: max(1, taus.size // 48)], *around]))
    one, two, _ = _profile(pieces, taus)
    if has_two:
        fast, slow = sorted(int(k) for k in np.unravel_index(int(np.argmin(two)), two.shape))
        split = np.sqrt(taus[fast] * taus[slow])
        profiles = (two[:, taus > split].min(axis=1)[taus <= split], two[:, taus <= split].min(axis=1)[taus > split])
        parts = (taus[taus <= split], taus[taus > split])
        return Creep(tuple(_limits(p, t, dof_two, level) for p, t in zip(profiles, parts, strict=True)), len(pieces))
    return Creep((_limits(one, taus, dof_one, level),) if has_one else (), len(pieces))
