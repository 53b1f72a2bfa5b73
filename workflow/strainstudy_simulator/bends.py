"""Knee bends: holds at known angles for calibration, and squats.

In: the angles to hold. Out: flexion of both knees in degrees and the true holds. A protractor puts a knee at an
angle to within a degree or two, and the knee then gives a little.
"""

from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise

import numpy as np
import numpy.typing as npt
from scipy.signal import butter, sosfilt

from .knee import KneeMotion
from .throat import smooth_step
from .truth import Event, in_order

__all__ = ["hold_bends", "squats"]

Array = npt.NDArray[np.float64]


def _follow(knots: Sequence[tuple[float, float]], time: Array) -> Array:
    """Minimum-jerk ways between (time, angle) knots."""
    angle = np.full(len(time), knots[0][1])
    for (t0, a0), (t1, a1) in pairwise(knots):
        if a1 != a0:
            low = int(np.searchsorted(time, t0))
            angle[low:] = a0 + (a1 - a0) * smooth_step((time[low:] - t0) / (t1 - t0))
    return angle


def _tremor(n: int, fs: float, rng: np.random.Generator, degrees: float) -> Array:
    band = butter(1, (0.1, 4.0), "bandpass", fs=fs, output="sos")
    tremor: Array = sosfilt(band, rng.standard_normal(n)) * degrees * np.sqrt(fs / (2 * 6.0))
    return tremor


def hold_bends(
    fs: float,
    rng: np.random.Generator,
    *,
    targets_deg: Sequence[float] = (45, 90),
    sides: Sequence[str] = ("left", "right"),
    stairs: int = 1,
    singles: int = 1,
    hold_s: float = 4.5,
    placing_sd_deg: float = 1.2,
) -> KneeMotion:
    """Hold each knee in turn at known angles: up and down the stairs, then one angle at a time from straight.

    Parameters
    ----------
    fs : float
        Hz.
    rng : Generator
    targets_deg : sequence of float
        Rising angles above 0.
    sides : sequence of str
        In which order.
    stairs, singles : int
        How often all angles are passed up and down without straightening, holding 0 before and after too, and
        how often each is reached from the straight knee and left for it.
    hold_s, placing_sd_deg : float
        How long a hold lasts about, and how closely the true angle meets the target.

    Returns
    -------
    KneeMotion
        Truth: one ``knee_bend`` per hold, from its coming to rest to its leaving, with the target as value.
        The short straight rests between single bends are no holds.
    """
    at, events = rng.uniform(1.5, 2.5), []
    knots: dict[str, list[tuple[float, float]]] = {"left": [], "right": []}
    passes = [*stairs * [0.0, *targets_deg, *list(targets_deg)[-2::-1], 0.0]]
    for side in sides:
        plan = [(target, True) for target in passes]
        plan += [step for _ in range(singles) for t in targets_deg for step in ((t, True), (0.0, False))]
        for target, held in plan:
            angle = max(0.0, target + placing_sd_deg * float(np.clip(rng.standard_normal(), -2.5, 2.5)))
            if knots[side]:
                at += abs(angle - knots[side][-1][1]) / rng.uniform(28, 50) + 0.4
            knots[side].append((at, angle))
            seconds = (hold_s if held else 0.5 * hold_s) * rng.uniform(0.85, 1.25)
            if held:
                events.append(Event(at, seconds, "knee_bend", side, float(target)))
            at += seconds
            # The held leg gives a little, towards the straight knee.
            knots[side].append((at, angle - rng.uniform(0.0, 0.02) * angle))
        at += rng.uniform(1.5, 3.0)
    n = int(at * fs)
    time = np.arange(n) / fs
    angles = {}
    for side in ("left", "right"):
        straight = [(0.0, float(rng.uniform(0.5, 4.0)))]
        angles[side] = _follow(knots[side] or straight, time) + _tremor(n, fs, rng, 0.25)
    return KneeMotion(angles, in_order(events))


def squats(
    fs: float, rng: np.random.Generator, *, count: int = 4, depth_deg: float = 85.0, seconds: float = 3.0
) -> KneeMotion:
    """Squat with both knees.

    Truth: one ``knee_bend`` per squat and side, from the visible start to the return, its peak as value.
    """
    at, events = rng.uniform(1.5, 2.5), []
    knots = {side: [(0.0, float(rng.uniform(1, 5)))] for side in ("left", "right")}
    for _ in range(count):
        down, hold, up = (seconds * rng.uniform(0.9, 1.1) * share for share in (0.4, 0.2, 0.4))
        for side, track in knots.items():
            low = track[0][1]
            deep = depth_deg * rng.normal(1, 0.04)
            track += [(at, low), (at + down, deep), (at + down + hold, deep), (at + down + hold + up, low)]
            events.append(Event(at, down + hold + up, "knee_bend", side, round(deep)))
        at += down + hold + up + rng.uniform(1.0, 2.5)
    n = int((at + 1.0) * fs)
    time = np.arange(n) / fs
    angles = {side: _follow(track, time) + _tremor(n, fs, rng, 0.4) for side, track in knots.items()}
    return KneeMotion(angles, in_order(events))
