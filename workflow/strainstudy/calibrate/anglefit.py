"""The angle map of one sensor and session from its holds at known angles.

In: holds (`strainstudy.calibrate.holds`). Out: an `AngleMap`, or a `Refusal` with its reason.

The curve runs through the median level of each angle: the sensor's law is not known beforehand, but that it rises is.
Which way the response runs with flexion is taken from the holds. Holds that contradict one another are refused.

Hysteresis. Where holds at one angle were reached by flexing and by extending, the width of the loop is estimated from
them and kept only if it is told from zero (t test at 5 %); if not, the interval allows for the widest that this test
does not exclude. Where all holds were reached one way, holds cannot show hysteresis; the curve is left alone and the
interval allows for the width that settings name.

Scatter. Few holds tell their own scatter badly, so the hold error of the settings counts beside it, each variance by
its degrees of freedom (scaled inverse chi-square prior: Gelman et al., Bayesian Data Analysis, 3rd ed., section 2.6,
from memory).
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from itertools import pairwise
from typing import Final

import numpy as np
import numpy.typing as npt
import pandas as pd
from scipy.stats import t as student

from .anglemap import AngleMap, Refusal, curve_through
from .holds import BRANCH_RADIUS_SHARE
from .parameters import CalibrateParameters

__all__ = ["fit_angle_map"]

Array = npt.NDArray[np.float64]

_SIGNIFICANT: Final = 0.05
"""Level of the t test that tells a loop from none (common practice, no source)."""
_LARGEST_SHARE_REVERSED: Final = 0.25
"""Share of the pairs of a deeper and a shallower hold that may read the wrong way round (ours)."""
_LOOP_SHAPE_SHARE: Final = 0.25
"""Part of a loop that a single play operator leaves behind (ours)."""
_HOLD_ERROR_FREEDOM: Final = 4.0
"""Degrees of freedom that the hold error of the settings counts for beside the scatter of a session's few holds, which
may be small by luck (chosen on 64 invented people, cohorts 301 to 308 of tests/experiments/known_cohort.py: without it
maps of small scatter covered 80 %, those of large scatter 96 %)."""
_MEDIAN_EFFICIENCY: Final = math.sqrt(math.pi / 2)
"""Standard error of a median over that of a mean, normal distribution."""


@dataclass(frozen=True)
class _Holds:
    """Columns of the holds that have an angle and a level, each shape (n,); ``level`` rises towards flexion."""

    angle: Array
    level: Array
    absolute: Array
    branch: Array
    creep: Array
    labelled: npt.NDArray[np.bool_]
    recording: Array

    @classmethod
    def of(cls, holds: pd.DataFrame) -> _Holds:
        """Take the columns out of a frame: many small questions follow, and a frame answers each slowly."""
        columns = {
            name: holds[name].to_numpy(dtype=np.float64) for name in ("angle", "level", "absolute", "branch", "creep")
        }
        columns["labelled"] = holds["labelled"].to_numpy(dtype=bool)
        there = "recording" in holds
        columns["recording"] = holds["recording"].to_numpy(dtype=np.float64) if there else np.zeros(len(holds))
        return cls(**columns).where(np.isfinite(columns["level"]) & np.isfinite(columns["angle"]))

    def where(self, chosen: npt.NDArray[np.bool_]) -> _Holds:
        """Keep some of the holds."""
        return _Holds(**{name: values[chosen] for name, values in vars(self).items()})

    def __len__(self) -> int:
        return len(self.angle)

    @property
    def held(self) -> Array:
        """Angles that were held, rising."""
        return np.unique(self.angle)

    def medians(self, values: Array) -> Array:
        """Median of the values at each of the angles held."""
        return np.array([_median(values[self.angle == one]) for one in self.held])


def _median(values: Array) -> float:
    """Median of what is known; NaN of nothing."""
    known = values[~np.isnan(values)]
    return float(np.median(known)) if len(known) else math.nan


def _sign(holds: _Holds) -> int:
    medians = holds.medians(holds.level)
    return 1 if medians[-1] >= medians[0] else -1


def _inconsistent(holds: _Holds) -> str | None:
    """Say which deeper holds do not exceed shallower ones."""
    by_angle = zip(holds.held.tolist(), holds.medians(holds.level).tolist(), strict=True)
    for (low_angle, low), (high_angle, high) in pairwise(by_angle):
        pair = (
            f"holds at {high_angle:g} degrees read {high:.4g} and those at {low_angle:g} degrees {low:.4g} "
            "(median response towards flexion): a deeper bend must read more; "
            "check angles, sides and the fit of the sleeve"
        )
        if high <= low:
            return pair
        lower, higher = holds.level[holds.angle == low_angle], holds.level[holds.angle == high_angle]
        if np.mean(higher[:, None] <= lower[None, :]) > _LARGEST_SHARE_REVERSED:
            return pair
    return None


@dataclass(frozen=True)
class _Loop:
    width: float
    error: float
    known: bool
    note: str


def _loop(holds: _Holds) -> _Loop:
    """Loop width from holds at one angle reached both ways: regression of level on branch within angles."""
    columns = pd.DataFrame({"level": holds.level, "branch": holds.branch})
    within = columns.groupby(holds.angle).transform("mean")
    level = holds.level - within["level"].to_numpy()
    on = holds.branch - within["branch"].to_numpy()
    power = float(on @ on)
    freedom = len(holds) - len(holds.held) - 1
    if power < 1.0 or freedom < 1:
        return _Loop(0.0, 0.0, False, "all holds of an angle were reached one way, so they cannot show hysteresis")
    half = -float(on @ level) / power
    residual = level + half * on
    error = math.sqrt(float(residual @ residual) / freedom / power)
    if half <= 0 or 2 * float(student.sf(half / error, freedom) if error > 0 else 0.0) > _SIGNIFICANT:
        # What is not told from none may be there all the same.
        widest = 2 * max(0.0, half + float(student.ppf(1 - _SIGNIFICANT / 2, freedom)) * error)
        return _Loop(0.0, widest, True, "flexing and extending holds do not differ: one branch")
    return _Loop(2 * half, 2 * error, True, "flexing and extending holds differ: two branches")


def _session_change(holds: _Holds, degrees_per_level: float) -> tuple[float, float]:
    """Zero drift in degrees and gain change in percent from the first bend recording to the last."""
    numbers = holds.recording.min(), holds.recording.max()
    first, last = (holds.where(holds.recording == number) for number in numbers)
    common = np.intersect1d(first.held, last.held)
    if numbers[0] == numbers[1] or len(common) < 2:
        return math.nan, math.nan
    absolute, level = (
        [dict(zip(part.held.tolist(), part.medians(getattr(part, name)), strict=True)) for part in (first, last)]
        for name in ("absolute", "level")
    )
    low, high = common[[0, -1]].tolist()
    drift = (absolute[1].get(0.0, math.nan) - absolute[0].get(0.0, math.nan)) * degrees_per_level
    gain = (level[1][high] - level[1][low]) / (level[0][high] - level[0][low]) - 1
    return float(drift), 100 * float(gain)


def fit_angle_map(
    holds: pd.DataFrame, parameters: CalibrateParameters, *, rest_ohm: float = math.nan
) -> AngleMap | Refusal:
    """Fit the map of one sensor and session.

    Parameters
    ----------
    holds : DataFrame
        Rows of `strainstudy.calibrate.holds.hold_levels`, of all bend recordings of the session, told apart by a
        column ``recording`` (0, 1... in order of time); without that column they are of one.
    parameters : CalibrateParameters
    rest_ohm : float
        Rest resistance the levels are relative to; NaN for arbitrary units.

    Returns
    -------
    AngleMap or Refusal
    """
    used = _Holds.of(holds)
    labelled = used.where(used.labelled)
    if not len(labelled):
        return Refusal("no labelled bend has a hold long enough to read")
    if len(used.held) < 2:
        return Refusal(f"holds at one angle only ({labelled.angle[0]:g} degrees) and no straight leg")
    sign = _sign(used)
    used = replace(used, level=used.level * sign)
    reason = _inconsistent(used)
    if reason is not None:
        return Refusal(reason)
    medians = used.medians(used.level)
    span = float(medians[-1] - medians[0])
    loop = _loop(used.where(used.labelled | (used.angle == 0)))
    used = replace(used, level=used.level + loop.width / 2 * used.branch)
    reason = _inconsistent(used)
    if reason is not None:
        return Refusal(reason)
    angles, levels = used.held, used.medians(used.level)
    degrees_per_level = (angles[-1] - angles[0]) / (levels[-1] - levels[0])

    bent = used.where(used.labelled)
    residual = curve_through(levels, angles)(bent.level) - bent.angle
    freedom = len(bent) - len(bent.held)
    repeatability = math.sqrt(float(residual @ residual) / freedom) if freedom > 0 else math.nan
    scatter = parameters.hold_error_deg
    if freedom > 0:
        squares = freedom * repeatability**2 + _HOLD_ERROR_FREEDOM * parameters.hold_error_deg**2
        scatter = math.sqrt(squares / (freedom + _HOLD_ERROR_FREEDOM))
    nonzero = bent.where(bent.angle != 0)
    with np.errstate(divide="ignore", invalid="ignore"):
        creep_share = _median(nonzero.creep * sign / nonzero.level)
    if loop.known:
        unseen = math.hypot(_LOOP_SHAPE_SHARE * loop.width, loop.error) * degrees_per_level
    else:
        unseen = parameters.assumed_hysteresis_percent / 100 * (angles[-1] - angles[0])
    straight = used.absolute[used.angle == 0]
    zero_drift = math.inf
    if len(straight) > 1:
        zero_drift = float(np.std(straight, ddof=1)) * degrees_per_level
        # Bend recordings before and after span the session themselves.
        one = used.recording.min() == used.recording.max()
        zero_drift *= parameters.session_drift_factor if one else 1.0
    drift, gain = _session_change(used, degrees_per_level)
    # Holds scatter because the leg is not quite at its angle, which only their mean inherits, and because the sensor
    # does not repeat itself, which every angle inherits.
    each = len(nonzero) / max(len(nonzero.held), 1)
    of_knots = scatter * (_MEDIAN_EFFICIENCY if each > 2 else 1.0) / math.sqrt(max(each, 1.0))
    own = math.sqrt(max(0.0, scatter**2 - parameters.hold_error_deg**2))
    # Hysteresis and creep are errors of a known largest size: uniform, so a square root of twelve.
    return AngleMap(
        levels=tuple(levels.tolist()),
        angles=tuple(angles.tolist()),
        sign=sign,
        loop_width=loop.width,
        branch_radius=BRANCH_RADIUS_SHARE * span,
        zero_level=float(np.median(straight)) if len(straight) else 0.0,
        rest_ohm=rest_ohm,
        error_deg=math.hypot(of_knots, own),
        loop_error_deg=unseen / math.sqrt(12),
        error_share=abs(float(creep_share)) / math.sqrt(12) if math.isfinite(creep_share) else 0.0,
        zero_error_deg=parameters.straight_leg_sd_deg,
        zero_drift_deg=zero_drift,
        lag_s=parameters.lag_s,
        lag_error_s=parameters.lag_error_s,
        freedom=freedom + _HOLD_ERROR_FREEDOM if freedom > 0 else math.inf,
        prediction_level=parameters.prediction_level,
        hold_count=len(bent),
        repeatability_deg=repeatability,
        hysteresis_percent=100 * loop.width / span if loop.known else math.nan,
        creep_percent=100 * float(creep_share),
        session_drift_deg=drift,
        session_gain_percent=gain,
        notes=(loop.note,),
    )
