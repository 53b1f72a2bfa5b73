"""A stretching stage and a tapping rod: what they do to a sensor, and what the stage reports.

In: a programme of cycles, steps and holds. Out: strain of the sensor and the stage's own reading of it, which
comes through another clock and is therefore a little early or late.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from .throat import smooth_step

__all__ = ["BenchRun", "Cycles", "Hold", "Program", "run_stage", "standard_program", "tap_bench"]

Array = npt.NDArray[np.float64]


@dataclass(frozen=True)
class Cycles:
    """Stretch from ``low`` to ``high`` strain and back, ``count`` times, with a ``triangle`` or ``sine`` wave."""

    high: float
    seconds: float
    count: int
    wave: str = "triangle"
    low: float = 0.0


@dataclass(frozen=True)
class Hold:
    """Go to ``strain`` within ``ramp_s`` and stay for ``seconds``."""

    strain: float
    ramp_s: float
    seconds: float


Program = Sequence[Cycles | Hold]


@dataclass(frozen=True)
class BenchRun:
    """Strain of the sensor (fraction) and the stage's reading of it (percent), each shape (n,)."""

    strain: Array
    reference_percent: Array


def standard_program(largest_strain: float) -> Program:
    """Run in, cycle to three amplitudes, step and hold for creep, cycle fast."""
    return (
        Hold(0.0, 0.0, 4.0),
        Cycles(largest_strain, 8.0, 2),
        Cycles(0.4 * largest_strain, 6.0, 2),
        Cycles(largest_strain, 8.0, 5),
        Hold(0.0, 0.0, 6.0),
        Hold(0.6 * largest_strain, 0.05, 30.0),
        Hold(0.0, 0.05, 20.0),
        Cycles(0.6 * largest_strain, 2.0, 4, "sine"),
        Hold(0.0, 0.0, 4.0),
    )


def _knots(program: Program) -> tuple[Array, Array]:
    times, strains = [0.0], [0.0]
    for part in program:
        at, here = times[-1], strains[-1]
        if isinstance(part, Hold):
            if part.ramp_s > 0 and part.strain != here:
                times.append(at + part.ramp_s)
                strains.append(part.strain)
            times.append(times[-1] + part.seconds)
            strains.append(strains[-1])
            continue
        if part.wave not in ("triangle", "sine"):
            raise ValueError(f"wave must be triangle or sine, not {part.wave!r}")
        span = part.high - part.low
        if part.wave == "triangle":
            u = np.arange(1, 2 * part.count + 1) / 2
            shape = np.mod(u, 1) * 2
        else:
            u = np.arange(1, 400 * part.count + 1) / 400
            shape = 0.5 - 0.5 * np.cos(2 * np.pi * u)
        times.extend(at + part.seconds * u)
        strains.extend(part.low + span * shape)
    return np.array(times), np.array(strains)


def run_stage(
    program: Program,
    fs: float,
    rng: np.random.Generator,
    *,
    lag_s: float = 0.0,
    reference_noise_percent: float = 0.02,
) -> BenchRun:
    """Run a programme on the stage.

    Parameters
    ----------
    program : sequence of Cycles and Hold
        From zero strain at time 0.
    fs : float
        Hz.
    rng : Generator
    lag_s : float
        The reference reads what the sensor feels this many seconds later (negative: earlier).
    reference_noise_percent : float
        Standard deviation of the stage's reading, percent strain.

    Returns
    -------
    BenchRun
    """
    times, strains = _knots(program)
    n = round(float(times[-1]) * fs)
    time = np.arange(n) / fs
    strain = np.interp(time, times, strains)
    reading = 100 * np.interp(time + lag_s, times, strains) + reference_noise_percent * rng.standard_normal(n)
    return BenchRun(strain, reading)


def tap_bench(
    fs: float,
    rng: np.random.Generator,
    *,
    count: int = 12,
    depth_strain: float = 0.25,
    pressed_share: float = 0.12,
    reference_noise_percent: float = 0.02,
) -> BenchRun:
    """Tap a clamped sensor with a rod.

    The rod stretches only the ``pressed_share`` of the length under it, by ``depth_strain``, so the whole film
    answers as to their product; the stage does not move.
    """
    at = 3.0
    beats = []
    for _ in range(count):
        beats.append((at, rng.uniform(0.12, 0.3), depth_strain * rng.normal(1, 0.08)))
        at += rng.uniform(1.2, 2.2)
    n = round((at + 1.0) * fs)
    time = np.arange(n) / fs
    strain = np.zeros(n)
    for onset, seconds, depth in beats:
        way = 0.3 * seconds
        press = smooth_step((time - onset) / way) * smooth_step((onset + seconds - time) / way)
        strain += pressed_share * depth * press
    return BenchRun(strain, reference_noise_percent * rng.standard_normal(n))
