"""Who takes part in the invented follow-up, how they walk and swallow, and which sensors they wear.

In: a seed and ids. Out: people, their gait in each session, and sensor sets. Everything hangs on the id alone,
so that adding a person or a sensor changes nobody else's data.
"""

from __future__ import annotations

import hashlib
from dataclasses import dataclass, replace
from typing import Final

import numpy as np

from .gaits import Gait, healthy_gait, limp
from .sensor import Acquisition, BridgeModel, SensorModel, SleeveFit, static_response
from .throat import ThroatPerson

__all__ = [
    "PLACES",
    "RAIL_V",
    "SET_NAMES",
    "TIRED_SENSOR",
    "Person",
    "Profile",
    "Unit",
    "draw_person",
    "draw_unit",
    "later",
    "rng_for",
    "settled",
    "worn",
]

SET_NAMES: Final = ("A", "B", "C", "D")
PLACES: Final = ("left_knee", "right_knee", "throat")
_PREFIX: Final = {"left_knee": "kneeL", "right_knee": "kneeR", "throat": "throat"}
RAIL_V: Final = 2.048
TIRED_SENSOR: Final = "kneeR-C"


def rng_for(seed: int, *words: str) -> np.random.Generator:
    """Make a generator that depends on the seed and on words (ids) only."""
    digest = hashlib.sha256("/".join(words).encode()).digest()
    keys = [int.from_bytes(digest[k : k + 4], "little") for k in range(0, 16, 4)]
    return np.random.Generator(np.random.PCG64(np.random.SeedSequence([seed, *keys])))


@dataclass(frozen=True)
class Profile:
    """One kind of participant: how and how badly they limp in each session, and in which walks of a recording."""

    group: str
    mechanism: str | None = None
    side: str | None = None
    severity: tuple[float, float] = (0.0, 0.0)
    limps: tuple[bool, bool, bool, bool] = (True, True, True, True)
    stride_time_s: float | None = None


# Stroke and control by turns, so that the first few people already hold both. The limp is never the group: some
# people after stroke walk normally for part of the time or at follow-up, two controls put on a limp.
PROFILES: Final = (
    Profile("stroke", "stiff", "left", (0.85, 0.55), stride_time_s=1.22),
    Profile("control"),
    Profile("stroke", "timing", "right", (0.90, 0.80), (True, True, False, False), 1.18),
    Profile("control", "stiff", "right", (0.80, 0.85), (False, False, True, True)),
    Profile("stroke", "both", "left", (0.90, 0.85), stride_time_s=1.48),
    Profile("control"),
    Profile("stroke", "timing", "left", (0.80, 0.45), stride_time_s=1.25),
    Profile("control", stride_time_s=1.12),
    Profile("stroke", "guarded", "right", (0.95, 0.95), stride_time_s=1.32),
    Profile("control", "timing", "left", (0.90, 0.80), (False, True, True, False)),
    Profile("stroke", "stiff", "right", (0.65, 0.0), (False, True, True, True), 1.16),
    Profile("control", stride_time_s=1.28),
)


@dataclass(frozen=True)
class Person:
    """One participant."""

    participant_id: str
    profile: Profile
    age: int
    sex: str
    months_since_stroke: int | None
    gait: Gait
    throat: ThroatPerson

    def gait_in(self, session: int, *, limping: bool) -> Gait:
        """Return the gait of a session (0, 1...), limping where asked and where the person does limp."""
        p = self.profile
        severity = p.severity[min(session, 1)]
        if not limping or p.mechanism is None or p.side is None or severity == 0:
            return self.gait
        return limp(self.gait, p.side, p.mechanism, severity)


