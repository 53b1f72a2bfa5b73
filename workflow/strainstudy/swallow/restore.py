"""Give back what a sensor that lets go has lost: the movement, where the signal is nearer to its rate of change.

In: activity of a stream and the events in it. Out: the leak rate of the recording, and the stream with the leak
undone.

A well coupled strain sensor follows the movement. One that slides, relaxes or is AC-coupled answers to
x - (x seen through a first-order lag), and one that gives charge for change answers to the rate of x: an up and a
down instead of one hump, and in a run of sips nothing tells which down belongs to which up. The inverse of a
first-order high-pass with leak rate k is the signal plus k times its integral; k = 0 is a sensor that holds, a
large k one that answers to the rate alone. The k is taken for which the recording's events with a pause on both
sides are most nearly humps: on one side of the base line, and back on it at their end.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

import numpy as np

from .activity import Activity, Array
from .cut import Pieces, bodies_of

__all__ = ["leak_rate", "restore"]

_RATES_PER_S: Final = (0.0, 0.5, 1.0, 1.5, 2.0, 3.0, 4.0, 6.0, 10.0, 30.0)
"""Leak rates tried, 1/s: from a sensor that holds to one that answers to the rate of change alone (ours)."""
# A change of the signal has to make events clearly more like humps before it is believed.
_GAIN: Final = 0.25
_FEWEST: Final = 3
"""Lone events from which they are asked (ours)."""
_MOST: Final = 200
"""And so many at most, evenly spread (ours, for speed)."""
_MARGIN_S: Final = 0.25
"""Taken on either side of an event, so that it starts and ends at rest (ours)."""
# The two strokes of one swallow lie closer together than this.
_PAUSE_S: Final = 0.8
_SHORTEST_S: Final = 0.4
"""Shortest event that is asked (ours: shorter ones are no swallows)."""
_LONGEST_S: Final = 3.5
"""And the longest (ours)."""
# Where there are too few, runs of many sips tell it too, for restored they stay on one side all along.
_LONGEST_RUN_S: Final = 30.0
_GAIN_OF_RUNS: Final = 0.4
"""What a change has to gain where runs tell it (ours)."""
_SMALLEST: Final = 0.15
"""Events below this share of the large ones are not asked (ours)."""
# Scale of the integral, so that a pulse of usual length keeps about its size.
_PULSE_S: Final = 0.3


def _restored(level: Array, fs: float, rate: float | Array) -> Array:
    whole: Array = (level + rate * np.cumsum(level) / fs) / (1 + rate * _PULSE_S)
    return whole


def _hump(wave: Array, fs: float, rates: Array) -> Array:
    """Share of an event's area on one side, less what is missing to the base line at the end, for each leak rate."""
    whole = _restored(wave, fs, rates[:, None])
    size = np.abs(whole)
    left_over = size[:, -max(int(0.1 * fs), 1) :].mean(axis=1) / size.max(axis=1)
    share: Array = np.abs(whole.sum(axis=1)) / size.sum(axis=1) - left_over
    return share


def _lone_runs(activity: Activity, pieces: Pieces, longest_s: float) -> list[tuple[int, int]]:
    """List runs no longer than ``longest_s`` with a pause on both sides: first and last sample."""
    fs = activity.fs
    begins, ends = bodies_of(activity.coarse, *np.array(pieces, dtype=np.intp).T)
    cuts = np.flatnonzero(begins[1:] - ends[:-1] > _PAUSE_S * fs)
    first, last = begins[np.concatenate([[0], cuts + 1])], ends[np.concatenate([cuts, [len(ends) - 1]])]
    size = np.array([activity.coarse[a : b + 1].max() for a, b in zip(first, last, strict=True)])
    length = (last - first) / fs
    usual = (length >= _SHORTEST_S) & (length <= longest_s) & (size >= _SMALLEST * np.percentile(size, 90))
    chosen = np.flatnonzero(usual)
    if len(chosen) > _MOST:
        chosen = chosen[np.linspace(0, len(chosen) - 1, _MOST).astype(np.intp)]
    return [(int(first[k]), int(last[k])) for k in chosen]


def _lone_waves(looks: Sequence[tuple[Activity, Pieces]], longest_s: float) -> list[tuple[Array, float]]:
    """Waveforms of lone runs, set to start and end at 0, each with its rate in Hz."""
    waves = []
    for activity, pieces in looks:
        margin = int(_MARGIN_S * activity.fs)
        for first, last in _lone_runs(activity, pieces, longest_s) if pieces else []:
            wave = activity.slow[max(first - margin, 0) : last + margin + 1]
            waves.append((wave - np.linspace(wave[0], wave[-1], len(wave)), activity.fs))
    return waves


def leak_rate(looks: Sequence[tuple[Activity, Pieces]]) -> float:
    """Estimate how fast the sensor lets go.

    Parameters
    ----------
    looks : sequence of (Activity, list of (int, int))
        Streams of one sensor on one throat, each with its pieces from `cut.cut_together`.

    Returns
    -------
    float
        Leak rate in 1/s; 0 where the sensor holds or nothing tells.
    """
    gain = _GAIN
    waves = _lone_waves(looks, _LONGEST_S)
    if len(waves) < _FEWEST:
        gain = _GAIN_OF_RUNS
        waves = _lone_waves(looks, _LONGEST_RUN_S)
    if not waves or (len(waves) == 1 and len(waves[0][0]) <= (_LONGEST_S + 2 * _MARGIN_S) * waves[0][1]):
        # A single event may as well be a change of posture, which a sensor that lets go makes a hump of.
        return 0.0
    rates = np.array(_RATES_PER_S)
    marks = np.median([_hump(wave, fs, rates) for wave, fs in waves], axis=0)
    best = int(np.argmax(marks))
    return _RATES_PER_S[best] if marks[best] > marks[0] + gain else 0.0


def restore(activity: Activity, rate: float) -> Array:
    """Undo the leak: the stream as a sensor that holds would have given it, shape (n,), at the working rate."""
    return _restored(np.where(activity.observed, activity.level, 0.0), activity.fs, rate)
