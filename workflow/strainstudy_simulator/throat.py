"""Motion of the skin over the larynx, and the strain that three kinds of throat sensor make of it.

In: a list of acts (swallow, speech, cough, head movement) with their times. Out: displacement in units of a
typical swallow's excursion, its fine structure, strain, and the true intervals. Durations follow surface EMG
norms of 126 adults ("Surface electromyographic study on swallowing in normal adults": dry 1.13 (SD 0.21) s
men, 1.12 (0.17) s women; 20 ml the same; 40 ml 1.51 and 1.77 s).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy.signal import butter, lfilter, sosfilt

from .sensor import first_order_lag
from .truth import Event, in_order

__all__ = [
    "SHAPES",
    "Act",
    "ThroatMotion",
    "ThroatPerson",
    "mixed_acts",
    "move",
    "rest_motion",
    "sensor_strain",
    "sip_acts",
    "smooth_step",
]

Array = npt.NDArray[np.float64]
SHAPES = ("one_hump", "two_phase", "burst")

# A movement counts from 5 % of its way (common practice, no source); the smooth step passes it at this share.
_VISIBLE_AT = 0.18925


@dataclass(frozen=True)
class ThroatPerson:
    """How one person's throat moves.

    Parameters
    ----------
    swallow_seconds, swallow_seconds_sd : float
        Duration of a dry or small swallow.
    swallow_size_cv : float
        Relative spread of the excursion from swallow to swallow.
    rise_share, hold_share : float
        Shares of a swallow's duration spent rising and held up; the rest is the way down.
    speech_size, cough_size, head_size : float
        Excursions relative to a swallow's.
    syllables_per_second : float
        Rate of speech movements; 3 to 8 is the span of spoken languages.
    breaths_per_minute, heart_per_minute : float
    breath_size, pulse_size : float
        Excursions of breathing and of the carotid pulse, relative to a swallow's.
    ml_per_swallow : float
        Volume taken with each swallow when drinking without a pause.
    """

    swallow_seconds: float = 1.12
    swallow_seconds_sd: float = 0.16
    swallow_size_cv: float = 0.18
    rise_share: float = 0.38
    hold_share: float = 0.12
    speech_size: float = 0.22
    cough_size: float = 1.1
    head_size: float = 1.8
    syllables_per_second: float = 4.8
    breaths_per_minute: float = 15.0
    heart_per_minute: float = 70.0
    breath_size: float = 0.05
    pulse_size: float = 0.015
    ml_per_swallow: float = 20.0


@dataclass(frozen=True)
class Act:
    """One thing done: a word of the vocabulary, when, for how long, and how large relative to usual.

    ``duration`` is that of the visible movement. A head movement ``returns`` or stays in its new posture.
    """

    kind: str
    onset: float
    duration: float
    size: float = 1.0
    returns: bool = True

    @property
    def end(self) -> float:
        """Offset in seconds."""
        return self.onset + self.duration


@dataclass(frozen=True)
class ThroatMotion:
    """Displacement and fine structure, each shape (n,), and the true intervals."""

    displacement: Array
    texture: Array
    truth: tuple[Event, ...]


def smooth_step(u: Array) -> Array:
    """Minimum-jerk way from 0 to 1 (Flash T, Hogan N 1985, J Neurosci 5:1688-1703), flat outside."""
    v = np.clip(u, 0, 1)
    way: Array = v**3 * (10 - 15 * v + 6 * v**2)
    return way


def _swallow_shape(time: Array, act: Act, person: ThroatPerson, rng: np.random.Generator) -> Array:
    visible = 1 - _VISIBLE_AT
    up = person.rise_share * rng.uniform(0.85, 1.15)
    rise = act.duration * up / visible
    fall = act.duration * (1 - up - person.hold_share) / visible
    start = act.onset - _VISIBLE_AT * rise
    end = act.end + _VISIBLE_AT * fall
    shape: Array = smooth_step((time - start) / rise) * smooth_step((end - time) / fall)
    return shape


def _cough_shape(time: Array, act: Act, rng: np.random.Generator) -> Array:
    shape = np.zeros_like(time)
    # Coughs of a fit follow one another at about two a second, each weaker, on top of a deep breath.
    hits = max(1, round(act.duration / 0.5))
    step = act.duration / hits
    shape += 0.15 * smooth_step((time - act.onset) / 0.15) * smooth_step((act.end - time) / 0.2)
    for k in range(hits):
        since = time - act.onset - k * step - rng.uniform(0.02, 0.08)
        decay, ring = rng.uniform(0.05, 0.07), rng.uniform(5, 8)
        pulse = np.clip(since / decay, 0, None) * np.exp(1 - np.clip(since / decay, 0, None))
        shape += 0.85**k * rng.uniform(0.75, 1.2) * pulse * (1 + 0.5 * np.cos(2 * np.pi * ring * since))
    return shape


def _speech_shape(time: Array, act: Act, person: ThroatPerson, rng: np.random.Generator) -> Array:
    shape = np.zeros_like(time)
    at = act.onset
    while at < act.end - 0.2:
        phrase = min(rng.uniform(0.8, 2.8), act.end - at)
        # Pitch and phonation hold the larynx off its rest place for the length of a phrase.
        hold = smooth_step((time - at) / 0.25) * smooth_step((at + phrase - time) / 0.35)
        shape += rng.normal(0.0, 0.5) * hold
        syllable = at
        while syllable < at + phrase - 0.1:
            length = 1 / (person.syllables_per_second * rng.lognormal(0, 0.25))
            u = (time - syllable) / (1.3 * length)
            bump = np.where((u > 0) & (u < 1), 0.5 - 0.5 * np.cos(2 * np.pi * u), 0.0)
            shape += rng.normal(0.2, 0.7) * bump * hold
            syllable += length
        at += phrase + rng.uniform(0.25, 0.7)
    return shape


def _head_shape(time: Array, act: Act) -> Array:
    if not act.returns:
        whole = act.duration / (1 - 2 * _VISIBLE_AT)
        return smooth_step((time - act.onset) / whole + _VISIBLE_AT)
    way = 0.4 * act.duration / (1 - _VISIBLE_AT)
    there = smooth_step((time - act.onset) / way + _VISIBLE_AT)
    back: Array = smooth_step((act.end - time) / way + _VISIBLE_AT)
    return there * back


# How much fine structure (skin sliding under the sensor, voice, turbulence) goes with each act.
_TEXTURE = {"swallow": 0.10, "speech": 0.08, "cough": 0.45, "head_movement": 0.05}


def rest_motion(n: int, fs: float, person: ThroatPerson, rng: np.random.Generator) -> ThroatMotion:
    """Breathing, pulse and slow settling only; see `move`."""
    time = np.arange(n) / fs
    breathing = person.breaths_per_minute / 60
    # Breath intervals vary by some 10 %, which a slowly wandering phase gives.
    wander = np.cumsum(rng.standard_normal(n)) * 0.25 / np.sqrt(fs)
    phase = 2 * np.pi * breathing * time + wander + rng.uniform(0, 2 * np.pi)
    beat = 2 * np.pi * person.heart_per_minute / 60 * time + 0.4 * np.sin(phase) + rng.uniform(0, 2 * np.pi)
    push = rng.standard_normal(n)
    push[:1] = 0
    settling = 0.03 * np.sqrt(40 * fs) * first_order_lag(push, fs, 20.0)
    displacement = (
        person.breath_size * (np.sin(phase) + 0.25 * np.sin(2 * phase))
        + person.pulse_size * np.exp(2 * (np.cos(beat) - 1))
        + settling
    )
    return ThroatMotion(displacement, np.zeros(n), ())


def move(
    acts: Sequence[Act], seconds: float, fs: float, person: ThroatPerson, rng: np.random.Generator
) -> ThroatMotion:
    """Move the throat through a list of acts.

    Parameters
    ----------
    acts : sequence of Act
        In any order; they may overlap.
    seconds, fs : float
        Length of the recording and sampling frequency, Hz.
    person : ThroatPerson
    rng : Generator

    Returns
    -------
    ThroatMotion
        Truth holds one event per act, with ``onset`` and end where the movement has made 5 % of its way.
    """
    n = round(seconds * fs)
    rest = rest_motion(n, fs, person, rng)
    displacement, envelope, postures = rest.displacement, np.zeros(n), np.zeros(n + 1)
    sizes = {
        "swallow": 1.0,
        "speech": person.speech_size,
        "cough": person.cough_size,
        "head_movement": person.head_size,
    }
    for act in sorted(acts, key=lambda a: (a.onset, a.kind)):
        margin = 0.8 + 0.3 * act.duration
        low = max(0, int((act.onset - margin) * fs))
        high = min(n, int((act.end + margin) * fs) + 1)
        time = np.arange(low, high) / fs
        if act.kind == "swallow":
            shape = _swallow_shape(time, act, person, rng)
        elif act.kind == "cough":
            shape = _cough_shape(time, act, rng)
        elif act.kind == "speech":
            shape = _speech_shape(time, act, person, rng)
        else:
            shape = _head_shape(time, act)
        size = act.size * sizes[act.kind]
        displacement[low:high] += size * shape
        if act.kind == "head_movement" and not act.returns:
            postures[high] += size
        active = smooth_step((time - act.onset) / 0.1) * smooth_step((act.end - time) / 0.1)
        speed = np.abs(np.gradient(shape, 1 / fs)) if len(time) > 1 else np.zeros(len(time))
        envelope[low:high] += _TEXTURE[act.kind] * abs(size) * (0.3 * active + np.minimum(0.35 * speed, 1.5))
    displacement += np.cumsum(postures[:n])
    upper = min(18.0, 0.4 * fs)
    band = butter(2, (3.0, upper), "bandpass", fs=fs, output="sos")
    grain = sosfilt(band, rng.standard_normal(n)) / np.sqrt((upper - 3) / (fs / 2)) if n else envelope
    truth = in_order(Event(a.onset, a.duration, a.kind) for a in acts)
    return ThroatMotion(displacement, envelope * grain, truth)


def sensor_strain(motion: ThroatMotion, fs: float, *, shape: str, polarity: int = 1, scale: float = 0.03) -> Array:
    """Strain that a throat sensor feels.

    Parameters
    ----------
    motion : ThroatMotion
    fs : float
        Hz.
    shape : {"one_hump", "two_phase", "burst"}
        A well coupled band follows the displacement; a soft, sliding one lets go with a time constant of some
        tenths of a second, so that the way up and the way down become two phases; a light, stiff patch feels
        the rate of movement only and rings.
    polarity : {1, -1}
        Whether the larynx going up stretches or slackens the sensor.
    scale : float
        Strain of a typical swallow.

    Returns
    -------
    array, shape (n,)
    """
    if shape not in SHAPES:
        raise ValueError(f"shape must be one of {', '.join(SHAPES)}, not {shape!r}")
    signal = motion.displacement + motion.texture
    if shape == "two_phase" and len(signal):
        signal = 1.6 * (signal - first_order_lag(signal, fs, 0.3))
    elif shape == "burst" and len(signal):
        rate = np.gradient(signal, 1 / fs)
        # Light damping of a stiff patch on soft skin: an impulse leaves some three visible cycles.
        natural, damping = 2 * np.pi * 7.0, 0.12
        decay = np.exp(-damping * natural / fs)
        turn = natural * np.sqrt(1 - damping**2) / fs
        denominator = [1.0, -2 * decay * np.cos(turn), decay**2]
        ringing = lfilter([sum(denominator)], denominator, rate)
        slow = first_order_lag(ringing, fs, 1.0)
        signal = 0.35 * (ringing - slow)
    strain: Array = polarity * scale * signal
    return strain


def sip_acts(
    onset: float,
    swallows: int,
    person: ThroatPerson,
    rng: np.random.Generator,
    *,
    seconds_per_swallow: float = 1.25,
) -> list[Act]:
    """Make a burst of swallows while drinking without a pause: shorter than single ones, close together."""
    acts, at = [], onset
    for _ in range(swallows):
        period = seconds_per_swallow * rng.lognormal(0, 0.1)
        duration = min(person.swallow_seconds * rng.normal(0.75, 0.06), period - 0.12)
        acts.append(Act("swallow", at, duration, rng.lognormal(-0.1, person.swallow_size_cv)))
        at += period
    return acts


def _swallow(onset: float, person: ThroatPerson, rng: np.random.Generator, *, longer: float = 1.0) -> Act:
    spread = person.swallow_seconds_sd * np.clip(rng.standard_normal(), -2.2, 2.2)
    duration = longer * max(0.5, person.swallow_seconds + spread)
    return Act("swallow", onset, float(duration), float(rng.lognormal(0, person.swallow_size_cv)))


def mixed_acts(
    seconds: float,
    person: ThroatPerson,
    rng: np.random.Generator,
    *,
    kinds: Sequence[tuple[str, float]] = (
        ("swallow", 0.36),
        ("double", 0.08),
        ("large", 0.06),
        ("sips", 0.06),
        ("speech", 0.18),
        ("cough", 0.12),
        ("head_movement", 0.14),
    ),
    pause: tuple[float, float] = (1.5, 5.0),
) -> list[Act]:
    """Fill a recording with acts one after another, in random order with random pauses.

    Parameters
    ----------
    seconds : float
        Length of the recording; the last act ends at least a second before it.
    person : ThroatPerson
    rng : Generator
    kinds : sequence of (kind, weight)
        ``swallow`` is a single dry or small one, ``double`` two in one go, ``large`` one of some 40 ml,
        ``sips`` a burst.
    pause : (float, float)
        Shortest and longest quiet time between acts, s.

    Returns
    -------
    list of Act
    """
    names = [kind for kind, _ in kinds]
    weights = np.array([weight for _, weight in kinds])
    acts: list[Act] = []
    posture, at = 0.0, rng.uniform(1.5, 3.0)
    while True:
        kind = names[int(rng.choice(len(names), p=weights / weights.sum()))]
        group: list[Act] = []
        if kind == "swallow":
            group = [_swallow(at, person, rng)]
        elif kind == "double":
            first = _swallow(at, person, rng)
            group = [first, _swallow(first.end + rng.uniform(0.15, 0.6), person, rng, longer=0.9)]
        elif kind == "large":
            group = [_swallow(at, person, rng, longer=rng.uniform(1.3, 1.6))]
        elif kind == "sips":
            group = sip_acts(at, int(rng.integers(3, 7)), person, rng)
        elif kind == "speech":
            group = [Act("speech", at, rng.uniform(2.0, 8.0), rng.lognormal(0, 0.25))]
        elif kind == "cough":
            hits = int(rng.integers(1, 5))
            group = [Act("cough", at, hits * rng.uniform(0.42, 0.6), rng.choice([-1, 1]) * rng.lognormal(0, 0.3))]
        elif rng.random() < 0.45:
            group = [Act("head_movement", at, rng.uniform(1.2, 4.0), rng.choice([-1, 1]) * rng.lognormal(0, 0.5))]
        else:
            # Postures keep near the middle: who has turned one way turns back before turning further.
            size = float(rng.normal(-posture, 0.5))
            size += float(np.copysign(0.2, size))
            group = [Act("head_movement", at, rng.uniform(0.6, 2.5), size, returns=False)]
        if group[-1].end > seconds - 1.0:
            return acts
        acts.extend(group)
        posture += sum(a.size for a in group if a.kind == "head_movement" and not a.returns)
        at = group[-1].end + rng.uniform(*pause)