def draw_person(index: int, seed: int) -> Person:
    """Draw the participant of a place in the list (0, 1...); profiles repeat after the twelfth."""
    participant_id = f"sub-{index + 1:02d}"
    profile = PROFILES[index % len(PROFILES)]
    rng = rng_for(seed, participant_id, "person")
    stroke = profile.group == "stroke"
    male = bool(rng.random() < 0.5)
    age = int(rng.integers(52, 80))
    gait = healthy_gait(rng, stride_time_s=profile.stride_time_s)
    if stroke:
        gait = replace(gait, stride_time_cv=gait.stride_time_cv + 0.008)
    throat = ThroatPerson(
        swallow_seconds=float(np.clip(rng.normal(1.2 if stroke else 1.1, 0.1), 0.9, 1.5)),
        swallow_seconds_sd=float(rng.uniform(0.10, 0.18)),
        rise_share=float(rng.uniform(0.32, 0.45)),
        speech_size=float(rng.uniform(0.15, 0.35)),
        cough_size=float(rng.uniform(0.8, 1.4)),
        head_size=float(rng.uniform(1.0, 1.8)),
        syllables_per_second=float(rng.uniform(3.8, 5.8)),
        breaths_per_minute=float(rng.uniform(12, 18)),
        heart_per_minute=float(rng.uniform(58, 82)),
        breath_size=float(rng.uniform(0.03, 0.07)),
        pulse_size=float(rng.uniform(0.005, 0.025)),
        ml_per_swallow=float(rng.uniform(8, 14) if stroke else rng.uniform(15, 25) + 4 * male),
    )
    months = int(rng.integers(3, 30)) if stroke else None
    return Person(participant_id, profile, age, "male" if male else "female", months, gait, throat)


@dataclass(frozen=True)
class Unit:
    """One sensor with its electronics, and what the lab's sheet says of it (``None``: left out)."""

    sensor_id: str
    place: str
    model: SensorModel
    bridge: BridgeModel
    acquisition: Acquisition
    sleeve: SleeveFit
    shape: str
    sign: int
    swallow_strain: float
    stated_rest_ohm: float | None
    stated_gauge_factor: float | None


def _knee_unit(sensor_id: str, place: str, index: int, rng: np.random.Generator) -> Unit:
    model = SensorModel(
        gauge_factor=float(np.exp(rng.uniform(np.log(3.5), np.log(10)))),
        rest_ohm=float(rng.uniform(8_500, 13_500)),
        curvature=float(rng.uniform(-0.3, 0.9)),
        hysteresis_percent=float(rng.uniform(3, 9)),
        full_scale_strain=0.35,
        response_time_s=float(rng.uniform(0.02, 0.05)),
        relaxation=(
            (float(rng.uniform(0.015, 0.04)), float(rng.uniform(0.5, 1.5))),
            (float(rng.uniform(0.015, 0.05)), float(rng.uniform(8, 20))),
        ),
        drift_per_minute=float(rng.normal(0, 0.0015)),
        wander_per_root_minute=float(rng.uniform(0.0005, 0.002)),
        flicker=float(rng.uniform(0.0003, 0.0012)),
    )
    # Two sets have a fixed resistor beside the sensor, two are trimmed to zero when put on.
    bridge = BridgeModel(3.3, 10_000, 10_000, 10_000 if index < 2 else None)
    largest = float(static_response(np.array([0.36]), model)[0])
    swing = 3.3 * largest * model.rest_ohm / (10_000 + model.rest_ohm * (1 + largest)) / 2
    gain = min((g for g in (1.0, 1.5, 2.0, 3.0, 4.0)), key=lambda g: abs(g * swing - 0.65 * RAIL_V))
    acquisition = Acquisition(
        rail_v=RAIL_V,
        adc_bits=12,
        white_noise_v=float(rng.uniform(0.0008, 0.002)),
        mains_v=float(rng.uniform(0.001, 0.006)),
        lost_per_minute=0.5 if index == 3 else 0.0,
    )
    known = model.gauge_factor * float(1 + np.clip(rng.normal(0, 0.04), -0.08, 0.08))
    return Unit(
        sensor_id,
        place,
        model,
        replace(bridge, amplifier_gain=gain),
        acquisition,
        SleeveFit(transfer=float(rng.uniform(0.62, 0.80))),
        "one_hump",
        1,
        0.0,
        None if index == 0 else round(model.rest_ohm, -2),
        None if index == 3 else round(known, 1),
    )


