"""Flexion of both knees in walking, standing, turning, limping, and in bends, with the true contacts.

In: how a person walks (`Gait`) and what they do (`Segment`). Out: knee flexion in degrees and true events.
The walking curve is the mean knee flexion of 51 points of Schwartz MH, Rozumalski A, Trost JP 2008, J Biomech
41(8):1639-1650, stretched in time between each leg's own contacts and toe-offs and scaled in each wave to the
person. Stride times carry the long-range correlation of healthy walking (spectrum f^-0.5: Hausdorff JM et al.
1995, J Appl Physiol 78:349-358, fractal exponent about 0.75; from memory).
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cache
from typing import Final

import numpy as np
import numpy.typing as npt
from scipy.interpolate import CubicSpline, PchipInterpolator
from scipy.signal import butter, fftconvolve, sosfilt

from .gaits import MECHANISMS, Gait, Leg, healthy_gait, limp, turning
from .throat import smooth_step
from .truth import Event, in_order

__all__ = [
    "MECHANISMS",
    "REFERENCE_CURVE_DEG",
    "Gait",
    "KneeMotion",
    "Leg",
    "Segment",
    "correlated_noise",
    "healthy_gait",
    "knee_cycle",
    "limp",
    "turning",
    "walk_knees",
]

Array = npt.NDArray[np.float64]

# Schwartz 2008 (typically developing children), at 0, 2, 4 ... 100 % of the cycle, degrees of flexion.
REFERENCE_CURVE_DEG: Final = (
    5.5, 7.9, 11.0, 14.4, 17.2, 18.9, 19.7, 19.6, 18.9, 18.0, 16.9, 15.7, 14.5, 13.2, 12.0, 10.8, 9.8, 8.8,
    7.9, 7.2, 6.8, 6.7, 7.1, 8.0, 9.5, 11.6, 14.4, 18.1, 22.6, 28.0, 34.1, 40.6, 47.0, 52.5, 56.8, 59.4, 60.5,
    60.0, 58.2, 55.0, 50.8, 45.5, 39.5, 32.9, 26.0, 19.0, 12.6, 7.5, 4.5, 3.8, 5.2,
)  # fmt: skip
_LOADING_AT, _MINIMUM_AT, _TOE_OFF_AT, _SWING_PEAK_AT = 0.12, 0.42, 0.62, 0.72
_LOADING_DEG, _MINIMUM_DEG, _SWING_PEAK_DEG, _CONTACT_DIP_DEG = 19.7, 6.7, 60.5, 2.9
_SHORTEST_REST_S = 0.05


@dataclass(frozen=True)
class Segment:
    """One thing done for a time: ``rest`` (standing), ``walk`` or ``turn`` with its gait.

    Neighbouring walks and turns form one bout without a stop.
    """

    kind: str
    seconds: float
    gait: Gait | None = None


@dataclass(frozen=True)
class KneeMotion:
    """Flexion of each knee in degrees, each shape (n,), and the true events."""

    angles: Mapping[str, Array]
    truth: tuple[Event, ...]


@cache
def _reference() -> CubicSpline:
    values = np.array(REFERENCE_CURVE_DEG)
    values[[0, -1]] = values[[0, -1]].mean()
    return CubicSpline(np.linspace(0, 1, len(values)), values, bc_type="periodic")


def knee_cycle(
    phase: Array,
    *,
    loading_deg: Array | float,
    minimum_deg: Array | float,
    swing_peak_deg: Array | float,
    contact_dip_deg: Array | float = _CONTACT_DIP_DEG,
) -> Array:
    """Knee flexion over the gait cycle.

    Parameters
    ----------
    phase : array, shape (n,)
        Cycles since initial contact, on the reference's clock (toe-off at 0.62); may count on over strides.
    loading_deg, minimum_deg, swing_peak_deg : float or array, shape (n,)
        The three landmarks; the loading peak may fall to the minimum, which flattens it.
    contact_dip_deg : float or array, shape (n,)
        How far below ``minimum_deg`` the knee straightens before contact.

    Returns
    -------
    array, shape (n,)
        Degrees.
    """
    fraction = np.mod(phase, 1.0)
    deviation = _reference()(fraction) - _MINIMUM_DEG
    loading = (np.asarray(loading_deg) - minimum_deg) / (_LOADING_DEG - _MINIMUM_DEG)
    swing = (np.asarray(swing_peak_deg) - minimum_deg) / (_SWING_PEAK_DEG - _MINIMUM_DEG)
    # The waves change over where the curve is near its minimum, so neither shows in the other.
    share = smooth_step((fraction - 0.38) / 0.08) * smooth_step((0.99 - fraction) / 0.08)
    dip = np.asarray(contact_dip_deg) / _CONTACT_DIP_DEG
    scale = np.where(deviation < 0, dip, loading + (swing - loading) * share)
    angle: Array = minimum_deg + deviation * scale
    return angle


def correlated_noise(n: int, rng: np.random.Generator, *, slope: float = 0.5) -> Array:
    """Noise of unit expected variance with a spectrum of f^-slope, shape (n,)."""
    size = max(16, 2 * n)
    frequency = np.arange(1, size // 2 + 1) / size
    power = frequency**-slope
    spectrum = np.zeros(size // 2 + 1, dtype=complex)
    draws = rng.standard_normal((2, size // 2))
    spectrum[1:] = (draws[0] + 1j * draws[1]) * np.sqrt(power)
    noise = np.fft.irfft(spectrum, size)[:n]
    expected = np.sqrt((4 * power[:-1].sum() + power[-1]) / size**2)
    scaled: Array = noise / expected
    return scaled


@dataclass(frozen=True)
class _Stride:
    contact: float
    following: float
    toe_off: float
    peak: float
    swing_peak_deg: float
    loading_deg: float
    minimum_deg: float
    contact_dip_deg: float
    contact_phase: float
    habit_deg: tuple[tuple[float, float], ...]


def _strides(
    segments: Sequence[tuple[float, Segment]], onset: float, end: float, rng: np.random.Generator
) -> dict[str, list[_Stride]]:
    """Strides of both legs from one virtual contact before ``onset`` to some past ``end``."""
    starts = np.array([start for start, _ in segments])

    def gait_at(time: float) -> Gait:
        gait = segments[max(int(np.searchsorted(starts, time, side="right")) - 1, 0)][1].gait
        return Gait() if gait is None else gait

    count = int((end - onset) / 0.5) + 8
    tempo, peaks = correlated_noise(count, rng), rng.standard_normal((count, 4))
    phases = np.clip(rng.standard_normal(count), -2.5, 2.5)
    jitter = np.clip(rng.standard_normal((count, 2)), -2.5, 2.5)
    contacts: dict[str, list[float]] = {"left": [onset], "right": []}
    for k in range(count - 1):
        at = contacts["left"][-1]
        gait = gait_at(at)
        seconds = gait.stride_time_s * (1 + gait.stride_time_cv * float(np.clip(tempo[k], -3, 3)))
        contacts["right"].append(at + seconds * (gait.step_phase + gait.step_phase_sd * float(phases[k])))
        contacts["left"].append(at + seconds)
        if at > end + 2 * seconds:
            break
    # One more right contact before the first left one: the leg that stands when walking starts.
    first = gait_at(onset)
    contacts["right"].insert(0, onset - (1 - first.step_phase) * first.stride_time_s)
    strides: dict[str, list[_Stride]] = {"left": [], "right": []}
    for column, side in enumerate(strides):
        for k, (contact, following) in enumerate(zip(contacts[side][:-1], contacts[side][1:], strict=True)):
            gait, seconds = gait_at(contact), following - contact
            leg = gait.leg(side)
            stance = leg.stance_fraction + 0.011 * float(np.clip(peaks[k, 2], -2.5, 2.5))
            peak = leg.peak_fraction + (stance - leg.stance_fraction) / 2
            strides[side].append(
                _Stride(
                    contact,
                    following,
                    contact + stance * seconds,
                    contact + max(peak, stance + 0.04) * seconds,
                    leg.swing_peak_deg + gait.swing_peak_sd_deg * float(peaks[k, column]),
                    max(leg.loading_deg + gait.loading_sd_deg * float(peaks[k, 2 + column]), leg.minimum_deg),
                    leg.minimum_deg + 0.5 * gait.loading_sd_deg * float(peaks[k, 3 - column]),
                    leg.contact_dip_deg,
                    leg.contact_shift + 0.006 * float(jitter[k, column]),
                    leg.habit_deg,
                )
            )
    return strides


def _leg_angle(time: Array, strides: Sequence[_Stride], quiet: Array, first: float, last: float) -> Array:
    """One knee through a bout: standing until before toe-off ``first``, standing again after contact ``last``."""
    order = np.arange(len(strides))
    nodes = np.concatenate([[s.contact, s.toe_off, s.peak] for s in strides])
    clock = np.repeat(order, 3) + np.tile([0, _TOE_OFF_AT, _SWING_PEAK_AT], len(strides))
    clock[::3] += [s.contact_phase for s in strides]
    inside = np.clip(time, nodes[0], nodes[-1])
    phase = PchipInterpolator(nodes, clock)(inside)
    # Strides differ, so each landmark glides from its value in one stride to its value in the next.
    # The first step is short, and the last only brings the foot beside the other.
    swing_share = np.ones(len(strides))
    swing_share[[s.toe_off == first for s in strides]] = 0.85
    swing_share[[s.following == last for s in strides]] = 0.75
    minimum = np.array([s.minimum_deg for s in strides])
    peaks = minimum + swing_share * (np.array([s.swing_peak_deg for s in strides]) - minimum)
    low = np.interp(phase, order + _MINIMUM_AT, minimum)
    share = np.interp(phase, order + 0.5, (peaks - minimum) / (_SWING_PEAK_DEG - _MINIMUM_DEG))
    angle = knee_cycle(
        phase,
        loading_deg=np.interp(phase, order + _LOADING_AT, [s.loading_deg for s in strides]),
        minimum_deg=low,
        swing_peak_deg=np.interp(phase, order + _SWING_PEAK_AT, peaks),
        contact_dip_deg=np.interp(phase, order + 1.0, [s.contact_dip_deg for s in strides]),
    )
    for k in range(max(len(s.habit_deg) for s in strides)):
        cosine, sine = (
            np.interp(phase, order + 0.5, [s.habit_deg[k][part] if s.habit_deg else 0.0 for s in strides])
            for part in (0, 1)
        )
        turn = 2 * np.pi * (k + 1) * phase
        # A knee that moves less departs less from the curve.
        angle += share * (cosine * np.cos(turn) + sine * np.sin(turn))
    mean = float(np.mean([s.following - s.contact for s in strides]))
    walking = smooth_step((time - first) / (0.22 * mean) + 1) * smooth_step((last - time) / (0.35 * mean) + 1.4)
    blended: Array = quiet + walking * (angle - quiet)
    return blended


def _standing(n: int, fs: float, rng: np.random.Generator) -> dict[str, Array]:
    """Quiet standing: a slightly bent knee, weight shifts from leg to leg, sway, now and then a fidget."""
    sway = butter(2, (0.05, 2.0), "bandpass", fs=fs, output="sos")
    seconds = n / fs
    time = np.arange(n) / fs
    moves = rng.poisson(seconds / 15)
    onsets, levels = np.sort(rng.uniform(0, seconds, moves)), rng.normal(0, 2.0, moves)
    # Half a shift's smooth way lies on either side of each step of this staircase.
    stairs = np.concatenate([[0.0], levels])[np.searchsorted(onsets, time, side="right")]
    width = max(1, round(1.2 * fs))
    window = np.hanning(width + 2)[1:-1]
    padded = np.pad(stairs, (width // 2, width - 1 - width // 2), mode="edge")
    shift = fftconvolve(padded, window / window.sum(), mode="valid")
    angles = {}
    for side, sign in (("left", 1), ("right", -1)):
        noise = sosfilt(sway, rng.standard_normal(n + round(10 * fs)))[round(10 * fs) :]
        spread = 0.25 * np.sqrt(fs / (2 * 1.95))
        angle = rng.uniform(1, 6) + sign * shift + spread * noise
        for at in rng.uniform(0, seconds, rng.poisson(seconds / 45)):
            low, high = int(at * fs), min(n, int((at + 1.5) * fs))
            u = (time[low:high] - at) / 0.6
            angle[low:high] += rng.uniform(3, 9) * smooth_step(u) * smooth_step(2.2 - u)
        angles[side] = angle
    return angles


def walk_knees(script: Sequence[Segment], fs: float, rng: np.random.Generator) -> KneeMotion:
    """Move both knees through a script of standing, walking and turning.

    Parameters
    ----------
    script : sequence of Segment
        One after another from time 0.
    fs : float
        Hz.
    rng : Generator

    Returns
    -------
    KneeMotion
        Truth: ``initial_contact`` and ``toe_off`` of each side, and the states; a bout runs from the first
        toe-off to the last contact, and its states change at a contact. ``limping_gait`` names the side.
    """
    starts = np.concatenate([[0.0], np.cumsum([s.seconds for s in script])])
    n = round(float(starts[-1]) * fs)
    quiet = _standing(n, fs, rng)
    wobble = butter(1, (0.15, 3.0), "bandpass", fs=fs, output="sos")
    angles = {side: angle.copy() for side, angle in quiet.items()}
    events: list[Event] = []
    states: list[Event] = []
    k = 0
    while k < len(script):
        if script[k].kind == "rest":
            k += 1
            continue
        first = k
        while k < len(script) and script[k].kind != "rest":
            k += 1
        pieces = [(float(start), s) for start, s in zip(starts[first:k], script[first:k], strict=True)]
        bout = _bout(pieces, float(starts[k]), rng)
        low, high = max(0, int((starts[first] - 2) * fs)), min(n, int((starts[k] + 2) * fs))
        time = np.arange(low, high) / fs
        for side, strides in bout.strides.items():
            angles[side][low:high] = _leg_angle(
                time, strides, angles[side][low:high], bout.first[side], bout.last[side]
            )
        events.extend(bout.instants)
        states.extend(bout.states)
    for side, angle in angles.items():
        # Soft tissue and the joint itself are never as smooth as a mean curve.
        tremble = sosfilt(wobble, rng.standard_normal(n)) * 2.1 * np.sqrt(fs / (2 * 4.5))
        moving = np.clip(np.abs(angle - quiet[side]) / 5, 0, 1)
        angles[side] = angle + tremble * moving
    edges = [0.0, *(t for s in states for t in (s.onset, s.end)), n / fs]
    for low_edge, high_edge in zip(edges[::2], edges[1::2], strict=True):
        # What is shorter than a label sheet's last digit would be a rest that lasts no time.
        if high_edge - low_edge >= _SHORTEST_REST_S:
            states.append(Event(low_edge, high_edge - low_edge, "rest"))
    return KneeMotion(angles, in_order([*events, *states]))


@dataclass(frozen=True)
class _Bout:
    strides: Mapping[str, list[_Stride]]
    first: Mapping[str, float]
    last: Mapping[str, float]
    instants: list[Event]
    states: list[Event]


def _bout(pieces: Sequence[tuple[float, Segment]], end: float, rng: np.random.Generator) -> _Bout:
    lead = "left" if rng.random() < 0.5 else "right"
    onset = pieces[0][0] + rng.uniform(0.1, 0.4)
    strides = _strides(pieces, onset, end, rng)
    begin = strides[lead][0].toe_off
    contacts = sorted((s.contact, side) for side in strides for s in strides[side] if begin < s.contact <= end - 0.05)
    finish = contacts[-1][0] if contacts else begin
    instants = [Event(t, 0.0, "initial_contact", side) for t, side in contacts]
    instants += [
        Event(s.toe_off, 0.0, "toe_off", side) for side in strides for s in strides[side] if begin <= s.toe_off < finish
    ]
    first = {
        side: min((e.onset for e in instants if e.side == side and e.trial_type == "toe_off"), default=begin)
        for side in strides
    }
    last = {side: max((t for t, s in contacts if s == side), default=first[side]) for side in strides}
    states: list[Event] = []
    at = begin
    for k, (_, segment) in enumerate(pieces):
        until = pieces[k + 1][0] if k + 1 < len(pieces) else end
        stop = max((t for t, _ in contacts if t <= until), default=at) if k + 1 < len(pieces) else finish
        if stop > at:
            gait = segment.gait or Gait()
            kind = "turn" if segment.kind == "turn" else gait.trial_type
            states.append(Event(at, stop - at, kind, None if kind == "turn" else gait.limping_side))
            at = stop
    return _Bout(strides, first, last, instants, states)
