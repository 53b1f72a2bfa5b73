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

from .runs import runs

__all__ = ["ChannelQuality", "assess_channel", "smallest_step"]

Array = npt.NDArray[np.float64]
Spans = npt.NDArray[np.intp]

_RAIL_RUN = 4
"""Shortest run of equal samples at an extreme that can be a rail; chance and quantised peaks give shorter ones."""
_NOISY_RAIL_RUN = 8
"""The same where the rail carries noise, in which chance makes longer runs (ours)."""
_RAIL_NOISE_QUANTA = 6.0
"""An amplifier's rail before the converter carries the converter's own noise: this many steps hold one of SD 1 step."""
_THIN = 0.015
"""A noisy rail is looked for only where that is less than this share of the range: else a peak looks like one."""
_STRAIGHT = 1.25
"""Largest power of time with which a signal cut off by a rail approaches it.

A straight approach has 1. A smooth peak or a movement that begins from rest has 2, and 1.45 where it can just be
seen over ten quantisation steps; a peak cut by five steps has 1.2, by ten 1.13 (distance k^2 + 2 a k from the edge of
a parabola cut at half-width a).
"""
_VISIBLE_QUANTA = 10.0
"""Height above a rail, in quantisation steps, from which it is seen (ours)."""
_VISIBLE_NOISE = 6.0
"""The same in SDs of the noise (ours)."""
_APPROACH_S = 0.25
"""Longest stretch before and after a rail over which its approach is read (ours)."""
_STEEP_QUANTA = 3.0
"""A value held and then left by more than this many quantisation steps was stuck."""
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


def smallest_step(steps: Array) -> float:
    """Find the quantisation step: the smallest step between neighbours that is not zero or rounding."""
    size = np.abs(steps[:: max(1, len(steps) // 50000)])
    size = size[size > 0]
    if size.size == 0:
        return 0.0
    floor = 1e-9 * float(size.max())
    return float(size[size > floor].min())


def _noise(x: Array) -> float:
    """Estimate the SD of the noise from second differences of neighbouring samples, which movement leaves small."""
    part = x[: len(x) - len(x) % 3].reshape(-1, 3)[:: max(1, len(x) // 100000)]
    bend = np.abs(part[:, 0] - 2 * part[:, 1] + part[:, 2])
    # 1.4826: MAD to SD (Hampel FR 1974, J Am Stat Assoc 69:383-393); a second difference has six times the variance
    return float(1.4826 * np.nanmedian(bend) / np.sqrt(6.0))


def _approach(x: Array, level: float, found: Spans, width: int) -> float:
    """Give the mean distance from ``level`` at ``width`` samples before and after runs."""
    before, after = found[:, 0] - width, found[:, 1] - 1 + width
    sides = np.concatenate([x[before[before >= 0]], x[after[after < len(x)]]])
    known = sides[np.isfinite(sides)]
    return float(np.mean(np.abs(known - level))) if known.size else 0.0


@dataclass(frozen=True)
class _Grain:
    """How coarse a channel is: quantisation step, noise SD, mean length of runs of equal samples off the extremes."""

    quantum: float
    noise: float
    hold: float


def _rail(x: Array, level: float, at: npt.NDArray[np.bool_], depth: float, grain: _Grain, widest: int) -> Spans:
    """Find the runs at one extreme; none if the signal comes to rest there by itself.

    Parameters
    ----------
    x : array, shape (n,)
        The channel.
    level : float
        Where the extreme begins.
    at : bool array, shape (n,)
        Samples from ``level`` on.
    depth : float
        Distance of ``level`` from the extreme itself.
    grain : _Grain
        How coarse the channel is.
    widest : int
        Longest distance in samples over which the approach is looked at.
    """
    none: Spans = np.empty((0, 2), dtype=np.intp)
    shortest = round((_RAIL_RUN if depth == 0 else _NOISY_RAIL_RUN) * grain.hold)
    found: Spans = runs(at)
    found = found[found[:, 1] - found[:, 0] >= shortest]
    visible = max(_VISIBLE_QUANTA * max(grain.quantum, depth), _VISIBLE_NOISE * grain.noise)
    width = max(round(grain.hold), 1)
    while len(found) and width <= widest:
        far = _approach(x, level, found, 2 * width)
        if far >= visible:
            near = _approach(x, level, found, width)
            # the signal meets the rail between two samples, on average half a sample before the run
            power = np.log(far / near) / np.log((2 * width - 0.5) / (width - 0.5)) if near > 0 else np.inf
            return found if power <= _STRAIGHT else none
        width *= 2
    return none


def _edges(x: Array, found: Spans) -> Array:
    """Give the larger of the two steps beside each run."""
    before = np.abs(x[np.maximum(found[:, 0] - 1, 0)] - x[found[:, 0]])
    after = np.abs(x[np.minimum(found[:, 1], len(x) - 1)] - x[found[:, 0]])
    edge: Array = np.fmax(np.nan_to_num(before), np.nan_to_num(after))
    return edge


def _inside(n: int, spans: Spans) -> npt.NDArray[np.bool_]:
    mask = np.zeros(n, dtype=bool)
    for start, end in spans:
        mask[start:end] = True
    return mask


def _stuck(x: Array, steps: Array, shortest: int, quantum: float) -> Spans:
    """Find runs of equal samples that end with a jump: a value held while others were lost."""
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


def assess_channel(
    values: Array, fs: float, *, dead_s: float, rails: bool = True, holds: bool = False
) -> ChannelQuality:
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
        Look for rails and for an open input; off for channels that no converter clips (angles, references).
    holds : bool
        The channel may hold one value exactly and leave it at once (a test stage): such stretches are not stuck.

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
    known = steps[np.isfinite(steps)] if len(missing) else steps
    quantum = smallest_step(known)
    shortest = max(round(dead_s * fs), _RAIL_RUN)
    stuck = none if holds else _stuck(values, steps, shortest, quantum)
    if rails:
        stuck = stuck[~np.isin(values[stuck[:, 0]], (low, high))]
    clipped, dead = [none], [stuck]
    for value, inwards in ((low, 1.0), (high, -1.0)) if rails else ():
        depth = _RAIL_NOISE_QUANTA * quantum
        depth = depth if depth < _THIN * (high - low) else 0.0
        level = value + inwards * depth
        near = values <= level if inwards > 0 else values >= level
        if np.count_nonzero(near) < _RAIL_RUN:
            continue
        at = values == value
        found = runs(at)
        found = found[found[:, 1] - found[:, 0] >= shortest]
        jump = _JUMP * float(np.quantile(np.abs(known[:: max(1, len(known) // 200000)]), 0.999))
        unplugged = found[_edges(values, found) > jump]
        dead.append(unplugged)
        off = (values[1:] != low) & (values[1:] != high)
        hold = 1.0 / max(1.0 - float(np.mean(steps[off] == 0)), 0.01) if off.any() else 1.0
        grain = _Grain(quantum, _noise(values), hold)
        if len(unplugged):
            out = _inside(n, unplugged)
            at, near = at & ~out, near & ~out
        widest = max(round(_APPROACH_S * fs), 2)
        exact = _rail(values, value, at, 0.0, grain, widest)
        noisy = depth > 0 and len(exact) == 0
        clipped.append(_rail(values, level, near, depth, grain, widest) if noisy else exact)
    order_clipped, order_dead = np.concatenate(clipped), np.concatenate(dead)
    return ChannelQuality(
        n,
        missing,
        order_clipped[np.argsort(order_clipped[:, 0], kind="stable")],
        np.unique(order_dead, axis=0),
        noise_only=rails and _noise_only(values, fs),
    )