def _throat_unit(sensor_id: str, index: int, rng: np.random.Generator) -> Unit:
    shape = ("one_hump", "one_hump", "two_phase", "burst")[index]
    model = SensorModel(
        gauge_factor=float(rng.uniform(4, 9)),
        rest_ohm=float(rng.uniform(8_500, 13_500)),
        curvature=float(rng.uniform(-0.3, 0.9)),
        hysteresis_percent=float(rng.uniform(3, 8)),
        full_scale_strain=0.12,
        response_time_s=float(rng.uniform(0.01, 0.03)),
        relaxation=((float(rng.uniform(0.02, 0.05)), float(rng.uniform(0.8, 2.0))),),
        drift_per_minute=float(rng.normal(0, 0.002)),
        wander_per_root_minute=float(rng.uniform(0.001, 0.004)),
        flicker=float(rng.uniform(0.0003, 0.001)),
    )
    strain = float(rng.uniform(0.02, 0.035))
    swing = 3.3 * model.gauge_factor * strain / 4
    gain = (0.9 if shape == "burst" else 0.35) * RAIL_V / swing
    return Unit(
        sensor_id,
        "throat",
        model,
        BridgeModel(3.3, 10_000, 10_000, None, float(round(gain))),
        Acquisition(
            rail_v=RAIL_V,
            adc_bits=12,
            white_noise_v=float(rng.uniform(0.003, 0.008)),
            mains_v=float(rng.uniform(0.005, 0.02)),
            lost_per_minute=0.5 if index == 3 else 0.0,
        ),
        SleeveFit(),
        shape,
        1 if index % 2 == 0 else -1,
        strain,
        round(model.rest_ohm, -2),
        None,
    )


def draw_unit(set_name: str, place: str, seed: int) -> Unit:
    """Draw the sensor of a set for a place of the body."""
    sensor_id = f"{_PREFIX[place]}-{set_name}"
    index = SET_NAMES.index(set_name)
    rng = rng_for(seed, sensor_id, "sensor")
    if place == "throat":
        return _throat_unit(sensor_id, index, rng)
    return _knee_unit(sensor_id, place, index, rng)


def worn(unit: Unit, participant_id: str, session: int, seed: int) -> Unit:
    """Return a sensor as it is on one person in one session: another fit, an aged film, another rest resistance.

    By the second session the right knee's sensor of set C is tired: a third of its gauge factor is gone, and it
    crackles.
    """
    rng = rng_for(seed, unit.sensor_id, participant_id, f"ses-{session + 1:02d}", "worn")
    tired = unit.sensor_id == TIRED_SENSOR and session > 0
    ageing = 1 + 0.015 * session
    model = replace(
        unit.model,
        rest_ohm=unit.model.rest_ohm * ageing * float(rng.normal(1, 0.008)) * (1.25 if tired else 1.0),
        gauge_factor=unit.model.gauge_factor * float(rng.normal(1, 0.03)) * (0.65 if tired else 1.0),
        flicker=unit.model.flicker * (5 if tired else 1),
        drift_per_minute=unit.model.drift_per_minute + float(rng.normal(0, 0.001)),
    )
    sleeve = replace(unit.sleeve, transfer=unit.sleeve.transfer * float(np.clip(rng.normal(1, 0.06), 0.85, 1.15)))
    return replace(
        unit,
        model=model,
        sleeve=sleeve,
        swallow_strain=unit.swallow_strain * float(rng.lognormal(0, 0.12)),
    )


def settled(unit: Unit, participant_id: str, session: int, task: str, seed: int) -> Unit:
    """Return a knee's sensor in a recording after the session's first: its rest resistance has moved by some percent.

    The film warms and beds in once, and a little more or less in each recording. The bridge stays as it was trimmed
    when the sensor was put on, so the move is seen in its output. (Throats are trimmed anew each time.)
    """
    words = (unit.sensor_id, participant_id, f"ses-{session + 1:02d}", "settled")
    once = rng_for(seed, *words).normal(0, 0.025)
    again = rng_for(seed, *words, task).normal(0, 0.005)
    rest, bridge = unit.model.rest_ohm, unit.bridge
    if bridge.r2_ohm is None:
        bridge = replace(bridge, r2_ohm=bridge.r1_ohm * rest / bridge.r3_ohm)
    moved = 1 + float(np.clip(once + again, -0.08, 0.08))
    return replace(unit, model=replace(unit.model, rest_ohm=rest * moved), bridge=bridge)


def later(unit: Unit, rng: np.random.Generator) -> Unit:
    """Return a worn sensor at the end of a session: the sleeve has slipped a little, the film has warmed."""
    model = replace(unit.model, rest_ohm=unit.model.rest_ohm * float(rng.normal(1.004, 0.003)))
    sleeve = replace(unit.sleeve, transfer=unit.sleeve.transfer * float(np.clip(rng.normal(0.985, 0.012), 0.95, 1)))
    return replace(unit, model=model, sleeve=sleeve)
