"""Jumps of a level, which no movement makes: an amplifier's offset moves, a contact slips, a lead falls off.

In: a knee's channel on a uniform grid, NaN where there is no data, in any unit. Out: where its level jumps, and which
stretches to leave out: those in which it tells nothing, and those at another level than most of the recording. A knee
moves below about 6 Hz (Winter, Biomechanics and Motor Control of Human Movement), so its fastest rise lasts several
hundredths of a second and is fast just before and just after as well; a jump stands alone between slow neighbours.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
import numpy.typing as npt

__all__ = ["Jumps", "find_jumps"]

Array = npt.NDArray[np.float64]
Spans = npt.NDArray[np.intp]

_WITHIN_S: Final = 0.02
"""A jump is over in this time: an amplifier settles in a few milliseconds, an anti-alias filter in some more (ours)."""
_ABOVE_USUAL: Final = 2.5
"""Times the 99.9 % largest rise of the channel in that time; sound simulated walks and bends have 1.35 at most."""
_ABOVE_BESIDE: Final = 4.0
"""Times the rise just before and just after; a movement of 6 Hz has 1.4 at its steepest (half a period's cosine)."""
_ABOVE_NOISE: Final = 12.0
"""Standard deviations of the channel's own noise: its floor, so that no channel at rest jumps (ours)."""
_LEVEL_S: Final = 0.11
"""Time before and after over which the level is read, so that a spike, which comes back, is no jump (ours)."""
_LASTING: Final = 0.5
"""Share of a jump that the level keeps (ours)."""
_SURE: Final = 1.6
"""Times the least jump from which on nothing else is asked: 4 usual rises, where recorded sleeves have 2.9 at most."""
_PARTNER: Final = 0.5
"""Times the least jump from which on a step counts that undoes a sure one (ours)."""
_BACK: Final = 0.5
"""Share of a sure jump within which the step that undoes it must agree with it: movement goes on meanwhile (ours)."""
_REST_S: Final = 3.0
"""Time before and after in which the low and the high end of the movement must have moved as well (ours: two strides).
A film that slips under its thread in a bend steps up too, and is back where it was with the leg straight: recorded
sleeves do so, and nothing of theirs is to be left out."""
_ENDS: Final = (0.1, 0.9)
"""Quantiles that stand for the low and the high end (ours)."""
_SAME: Final = 0.35
"""Levels nearer to one another than this share of the smaller jump beside them are one level (ours)."""
_FLAT: Final = 0.05
"""A stretch between two jumps that spans less than this share of what the channel spans elsewhere tells nothing."""
_FLAT_S: Final = 0.5
"""Shortest such stretch, s (ours)."""
_BLOCK_S: Final = 0.1
"""Whole periods of 50 and of 60 Hz: block means keep movement, and hum averages out of them."""


@dataclass(frozen=True)
class Jumps:
    """Where the level of a channel jumps and what that leaves; spans are sample indices, end exclusive.

    Parameters
    ----------
    at : tuple of int
        First sample after each jump.
    silent : Spans
        Stretches between jumps that hold no movement: a lead was off.
    displaced : Spans
        Stretches at another level than that at which most of the recording lies.
    """

    at: tuple[int, ...]
    silent: Spans
    displaced: Spans


def _noise(x: Array) -> float:
    """Estimate the SD of the noise from second differences, which movement leaves small."""
    bend = np.abs(x[:-2] - 2 * x[1:-1] + x[2:])
    # 1.4826: MAD to SD (Hampel FR 1974, J Am Stat Assoc 69:383-393); a second difference has six times the variance
    return float(1.4826 * np.nanmedian(bend) / np.sqrt(6.0)) if np.isfinite(bend).any() else 0.0


def _median(x: Array) -> float:
    known = x[np.isfinite(x)]
    return float(np.median(known)) if known.size else np.nan


def _steps(x: Array, fs: float) -> list[tuple[int, float]]:
    """Find jumps: the first sample after each, and by how much the level moves."""
    width = max(1, round(_WITHIN_S * fs))
    reach = max(2, round(_LEVEL_S * fs))
    rise = x[width:] - x[:-width]
    size = np.abs(rise)
    known = size[np.isfinite(size)]
    if known.size < 4 * reach:
        return []
    floor = max(_ABOVE_USUAL * float(np.quantile(known, 0.999)), _ABOVE_NOISE * _noise(x), np.finfo(float).tiny)
    candidates = np.flatnonzero(np.nan_to_num(size) > _PARTNER * floor)
    found: list[tuple[int, float]] = []
    for group in np.split(candidates, np.flatnonzero(np.diff(candidates) > width) + 1):
        if not group.size:
            continue
        k = int(group[np.argmax(size[group])])
        # differences that overlap this one see the same jump; these lie just outside of it
        beside = [size[j] for j in (k - width, k + width) if 0 <= j < size.size and np.isfinite(size[j])]
        step = _median(x[k + width : k + width + reach]) - _median(x[max(0, k - reach) : k + 1])
        lasting = np.isfinite(step) and abs(step) > _LASTING * size[k] and step * rise[k] > 0
        if lasting and all(_ABOVE_BESIDE * other < size[k] for other in beside):
            place = k + 1 + int(np.nanargmax(np.abs(np.diff(x[k : k + width + 1]))))
            found.append((place, float(rise[k])))
    wide = round(_REST_S * fs)
    bounds = [0, *(place for place, _ in found), len(x)]
    sure = []
    for number, (place, step) in enumerate(found, start=1):
        before = x[max(bounds[number - 1], place - wide) : place]
        after = x[place + width : min(bounds[number + 1], place + wide)]
        sure.append(abs(step) > _SURE * floor or (abs(step) > floor and _ends_moved(before, after, step)))
    seeds = [step for (_, step), one in zip(found, sure, strict=True) if one]
    return [
        (place, step)
        for (place, step), one in zip(found, sure, strict=True)
        if one or any(step * seed < 0 and abs(step + seed) < _BACK * abs(seed) for seed in seeds)
    ]


def _ends_moved(before: Array, after: Array, step: float) -> bool:
    """Tell whether the low and the high end of what is before and after lie apart by most of a step."""
    before, after = before[np.isfinite(before)], after[np.isfinite(after)]
    if not (before.size and after.size):
        return False
    moved = np.quantile(after, _ENDS) - np.quantile(before, _ENDS)
    return bool((np.sign(step) * moved > _LASTING * abs(step)).all())


def _slow_range(x: Array, fs: float) -> float:
    """Span of the means of blocks that hold whole periods of the mains; NaN without two blocks."""
    block = max(1, round(_BLOCK_S * fs))
    whole = len(x) // block
    if whole < 2:
        return np.nan
    parts = x[: whole * block].reshape(whole, block)
    means = parts[np.isfinite(parts).all(axis=1)].mean(axis=1)
    if means.size < 2:
        return np.nan
    low, high = np.quantile(means, [0.02, 0.98])
    return float(high - low)


def find_jumps(values: npt.ArrayLike, fs: float) -> Jumps:
    """Find jumps of the level of a knee's channel.

    Parameters
    ----------
    values : array, shape (n,)
        In any unit; NaN where there is no data.
    fs : float
        Hz.

    Returns
    -------
    Jumps
        Of several levels the one that lasts longest in all is that of the recording; the others are displaced.
    """
    x = np.asarray(values, dtype=np.float64)
    none: Spans = np.empty((0, 2), dtype=np.intp)
    steps = _steps(x, fs)
    if not steps:
        return Jumps((), none, none)
    at = [place for place, _ in steps]
    bounds = [0, *at, len(x)]
    spans = np.column_stack([bounds[:-1], bounds[1:]]).astype(np.intp)
    ranges = np.array([_slow_range(x[a:b], fs) for a, b in spans])
    lively = float(np.nanmax(ranges)) if np.isfinite(ranges).any() else 0.0
    length = (spans[:, 1] - spans[:, 0]).astype(float)
    # the ends of a recording may be at rest; between two jumps there is no rest that would not show one
    between = np.arange(len(spans)) % (len(spans) - 1) > 0
    silent = between & (length >= _FLAT_S * fs) & (ranges < _FLAT * lively)
    placed = _placed(x, spans, [step for _, step in steps], silent)
    seconds = {int(name): float(length[placed == name].sum()) for name in np.unique(placed[~silent])}
    home = max(seconds, key=lambda name: (seconds[name], -name)) if seconds else -1
    # an amplifier settles on either side
    width = max(1, round(_WITHIN_S * fs))
    wider = np.column_stack([np.maximum(spans[:, 0] - width, 0), np.minimum(spans[:, 1] + width, len(x))])
    return Jumps(tuple(at), wider[silent], wider[~silent & (placed != home)])


def _placed(x: Array, spans: Spans, steps: list[float], silent: npt.NDArray[np.bool_]) -> npt.NDArray[np.intp]:
    """Name the level of each span by the first span at it, -1 where it is silent.

    Two spans are at one level if the steps between them add up to little, or if they rest at one height (a rail cuts
    steps short, and moves no rest).
    """
    low, middle, high = np.nanquantile(x, [0.02, 0.5, 0.98])
    end = _ENDS[0] if middle - low < high - middle else _ENDS[1]
    rests = [float(np.nanquantile(x[a:b], end)) if np.isfinite(x[a:b]).any() else np.nan for a, b in spans]
    levels = [0.0]
    for k, step in enumerate(steps):
        # nothing says how far a level moved while a channel was silent
        levels.append(levels[-1] if silent[k] or silent[k + 1] else levels[-1] + step)
    near = _SAME * float(np.min(np.abs(steps)))
    placed = np.full(len(spans), -1, dtype=np.intp)
    for k in map(int, np.flatnonzero(~silent)):
        alike = [
            j
            for j in range(k - 1)
            if placed[j] >= 0 and (abs(levels[j] - levels[k]) < near or abs(rests[j] - rests[k]) < near)
        ]
        placed[k] = placed[alike[0]] if alike else k
    return placed
