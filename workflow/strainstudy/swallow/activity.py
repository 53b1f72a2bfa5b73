"""Throat stream to activity: one measure of movement that is a single hump for every shape of answer.

In: the conditioned throat stream (NaN in gaps, any unit, either polarity, 20 Hz and up). Out: its level over a
base line that follows posture, and its activity, at a working rate of 50-100 Hz.

Activity is the energy of an oscillator, level squared plus scaled velocity squared, summed with the energy of
the fast part. A one-humped pulse has its level at the middle and its velocity on the flanks, a two-phase pulse
the other way about, a ringing burst exchanges one for the other: the sum rises once and falls once for all
three, whatever the sign. What the resting signal does all the time is subtracted as in spectral subtraction
(Boll SF 1979, IEEE Trans Acoust Speech 27:113-120; from memory), so that activity is zero at rest.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
import numpy.typing as npt
from scipy.ndimage import binary_dilation, binary_erosion, gaussian_filter1d, uniform_filter1d
from scipy.signal import resample_poly

from ..signal.filters import lowpass
from ..signal.runs import runs

__all__ = ["LOWEST_RATE_HZ", "SHORTEST_S", "Activity", "activity_of", "measure_activity", "observed_seconds"]

Array = npt.NDArray[np.float64]
Single = npt.NDArray[np.float32]
Mask = npt.NDArray[np.bool_]

LOWEST_RATE_HZ: Final = 20.0
"""Streams below it are not looked at: half of it has to hold what lies below 6 Hz, as swallows do (ours)."""
SHORTEST_S: Final = 5.0
"""Less live signal than this is not looked at."""

_WORKING_RATE_HZ: Final = 50.0
"""Lowest working rate: about four times `_FAST_EDGE_HZ` (ours, for speed)."""
# The rise and fall of the larynx lie below 3 Hz; ringing of a piezo-like film and the syllables of speech above.
_SLOW_EDGE_HZ: Final = 3.0
_FAST_EDGE_HZ: Final = 12.0
"""Upper end of what is taken for movement (ours)."""
# Above it lie skin sliding under the sensor, voice and turbulence, below it every smooth movement of neck and larynx.
_TEXTURE_EDGE_HZ: Final = 5.0
# Velocity counts as much as level at 1 Hz, the rate of a pulse of the usual length.
_VELOCITY_SCALE_S: Final = 1 / (2 * np.pi)
_COARSE_S: Final = 0.15
"""Standard deviation of the Gaussian over which activity is one hump for one swallow (ours)."""
_FINE_S: Final = 0.045
"""The same for where it begins and ends (ours)."""
_NOISE_WINDOW_S: Final = 60.0
"""Window in which the level of rest is read (ours)."""
_NOISE_PERCENTILE: Final = 10
"""Percentile taken for rest: low enough for a busy minute (ours)."""
# Half a second either way evens out the pulse of the carotid artery, which belongs to rest.
_NOISE_SMOOTHING_S: Final = 0.5
_SUBTRACT: Final = 1.5
"""How much of the resting level is subtracted: more than all of it, for noise varies (ours, as in Boll 1979)."""
_FLAT_S: Final = 2.0
"""No body is still for so long: a stretch without any change is missing (ours)."""
_GUARD_S: Final = 0.3
"""Also left out on either side of what is missing, where filters have smeared its edge (ours)."""
_QUIET_S: Final = 0.6
"""Shortest stretch of quiet that the base line rests on (ours)."""
_LONG_S: Final = 20.0
"""Nobody drinks for longer without a pause: across longer movement the base line follows medians (ours)."""
# Standard deviation of the Gaussian that a burst's base line follows: half of what turns at 0.9 Hz, a seventh of what
# turns at 1.5 Hz, and next to nothing of strokes, whose centre of gravity is 2.6 Hz and more on real recordings.
_BENEATH_STROKES_S: Final = 0.2


@dataclass(frozen=True)
class Activity:
    """A throat stream at the working rate; every array has shape (n,).

    What is only looked up and not calculated on is kept in single precision, so that a day fits into a gigabyte.

    Parameters
    ----------
    fs : float
        Working rate, Hz; sample k lies at k / fs seconds from the first sample of the stream.
    level : array
        Stream below 12 Hz minus base line, in the unit of the stream.
    base : array
        The base line.
    slow : array
        The part of ``level`` below 3 Hz.
    texture : array
        The part of the stream from 5 to 12 Hz.
    broad : array
        Stream minus base line with all that the working rate holds.
    coarse, fine : array
        Activity over about half a second and over about a fifth of a second, in the unit of the stream.
    significance : array
        Coarse activity before subtraction as a multiple of that of the resting signal around it.
    noise : array
        Fine activity of the resting signal around each sample.
    observed : array of bool
        False in gaps, in stretches without any change, and close to them.
    """

    fs: float
    level: Array
    base: Array
    slow: Array
    texture: Single
    broad: Single
    coarse: Array
    fine: Array
    significance: Single
    noise: Single
    observed: Mask


def _without_flat(x: Array, present: Mask, fs: float) -> Mask:
    """Take stretches of two seconds and more without any change for missing: no body is that still."""
    same = np.zeros(len(x), dtype=bool)
    same[1:] = (x[1:] == x[:-1]) & present[1:] & present[:-1]
    flat = runs(same)
    live = present.copy()
    for start, stop in flat[flat[:, 1] - flat[:, 0] >= _FLAT_S * fs]:
        live[start - 1 : stop] = False
    return live


def _thin(x: Array, live: Mask, fs: float) -> tuple[Array, Mask, float]:
    """Bring the stream, gaps filled with straight lines, to the working rate."""
    step = max(int(fs // _WORKING_RATE_HZ), 1)
    filled = x
    if not live.all():
        at = np.flatnonzero(live)
        filled = np.interp(np.arange(len(x)), at, x[at])
    filled = filled - np.median(filled[:: max(len(x) // 10_000, 1)])
    if step == 1:
        return filled, live, fs
    thinned: Array = resample_poly(filled, 1, step, padtype="line")
    starts = np.arange(0, len(x), step)
    return thinned, np.minimum.reduceat(live, starts), fs / step


def _resting(values: Array, observed: Mask, fs: float) -> Array:
    """Low percentile of the values in windows of a minute, interpolated: the level of rest, in busy streams too."""
    size = max(int(_NOISE_WINDOW_S * fs), 1)
    step = max(size // 2, 1)
    centres, levels = [], []
    thin = max(int(fs * 0.1), 1)
    for start in range(0, max(len(values) - step, 1), step):
        window = slice(start, start + size, thin)
        inside = values[window][observed[window]]
        if len(inside) * thin >= 5 * fs:
            centres.append(start + 0.5 * min(size, len(values) - start))
            levels.append(float(np.percentile(inside, _NOISE_PERCENTILE)))
    if not levels:
        inside = values[observed]
        return np.full(len(values), float(np.percentile(inside, _NOISE_PERCENTILE)) if len(inside) else 0.0)
    resting: Array = np.interp(np.arange(len(values)), centres, levels)
    return resting


def _base_line(slow: Array, observed: Mask, fs: float) -> Array:
    """Straight lines across movement between stretches of quiet: follows posture, not swallows.

    A running mean or high-pass would put troughs beside every pulse and count a run of sips twice. Only where
    nothing rests for longer than anyone drinks without a pause (walking shakes the sensor), running medians are used.
    """
    speed = np.gradient(slow)
    speed *= fs
    np.square(speed, out=speed)
    moving = gaussian_filter1d(speed, 0.3 * fs)
    np.sqrt(moving, out=moving)
    thin = max(int(0.1 * fs), 1)
    largest = np.percentile(moving[::thin][observed[::thin]], 99) if observed[::thin].any() else moving.max()
    limit = _resting(moving, observed, fs)
    limit *= 2.5
    limit += 0.01 * largest
    quiet = observed & (moving <= limit)
    del limit, moving, speed
    length = max(int(_QUIET_S * fs), 3)
    whole = np.ones(length, dtype=bool)
    quiet = binary_dilation(binary_erosion(quiet, whole), whole) & quiet
    if not quiet.any():
        return np.full(len(slow), float(np.median(slow[observed])))
    width = 2 * int(0.5 * fs) + 1
    weight = uniform_filter1d(quiet.astype(float), width, mode="nearest")
    total = uniform_filter1d(np.where(quiet, slow, 0.0), width, mode="nearest")
    at = np.flatnonzero(quiet)
    places, levels = [at], [total[at] / weight[at]]
    edges = np.concatenate([[-1], at, [len(slow)]])
    half = int(_LONG_S / 4 * fs)
    for before in edges[np.flatnonzero(np.diff(edges) > _LONG_S * fs)]:
        after = edges[np.searchsorted(edges, before, side="right")]
        inner = np.arange(before + half, after - half + 1, max(half // 2, 1))
        places.append(inner)
        levels.append(np.array([np.median(slow[max(k - half, 0) : k + half]) for k in inner]))
    place, level = np.concatenate(places), np.concatenate(levels)
    order = np.argsort(place, kind="stable")
    base: Array = np.interp(np.arange(len(slow)), place[order], level[order])
    return base


def _above_rest(energy: Array, resting: Array) -> Array:
    return np.maximum(energy - (_SUBTRACT * resting) ** 2, 0.0)


def measure_activity(y: Array, observed: Mask, fs: float, *, strokes_only: bool = False) -> Activity | None:
    """Measure the activity of a stream without gaps at the working rate; see `activity_of`.

    Parameters
    ----------
    y : array, shape (n,)
        Finite; what stands where nothing was observed is not used.
    observed : array of bool, shape (n,)
    fs : float
        Hz.
    strokes_only : bool
        Let the base line follow all that is slower than the strokes of a burst: turns of the head, changes of posture.

    Returns
    -------
    Activity or None
    """
    fast_edge = min(_FAST_EDGE_HZ, 0.45 * fs)
    smooth = lowpass(y, fs, fast_edge)
    slow = lowpass(y, fs, _SLOW_EDGE_HZ)
    base = _base_line(slow, observed, fs)
    if strokes_only:
        base += gaussian_filter1d(slow - base, _BENEATH_STROKES_S * fs)
    observed = ~binary_dilation(~observed, np.ones(2 * int(_GUARD_S * fs) + 1, dtype=bool))
    if observed.sum() < SHORTEST_S * fs:
        return None

    glide = lowpass(smooth, fs, min(_TEXTURE_EDGE_HZ, 0.4 * fs), order=4)
    texture = np.subtract(smooth, glide, out=glide).astype(np.float32)
    del glide
    broad = (y - base).astype(np.float32)
    level = smooth - base
    smooth -= slow
    velocity = np.gradient(slow)
    velocity *= fs * _VELOCITY_SCALE_S
    slow -= base
    coarse, fine = np.zeros(len(y)), np.zeros(len(y))
    significance, noise = np.zeros(len(y), dtype=np.float32), np.zeros(len(y), dtype=np.float32)
    tiny = np.finfo(float).eps * max(float(np.abs(y).max()), np.finfo(float).tiny)
    # One kind of energy after the other, so that a day of signal fits into a gigabyte.
    for kind in ("slow", "fast"):
        energy = slow**2 + velocity**2 if kind == "slow" else smooth**2
        energy[~observed] = 0.0
        resting = _resting(np.sqrt(gaussian_filter1d(energy, _NOISE_SMOOTHING_S * fs)), observed, fs)
        fine += gaussian_filter1d(energy, _FINE_S * fs)
        rough = gaussian_filter1d(energy, _COARSE_S * fs)
        coarse += _above_rest(rough, resting)
        noise += resting**2
        np.sqrt(rough, out=rough)
        rough /= np.maximum(resting, tiny)
        np.maximum(significance, rough, out=significance, casting="same_kind")
        del energy, resting, rough
    for values in (coarse, fine, noise):
        np.sqrt(values, out=values)
    for values in (coarse, fine, significance):
        values[~observed] = 0.0
    return Activity(
        fs=fs,
        level=level,
        base=base,
        slow=slow,
        texture=texture,
        broad=broad,
        coarse=coarse,
        fine=fine,
        significance=significance,
        noise=noise,
        observed=observed,
    )


def activity_of(throat: Array, fs: float) -> Activity | None:
    """Measure the activity of a throat stream.

    Parameters
    ----------
    throat : array, shape (n,)
        Any unit and polarity; NaN in gaps.
    fs : float
        Hz, at least 20.

    Returns
    -------
    Activity or None
        None where fewer than five seconds were observed.

    Raises
    ------
    ValueError
        For a sampling frequency below 20 Hz.
    """
    if fs < LOWEST_RATE_HZ:
        raise ValueError(f"swallows need a sampling frequency of at least {LOWEST_RATE_HZ:g} Hz, not {fs:g} Hz")
    x = np.asarray(throat, dtype=np.float64)
    live = _without_flat(x, np.isfinite(x), fs)
    if live.sum() < SHORTEST_S * fs:
        return None
    y, observed, rate = _thin(x, live, fs)
    return measure_activity(y, observed, rate)


def observed_seconds(throat: Array, fs: float) -> float:
    """Seconds of a throat stream with a live signal: neither gaps nor two seconds and more without any change."""
    x = np.asarray(throat, dtype=np.float64)
    return float(_without_flat(x, np.isfinite(x), fs).sum() / fs)
