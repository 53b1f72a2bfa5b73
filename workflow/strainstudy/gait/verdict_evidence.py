"""Numbers of one walk, right against left, that speak for the sensor or for the gait.

In: values with their 95 % intervals. Out: what a verdict weighs (`strainstudy.gait.verdict`), and the gain ratio that
two bend calibrations give.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Final, Literal

from ..stats.normal import NORMAL_95

__all__ = ["Measured", "WalkEvidence", "gain_ratio_of_bends", "ratio_of_symmetry_index", "symmetry_index_of_ratio"]


@dataclass(frozen=True)
class Measured:
    """A number with its 95 % interval; all NaN when it is not known."""

    value: float = math.nan
    low: float = math.nan
    high: float = math.nan

    @property
    def known(self) -> bool:
        """Whether value and both limits are there."""
        return all(math.isfinite(x) for x in (self.value, self.low, self.high))

    def beyond(self, limit: float) -> bool | None:
        """Tell whether the whole interval is outside -limit to limit; None: it crosses a limit, or is unknown."""
        if not self.known:
            return None
        if self.low > limit or self.high < -limit:
            return True
        return False if -limit <= self.low and self.high <= limit else None

    def widened(self, sd: float) -> Measured:
        """Add an error that the interval does not hold, of standard deviation ``sd``, in quadrature."""
        low, high = (math.hypot(self.value - limit, NORMAL_95 * sd) for limit in (self.low, self.high))
        return Measured(self.value, self.value - low, self.value + high)

    def settled_from(self, limit: float) -> float:
        """Size from which on it would be found beyond a limit with such an interval, either way; NaN if unknown."""
        return limit + max(self.value - self.low, self.high - self.value) if self.known else math.nan

    def mapped(self, function: Callable[[float], float]) -> Measured:
        """Apply an increasing function to the value and its limits."""
        return Measured(*(float(function(x)) if math.isfinite(x) else math.nan for x in self.numbers))

    @property
    def numbers(self) -> tuple[float, float, float]:
        """Value, low, high."""
        return self.value, self.low, self.high


_UNKNOWN: Final = Measured()


@dataclass(frozen=True)
class WalkEvidence:
    """Summary numbers of one walk, right against left.

    Parameters
    ----------
    strides : int
        Strides of the knee that has fewer.
    amplitude_recorded, amplitude_calibrated : Measured
        Symmetry index, (right - left) / (0.5 (right + left)) x 100, of the range of motion in response units and in
        degrees. Robinson, Herzog & Nigg 1987.
    gain_ratio : Measured
        Right over left response of the sensors to one and the same movement, or gauge factor.
    gain_ratio_source : {"bends", "reference", "bench", "none"}
        Where the gain ratio comes from.
    step_time : Measured
        Symmetry index of step time, percent; positive when the step onto the right foot takes longer. Its interval, and
        that of the phase, hold the error of landmarks that are read off knees.
    phase : Measured
        Left-right phase minus 180 degrees.
    peak_timing : Measured
        Swing peak of the right knee minus that of the left, percent of the stride.
    shape : Measured
        1 - correlation of the two mean stride waves at the best alignment, at least 0.
    flagged_sensors : tuple of str
        Sensors that left their control limits.
    limping : bool
        Whether the walk is one of the limping state, so that an asymmetry of it may be called a limp.
    """

    strides: int
    amplitude_recorded: Measured = _UNKNOWN
    amplitude_calibrated: Measured = _UNKNOWN
    gain_ratio: Measured = _UNKNOWN
    gain_ratio_source: Literal["bends", "reference", "bench", "none"] = "none"
    step_time: Measured = _UNKNOWN
    phase: Measured = _UNKNOWN
    peak_timing: Measured = _UNKNOWN
    shape: Measured = _UNKNOWN
    flagged_sensors: tuple[str, ...] = field(default=())
    limping: bool = False


def ratio_of_symmetry_index(percent: float) -> float:
    """Right over left from the symmetry index: (200 + SI) / (200 - SI); infinite at 200.

    Robinson, Herzog & Nigg 1987 define SI = (R - L) / (0.5 (R + L)) x 100, which is solved for R / L here.
    """
    return math.inf if percent >= 200.0 else (200.0 + percent) / (200.0 - percent)


def symmetry_index_of_ratio(ratio: float) -> float:
    """Symmetry index, percent, from right over left: undoes `ratio_of_symmetry_index`."""
    return 200.0 if math.isinf(ratio) else 200.0 * (ratio - 1.0) / (ratio + 1.0)


def gain_ratio_of_bends(
    right: tuple[float, float], left: tuple[float, float], coverage_factor: float = NORMAL_95
) -> Measured:
    """Gain ratio from two bend calibrations, with its interval.

    Parameters
    ----------
    right, left : tuple of (response, standard error)
        Per degree of one movement. Both have one sign.
    coverage_factor : float
        Standard errors to each side; 1.96 for 95 % of a normal distribution.

    Returns
    -------
    Measured
        Right over left. The interval is that of the logarithm (first-order propagation of relative errors,
        JCGM 100:2008, 5.1.6), so it is never negative.
    """
    (b_right, se_right), (b_left, se_left) = right, left
    if not all(map(math.isfinite, (*right, *left))) or b_right * b_left <= 0.0:
        return _UNKNOWN
    spread = coverage_factor * math.hypot(se_right / b_right, se_left / b_left)
    ratio = b_right / b_left
    return Measured(ratio, ratio * math.exp(-spread), ratio * math.exp(spread))
