"""What is recorded in a session, one function per kind of recording.

Each moves a person, passes the motion through what they wear, and keeps the truth beside the samples.
In: a person, their worn sensors, a generator. Out: a `Take`, not yet a file.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Final

import numpy as np
import numpy.typing as npt

from .bench import run_stage, standard_program, tap_bench
from .bends import hold_bends, squats
from .gaits import OTHER_SIDE, turning
from .knee import KneeMotion, Segment, walk_knees
from .people import Person, Unit
from .sensor import acquire, bridge_volts, measure, resistance, sleeve_strain
from .throat import Act, ThroatMotion, mixed_acts, move, sensor_strain, sip_acts, smooth_step
from .truth import Event, in_order

__all__ = [
    "Channel",
    "Take",
    "bend_take",
    "free_take",
    "stretch_take",
    "swallow_take",
    "tap_take",
    "walk_take",
    "water_take",
]

Array = npt.NDArray[np.float64]
HAND_SD_DEG: Final = 2.0


@dataclass(frozen=True)
class Channel:
    """One recorded channel."""

    name: str
    tracked_point: str
    units: str
    values: Array
    sensor_id: str | None = None


@dataclass(frozen=True)
class Take:
    """One recording before it becomes a file."""

    task: str
    fs: float
    channels: tuple[Channel, ...]
    truth: tuple[Event, ...]
    volume_ml: float | None = None

    @property
    def seconds(self) -> float:
        """Length."""
        return len(self.channels[0].values) / self.fs


def _knee_channels(
    motion: KneeMotion,
    fs: float,
    units: Mapping[str, Unit],
    rng: np.random.Generator,
    *,
    goniometer: bool,
    mischief: str | None = None,
) -> list[Channel]:
    channels = []
    for side in ("left", "right"):
        unit = units[f"{side}_knee"]
        strain = sleeve_strain(motion.angles[side], unit.sleeve)
        ohm = resistance(strain, fs, unit.model, rng)
        if mischief == "unplugged" and side == "right":
            ohm[int(0.55 * len(ohm)) : int(0.75 * len(ohm))] = np.inf
        bridge = unit.bridge
        if mischief == "reversed" and side == "left":
            bridge = replace(bridge, polarity=-bridge.polarity)
        volts = bridge_volts(ohm, bridge, unit.model.rest_ohm)
        if mischief == "clipped" and side == "right":
            # The amplifier's offset jumps, and the peaks meet its rail.
            volts[int(0.35 * len(volts)) : int(0.6 * len(volts))] += 0.7 * unit.acquisition.rail_v
        volts = acquire(volts, fs, unit.acquisition, rng)
        channels.append(Channel(f"{side}_knee", f"{side}_knee", "V", volts, unit.sensor_id))
    if goniometer:
        for side in ("left", "right"):
            offset, n = rng.uniform(-1.5, 1.5), len(motion.angles[side])
            reading = motion.angles[side] + offset + 0.3 * rng.standard_normal(n)
            channels.append(Channel(f"{side}_goniometer", f"{side}_knee", "deg", reading))
    return channels


def _throat_channel(motion: ThroatMotion, fs: float, unit: Unit, rng: np.random.Generator) -> Channel:
    strain = sensor_strain(motion, fs, shape=unit.shape, polarity=unit.sign, scale=unit.swallow_strain)
    volts = measure(strain, fs, unit.model, unit.bridge, unit.acquisition, rng)
    return Channel("throat", "throat", "V", volts, unit.sensor_id)


def _walk_script(person: Person, session: int, seconds: float, rng: np.random.Generator) -> list[Segment]:
    script: list[Segment] = []
    inner = "left" if rng.random() < 0.5 else "right"
    while sum(s.seconds for s in script) < seconds:
        first, second, third, fourth = (person.gait_in(session, limping=limps) for limps in person.profile.limps)
        for out, back in ((first, second), (third, fourth)):
            script += [
                Segment("rest", rng.uniform(4.0, 6.5)),
                Segment("walk", rng.uniform(13.0, 18.0), out),
                Segment("turn", rng.uniform(2.4, 3.4), turning(out, inner)),
                Segment("walk", rng.uniform(11.0, 15.0), back),
            ]
            inner = OTHER_SIDE[inner]
    script.append(Segment("rest", rng.uniform(3.0, 5.0)))
    return script


def walk_take(
    person: Person,
    session: int,
    units: Mapping[str, Unit],
    rng: np.random.Generator,
    *,
    fs: float = 100.0,
    seconds: float = 70.0,
    goniometer: bool = False,
    mischief: str | None = None,
) -> Take:
    """Walk a corridor up and down, with stops; about ``seconds`` long."""
    motion = walk_knees(_walk_script(person, session, seconds, rng), fs, rng)
    channels = _knee_channels(motion, fs, units, rng, goniometer=goniometer, mischief=mischief)
    return Take("walk", fs, tuple(channels), motion.truth)


def bend_take(
    units: Mapping[str, Unit],
    rng: np.random.Generator,
    *,
    fs: float = 100.0,
    targets_deg: tuple[float, ...] = (45, 90),
    singles: int = 1,
    goniometer: bool = False,
    mischief: str | None = None,
) -> Take:
    """Hold each knee at known angles, up and down, then ``singles`` times one by one.

    Angles are set by hand with a goniometer: limits of agreement of about 5 degrees (Eliasziw M et al. 1994, Phys
    Ther 74:777-788, from memory), hence a standard deviation of 2.
    """
    motion = hold_bends(fs, rng, targets_deg=targets_deg, singles=singles, placing_sd_deg=HAND_SD_DEG)
    channels = _knee_channels(motion, fs, units, rng, goniometer=goniometer, mischief=mischief)
    return Take("bend", fs, tuple(channels), motion.truth)


def swallow_take(
    person: Person, unit: Unit, rng: np.random.Generator, *, fs: float = 100.0, seconds: float = 100.0
) -> Take:
    """Swallow to a slow beat, then swallow, drink, talk, cough and look about in any order."""
    throat = person.throat
    beat, paced = rng.uniform(4.5, 6.0), []
    for k in range(4):
        onset = 2.0 + k * beat + rng.normal(0, 0.25)
        paced.append(Act("swallow", onset, throat.swallow_seconds * rng.uniform(0.9, 1.1), rng.lognormal(0, 0.15)))
    start = paced[-1].end + 1.5
    mixed = mixed_acts(seconds - start, throat, rng)
    acts = paced + [replace(act, onset=act.onset + start) for act in mixed]
    motion = move(acts, seconds, fs, throat, rng)
    return Take("swallow", fs, (_throat_channel(motion, fs, unit, rng),), motion.truth)


def water_take(person: Person, unit: Unit, rng: np.random.Generator, *, fs: float = 100.0) -> Take:
    """Drink a measured volume without a pause; one in seven adds a dry swallow afterwards.

    Vaiman M et al. 2005, Laryngoscope 115(1):68-73: 14.25 % of 420 adults.
    """
    throat = person.throat
    stroke = person.profile.group == "stroke"
    volume = 50.0 if stroke else 100.0
    sips = int(np.ceil(volume / throat.ml_per_swallow))
    pace = rng.uniform(1.35, 1.7) if stroke else rng.uniform(1.1, 1.35)
    acts = sip_acts(rng.uniform(3.0, 4.0), sips, throat, rng, seconds_per_swallow=pace)
    if rng.random() < 0.1425:
        acts.append(Act("swallow", acts[-1].end + rng.uniform(2.0, 4.0), throat.swallow_seconds))
    if stroke and rng.random() < 0.4:
        acts.append(Act("cough", acts[-1].end + rng.uniform(1.0, 2.5), rng.uniform(0.8, 1.6)))
    seconds = float(np.ceil(acts[-1].end + rng.uniform(4.0, 6.0)))
    motion = move(acts, seconds, fs, throat, rng)
    return Take("swallow", fs, (_throat_channel(motion, fs, unit, rng),), motion.truth, volume)


def free_take(
    person: Person,
    session: int,
    units: Mapping[str, Unit],
    rng: np.random.Generator,
    *,
    fs: float = 100.0,
    seconds: float = 60.0,
) -> Take:
    """Walk, squat, talk and swallow as one likes, with both knees and the throat recorded."""
    bends = squats(fs, rng, count=3, depth_deg=float(rng.uniform(60, 95)))
    n_bends = len(bends.angles["left"])
    walked = walk_knees(_walk_script(person, session, max(seconds - n_bends / fs, 20.0), rng), fs, rng)
    n_walk = len(walked.angles["left"])
    settle = 1 - smooth_step(np.arange(n_bends) / (1.2 * fs))
    angles = {}
    for side, angle in walked.angles.items():
        step = angle[-1] - bends.angles[side][0]
        angles[side] = np.concatenate([angle, bends.angles[side] + step * settle])
    walking_s = n_walk / fs
    squatted = [replace(e, onset=e.onset + walking_s) for e in bends.truth]
    motion = KneeMotion(angles, in_order([*walked.truth, *squatted]))
    total = (n_walk + n_bends) / fs
    kinds = (("swallow", 0.4), ("speech", 0.35), ("cough", 0.1), ("head_movement", 0.15))
    acts = mixed_acts(total, person.throat, rng, kinds=kinds, pause=(3.0, 9.0))
    throat = move(acts, total, fs, person.throat, rng)
    # Steps shake the neck a little.
    shake = sum(np.gradient(angle) for angle in angles.values()) * fs / 300
    throat = replace(throat, displacement=throat.displacement + 0.05 * shake)
    channels = _knee_channels(motion, fs, units, rng, goniometer=False)
    channels.append(_throat_channel(throat, fs, units["throat"], rng))
    return Take("free", fs, tuple(channels), in_order([*motion.truth, *throat.truth]))


def _bench_channels(
    unit: Unit, strain: Array, reference: Array, fs: float, rng: np.random.Generator
) -> tuple[Channel, Channel]:
    volts = measure(strain, fs, unit.model, unit.bridge, unit.acquisition, rng)
    return (
        Channel("sensor", "sensor", "V", volts, unit.sensor_id),
        Channel("stage_strain", "reference_strain", "percent", reference),
    )


def stretch_take(unit: Unit, rng: np.random.Generator, *, fs: float = 100.0) -> Take:
    """Stretch a sensor on the stage: knee sensors to a third, throat sensors as far as their gain allows."""
    bridge, model = unit.bridge, unit.model
    allowed = 0.75 * 4 * unit.acquisition.rail_v / (bridge.amplifier_gain * bridge.excitation_v)
    largest = 0.35 if unit.place != "throat" else min(0.10, allowed / model.gauge_factor)
    run = run_stage(standard_program(largest), fs, rng, lag_s=float(rng.uniform(-0.04, 0.06)))
    return Take("stretch", fs, _bench_channels(unit, run.strain, run.reference_percent, fs, rng), ())


def tap_take(unit: Unit, rng: np.random.Generator, *, fs: float = 100.0) -> Take:
    """Tap a clamped sensor."""
    depth = 0.25 if unit.place != "throat" else 0.10
    run = tap_bench(fs, rng, depth_strain=depth)
    return Take("tap", fs, _bench_channels(unit, run.strain, run.reference_percent, fs, rng), ())
