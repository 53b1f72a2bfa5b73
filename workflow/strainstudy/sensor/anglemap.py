"""Response to degrees, by a monotone map with a prediction interval.

In: holds at known angles of one sensor and session (`strainstudy.sensor.holds`). Out: an `AngleMap`, or a `Refusal`
with its reason; a map turns a response into an angle with its limits.

The curve. Through the median level of each angle runs a monotone piecewise cubic (Fritsch FN, Carlson RE 1980, SIAM J
Numer Anal 17:238-246): the sensor's law is not known beforehand, but that it rises is. Outside the calibrated levels
the curve goes on along its end slopes and every such sample is marked. Which way the response runs with flexion is
taken from the holds.

Hysteresis. A level reached by flexing lies lower than the same level reached by extending. Where holds at one angle
were reached both ways, the width of the loop is estimated from them and kept only if it is told from zero (t test
at 5 %). It is then taken off sample by sample, with a play operator that knows on which branch the knee is
(`strainstudy.signal.play`). Where all holds were reached one way, holds cannot show hysteresis; the curve is left
alone and the interval allows for the width that settings name.

Zero. Two things say where 0 degrees lies in another recording of the session: its leg stands straight (about 0, give or
take ``straight_leg_sd_deg``), and the sensor still reads what it read at 0 in the bend recording (give or take its
drift since, judged from the spread of that reading within the bend recordings). The two are weighted by their
variances. So a sensor that hardly drifts shows that somebody stands on bent knees, and one that drifts much is set
to zero in every recording.

Lag. A soft sensor follows with a first-order lag; the angle is advanced by the lag of the response time in the
settings, and the interval widens with angular speed as if that lag were known to a half.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from dataclasses import asdict, dataclass
from typing import Any, Final

import numpy as np
import numpy.typing as npt
import pandas as pd
from scipy.interpolate import PchipInterpolator
from scipy.optimize import brentq
from scipy.stats import t as student

from ..signal.gaps import spanned
from ..signal.play import branch
from .holds import BRANCH_RADIUS_SHARE
from .parameters import CalibrateParameters

__all__ = ["AngleMap", "Angles", "Refusal", "fit_angle_map"]

Array = npt.NDArray[np.float64]

_SIGNIFICANT: Final = 0.05
_LARGEST_SHARE_REVERSED: Final = 0.25
_EXTRAPOLATION_SHARE: Final = 0.3
"""Standard error of an extrapolated angle as share of its distance from the calibrated range (ours)."""
_LOOP_SHAPE_SHARE: Final = 0.25
"""Part of a loop that a single play operator leaves behind (ours)."""
_LAG_ERROR_SHARE: Final = 0.5
"""Standard error of the lag as share of the lag: published response times differ by several times (ours)."""
_RESPONSE_TIMES_PER_LAG: Final = math.log(9)
"""10 to 90 % of a first-order step takes ln 9 time constants."""
_MARGIN_SHARE: Final = 0.05
"""Levels within this share of the span beyond the holds still count as calibrated."""


@dataclass(frozen=True)
class Refusal:
    """No map, and why, as a clause for the report."""

    reason: str


@dataclass(frozen=True)
class Angles:
    """An angle trace: ``angle``, ``low``, ``high`` in degrees and where it was ``extrapolated``, each shape (n,)."""

    angle: Array
    low: Array
    high: Array
    extrapolated: npt.NDArray[np.bool_]


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
    slope_error : float
        Standard error of `response_per_degree`.
    zero_level, rest_ohm : float
        Response at 0 degrees before drift was taken off, and the rest resistance it is relative to (NaN: none).
    error_deg, error_share, zero_error_deg, zero_drift_deg : float
        Standard errors: of any angle in degrees, and as a share of the angle; of the straight leg's angle in a
        recording; of the sensor's zero from the bend recording to another, degrees.
    lag_s : float
        First-order time constant by which the angle is advanced.
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
    slope_error: float
    zero_level: float
    rest_ohm: float
    error_deg: float
    error_share: float
    zero_error_deg: float
    zero_drift_deg: float
    lag_s: float
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
        """Mean slope over the calibrated range, without sign: what of an amplitude is the sensor's gain."""
        return (self.levels[-1] - self.levels[0]) / (self.angles[-1] - self.angles[0])

    def angle_of(self, levels: npt.ArrayLike) -> Array:
        """Angle for levels in the direction of flexion with hysteresis taken off; straight on beyond the knots."""
        return _curve(np.asarray(self.levels), np.asarray(self.angles))(levels)

    def level_of(self, angle_deg: float) -> float:
        """Level at an angle: the inverse of `angle_of`."""
        curve = _curve(np.asarray(self.levels), np.asarray(self.angles))
        chord = self.levels[0] + (angle_deg - self.angles[0]) * self.response_per_degree
        width = self.levels[-1] - self.levels[0]
        found = brentq(lambda level: float(curve(level)) - angle_deg, chord - 10 * width, chord + 10 * width)
        return float(found)

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
        by_posture, by_sensor = self.zero_error_deg**-2, max(self.zero_drift_deg, 1e-6) ** -2
        weight = by_sensor / (by_posture + by_sensor)
        return weight * apparent, (by_posture + by_sensor) ** -0.5

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
        scale = rest_ohm / self.rest_ohm if math.isfinite(rest_ohm) and math.isfinite(self.rest_ohm) else 1.0
        x = self.sign * scale * np.asarray(response, dtype=np.float64)
        missing = np.isnan(x)
        if len(x) < 2 or missing.all():
            empty = np.full(len(x), np.nan)
            return Angles(empty, empty, empty, np.zeros(len(x), dtype=bool))
        resting_deg, zero_error = self.zero(drift, rest_ohm)
        level = x + (self.level_of(resting_deg) - self.level_of(0.0))
        speed = np.gradient(level) * fs
        level = level + self.lag_s * speed
        if self.loop_width > 0:
            level = level + self.loop_width / 2 * branch(spanned(level), self.branch_radius)
        angle = self.angle_of(level)
        margin = _MARGIN_SHARE * (self.levels[-1] - self.levels[0])
        with np.errstate(invalid="ignore"):
            extrapolated = (level < self.levels[0] - margin) | (level > self.levels[-1] + margin)
            beyond = np.maximum(angle - self.angles[-1], np.maximum(self.angles[0] - angle, 0.0))
        constant = self.error_deg**2 + zero_error**2
        variance = (
            constant
            + (self.error_share * angle) ** 2
            + (_LAG_ERROR_SHARE * self.lag_s * speed / self.response_per_degree) ** 2
            + (_EXTRAPOLATION_SHARE * beyond) ** 2
        )
        # Welch and Satterthwaite: only the spread of the holds is estimated, the rest is taken as known.
        freedom = self.freedom * (constant / self.error_deg**2) ** 2 if self.error_deg > 0 else math.inf
        half = student.ppf(0.5 + self.prediction_level / 2, freedom) * np.sqrt(variance)
        return Angles(angle, angle - half, angle + half, extrapolated)


