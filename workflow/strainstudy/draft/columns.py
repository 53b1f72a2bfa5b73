"""What the columns of raw files are: unit and tracked point, by their names, by the file, and by the signal.

In: one file's columns. Out: for each a unit and a point, or none, and what the guess rests on. The words are common
practice in labs, no source. Two channels that alternate as the legs of a walk do are knees, but which is the left one
no signal tells.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final

import numpy as np
import numpy.typing as npt
from scipy.signal import butter, sosfiltfilt

from ..vocabulary import KNEES, UNITS

__all__ = ["Column", "alternate", "column_by_name", "unit_by_size"]

FloatArray = npt.NDArray[np.float64]
_UNIT_WORDS: Final = {
    **{"v": "V", "volt": "V", "volts": "V", "mv": "mV", "millivolt": "mV", "ohm": "ohm", "ohms": "ohm", "Ω": "ohm"},
    **{"deg": "deg", "degree": "deg", "degrees": "deg", "°": "deg", "pct": "percent", "percent": "percent"},
    **{"%": "percent", "mm": "mm", "au": "a.u.", "a.u.": "a.u."},
}
_LEFT: Final = frozenset({"left", "l", "lt", "li", "links"})
_RIGHT: Final = frozenset({"right", "r", "rt", "re", "rechts"})
_KNEE: Final = frozenset({"knee", "knie", "leg", "gonio", "goniometer"})
_THROAT: Final = frozenset({"throat", "neck", "larynx", "laryngeal", "hals", "swallow"})
_ANGLE: Final = frozenset({"gonio", "goniometer", "angle"})
_STAGE: Final = frozenset({"stage", "reference", "ref", "strain", "displacement", "extension", "stroke", "travel"})
_OUTPUT: Final = frozenset({"sensor", "output", "signal", "dut"})
_BAND_HZ: Final = (0.4, 4.0)
"""Of the knees in walking: a stride takes 0.7 to 3 s, as the setting gait.stride_time allows; ours above that."""
_STRIDE_S: Final = (0.7, 2.5)
"""Strides looked for, s (ours)."""
_WINDOW_S: Final = 20.0
"""Of the strongest movement, s (ours)."""
_LEAST_LIKENESS: Final = 0.4
"""Correlation from which a signal repeats itself, and one repeats the other half a stride later (ours)."""
_NEARLY: Final = 0.85
"""Share of the highest correlation from which an earlier peak is taken for the stride (ours)."""
_HALF: Final = (0.35, 0.65)
"""Where in the stride the other knee's curve may come, as share (ours)."""
_MOST_VOLTS: Final = 12.0
"""A bridge's amplifier gives no more, V (common practice, no source)."""
_LEAST_OHM: Final = 100.0
"""A stretchable sensor has more, ohm (common practice, no source)."""


@dataclass(frozen=True)
class Column:
    """What is known of a column; None where nothing tells.

    Parameters
    ----------
    name : str
        As the file has it.
    units, tracked_point : str or None
        Words of the study format.
    side : str or None
        ``left`` or ``right``, where the name has a side but no place.
    """

    name: str
    units: str | None = None
    tracked_point: str | None = None
    side: str | None = None


def _parts(name: str) -> list[str]:
    """Take a name apart: at what is no letter, and where a small letter meets a capital."""
    return [part for part in re.split(r"[^A-Za-zΩ°%.]+|(?<=[a-z])(?=[A-Z])", name) if part]


def _unit_by_name(name: str) -> str | None:
    bracketed = re.search(r"[\[(]\s*([^\])]+?)\s*[\])]\s*$", name)
    # what stands between separators first: a unit such as mV has a capital within
    whole = re.split(r"[^A-Za-zΩ°%.]+", name.rstrip("_ ])"))
    for last in [bracketed[1]] if bracketed else [whole[-1], *_parts(name)[-1:]]:
        # M stands for mega where it is a capital
        if last in UNITS or (last.lower() in _UNIT_WORDS and last != "MV"):
            return last if last in UNITS else _UNIT_WORDS[last.lower()]
    return None


