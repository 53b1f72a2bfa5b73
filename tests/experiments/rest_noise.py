"""A throat that rests for hours: how often each kind of noise of the simulator is taken for a movement or a swallow.

In: nothing but a seed. Out: a page with one row per kind of noise. Every stream goes through bridge, converter,
calibration and conditioning as a recording does. No labels take part.
"""

from __future__ import annotations

import argparse
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import numpy as np
from scipy.stats import chi2
from strainstudy.condition.channel import channel_response
from strainstudy.condition.parameters import ConditionParameters
from strainstudy.condition.trace import condition_trace
from strainstudy.records import Sensor
from strainstudy.signal.quality import smallest_step
from strainstudy.swallow.activity import observed_seconds
from strainstudy.swallow.candidates import detect_together
from strainstudy.swallow.generic import accept_generic
from strainstudy.swallow.parameters import SwallowParameters
from strainstudy_simulator.people import rng_for
from strainstudy_simulator.sensor import Acquisition, BridgeModel, SensorModel, measure
from strainstudy_simulator.throat import SHAPES, ThroatMotion, ThroatPerson, rest_motion, sensor_strain

SEED = 20_240_101
HOURS = 10.0
QUIET = SensorModel(gauge_factor=6.0, rest_ohm=12_000.0)
CLEAN = Acquisition(white_noise_v=0.0, mains_v=0.0)
TARGET_PER_MINUTE = 0.2
SCALE = 0.03


def kinds() -> Iterator[tuple[str, SensorModel, Acquisition, bool, str]]:
    """Name each kind of noise, with sensor and converter that have it alone, and whether the body breathes."""
    yield "converter alone", QUIET, CLEAN, False, "one_hump"
    yield "white noise", QUIET, replace(CLEAN, white_noise_v=0.002), False, "one_hump"
    yield "less than a step of the converter", QUIET, replace(CLEAN, white_noise_v=0.0002), False, "one_hump"
    yield "mains hum", QUIET, replace(CLEAN, mains_v=0.006), False, "one_hump"
    yield "flicker", replace(QUIET, flicker=0.0012), CLEAN, False, "one_hump"
    yield "steady drift", replace(QUIET, drift_per_minute=0.003), CLEAN, False, "one_hump"
    yield "wander", replace(QUIET, wander_per_root_minute=0.002), CLEAN, False, "one_hump"
    yield "samples lost", QUIET, replace(CLEAN, white_noise_v=0.002, lost_per_minute=0.5), False, "one_hump"
    everything = replace(QUIET, flicker=0.0008, drift_per_minute=0.001, wander_per_root_minute=0.001)
    for shape in SHAPES:
        yield f"breathing and pulse, {shape.replace('_', ' ')}", QUIET, CLEAN, True, shape
        yield f"all of it, {shape.replace('_', ' ')}", everything, Acquisition(white_noise_v=0.0015), True, shape


def resting(
    name: str, sensor: SensorModel, acquisition: Acquisition, breathes: bool, shape: str, hours: float, fs: float
) -> tuple[np.ndarray, float]:
    """Conditioned response of a throat that rests, and the smallest step it was recorded with."""
    rng = rng_for(SEED, "rest", name, str(fs))
    n = round(hours * 3600 * fs)
    motion = rest_motion(n, fs, ThroatPerson(), rng) if breathes else ThroatMotion(np.zeros(n), np.zeros(n), ())
    bridge = BridgeModel(amplifier_gain=4.0)
    volts = measure(sensor_strain(motion, fs, shape=shape, scale=SCALE), fs, sensor, bridge, acquisition, rng)
    sheet = Sensor(
        "throat-rest",
        excitation_v=bridge.excitation_v,
        r1_ohm=bridge.r1_ohm,
        r3_ohm=bridge.r3_ohm,
        amplifier_gain=bridge.amplifier_gain,
        polarity=bridge.polarity,
        rest_ohm=sensor.rest_ohm,
    )
    done = channel_response(volts, fs, units="V", tracked_point="throat", sensor=sheet)
    how = ConditionParameters()
    clean = condition_trace(done.response, fs, tracked_point="throat", units="V", parameters=how)
    return clean.response, smallest_step(np.diff(done.response)) or np.inf


def row(name: str, hours: float, fs: float, *how: object) -> str:
    """One line of the page."""
    stream, step = resting(name, *how, hours, fs)
    parameters = SwallowParameters()
    (found,) = detect_together([(stream, fs)], parameters, [step])
    swallows = int(accept_generic(found, parameters).sum())
    minutes = observed_seconds(stream, fs) / 60
    upper = chi2.ppf(0.975, 2 * swallows + 2) / 2 / minutes if minutes else float("nan")
    met = "" if not minutes or swallows / minutes < TARGET_PER_MINUTE else " **above 0.2**"
    rates = (len(found) / minutes, swallows / minutes) if minutes else (0.0, 0.0)
    return (
        f"| {name} | {fs:g} | {minutes / 60:.2f} | {len(found)} | {rates[0]:.3f} | {swallows} | {rates[1]:.3f}{met} "
        f"| {upper:.3f} |"
    )


def main() -> None:
    """Write the page."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("page", type=Path)
    parser.add_argument("--hours", type=float, default=HOURS)
    options = parser.parse_args()
    lines = [
        "# A throat at rest",
        "",
        f"`python tests/experiments/rest_noise.py {options.page} --hours {options.hours:g}`: {options.hours:g} h of",
        "rest for each kind of noise that the simulator has, through bridge, 12-bit converter, calibration and",
        "conditioning; no labels. A swallow of the same simulator is 3 % strain.",
        "",
        "Live signal excludes stretches of 2 s and more without any change, which count as missing. The limit is the",
        "upper 95 % limit of a Poisson count (Garwood F 1936, Biometrika 28:437-442).",
        "",
        "| noise | Hz | live, h | movements | per minute | swallows | per minute | upper limit |",
        "|---|---|---|---|---|---|---|---|",
    ]
    for fs in (50.0, 100.0):
        lines += [row(name, options.hours, fs, *how) for name, *how in kinds()]
    options.page.write_text("\n".join(lines) + "\n", encoding="utf-8")


if __name__ == "__main__":
    main()
