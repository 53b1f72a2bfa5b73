"""Response to degrees, by a monotone map with a prediction interval.

In: a conditioned response of a sensor that was calibrated in its session (`strainstudy.calibrate.anglefit`). Out: the
angle of the knee with its limits, and where it is extrapolated.

The curve is a monotone piecewise cubic through the holds (Fritsch FN, Carlson RE 1980, SIAM J Numer Anal 17:238-246).
Outside the calibrated levels it goes on along its end slopes, and every such sample is marked.

Hysteresis. A level reached by flexing lies lower than the same level reached by extending. Where the map has a loop
width, it is taken off sample by sample with a play operator that knows on which branch the knee is
(`strainstudy.signal.play`).

Zero. Two things say where 0 degrees lies in another recording of the session: its leg stands straight (about 0, give or
take ``straight_leg_sd_deg``), and the sensor still reads what it read at 0 in the bend recording (give or take its
drift since, judged from the spread of that reading within the bend recordings). The two are weighted by their
variances. So a sensor that hardly drifts shows that somebody stands on bent knees, and one that drifts much is set
to zero in every recording; so is one whose reading moved further than either explains (the sleeve slipped). A drift
that few readings show as small counts in the error as one of `_LEAST_DRIFT_DEG`.

Limits. An amplifier whose offset jumps, or a loose lead, gives angles that no knee has: outside `POSSIBLE_DEG` there is
no angle, so that no stride is sized by it.

Lag. A soft sensor follows with a first-order lag; the angle is advanced by this sensor's own where it was measured
(`strainstudy.calibrate.answer`), else by that of the response time in the settings, and the interval widens with
the speed of the angle itself for what is not known of it.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from dataclasses import asdict, dataclass
from functools import lru_cache
from typing import Any, Final

import numpy as np
import numpy.typing as npt
from scipy.interpolate import PchipInterpolator
from scipy.optimize import brentq
from scipy.stats import t as student

from ..signal.gaps import spanned
from ..signal.play import branch

__all__ = ["POSSIBLE_DEG", "AngleMap", "Angles", "Refusal", "curve_through", "rest_ratio"]

Array = npt.NDArray[np.float64]

POSSIBLE_DEG: Final = (-20.0, 160.0)
"""What a knee may read: it flexes to about 145 (SD 7) degrees and hyperextends by a few (Roaas & Andersson 1982, Acta
Orthop Scand 53:205-208, from memory), with room for an error of the zero and for other people."""
_EXTRAPOLATION_SHARE: Final = 0.3
"""Standard error of an extrapolated angle as share of its distance from the calibrated range (ours)."""
_SLIP_PROBABILITY: Final = 0.1
"""Probability that a zero moved in a session more than its drift says (ours)."""
_SLIP_DEG: Final = 20.0
"""A sleeve that slips or a sensor that ages in a session moves its zero by some tens of degrees (ours)."""
_LEAST_DRIFT_DEG: Final = 2.0
"""Drift of a zero below which the few readings of a straight leg do not show that it stays (chosen on 64 invented
people, cohorts 301 to 308 of tests/experiments/known_cohort.py: without it, 79 % where little drift was seen)."""
_MARGIN_SHARE: Final = 0.05
"""Levels within this share of the span beyond the holds still count as calibrated."""


@dataclass(frozen=True)
class Refusal:
    """No map, and why, as a clause for the report."""

    reason: str


@dataclass(frozen=True)
class Angles:
    """An angle trace: ``angle``, ``low``, ``high`` in degrees, each shape (n,); NaN where there is none.

    Where it was ``extrapolated``, and where it was ``impossible`` for a knee and therefore left out, each shape (n,).
    """

    angle: Array
    low: Array
    high: Array
    extrapolated: npt.NDArray[np.bool_]
    impossible: npt.NDArray[np.bool_]

    @classmethod
    def within(
        cls, angle: Array, half: Array, extrapolated: npt.NDArray[np.bool_], impossible: npt.NDArray[np.bool_]
    ) -> Angles:
        """Leave out what is impossible; what is possible has no limit that is not."""
        kept = np.where(impossible, np.nan, angle)
        low, high = (np.clip(kept + sign * half, *POSSIBLE_DEG) for sign in (-1, 1))
        return cls(kept, low, high, extrapolated, impossible)

    @classmethod
    def none(cls, n: int) -> Angles:
        """No angle at any of ``n`` samples."""
        empty, never = np.full(n, np.nan), np.zeros(n, dtype=bool)
        return cls(empty, empty, empty, never, never)


def rest_ratio(rest_ohm: float, other_ohm: float) -> float:
    """Rest resistance over another, which brings a response to the other's scale; 1 where either is not known."""
    return rest_ohm / other_ohm if math.isfinite(rest_ohm) and math.isfinite(other_ohm) else 1.0


