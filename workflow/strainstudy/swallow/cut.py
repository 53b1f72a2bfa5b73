"""Cut a run of activity into events, so that one swallow is one piece.

In: activity and the peaks in it. Out: pieces, each from valley to valley.

A run may be one slow pulse, the two strokes of one pulse, or six sips in a row. Among all ways to join
neighbouring peaks the one is taken that costs least (dynamic programming over the valleys, as in optimal
segmentation, Jackson B et al. 2005, IEEE Signal Process Lett 12:105-108; from memory). A piece costs the more the
farther its length is from that of a swallow, a cut the more the shallower its valley. A second pass adds what
the recording itself teaches: the waveform that its events with a pause on both sides have in common. A piece
costs the more the less it is like it, so the second stroke of one swallow is not joined to the first of the next.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
import numpy.typing as npt
from scipy.signal import find_peaks

from .activity import Activity, Array
from .parameters import SwallowParameters

__all__ = ["Pieces", "bodies_of", "cut_together"]

Indices = npt.NDArray[np.intp]
Pieces = list[tuple[int, int]]

# Spread of the logarithm of a swallow's length over people and boluses: a factor 1.5 either way.
_LENGTH_SPREAD = 0.4
_VALLEY_COST = 2.5
"""Cost of a cut through a valley as high as its peaks; a length one spread off costs 0.5 (ours)."""
# Being like the common waveform pays from this correlation on, which the half of a pulse reaches.
_ALIKE_FROM = 0.6
_ALIKE_GAIN = 4.0
"""What likeness above that pays, per length of a swallow (ours)."""
_LONGEST_PIECE_S = 6.0
"""Peaks farther apart than this are not joined (ours: far beyond the longest swallow, for speed)."""
_MOST_JOINED = 24
"""Nor are more neighbouring peaks than this (ours, for speed)."""
_APART_S = 0.5
"""Rest between two peaks that parts two runs (ours)."""
_LEAST_SIGNIFICANCE = 2.0
"""Peaks lower than this multiple of what rests are left out (ours; events have to reach `noise_factor`)."""
_SMALLEST_SHARE = 0.01
"""As are those below this share of the stream's large ones (ours, for speed)."""
_BODY_SHARE = 0.1
"""The body of a piece is what has at least this share of its largest activity (ours)."""
_AT_ONCE = 512
"""Pieces whose body is looked for in one go, for memory (ours)."""
_POINTS = 24
"""Points of a waveform over its own length (ours: the strokes of a swallow are few)."""
_ALONE_S = 0.6
"""Pause on both sides of an event that stands alone (ours)."""
_FEWEST_ALIKE = 4
"""Lone events from which their common waveform is told (ours)."""
_MOST_ALIKE = 300
"""And so many at most, evenly spread (ours, for speed)."""