def column_by_name(name: str, told: Mapping[str, str], *, bench: bool) -> Column:
    """Read a column by its name and the unit that the file gives it.

    Parameters
    ----------
    name : str
        Of the column.
    told : mapping of str to str
        Units that the file itself says.
    bench : bool
        Whether the recording is one of the bench.

    Returns
    -------
    Column
    """
    words = {part.lower() for part in _parts(name)}
    own = told.get(name, "")
    units = _unit_by_name(name) or (own if own in UNITS else _UNIT_WORDS.get(own.lower()))
    side = "left" if words & _LEFT else "right" if words & _RIGHT else None
    if units is None and words & _ANGLE:
        units = "deg"
    if bench:
        if units == "percent" or units == "mm":
            return Column(name, units, "reference_strain" if units == "percent" else "reference_displacement")
        electric = units in ("V", "mV", "ohm")
        return Column(name, units, "sensor" if (electric or words & _OUTPUT) and not words & _STAGE else None)
    if words & _THROAT:
        return Column(name, units, "throat")
    if side is not None and (words & _KNEE or units == "deg"):
        return Column(name, units, KNEES[side])
    return Column(name, units, None, side)


def unit_by_size(values: FloatArray) -> str | None:
    """Guess a unit by the size of the values: ``V`` of a bridge, ``ohm`` of a sensor, or None."""
    known = values[np.isfinite(values)]
    if known.size == 0 or np.ptp(known) == 0:
        return None
    low, high = np.percentile(known, [1, 99])
    if low > _LEAST_OHM and high < 10 * low:
        return "ohm"
    return "V" if max(abs(low), abs(high)) < _MOST_VOLTS and np.any(known % 1 != 0) else None


def _moving(values: FloatArray, fs: float) -> FloatArray:
    """Fill what is missing with straight lines and keep the band of walking."""
    known = np.isfinite(values)
    index = np.arange(values.size)
    filled = np.interp(index, index[known], values[known])
    return np.asarray(sosfiltfilt(butter(2, _BAND_HZ, "bandpass", fs=fs, output="sos"), filled))


def _likeness(one: FloatArray, other: FloatArray, lags: npt.NDArray[np.int64]) -> FloatArray:
    """Correlate one signal with the other moved by each of ``lags`` samples."""
    return np.array([np.corrcoef(one[: one.size - lag], other[lag:])[0, 1] for lag in lags])


def alternate(one: FloatArray, other: FloatArray, fs: float) -> bool:
    """Say whether two signals alternate as two knees in walking do: alike, half a stride apart.

    Parameters
    ----------
    one, other : array, shape (n,)
        Any unit.
    fs : float
        Hz.

    Returns
    -------
    bool
        False where either is too short or does not repeat itself.
    """
    n = round(_WINDOW_S * fs)
    shortest = round(2 * _STRIDE_S[1] * fs)
    if fs < 4 * _BAND_HZ[1] or min(np.isfinite(one).sum(), np.isfinite(other).sum()) < shortest:
        return False
    first, second = _moving(one, fs), _moving(other, fs)
    if first.std() == 0 or second.std() == 0:
        return False
    energy = (first / first.std()) ** 2 + (second / second.std()) ** 2
    start = int(np.argmax(np.convolve(energy, np.ones(min(n, energy.size)), "valid")))
    first, second = first[start : start + n], second[start : start + n]
    lags = np.arange(round(_STRIDE_S[0] * fs), min(round(_STRIDE_S[1] * fs), first.size // 2))
    own = _likeness(first, first, lags)
    if own.max() < _LEAST_LIKENESS:
        return False
    # two strides repeat themselves as well as one: the first peak that is nearly the highest is the stride
    peaks = np.flatnonzero((own[1:-1] >= own[:-2]) & (own[1:-1] >= own[2:]) & (own[1:-1] > _NEARLY * own.max()))
    if peaks.size == 0:
        return False
    period = int(lags[peaks[0] + 1])
    halves = np.arange(round(_HALF[0] * period), round(_HALF[1] * period) + 1)
    apart = float(np.max(_likeness(first, second, halves)))
    together = float(np.corrcoef(first, second)[0, 1])
    return apart > _LEAST_LIKENESS and apart > together