@dataclass(frozen=True)
class AngleMap:
    """Map of one sensor in one session from conditioned response to knee flexion.

    Parameters
    ----------
    levels, angles : tuple of float
        Knots: response (in the direction of flexion, hysteresis taken off) and degrees, both rising.
    sign : {1, -1}
        Direction in which the response runs with flexion.
    loop_width : float
        Width of the hysteresis loop in units of the response; 0 if not warranted.
    branch_radius : float
        Half the travel that takes the response from branch to branch.
    zero_level, rest_ohm : float
        Response at 0 degrees before drift was taken off, and the rest resistance it is relative to (NaN: none).
    error_deg, loop_error_deg, error_share, zero_error_deg, zero_drift_deg : float
        Standard errors: of any angle in degrees; of one in the midst of the hysteresis loop; as a share of the angle;
        of the straight leg's angle in a recording; of the sensor's zero from the bend recording to another, degrees.
    lag_s, lag_error_s : float
        First-order time constant by which the angle is advanced, and its standard error.
    freedom : float
        Degrees of freedom of ``error_deg``; infinite if it rests on settings.
    prediction_level : float
        Probability that the interval is to cover.
    hold_count : int
        Labelled holds used.
    repeatability_deg : float
        Standard deviation of holds about the map; NaN if no angle was held twice.
    hysteresis_percent : float
        Loop width in percent of the span; NaN if the holds cannot show it.
    creep_percent : float
        Median creep of a hold in percent of its level.
    session_drift_deg, session_gain_percent : float
        Change of the straight leg's reading and of the response per degree from the first bend recording of the
        session to the last; NaN with a single one.
    notes : tuple of str
        In words for the report.
    """

    levels: tuple[float, ...]
    angles: tuple[float, ...]
    sign: int
    loop_width: float
    branch_radius: float
    zero_level: float
    rest_ohm: float
    error_deg: float
    loop_error_deg: float
    error_share: float
    zero_error_deg: float
    zero_drift_deg: float
    lag_s: float
    lag_error_s: float
    freedom: float
    prediction_level: float
    hold_count: int
    repeatability_deg: float
    hysteresis_percent: float
    creep_percent: float
    session_drift_deg: float
    session_gain_percent: float
    notes: tuple[str, ...]

    def to_dict(self) -> dict[str, Any]:
        """Give plain values for JSON (numbers that are not finite as words)."""
        return {
            name: str(value) if isinstance(value, float) and not math.isfinite(value) else value
            for name, value in asdict(self).items()
        }

    @classmethod
    def from_dict(cls, values: Mapping[str, Any]) -> AngleMap:
        """Undo `to_dict`, also after a round trip through JSON."""
        plain: dict[str, Any] = {
            name: tuple(value) if isinstance(value, list) else float(value) if isinstance(value, str) else value
            for name, value in values.items()
        }
        return cls(**plain)

    @property
    def range_deg(self) -> tuple[float, float]:
        """Calibrated range in degrees."""
        return self.angles[0], self.angles[-1]

    @property
    def response_per_degree(self) -> float:
        """Mean slope over the calibrated range, without sign."""
        return (self.levels[-1] - self.levels[0]) / (self.angles[-1] - self.angles[0])

    def angle_of(self, levels: npt.ArrayLike) -> Array:
        """Angle for levels in the direction of flexion with hysteresis taken off; straight on beyond the knots."""
        return _curve(self.levels, self.angles)(levels)

    def level_of(self, angle_deg: float) -> float:
        """Level at an angle: the inverse of `angle_of`."""
        return _level(self.levels, self.angles, angle_deg)

    def response_to(self, low_deg: float, high_deg: float) -> float:
        """Response per degree to a knee that bends from one angle to another and back: by the curve, less the loop.

        Within a loop the response stays behind the knee at either end, so that a movement of twice ``branch_radius`` or
        more loses its whole width (play operator; Brokate & Sprekels 1996, ch. 2).

        Parameters
        ----------
        low_deg, high_deg : float
            Degrees, the second the larger.
        """
        travel = self.level_of(high_deg) - self.level_of(low_deg)
        lost = self.loop_width * min(travel / (2 * self.branch_radius), 1.0) if self.loop_width > 0 else 0.0
        return (travel - lost) / (high_deg - low_deg)

    def zero(self, drift: npt.ArrayLike, rest_ohm: float = math.nan) -> tuple[float, float]:
        """Angle at which the leg of a recording rests, and its standard error, both in degrees.

        Parameters
        ----------
        drift : array, shape (n,)
            Drift that conditioning took off, in the unit of the response.
        rest_ohm : float
            Rest resistance the response is relative to; NaN for arbitrary units.
        """
        slow = np.asarray(drift, dtype=np.float64)
        slow = slow[np.isfinite(slow)]
        if not len(slow):
            return 0.0, self.zero_error_deg
        resting = float(np.median(slow))
        if math.isfinite(rest_ohm) and math.isfinite(self.rest_ohm):
            resting = (1 + resting) * rest_ohm / self.rest_ohm - 1
        # Rest is the branch on which the leg came down, as it was in the bend recording.
        apparent = float(self.angle_of(self.sign * (resting - self.zero_level) + self.level_of(0.0)))
        mean, error = _resting_angle(apparent, self.zero_error_deg, self.zero_drift_deg)
        # A spread of few readings may be small by luck: the mean stays, what it took from the reading is less sure, but
        # no less than without the reading.
        share = self.zero_error_deg**2 / (self.zero_error_deg**2 + self.zero_drift_deg**2)
        unseen = math.sqrt(max(0.0, _LEAST_DRIFT_DEG**2 - self.zero_drift_deg**2))
        return mean, max(error, min(math.hypot(error, share * unseen), self.zero_error_deg))

    def apply(self, response: npt.ArrayLike, fs: float, *, drift: npt.ArrayLike, rest_ohm: float = math.nan) -> Angles:
        """Turn a conditioned response into degrees.

        Parameters
        ----------
        response : array, shape (n,)
            One recording's whole trace in order (hysteresis needs the history); NaN = no data.
        fs : float
            Hz.
        drift : array, shape (n,)
            What conditioning took off.
        rest_ohm : float
            Rest resistance the response is relative to; NaN for arbitrary units.

        Returns
        -------
        Angles
        """
        x = self.sign * rest_ratio(rest_ohm, self.rest_ohm) * np.asarray(response, dtype=np.float64)
        missing = np.isnan(x)
        if len(x) < 2 or missing.all():
            return Angles.none(len(x))
        resting_deg, zero_error = self.zero(drift, rest_ohm)
        level = x + (self.level_of(resting_deg) - self.level_of(0.0))
        whole = spanned(level)
        degrees_per_s = np.gradient(self.angle_of(whole)) * fs
        level = level + self.lag_s * np.gradient(whole) * fs
        if self.loop_width > 0:
            level = level + self.loop_width / 2 * branch(spanned(level), self.branch_radius)
        angle = self.angle_of(level)
        margin = _MARGIN_SHARE * (self.levels[-1] - self.levels[0])
        with np.errstate(invalid="ignore"):
            extrapolated = (level < self.levels[0] - margin) | (level > self.levels[-1] + margin)
            impossible = (angle < POSSIBLE_DEG[0]) | (angle > POSSIBLE_DEG[1])
            beyond = np.maximum(angle - self.angles[-1], np.maximum(self.angles[0] - angle, 0.0))
        constant = self.error_deg**2 + zero_error**2
        # A loop is closed where the leg is straight; how soon it opens is ours, chosen on the cohorts of the drift.
        opened = np.clip((level - self.levels[0]) / self.branch_radius, 0.0, 1.0)
        variance = (
            constant
            + (self.loop_error_deg * opened) ** 2
            + (self.error_share * angle) ** 2
            + (self.lag_error_s * degrees_per_s) ** 2
            + (_EXTRAPOLATION_SHARE * beyond) ** 2
        )
        # Welch and Satterthwaite: only the spread of the holds is estimated, the rest is taken as known.
        freedom = self.freedom * (constant / self.error_deg**2) ** 2 if self.error_deg > 0 else math.inf
        half = student.ppf(0.5 + self.prediction_level / 2, freedom) * np.sqrt(variance)
        return Angles.within(angle, half, extrapolated, impossible)


