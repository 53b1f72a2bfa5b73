"""The electromechanical chain: strain of a soft piezoresistive sensor to stored volts.

In: strain (fraction) on a uniform grid. Out: volts as an amplifier and converter would store them.
Static curve, play-operator hysteresis (Prandtl-Ishlinskii: Brokate M, Sprekels J 1996, *Hysteresis and Phase
Transitions*), Prony series relaxation of the polymer, thermal drift, quarter bridge, mains hum, noise,
converter.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy.fft import irfft, next_fast_len, rfft, rfftfreq
from scipy.signal import lfilter

__all__ = [
    "Acquisition",
    "BridgeModel",
    "SensorModel",
    "SleeveFit",
    "acquire",
    "bridge_volts",
    "drift",
    "first_order_lag",
    "hysteresis",
    "measure",
    "pink_noise",
    "relaxation",
    "resistance",
    "sleeve_strain",
    "static_response",
    "through_sensor",
]

Array = npt.NDArray[np.float64]

# Thresholds of the play operators as shares of full scale. All lie at or below a quarter, so that at
# mid-scale of a full cycle every operator has left its dead band on both branches and the widths add up.
_PLAY_SHARES = np.array([0.05, 0.10, 0.15, 0.20])
LARGEST_HYSTERESIS_PERCENT = 30.0


@dataclass(frozen=True)
class SensorModel:
    """One soft piezoresistive sensor.

    Parameters
    ----------
    gauge_factor : float
        Slope of dR/R against strain at zero strain, for a fast stretch (before relaxation).
    rest_ohm : float
        Resistance at zero strain.
    curvature : float
        Exponential non-linearity b of dR/R = GF (exp(b e) - 1) / b, per unit strain; 0 is a straight line.
    hysteresis_percent : float
        Largest gap between the branches of a cycle from zero to full scale, percent of the span.
    full_scale_strain : float
        Strain at which ``hysteresis_percent`` is meant.
    response_time_s : float
        Time constant of the first-order answer to a step; 0 is immediate.
    relaxation : tuple of (share, seconds)
        Prony terms: after a step, each share of the response decays with its time constant.
    drift_per_minute : float
        Linear trend of resistance, relative, per minute (warming on the skin, tiring of the film).
    wander_per_root_minute : float
        Standard deviation of the random walk of resistance after one minute, relative.
    flicker : float
        Standard deviation of 1/f contact noise of resistance over the recording, relative.
    """

    gauge_factor: float = 5.0
    rest_ohm: float = 10_000.0
    curvature: float = 0.4
    hysteresis_percent: float = 6.0
    full_scale_strain: float = 0.5
    response_time_s: float = 0.03
    relaxation: tuple[tuple[float, float], ...] = ((0.03, 0.8), (0.04, 12.0))
    drift_per_minute: float = 0.0
    wander_per_root_minute: float = 0.0
    flicker: float = 0.0

    def __post_init__(self) -> None:
        if not 0 <= self.hysteresis_percent <= LARGEST_HYSTERESIS_PERCENT:
            raise ValueError(f"hysteresis_percent must lie in 0 to {LARGEST_HYSTERESIS_PERCENT:g}")
        if sum(share for share, _ in self.relaxation) >= 1:
            raise ValueError("relaxation shares must add up to less than 1")


@dataclass(frozen=True)
class BridgeModel:
    """Quarter bridge with the sensor below ``r3_ohm``; ``r2_ohm=None`` is trimmed to zero at ``rest_ohm``."""

    excitation_v: float = 3.3
    r1_ohm: float = 10_000.0
    r3_ohm: float = 10_000.0
    r2_ohm: float | None = None
    amplifier_gain: float = 1.0
    polarity: int = 1


@dataclass(frozen=True)
class Acquisition:
    """Amplifier output stage and converter.

    Parameters
    ----------
    rail_v : float
        The output cannot leave -rail_v to +rail_v.
    adc_bits : int
        Resolution over the span of the rails; 0 keeps the analogue value.
    white_noise_v : float
        Standard deviation of white noise at the output.
    mains_v : float
        Amplitude of the hum's fundamental at the output, before the anti-alias filter.
    mains_hz : float
        Its frequency; the grid wanders a few hundredths of a hertz around 50.
    harmonics : tuple of float
        Amplitudes of the second, third... harmonic relative to the fundamental.
    antialias_hz : float
        Corner of the one-pole filter before the converter (it acts on the hum); 0 is no filter.
    lost_per_minute, lost_seconds : float
        Rate and mean length of stretches lost on the way (radio, buffer): not a number.
    """

    rail_v: float = 1.65
    adc_bits: int = 12
    white_noise_v: float = 0.0005
    mains_v: float = 0.002
    mains_hz: float = 49.98
    harmonics: tuple[float, ...] = (0.05, 0.25)
    antialias_hz: float = 40.0
    lost_per_minute: float = 0.0
    lost_seconds: float = 0.05


@dataclass(frozen=True)
class SleeveFit:
    """How a knee sleeve turns flexion into stretch of the sensor along the leg.

    Skin over the patella lengthens by about 20-25 % at 45 degrees and 40-50 % at 90 degrees of flexion
    (Wessendorf AM, Newman DJ 2012, IEEE Trans Biomed Eng 59:3432-3438; values from memory); the textile
    passes on a share of it (``transfer``). Strain counts from the straight leg, at which the sleeve holds the
    sensor at ``prestrain``: below that the sensor is slack and answers no more.
    """

    strain_at_45: float = 0.225
    strain_at_90: float = 0.45
    transfer: float = 0.7
    prestrain: float = 0.04


def static_response(strain: Array, sensor: SensorModel) -> Array:
    """Relative resistance change of a slow, hysteresis-free sensor, shape as ``strain``."""
    if sensor.curvature == 0:
        return sensor.gauge_factor * np.asarray(strain, dtype=float)
    curved: Array = sensor.gauge_factor * np.expm1(sensor.curvature * np.asarray(strain)) / sensor.curvature
    return curved


def hysteresis(signal: Array, percent: float, full_scale: float) -> Array:
    """Rate-independent hysteresis of a conditioned sensor (weighted play operators).

    A cycle from 0 to ``full_scale`` and back returns 0 and ``full_scale`` at its ends, and its branches lie
    ``percent`` of the span apart at mid-scale, the widest place. The state before the first sample is that
    of having come down to it.

    Parameters
    ----------
    signal : array, shape (n,)
    percent : float
        0 to 30.
    full_scale : float
        In the unit of ``signal``; its sign is that of the signal when stretched.

    Returns
    -------
    array, shape (n,)
    """
    x = np.asarray(signal, dtype=float)
    if percent == 0 or len(x) == 0:
        return x.copy()
    radius = abs(full_scale) * _PLAY_SHARES
    share = percent / 100
    weight = share / (2 * _PLAY_SHARES.sum() - share * (1 - 2 * _PLAY_SHARES).sum())
    sign = 1.0 if full_scale >= 0 else -1.0
    x = sign * x

    slope = np.sign(np.diff(x))
    moving = np.flatnonzero(slope)
    turns = moving[1:][slope[moving[1:]] != slope[moving[:-1]]] if len(moving) else moving
    bounds = np.concatenate([[0], turns, [len(x) - 1]])
    ends = x[bounds].tolist()
    segment = np.concatenate([[0], np.repeat(np.arange(len(bounds) - 1), np.diff(bounds))])
    total = x.copy()
    for r in radius.tolist():
        state, states = ends[0] + r, []
        for end in ends:
            state = min(max(state, end - r), end + r)
            states.append(state)
        # Between two turns the signal is monotone, so the operator is a clip of its state at the last turn.
        total += weight * (np.clip(np.array(states)[segment], x - r, x + r) - r)
    scaled: Array = sign * total / (1 + weight * (1 - 2 * _PLAY_SHARES).sum())
    return scaled


def first_order_lag(signal: Array, fs: float, seconds: float) -> Array:
    """First-order low-pass of time constant ``seconds``, exact for straight lines between samples."""
    x = np.asarray(signal, dtype=float)
    if seconds == 0 or len(x) == 0:
        return x.copy()
    decay = float(np.exp(-1 / (fs * seconds)))
    mean = seconds * fs * (1 - decay)
    b, a = [1 - mean, mean - decay], [1.0, -decay]
    lagged: Array = lfilter(b, a, x, zi=[(b[1] + decay) * x[0]])[0]
    return lagged


def relaxation(signal: Array, fs: float, terms: tuple[tuple[float, float], ...]) -> Array:
    """Fading of a held response: each (share, seconds) of a change decays exponentially."""
    x = np.asarray(signal, dtype=float)
    relaxed: Array = x.copy()
    for share, seconds in terms:
        relaxed -= share * first_order_lag(x, fs, seconds)
    if len(x):
        relaxed += sum(share for share, _ in terms) * x[0]
    return relaxed


def pink_noise(n: int, fs: float, rng: np.random.Generator, *, lowest_hz: float = 0.02) -> Array:
    """Noise with a 1/f power spectrum above ``lowest_hz`` (flat below), unit standard deviation."""
    if n == 0:
        return np.empty(0)
    size = next_fast_len(n, real=True)
    spectrum = rfft(rng.standard_normal(size))
    frequency = rfftfreq(size, 1 / fs)
    spectrum /= np.sqrt(np.maximum(frequency, lowest_hz))
    spectrum[0] = 0
    noise = irfft(spectrum, size)[:n]
    spread = noise.std()
    scaled: Array = noise / spread if spread > 0 else noise
    return scaled


def drift(n: int, fs: float, sensor: SensorModel, rng: np.random.Generator) -> Array:
    """Relative drift of resistance, shape (n,): trend, random walk, 1/f noise; zero at the first sample."""
    minutes = np.arange(n) / fs / 60
    walk = np.cumsum(rng.standard_normal(n)) * sensor.wander_per_root_minute / np.sqrt(60 * fs)
    slow = sensor.drift_per_minute * minutes + walk + sensor.flicker * pink_noise(n, fs, rng)
    shifted: Array = slow - slow[:1] if n else slow
    return shifted


def resistance(strain: Array, fs: float, sensor: SensorModel, rng: np.random.Generator) -> Array:
    """Resistance of the strained sensor in ohm, shape as ``strain``."""
    full_scale = float(static_response(np.array([sensor.full_scale_strain]), sensor)[0])
    response = static_response(np.asarray(strain, dtype=float), sensor)
    response = hysteresis(response, sensor.hysteresis_percent, full_scale)
    response = relaxation(response, fs, sensor.relaxation)
    response = first_order_lag(response, fs, sensor.response_time_s)
    # A film cannot lose more than its resistance, however it is compressed.
    whole: Array = sensor.rest_ohm * np.maximum(1 + response, 0.05) * (1 + drift(len(response), fs, sensor, rng))
    return whole


def bridge_volts(resistance_ohm: Array, bridge: BridgeModel, rest_ohm: float) -> Array:
    """Amplified output of the bridge: gain * polarity * excitation * (Rx/(r3+Rx) - r2/(r1+r2)).

    ``resistance_ohm`` may hold ``inf`` (lead off): the sensor then takes the whole excitation.
    """
    ohm = np.asarray(resistance_ohm, dtype=float)
    live = 1 / (1 + bridge.r3_ohm / ohm)
    if bridge.r2_ohm is None:
        reference = rest_ohm / (bridge.r3_ohm + rest_ohm)
    else:
        reference = bridge.r2_ohm / (bridge.r1_ohm + bridge.r2_ohm)
    volts: Array = bridge.amplifier_gain * bridge.polarity * bridge.excitation_v * (live - reference)
    return volts


def acquire(volts: Array, fs: float, acquisition: Acquisition, rng: np.random.Generator) -> Array:
    """Add hum and noise, run into the rails, quantise, lose samples (NaN); shape as ``volts``."""
    n = len(volts)
    time = np.arange(n) / fs
    phases = rng.uniform(0, 2 * np.pi, 1 + len(acquisition.harmonics))
    # The grid's frequency wanders slowly, so the hum's phase is a random walk and not a pure tone.
    wander = np.cumsum(rng.standard_normal(n)) * 0.02 / np.sqrt(fs)
    stored = np.asarray(volts, dtype=float) + acquisition.white_noise_v * rng.standard_normal(n)
    for order, (share, phase) in enumerate(zip((1.0, *acquisition.harmonics), phases, strict=True), start=1):
        frequency = order * acquisition.mains_hz
        passed = 1.0
        if acquisition.antialias_hz > 0:
            passed = 1 / np.hypot(1, frequency / acquisition.antialias_hz)
        angle = 2 * np.pi * frequency * time + order * wander + phase
        stored += acquisition.mains_v * share * passed * np.sin(angle)
    stored = np.clip(stored, -acquisition.rail_v, acquisition.rail_v)
    if acquisition.adc_bits:
        step = 2 * acquisition.rail_v / 2**acquisition.adc_bits
        # The top code of a two's-complement converter lies one step below the rail.
        stored = np.minimum(np.round(stored / step), 2 ** (acquisition.adc_bits - 1) - 1) * step
    losses = rng.poisson(acquisition.lost_per_minute * n / fs / 60)
    for start, seconds in zip(
        rng.uniform(0, n / fs, losses), rng.exponential(acquisition.lost_seconds, losses), strict=True
    ):
        stored[int(start * fs) : int((start + seconds) * fs) + 1] = np.nan
    return stored


def measure(
    strain: Array,
    fs: float,
    sensor: SensorModel,
    bridge: BridgeModel,
    acquisition: Acquisition,
    rng: np.random.Generator,
) -> Array:
    """Give the stored volts for a strain history.

    Parameters
    ----------
    strain : array, shape (n,)
        Fraction, counted from the state in which the bridge was trimmed.
    fs : float
        Sampling frequency, Hz.
    sensor, bridge, acquisition
        The chain.
    rng : Generator
        Drift, noise, hum phases and losses.

    Returns
    -------
    array, shape (n,)
        Volts; NaN where samples were lost.
    """
    ohm = resistance(strain, fs, sensor, rng)
    return acquire(bridge_volts(ohm, bridge, sensor.rest_ohm), fs, acquisition, rng)


def sleeve_strain(angle_deg: Array, sleeve: SleeveFit) -> Array:
    """Strain of a sensor on a knee sleeve at flexion in degrees: the parabola through 0, 45 and 90."""
    at_45, at_90 = sleeve.strain_at_45, sleeve.strain_at_90
    relative = np.asarray(angle_deg, dtype=float) / 90
    # A parabola need not rise for ever: beyond 90 degrees its slope there is kept.
    linear, square = 4 * at_45 - at_90, 2 * at_90 - 4 * at_45
    skin = np.where(
        relative > 0,
        linear * np.minimum(relative, 1) + square * np.minimum(relative, 1) ** 2,
        linear * relative,
    ) + (linear + 2 * square) * np.maximum(relative - 1, 0)
    strain: Array = np.maximum(sleeve.transfer * skin, -sleeve.prestrain)
    return strain


def through_sensor(
    signal_deg: Array,
    fs: float,
    *,
    sensor: SensorModel,
    bridge: BridgeModel,
    acquisition: Acquisition,
    rng: np.random.Generator,
    sleeve: SleeveFit | None = None,
) -> Array:
    """Volts that a sleeve sensor would store for a knee angle history, for example a measured one.

    Parameters
    ----------
    signal_deg : array, shape (n,)
        Knee flexion in degrees, finite.
    fs : float
        Hz.
    sensor, bridge, acquisition, sleeve
        The chain; the default sleeve is `SleeveFit`.
    rng : Generator

    Returns
    -------
    array, shape (n,)
        Volts.
    """
    strain = sleeve_strain(signal_deg, SleeveFit() if sleeve is None else sleeve)
    return measure(strain, fs, sensor, bridge, acquisition, rng)
