"""A light piezo-like film over the larynx, as published recordings of one show it: bursts whose outline repeats.

In: what is done (`FILM_ACTS`), how the film and its converter are (`Film`), a generator. Out: volts as stored, with the
true intervals. Every swallow is a burst of a few strokes under one smooth outline. The strokes differ from swallow to
swallow, the outline hardly; the rest of the signal holds the pulse of the carotid artery and mains hum, and the resting
level lies so near one rail of the converter that the strokes to its side are cut off. Numbers are medians of 33
recordings of one person (piezo film over the hyoid, 14.5 s each at 1.92 kHz, 0 to 5 V), which no one here tuned
anything else on.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
import numpy.typing as npt
from scipy.fft import irfft, next_fast_len, rfft, rfftfreq
from scipy.signal import butter, sosfreqz

from .truth import Event, in_order

__all__ = ["FILM_ACTS", "FILM_KINDS", "Film", "FilmAct", "FilmPerson", "film_recording", "film_stream"]

Array = npt.NDArray[np.float64]


@dataclass(frozen=True)
class FilmAct:
    """What a film gives for one kind of act.

    Parameters
    ----------
    trial_type : str
        Word of the vocabulary.
    seconds, seconds_cv : float
        Length of the outline from nothing to nothing, and its relative spread.
    swing_v, swing_cv : float
        Largest stroke before the rail, and its spread from act to act.
    frequency_hz, glide : float
        Rate of the strokes and how far it falls or rises within the burst, as a share of it.
    rough, rough_hz : float, (float, float)
        Root mean square of the faster part over that of the strokes, and where it lies.
    lean : float
        A slow stroke to one side under the burst, over the strokes.
    unlike : float
        Spread of the logarithm of the rate, and (times 2 pi) of the phase, from act to act of one recording.
    hits : (int, int)
        Fewest and most outlines in one act: a cough comes in several.
    apart : (float, float)
        Shortest and longest time from the start of one outline of an act to that of the next, in lengths of the first.
    voice : float
        Vibration of the vocal folds over the strokes.
    restless, sway_v : float
        How many times larger than at rest the signal between the acts is, and what a moving head adds to it (standard
        deviation of noise from 0.3 to 4 Hz).
    """

    trial_type: str
    seconds: float
    seconds_cv: float
    swing_v: float
    swing_cv: float
    frequency_hz: float
    glide: float
    rough: float
    rough_hz: tuple[float, float]
    lean: float
    unlike: float
    hits: tuple[int, int] = (1, 1)
    apart: tuple[float, float] = (1.0, 1.0)
    voice: float = 0.0
    restless: float = 1.0
    sway_v: float = 0.0


FILM_ACTS: Final[Mapping[str, FilmAct]] = {
    "dry": FilmAct("swallow", 1.12, 0.12, 1.42, 0.18, 3.15, 0.3, 0.44, (5.5, 11.0), 0.15, 0.07, restless=1.4),
    "water": FilmAct("swallow", 1.45, 0.1, 0.9, 0.25, 2.6, 0.9, 0.5, (5.5, 11.0), 0.5, 0.15, restless=1.3),
    "head_moving": FilmAct(
        "swallow", 1.05, 0.12, 1.25, 0.12, 3.1, 0.4, 0.6, (5.5, 11.0), 0.15, 0.04, restless=2.0, sway_v=0.095
    ),
    "cough": FilmAct(
        "cough", 0.52, 0.2, 0.9, 0.4, 3.05, 0.6, 0.93, (6.0, 16.0), 0.2, 0.5, hits=(2, 4), apart=(1.0, 1.5),
        restless=1.6,
    ),
    # No recording that these numbers come from holds speech. Syllables: the modulation of speech is strongest at 4 to
    # 5.5 Hz in nine languages (Ding N et al. 2017, Neurosci Biobehav Rev 81:181-187), phrases of 1.5 to 4 s and voices
    # of 100 to 220 Hz (all from memory); how large they are under a film: a fifth to a half of a swallow (ours).
    "speech": FilmAct(
        "speech", 0.3, 0.3, 0.42, 0.5, 4.0, 0.6, 0.9, (5.5, 16.0), 0.35, 0.5, hits=(7, 18), apart=(0.5, 1.0),
        restless=1.4, voice=0.8,
    ),
}  # fmt: skip
FILM_KINDS: Final = ("dry", "water", "head_moving", "cough", "rest", "speech")
_VOICE_HZ: Final = (100.0, 220.0)


@dataclass(frozen=True)
class Film:
    """Film, amplifier and converter.

    Parameters
    ----------
    fs : float
        Hz.
    high_v, bits : float, int
        The converter stores 0 to ``high_v`` in 2**bits steps.
    rest_v : float
        Distance of the resting level from the rail that it lies nearer to.
    noise_v, pulse_v, hum_v, wander_v, hump_v : float
        Standard deviation of broad noise (0.5 to 20 Hz); amplitude of the pulse wave and of the hum; wander of the
        level over some seconds; size of the small humps that any throat gives now and then.
    polarity : {1, -1}
        -1 turns everything over: the resting level lies below the upper rail.
    """

    fs: float = 1920.0
    high_v: float = 5.0
    bits: int = 12
    rest_v: float = 0.52
    noise_v: float = 0.0225
    pulse_v: float = 0.042
    hum_v: float = 0.03
    wander_v: float = 0.017
    hump_v: float = 0.082
    polarity: int = 1


@dataclass(frozen=True)
class FilmPerson:
    """What one person's acts have in common, as shares of the usual.

    Parameters
    ----------
    size, seconds, frequency : float
    heart_hz : float
    phase : float
        Of the first stroke, rad.
    """

    size: float = 1.0
    seconds: float = 1.0
    frequency: float = 1.0
    heart_hz: float = 1.2
    phase: float = 0.8

    @classmethod
    def drawn(cls, rng: np.random.Generator) -> FilmPerson:
        """Draw somebody."""
        return cls(
            float(rng.lognormal(0, 0.12)),
            float(rng.lognormal(0, 0.06)),
            float(rng.lognormal(0, 0.06)),
            float(rng.uniform(0.95, 1.5)),
            float(rng.uniform(0, 2 * np.pi)),
        )


def _outline(u: Array, skew: float) -> Array:
    """One smooth hump over 0 to 1, flat outside, with its top at ``skew``."""
    inside = np.clip(u, 0, 1)
    warped = inside ** (np.log(0.5) / np.log(skew))
    hump: Array = np.sin(np.pi * warped) ** 1.5
    return hump


def _band(n: int, fs: float, low: float, high: float, rng: np.random.Generator) -> Array:
    """Noise of unit standard deviation from ``low`` to ``high`` Hz, as strong at its ends as in its middle."""
    # Filtered round a circle: a filter that starts from nothing swings in.
    m = next_fast_len(n, real=True)
    sos = butter(2, (low, min(high, 0.45 * fs)), "bandpass", fs=fs, output="sos")
    gain = np.abs(sosfreqz(sos, rfftfreq(m, 1 / fs), fs=fs)[1]) ** 2
    rough = irfft(gain * rfft(rng.standard_normal(m)), m)[:n]
    unit: Array = rough / max(float(rough.std()), np.finfo(float).tiny)
    return unit


def _burst(time: Array, onset: float, act: FilmAct, seconds: float, phase: float, rate: float, rough: Array) -> Array:
    """Strokes under one outline, largest about 1."""
    u = (time - onset) / seconds
    outline = _outline(u, 0.42)
    hertz = act.frequency_hz * rate * (1 + act.glide * (0.5 - np.clip(u, 0, 1)))
    step = time[1] - time[0]
    strokes = np.cos(2 * np.pi * np.cumsum(hertz) * step - 2 * np.pi * hertz[0] * 0.42 * seconds + phase)
    under = float(np.sqrt((outline**2 * rough**2).sum() / max(float((outline**2).sum()), np.finfo(float).tiny)))
    fast = act.rough / np.sqrt(2) * rough / max(under, np.finfo(float).tiny)
    burst: Array = outline * (strokes + fast + act.lean * outline)
    return burst


def _rest(n: int, film: Film, person: FilmPerson, restless: float, sway_v: float, rng: np.random.Generator) -> Array:
    time = np.arange(n) / film.fs
    beat = person.heart_hz * time + 0.02 * np.sin(2 * np.pi * 0.25 * time) + rng.uniform()
    since = beat % 1.0
    wave = np.exp(-(((since - 0.15) / 0.07) ** 2)) - 0.5 * np.exp(-(((since - 0.33) / 0.09) ** 2))
    level = _band(n, film.fs, 0.05, 0.4, rng) if n > film.fs else np.zeros(n)
    rest = film.noise_v * _band(n, film.fs, 0.5, 20.0, rng) + film.pulse_v * wave * (1 + 0.3 * level)
    for at in rng.uniform(0, n / film.fs, rng.poisson(0.2 * n / film.fs)):
        seconds = rng.uniform(0.5, 1.1)
        grain = 0.85 * _band(n, film.fs, 0.8, 3.0, rng) + _band(n, film.fs, 6.0, 14.0, rng)
        rest += film.hump_v * rng.lognormal(0, 0.15) * _outline((time - at) / seconds, 0.5) * grain
    hum = film.hum_v * np.sin(2 * np.pi * 50.02 * time + rng.uniform(0, 2 * np.pi))
    rest = restless * (rest + film.wander_v * level) + sway_v * _band(n, film.fs, 0.3, 4.0, rng)
    quiet: Array = rest + hum
    return quiet


def film_stream(
    acts: Sequence[tuple[str, float]],
    seconds: float,
    film: Film,
    person: FilmPerson,
    rng: np.random.Generator,
    *,
    library: Mapping[str, FilmAct] = FILM_ACTS,
) -> tuple[Array, tuple[Event, ...]]:
    """Record a list of acts.

    Parameters
    ----------
    acts : sequence of (str, float)
        Key of ``library`` and onset in s; an act may begin before the recording or end after it.
    seconds : float
    film : Film
    person : FilmPerson
    rng : Generator
    library : mapping of str to FilmAct

    Returns
    -------
    volts : array, shape (n,)
        As stored.
    truth : tuple of Event
        Intervals of the outlines, cut to the recording.
    """
    n = round(seconds * film.fs)
    time = np.arange(n) / film.fs
    kinds = [library[kind] for kind, _ in acts]
    restless = float(np.mean([act.restless for act in kinds])) if kinds else 1.0
    sway_v = float(np.mean([act.sway_v for act in kinds])) if kinds else 0.0
    moving, truth = np.zeros(n), []
    for kind, onset in acts:
        act = library[kind]
        at = onset
        for _ in range(int(rng.integers(act.hits[0], act.hits[1] + 1))):
            length = act.seconds * person.seconds * float(rng.lognormal(0, act.seconds_cv))
            phase = person.phase + 2 * np.pi * act.unlike * float(rng.standard_normal())
            rate = person.frequency * float(rng.lognormal(0, act.unlike))
            size = act.swing_v * person.size * float(rng.lognormal(0, act.swing_cv))
            moving += size * _burst(time, at, act, length, phase, rate, _band(n, film.fs, *act.rough_hz, rng))
            if act.voice > 0:
                voiced = np.sin(2 * np.pi * (rng.uniform(*_VOICE_HZ) * time + rng.uniform()))
                moving += size * act.voice * _outline((time - at) / length, 0.42) * voiced
            end = at + length
            at += length * rng.uniform(*act.apart)
        low, high = max(onset, 0.0), min(end, seconds)
        if high > low:
            truth.append(Event(low, high - low, act.trial_type))
    volts = film.rest_v + _rest(n, film, person, restless, sway_v, rng) + moving
    step = film.high_v / 2**film.bits
    stored = np.round(np.clip(volts, 0.0, film.high_v - step) / step) * step
    if film.polarity < 0:
        stored = film.high_v - step - stored
    return stored, in_order(truth)


def film_recording(
    kind: str,
    film: Film,
    person: FilmPerson,
    rng: np.random.Generator,
    *,
    seconds: float = 14.5,
    library: Mapping[str, FilmAct] = FILM_ACTS,
) -> tuple[Array, tuple[Event, ...]]:
    """Record two acts of a kind, or rest; see `film_stream`.

    Parameters
    ----------
    kind : str
        One of `FILM_KINDS`.
    film : Film
    person : FilmPerson
    rng : Generator
    seconds : float
    library : mapping of str to FilmAct

    Returns
    -------
    volts : array, shape (n,)
    truth : tuple of Event
    """
    if kind not in FILM_KINDS:
        raise ValueError(f"kind must be one of {', '.join(FILM_KINDS)}, not {kind!r}")
    first = float(rng.uniform(1.0, 0.35 * seconds))
    second = first + float(rng.uniform(3.0, 0.42 * seconds))
    acts = [] if kind == "rest" else [(kind, first), (kind, second)]
    return film_stream(acts, seconds, film, person, rng, library=library)