def _curve(levels: Array, angles: Array) -> Callable[[npt.ArrayLike], Array]:
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


def _sign(holds: pd.DataFrame) -> int:
    by_angle = holds.groupby("angle")["level"].median()
    return 1 if by_angle.iloc[-1] >= by_angle.iloc[0] else -1


def _inconsistent(holds: pd.DataFrame) -> str | None:
    """Say which deeper holds do not exceed shallower ones."""
    medians = holds.groupby("angle")["level"].median()
    for (low_angle, low), (high_angle, high) in zip(list(medians.items())[:-1], list(medians.items())[1:], strict=True):
        pair = (
            f"holds at {high_angle:g} degrees read {high:.4g} and those at {low_angle:g} degrees {low:.4g} "
            "(median response towards flexion): a deeper bend must read more; "
            "check angles, sides and the fit of the sleeve"
        )
        if high <= low:
            return pair
        lower = holds.loc[holds["angle"] == low_angle, "level"].to_numpy()
        higher = holds.loc[holds["angle"] == high_angle, "level"].to_numpy()
        if np.mean(higher[:, None] <= lower[None, :]) > _LARGEST_SHARE_REVERSED:
            return pair
    return None


@dataclass(frozen=True)
class _Loop:
    width: float
    error: float
    known: bool
    note: str


def _loop(holds: pd.DataFrame) -> _Loop:
    """Loop width from holds at one angle reached both ways: regression of level on branch within angles."""
    within = holds.groupby("angle")[["level", "branch"]].transform("mean")
    level = (holds["level"] - within["level"]).to_numpy()
    on = (holds["branch"] - within["branch"]).to_numpy()
    power = float(on @ on)
    freedom = len(holds) - holds["angle"].nunique() - 1
    if power < 1.0 or freedom < 1:
        return _Loop(0.0, 0.0, False, "all holds of an angle were reached one way, so they cannot show hysteresis")
    half = -float(on @ level) / power
    residual = level + half * on
    error = math.sqrt(float(residual @ residual) / freedom / power)
    if half <= 0 or 2 * float(student.sf(half / error, freedom) if error > 0 else 0.0) > _SIGNIFICANT:
        return _Loop(0.0, 2 * error, True, "flexing and extending holds do not differ: one branch")
    return _Loop(2 * half, 2 * error, True, "flexing and extending holds differ: two branches")


def _session_change(holds: pd.DataFrame, degrees_per_level: float) -> tuple[float, float]:
    """Zero drift in degrees and gain change in percent from the first bend recording to the last."""
    first, last = (
        holds[holds["recording"] == number].groupby("angle")[["level", "absolute"]].median()
        for number in (holds["recording"].min(), holds["recording"].max())
    )
    common = first.index.intersection(last.index)
    if holds["recording"].nunique() < 2 or len(common) < 2:
        return math.nan, math.nan
    low, high = common.min(), common.max()
    drift = (last["absolute"] - first["absolute"]).get(0.0, math.nan) * degrees_per_level
    gain = (last["level"][high] - last["level"][low]) / (first["level"][high] - first["level"][low]) - 1
    return float(drift), 100 * float(gain)