def _resting_angle(apparent: float, posture_sd: float, drift_sd: float) -> tuple[float, float]:
    """Mean and standard deviation of a resting angle that the sensor reads as ``apparent``.

    The angle is about 0 with ``posture_sd``. The sensor drifted by ``drift_sd``, or (seldom) it slipped by much more;
    the two cases are weighted by how well each explains the reading.
    """
    cases = []
    for probability, spread in (
        (1 - _SLIP_PROBABILITY, drift_sd),
        (_SLIP_PROBABILITY, math.hypot(drift_sd, _SLIP_DEG)),
    ):
        if math.isinf(spread):
            return 0.0, posture_sd
        both = posture_sd**2 + spread**2
        likelihood = probability * math.exp(-(apparent**2) / (2 * both)) / math.sqrt(both)
        cases.append((likelihood, apparent * posture_sd**2 / both, posture_sd**2 * spread**2 / both))
    total = sum(weight for weight, _, _ in cases)
    if total == 0:
        return 0.0, posture_sd
    mean = sum(weight * value for weight, value, _ in cases) / total
    variance = sum(weight * (own + (value - mean) ** 2) for weight, value, own in cases) / total
    return mean, math.sqrt(variance)


@lru_cache(maxsize=256)
def _curve(levels: tuple[float, ...], angles: tuple[float, ...]) -> Callable[[npt.ArrayLike], Array]:
    """Make the curve of a map once: every recording of its session asks for it several times."""
    return curve_through(np.asarray(levels), np.asarray(angles))


