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

__all__ = ["Pieces", "body_of", "cut_together"]

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
    for k, (left, right) in enumerate(pairwise(peaks)):
        between = values[left : right + 1]
        at = np.flatnonzero(between == between.min())
        lowest[k] = left + at[len(at) // 2]
    return lowest


def body_of(coarse: Array, left: int, right: int) -> tuple[int, int]:
    """First and last sample of a piece with at least a tenth of its largest activity."""
    piece = coarse[left:right]
    above = piece > _BODY_SHARE * piece.max()
    return left + int(above.argmax()), right - 1 - int(above[::-1].argmax())


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


def _possible(activity: Activity, peaks: Indices, within: tuple[int, int], typical_s: float) -> _Run:
    """List the pieces into which a run with the given peaks can be cut; none reaches beyond ``within``."""
    coarse, fs = activity.coarse, activity.fs
    reach = int(2 * fs)
    ends = [max(peaks[0] - reach, within[0]), min(peaks[-1] + reach, within[1])]
    valleys = _lowest_between(coarse, peaks)
    bounds = np.concatenate([ends[:1], valleys, ends[1:]]).astype(np.intp)
    depth = coarse[valleys] / np.minimum(coarse[peaks[:-1]], coarse[peaks[1:]])
    joined = np.concatenate([[0.0], np.cumsum(1 - depth)])
    before = np.concatenate([[0.0], depth])
    pairs = []
    for stop in range(1, len(peaks) + 1):
        for start in range(stop - 1, max(stop - 1 - _MOST_JOINED, -1), -1):
            if (peaks[stop - 1] - peaks[start]) / fs > _LONGEST_PIECE_S:
                break
            pairs.append((start, stop, *body_of(coarse, int(bounds[start]), int(bounds[stop]))))
    start, stop, first, last = np.array(pairs, dtype=np.intp).T
    length = (last - first + 1) / fs / typical_s
    cost = _VALLEY_COST * (joined[stop - 1] - joined[start] + before[start])
    cost += 0.5 * (np.log(length) / _LENGTH_SPREAD) ** 2
    return _Run(bounds, start, stop, cost, length, _waveforms(activity.slow, first, last))


def _lone_waveforms(activity: Activity, pieces: Pieces, parameters: SwallowParameters) -> Array:
    """Waveforms of the events of usual length with a pause on both sides, shape (m, points)."""
    if not pieces:
        return np.empty((0, _POINTS))
    bodies = np.array([body_of(activity.coarse, *piece) for piece in pieces])
    pause = np.concatenate([[np.inf], (bodies[1:, 0] - bodies[:-1, 1]) / activity.fs, [np.inf]])
    length = (bodies[:, 1] - bodies[:, 0]) / activity.fs
    alone = (pause[:-1] > _ALONE_S) & (pause[1:] > _ALONE_S)
    usual = (length >= parameters.shortest_s) & (length <= parameters.longest_s)
    return _waveforms(activity.slow, *bodies[alone & usual].T)


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
    return [
        _possible(activity, peaks, within, parameters.typical_duration_s)
        for peaks, within in zip(runs, limits, strict=True)
    ]


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