def _lowest_between(values: Array, peaks: Indices) -> Indices:
    """Position of the lowest value between each two neighbouring peaks; the middle of it where it is flat."""
    lowest = np.empty(len(peaks) - 1, dtype=np.intp)
    for k, (left, right) in enumerate(pairwise(peaks.tolist())):
        between = values[left : right + 1]
        at = np.flatnonzero(between == between.min())
        lowest[k] = left + at[len(at) // 2]
    return lowest


def bodies_of(coarse: Array, left: Indices, right: Indices) -> tuple[Indices, Indices]:
    """First and last sample of each piece with at least a tenth of its largest activity.

    Parameters
    ----------
    coarse : array, shape (n,)
    left, right : array of int, shape (m,)
        First sample of each piece and one past its last, in any order.

    Returns
    -------
    first, last : array of int, shape (m,)
    """
    first, last = np.empty_like(left), np.empty_like(right)
    length = right - left
    # Pieces of about one length go together: little is looked at in vain.
    by_length = np.argsort(length, kind="stable")
    for start in range(0, len(left), _AT_ONCE):
        own = by_length[start : start + _AT_ONCE]
        step = np.arange(int(length[own[-1]]))
        # Beyond its end a piece repeats its last sample, which changes neither its largest nor where it lies.
        piece = coarse[np.minimum(left[own, None] + step, right[own, None] - 1)]
        above = piece > _BODY_SHARE * piece.max(axis=1, keepdims=True)
        first[own] = left[own] + above.argmax(axis=1)
        last[own] = np.minimum(left[own] + len(step) - above[:, ::-1].argmax(axis=1), right[own]) - 1
    return first, last


def _waveforms(slow: Array, first: Indices, last: Indices) -> Array:
    """Waveforms over their own length, shape (m, points): unit norm, sign and base line kept."""
    at = first[:, None] + (last - first)[:, None] * np.linspace(0, 1, _POINTS)
    points = slow[at.astype(np.intp)]
    norm = np.linalg.norm(points, axis=1, keepdims=True)
    scaled: Array = points / np.where(norm > 0, norm, 1.0)
    return scaled


@dataclass(frozen=True)
class _Run:
    """A run of activity and the pieces it can be cut into, in the order of their ends.

    ``bounds`` has the sample of each valley; the other arrays one entry for each possible piece: the valleys it
    lies between, its cost by length and valleys, its length over a swallow's, and its waveform.
    """

    bounds: Indices
    start: Indices
    stop: Indices
    cost: Array
    length: Array
    waves: Array

    def cheapest(self, pattern: Array | None) -> Pieces:
        """Choose the pieces; with a pattern, being unlike it costs."""
        cost = self.cost
        if pattern is not None:
            # In proportion to length, so that joining unlike pieces saves nothing.
            cost = cost - _ALIKE_GAIN * (self.waves @ pattern - _ALIKE_FROM) * self.length
        n = len(self.bounds) - 1
        best, origin = [0.0] + [np.inf] * n, [0] * (n + 1)
        for start, stop, own in zip(self.start.tolist(), self.stop.tolist(), cost.tolist(), strict=True):
            if best[start] + own < best[stop]:
                best[stop], origin[stop] = best[start] + own, start
        pieces: Pieces = []
        stop = n
        while stop > 0:
            pieces.append((int(self.bounds[origin[stop]]), int(self.bounds[stop])))
            stop = origin[stop]
        return pieces[::-1]


@dataclass(frozen=True)
class _Valleys:
    """A run of activity between its peaks: the samples of its valleys, and those each possible piece lies between.

    ``cost`` is that of the valleys of each piece.
    """

    bounds: Indices
    start: Indices
    stop: Indices
    cost: Array


def _valleys(activity: Activity, peaks: Indices, within: tuple[int, int]) -> _Valleys:
    """List the pieces into which a run with the given peaks can be cut; none reaches beyond ``within``."""
    coarse, fs = activity.coarse, activity.fs
    reach = int(2 * fs)
    ends = [max(peaks[0] - reach, within[0]), min(peaks[-1] + reach, within[1])]
    valleys = _lowest_between(coarse, peaks)
    bounds = np.concatenate([ends[:1], valleys, ends[1:]]).astype(np.intp)
    depth = coarse[valleys] / np.minimum(coarse[peaks[:-1]], coarse[peaks[1:]])
    joined = np.concatenate([[0.0], np.cumsum(1 - depth)])
    before = np.concatenate([[0.0], depth])
    stop = np.repeat(np.arange(1, len(peaks) + 1), _MOST_JOINED)
    start = stop - 1 - np.tile(np.arange(_MOST_JOINED), len(peaks))
    stop, start = stop[start >= 0], start[start >= 0]
    near = (peaks[stop - 1] - peaks[start]) / fs <= _LONGEST_PIECE_S
    start, stop = start[near], stop[near]
    return _Valleys(bounds, start, stop, _VALLEY_COST * (joined[stop - 1] - joined[start] + before[start]))


def _possible(
    activity: Activity, runs: Sequence[Indices], limits: Sequence[tuple[int, int]], typical_s: float
) -> list[_Run]:
    """List the pieces into which runs with the given peaks can be cut; none reaches beyond the limits of its run."""
    parts = [_valleys(activity, peaks, within) for peaks, within in zip(runs, limits, strict=True)]
    left, right = (
        np.concatenate([part.bounds[at] for part, at in zip(parts, places, strict=True)])
        for places in ([part.start for part in parts], [part.stop for part in parts])
    )
    first, last = bodies_of(activity.coarse, left, right)
    length = (last - first + 1) / activity.fs / typical_s
    cost = np.concatenate([part.cost for part in parts]) + 0.5 * (np.log(length) / _LENGTH_SPREAD) ** 2
    waves = _waveforms(activity.slow, first, last)
    ends = np.cumsum([len(part.cost) for part in parts])
    return [
        _Run(part.bounds, part.start, part.stop, cost[own], length[own], waves[own])
        for part, own in zip(parts, (slice(a, b) for a, b in pairwise([0, *ends.tolist()])), strict=True)
    ]


def _lone_waveforms(activity: Activity, pieces: Pieces, parameters: SwallowParameters) -> Array:
    """Waveforms of the events of usual length with a pause on both sides, shape (m, points)."""
    if not pieces:
        return np.empty((0, _POINTS))
    first, last = bodies_of(activity.coarse, *np.array(pieces, dtype=np.intp).T)
    pause = np.concatenate([[np.inf], (first[1:] - last[:-1]) / activity.fs, [np.inf]])
    length = (last - first) / activity.fs
    alone = (pause[:-1] > _ALONE_S) & (pause[1:] > _ALONE_S)
    usual = (length >= parameters.shortest_s) & (length <= parameters.longest_s)
    return _waveforms(activity.slow, first[alone & usual], last[alone & usual])


def _common_waveform(waves: Array) -> Array | None:
    """Waveform that lone events share; None where they are too few."""
    if len(waves) < _FEWEST_ALIKE:
        return None
    waves = waves[np.unique(np.linspace(0, len(waves) - 1, min(len(waves), _MOST_ALIKE)).astype(np.intp))]
    alike = waves @ waves.T
    count = max(len(waves) // 4, 2)
    nearest = np.argsort(-alike, axis=1, kind="stable")[:, :count]
    middle = int(np.argmax(np.take_along_axis(alike, nearest, axis=1).mean(axis=1)))
    mean = waves[nearest[middle]].mean(axis=0)
    pattern: Array = mean / np.linalg.norm(mean)
    return pattern


def _runs(activity: Activity, noise_factor: float) -> list[Indices]:
    """Peaks of activity in runs without a longer rest between; only runs that stand out from rest."""
    coarse = activity.coarse
    peaks, _ = find_peaks(coarse)
    peaks = peaks[activity.significance[peaks] >= _LEAST_SIGNIFICANCE]
    if not len(peaks):
        return []
    peaks = peaks[coarse[peaks] > _SMALLEST_SHARE * np.percentile(coarse[peaks], 95)]
    rest = np.cumsum(coarse == 0)
    starts = np.flatnonzero(np.diff(rest[peaks]) > _APART_S * activity.fs) + 1
    largest = np.maximum.reduceat(activity.significance[peaks], np.concatenate([[0], starts]))
    # The peak of activity and that of significance may lie a little apart; the exact test is on the pieces.
    return [run for run, size in zip(np.split(peaks, starts), largest, strict=True) if size >= 0.8 * noise_factor]


def _possible_in(activity: Activity, parameters: SwallowParameters) -> list[_Run]:
    """List the pieces of all runs of a stream.

    Runs end in the rest between them: a piece that reached into the next would find that movement a second time.
    """
    runs = _runs(activity, parameters.noise_factor)
    if not runs:
        return []
    between = [int(_lowest_between(activity.coarse, np.array([a[-1], b[0]]))[0]) for a, b in pairwise(runs)]
    limits = pairwise([0, *between, len(activity.coarse)])
    return _possible(activity, runs, list(limits), parameters.typical_duration_s)


def cut_together(activities: Sequence[Activity], parameters: SwallowParameters) -> list[Pieces]:
    """Cut streams of one sensor on one throat into events; what one teaches of the waveform serves all.

    Parameters
    ----------
    activities : sequence of Activity
    parameters : SwallowParameters

    Returns
    -------
    list of list of (int, int)
        For each stream, first sample and one past the last of each piece, by time; only those whose activity
        stands out from rest by ``noise_factor``.
    """
    runs = [_possible_in(activity, parameters) for activity in activities]

    def cut(pattern: Array | None) -> list[Pieces]:
        return [
            [
                (left, right)
                for run in own
                for left, right in run.cheapest(pattern)
                if activity.significance[left:right].max() >= parameters.noise_factor
            ]
            for activity, own in zip(activities, runs, strict=True)
        ]

    pieces = cut(None)
    lone = [_lone_waveforms(a, own, parameters) for a, own in zip(activities, pieces, strict=True)]
    pattern = _common_waveform(np.concatenate(lone)) if lone else None
    return pieces if pattern is None else cut(pattern)
