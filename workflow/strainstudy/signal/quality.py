"""What a channel is worth: saturated, constant, stuck or disconnected samples.

In: a channel on a uniform grid with NaN where there is no data. Out: a `ChannelQuality` with spans and fractions.
The signs are structural, not tuned to a sensor: a converter's rail is a run of equal samples at the extreme value that
the signal enters or leaves with a step, which a quantised signal at rest never does; a channel that hears nothing has
no more power below a few hertz than white noise has there.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from .gaps import runs

__all__ = ["ChannelQuality", "assess_channel"]

Array = npt.NDArray[np.float64]
Spans = npt.NDArray[np.intp]

_RAIL_RUN = 4
"""Shortest run of equal samples at an extreme that can be a rail; chance and quantised peaks give shorter ones."""
_STEEP_QUANTA = 3.0
"""A run is entered steeply if the step beside it is more than this many quantisation steps (a smooth peak: two)."""
_JUMP = 3.0
"""A step this many times the 99.9 % largest of the signal is a plug pulled, not a movement."""
_SLOW_BLOCK_S = 0.1
"""Whole periods of 50 and of 60 Hz: block means keep movement and drift, and hum averages out of them."""


@dataclass(frozen=True)
class ChannelQuality:
    """Findings on one channel; spans are sample indices, end exclusive.

    Parameters
    ----------
    n : int
        Samples.
    missing : Spans
        Stretches without a value in the file.
    clipped : Spans
        Stretches at a rail.
    dead : Spans
        Stretches in which the channel was unplugged or its value stuck.
    constant : bool
        All values are equal.
    noise_only : bool
        Nothing but noise or hum.
    """

    n: int
    missing: Spans
    clipped: Spans
    dead: Spans
    constant: bool = False
    noise_only: bool = False

    def fraction(self, spans: Spans) -> float:
        """Share of the samples that lie in ``spans``."""
        return float((spans[:, 1] - spans[:, 0]).sum() / self.n) if self.n else 0.0


def _quantum(steps: Array) -> float:
    """Find the quantisation step: the smallest step between neighbours that is not zero or rounding."""
    size = np.abs(steps[:: max(1, len(steps) // 50000)])
    size = size[size > 0]
    if size.size == 0:
        return 0.0
    floor = 1e-9 * float(size.max())
    return float(size[size > floor].min())


def _rail(x: Array, value: float, quantum: float) -> tuple[Spans, Array]:
    """Find runs at one extreme and the larger of the two steps beside each; empty if it is no rail."""
    none: Spans = np.empty((0, 2), dtype=np.intp)
    at = x == value
    if np.count_nonzero(at) < _RAIL_RUN:
        return none, np.empty(0)
    found = runs(at)
    found = found[found[:, 1] - found[:, 0] >= _RAIL_RUN]
    if len(found) == 0:
        return none, np.empty(0)
    before = np.abs(x[np.maximum(found[:, 0] - 1, 0)] - value)
    after = np.abs(x[np.minimum(found[:, 1], len(x) - 1)] - value)
    edge: Array = np.fmax(np.nan_to_num(before), np.nan_to_num(after))
    length = found[:, 1] - found[:, 0]
    steep = edge > _STEEP_QUANTA * quantum
    if length[steep].sum() < 0.5 * length.sum():
        return none, np.empty(0)
    return found, edge


def _stuck(x: Array, steps: Array, shortest: int, quantum: float) -> Spans:
    """Find runs of equal samples, not at an extreme, that end with a jump: a value held while others were lost."""
    still = steps == 0
    if np.count_nonzero(still) < shortest - 1:
        return np.empty((0, 2), dtype=np.intp)
    found = runs(still)
    found = found[found[:, 1] - found[:, 0] >= shortest - 1]
    if len(found) == 0:
        return found
    found = found + np.array([0, 1])
    moving = np.abs(steps[steps != 0])
    usual = float(np.nanmedian(moving)) if moving.size else 0.0
    after = np.minimum(found[:, 1], len(x) - 1)
    leap = np.nan_to_num(np.abs(x[after] - x[after - 1]))
    held: Spans = found[leap > max(_STEEP_QUANTA * quantum, 3 * usual)]
    return held


def _noise_only(x: Array, fs: float) -> bool:
    """Tell whether a channel has no more slow power than white noise of the same variance has."""
    block = round(_SLOW_BLOCK_S * fs)
    whole = len(x) // block if block > 1 else 0
    if whole < 20:
        return False
    parts = x[: whole * block].reshape(whole, block)
    means = parts.mean(axis=1)
    spread = np.einsum("ij,ij->i", parts, parts) / block - means**2
    good = np.isfinite(means)
    if np.count_nonzero(good) < 20:
        return False
    fast = float(np.median(spread[good]))  # median: a few spikes are not noise
    slow = float(means[good].var())
    # white noise: slow = fast / (block - 1); movement, drift or breath: slow of the order of fast or more
    return fast > 0 and slow * block < np.sqrt(block) * fast


def assess_channel(values: Array, fs: float, *, dead_s: float, rails: bool = True) -> ChannelQuality:
    """Assess one channel.

    Parameters
    ----------
    values : array, shape (n,)
        On a uniform grid; NaN where there is no data.
    fs : float
        Hz.
    dead_s : float
        Shortest stretch, in s, of one value that is taken as unplugged (with a jump) or stuck.
    rails : bool
        Look for rails; off for channels that no converter clips (angles, references).

    Returns
    -------
    ChannelQuality
    """
    n = len(values)
    none: Spans = np.empty((0, 2), dtype=np.intp)
    nan = np.isnan(values)
    missing = runs(nan) if nan.any() else none
    if len(missing) and nan.all():
        return ChannelQuality(n, missing, none, none, constant=False, noise_only=False)
    low, high = float(np.nanmin(values)), float(np.nanmax(values))
    if high - low <= 1e-12 * max(abs(high), abs(low)):
        return ChannelQuality(n, missing, none, none, constant=True)
    steps = np.diff(values)
    quantum = _quantum(steps[np.isfinite(steps)] if len(missing) else steps)
    shortest = max(round(dead_s * fs), _RAIL_RUN)
    clipped, dead = [none], [_stuck(values, steps, shortest, quantum)]
    for value in (low, high) if rails else ():
        found, edge = _rail(values, value, quantum)
        if len(found) == 0:
            continue
        sample = np.abs(steps[:: max(1, len(steps) // 200000)])
        leap = edge > _JUMP * float(np.nanquantile(sample, 0.999))
        long = found[:, 1] - found[:, 0] >= shortest
        dead.append(found[long & leap])
        clipped.append(found[~(long & leap)])
    order_clipped, order_dead = np.concatenate(clipped), np.concatenate(dead)
    return ChannelQuality(
        n,
        missing,
        order_clipped[np.argsort(order_clipped[:, 0], kind="stable")],
        np.unique(order_dead, axis=0),
        noise_only=rails and _noise_only(values, fs),
    )
