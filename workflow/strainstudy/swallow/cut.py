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

from itertools import pairwise

import numpy as np
import numpy.typing as npt
from scipy.signal import find_peaks

from .activity import Activity, Array
from .parameters import SwallowParameters

__all__ = ["Pieces", "body_of", "cut_into_pieces"]

Indices = npt.NDArray[np.intp]
Pieces = list[tuple[int, int]]

# Spread of the logarithm of a swallow's length over people and boluses: a factor 1.5 either way.
_LENGTH_SPREAD = 0.4
_VALLEY_COST = 2.5
# Being like the common waveform pays from this correlation on, which the half of a pulse reaches.
_ALIKE_FROM = 0.6
_ALIKE_GAIN = 4.0
_LONGEST_PIECE_S = 6.0
_MOST_JOINED = 24
_APART_S = 0.5
_LEAST_SIGNIFICANCE = 2.0
_SMALLEST_SHARE = 0.01
_BODY_SHARE = 0.1
_POINTS = 24
_ALONE_S = 0.6
_FEWEST_ALIKE = 4
_MOST_ALIKE = 300


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
    above = np.flatnonzero(piece > _BODY_SHARE * piece.max())
    return left + int(above[0]), left + int(above[-1])


def _waveform(slow: Array, first: int, last: int) -> Array:
    """Waveform over its own length: fixed number of points, unit norm, sign and base line kept."""
    points = slow[np.linspace(first, last, _POINTS).astype(np.intp)]
    norm = float(np.linalg.norm(points))
    scaled: Array = points / norm if norm > 0 else points
    return scaled


def _cut_run(activity: Activity, peaks: Indices, typical_s: float, pattern: Array | None) -> Pieces:
    """Cut one run of activity with the given peaks; pieces are (first sample, one past the last)."""
    coarse, fs = activity.coarse, activity.fs
    reach = int(2 * fs)
    ends = [max(peaks[0] - reach, 0), min(peaks[-1] + reach, len(coarse))]
    valleys = _lowest_between(coarse, peaks)
    bounds = np.concatenate([ends[:1], valleys, ends[1:]]).astype(np.intp)
    if len(peaks) == 1:
        return [(int(bounds[0]), int(bounds[1]))]
    depth = coarse[valleys] / np.minimum(coarse[peaks[:-1]], coarse[peaks[1:]])
    joined = np.concatenate([[0.0], np.cumsum(1 - depth)])
    n = len(peaks)
    best, origin = np.full(n + 1, np.inf), np.zeros(n + 1, dtype=np.intp)
    best[0] = 0.0
    for stop in range(1, n + 1):
        for start in range(stop - 1, max(stop - 1 - _MOST_JOINED, -1), -1):
            if (peaks[stop - 1] - peaks[start]) / fs > _LONGEST_PIECE_S:
                break
            cost = best[start] + _VALLEY_COST * (joined[stop - 1] - joined[start])
            if start > 0:
                cost += _VALLEY_COST * depth[start - 1]
            first, last = body_of(coarse, bounds[start], bounds[stop])
            length = (last - first + 1) / fs
            cost += 0.5 * (np.log(length / typical_s) / _LENGTH_SPREAD) ** 2
            if pattern is not None:
                alike = float(_waveform(activity.slow, first, last) @ pattern)
                # In proportion to length, so that joining unlike pieces saves nothing.
                cost -= _ALIKE_GAIN * (alike - _ALIKE_FROM) * length / typical_s
            if cost < best[stop]:
                best[stop], origin[stop] = cost, start
    pieces: Pieces = []
    stop = n
    while stop > 0:
        start = int(origin[stop])
        pieces.append((int(bounds[start]), int(bounds[stop])))
        stop = start
    return pieces[::-1]


def _common_waveform(activity: Activity, pieces: Pieces, parameters: SwallowParameters) -> Array | None:
    """Waveform that the events of usual length with a pause on both sides share; None where they are too few."""
    bodies = np.array([body_of(activity.coarse, *piece) for piece in pieces])
    pause = np.concatenate([[np.inf], (bodies[1:, 0] - bodies[:-1, 1]) / activity.fs, [np.inf]])
    length = (bodies[:, 1] - bodies[:, 0]) / activity.fs
    alone = (pause[:-1] > _ALONE_S) & (pause[1:] > _ALONE_S)
    usual = (length >= parameters.shortest_s) & (length <= parameters.longest_s)
    chosen = np.flatnonzero(alone & usual)
    if len(chosen) < _FEWEST_ALIKE:
        return None
    chosen = chosen[np.unique(np.linspace(0, len(chosen) - 1, min(len(chosen), _MOST_ALIKE)).astype(np.intp))]
    waves = np.array([_waveform(activity.slow, *bodies[k]) for k in chosen])
    alike = waves @ waves.T
    count = max(len(chosen) // 4, 2)
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


def cut_into_pieces(activity: Activity, parameters: SwallowParameters) -> Pieces:
    """Cut a stream into events.

    Parameters
    ----------
    activity : Activity
    parameters : SwallowParameters

    Returns
    -------
    list of (int, int)
        First sample and one past the last of each piece, by time; only those whose activity stands out from
        rest by ``noise_factor``.
    """
    runs = _runs(activity, parameters.noise_factor)

    def cut(pattern: Array | None) -> Pieces:
        pieces = [piece for run in runs for piece in _cut_run(activity, run, parameters.typical_duration_s, pattern)]
        return [
            (left, right)
            for left, right in pieces
            if activity.significance[left:right].max() >= parameters.noise_factor
        ]

    pieces = cut(None)
    pattern = _common_waveform(activity, pieces, parameters) if pieces else None
    return pieces if pattern is None else cut(pattern)