def fit_angle_map(
    holds: pd.DataFrame, parameters: CalibrateParameters, *, rest_ohm: float = math.nan
) -> AngleMap | Refusal:
    """Fit the map of one sensor and session.

    Parameters
    ----------
    holds : DataFrame
        Rows of `strainstudy.sensor.holds.hold_levels`, of all bend recordings of the session, told apart by a
        column ``recording`` (0, 1... in order of time); without that column they are of one.
    parameters : CalibrateParameters
    rest_ohm : float
        Rest resistance the levels are relative to; NaN for arbitrary units.

    Returns
    -------
    AngleMap or Refusal
    """
    used = holds[np.isfinite(holds["level"].astype(float)) & np.isfinite(holds["angle"].astype(float))].copy()
    if "recording" not in used:
        used["recording"] = 0
    labelled = used[used["labelled"].astype(bool)]
    if labelled.empty:
        return Refusal("no labelled bend has a hold long enough to read")
    if used["angle"].nunique() < 2:
        return Refusal(f"holds at one angle only ({labelled['angle'].iloc[0]:g} degrees) and no straight leg")
    sign = _sign(used)
    used["level"] *= sign
    reason = _inconsistent(used)
    if reason is not None:
        return Refusal(reason)
    medians = used.groupby("angle")["level"].median()
    span = float(medians.iloc[-1] - medians.iloc[0])
    loop = _loop(used[used["labelled"].astype(bool) | (used["angle"] == 0)])
    used["level"] += loop.width / 2 * used["branch"].astype(float)
    reason = _inconsistent(used)
    if reason is not None:
        return Refusal(reason)
    knots = used.groupby("angle")["level"].median()
    levels, angles = knots.to_numpy(dtype=float), knots.index.to_numpy(dtype=float)
    degrees_per_level = (angles[-1] - angles[0]) / (levels[-1] - levels[0])

    bent = used[used["labelled"].astype(bool)]
    residual = _curve(levels, angles)(bent["level"].to_numpy(dtype=float)) - bent["angle"].to_numpy(dtype=float)
    freedom = len(bent) - bent["angle"].nunique()
    repeatability = math.sqrt(float(residual @ residual) / freedom) if freedom > 0 else math.nan
    scatter = parameters.hold_error_deg if math.isnan(repeatability) else repeatability
    nonzero = bent[bent["angle"] != 0]
    creep_share = (nonzero["creep"] * sign / nonzero["level"]).median() if len(nonzero) else math.nan
    if loop.known:
        unseen = math.hypot(_LOOP_SHAPE_SHARE * loop.width, loop.error) * degrees_per_level
    else:
        unseen = parameters.assumed_hysteresis_percent / 100 * (angles[-1] - angles[0])
    ends = [int((used["angle"] == angle).sum()) for angle in (angles[0], angles[-1])]
    straight = used.loc[used["angle"] == 0, "absolute"].to_numpy(dtype=float)
    zero_drift = math.inf
    if len(straight) > 1:
        zero_drift = float(np.std(straight, ddof=1)) * degrees_per_level
        # Bend recordings before and after span the session themselves.
        one = used["recording"].min() == used["recording"].max()
        zero_drift *= parameters.session_drift_factor if one else 1.0
    drift, gain = _session_change(used, degrees_per_level)
    # Hysteresis and creep are errors of a known largest size: uniform, so a square root of twelve.
    return AngleMap(
        levels=tuple(levels.tolist()),
        angles=tuple(angles.tolist()),
        sign=sign,
        loop_width=loop.width,
        branch_radius=BRANCH_RADIUS_SHARE * span,
        slope_error=scatter * math.sqrt(1 / ends[0] + 1 / ends[1]) / (angles[-1] - angles[0]) / degrees_per_level,
        zero_level=float(np.median(straight)) if len(straight) else 0.0,
        rest_ohm=rest_ohm,
        error_deg=math.hypot(scatter, unseen / math.sqrt(12)),
        error_share=abs(float(creep_share)) / math.sqrt(12) if math.isfinite(creep_share) else 0.0,
        zero_error_deg=parameters.straight_leg_sd_deg,
        zero_drift_deg=zero_drift,
        lag_s=parameters.response_time_s / _RESPONSE_TIMES_PER_LAG,
        freedom=float(freedom) if freedom > 0 else math.inf,
        prediction_level=parameters.prediction_level,
        hold_count=len(bent),
        repeatability_deg=repeatability,
        hysteresis_percent=100 * loop.width / span if loop.known else math.nan,
        creep_percent=100 * float(creep_share),
        session_drift_deg=drift,
        session_gain_percent=gain,
        notes=(loop.note,),
    )