@lru_cache(maxsize=1024)
def _level(levels: tuple[float, ...], angles: tuple[float, ...], angle_deg: float) -> float:
    """Find the level at an angle; that of the straight leg is asked for again and again."""
    curve = _curve(levels, angles)
    slope = (levels[-1] - levels[0]) / (angles[-1] - angles[0])
    chord = levels[0] + (angle_deg - angles[0]) * slope
    width = levels[-1] - levels[0]
    return float(brentq(lambda level: float(curve(level)) - angle_deg, chord - 10 * width, chord + 10 * width))


def curve_through(levels: Array, angles: Array) -> Callable[[npt.ArrayLike], Array]:
    """Monotone cubic through the knots, straight on along its end slopes."""
    chords = np.diff(angles) / np.diff(levels)
    if len(levels) == 2:
        return lambda at: angles[0] + chords[0] * (np.asarray(at) - levels[0])
    inside = PchipInterpolator(levels, angles)
    # A zero end slope (possible at a strongly bent end) would freeze the angle: the end chord stands in.
    first = float(inside.derivative()(levels[0])) or float(chords[0])
    last = float(inside.derivative()(levels[-1])) or float(chords[-1])

    def evaluate(at: npt.ArrayLike) -> Array:
        x = np.asarray(at, dtype=np.float64)
        beyond = first * np.minimum(x - levels[0], 0) + last * np.maximum(x - levels[-1], 0)
        return np.asarray(inside(np.clip(x, levels[0], levels[-1])) + beyond)

    return evaluate
