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
from dataclasses import dataclass
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


def _by_angle(holds: pd.DataFrame) -> tuple[Array, Array]:
    """Give the angles that were held, rising, and the median level at each."""
    angle, level = (holds[name].to_numpy(dtype=float) for name in ("angle", "level"))
    held = np.unique(angle)
    return held, np.array([np.median(level[angle == one]) for one in held])


def _sign(holds: pd.DataFrame) -> int:
    _, medians = _by_angle(holds)
    return 1 if medians[-1] >= medians[0] else -1


def _inconsistent(holds: pd.DataFrame) -> str | None:
    """Say which deeper holds do not exceed shallower ones."""
    angle, level = (holds[name].to_numpy(dtype=float) for name in ("angle", "level"))
    for (low_angle, low), (high_angle, high) in pairwise(zip(*_by_angle(holds), strict=True)):
        pair = (
            f"holds at {high_angle:g} degrees read {high:.4g} and those at {low_angle:g} degrees {low:.4g} "
            "(median response towards flexion): a deeper bend must read more; "
            "check angles, sides and the fit of the sleeve"
        )
        if high <= low:
            return pair
        lower, higher = level[angle == low_angle], level[angle == high_angle]
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
        # What is not told from none may be there all the same.
        widest = 2 * max(0.0, half + float(student.ppf(1 - _SIGNIFICANT / 2, freedom)) * error)
        return _Loop(0.0, widest, True, "flexing and extending holds do not differ: one branch")
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
        Rows of `strainstudy.calibrate.holds.hold_levels`, of all bend recordings of the session, told apart by a
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
    _, medians = _by_angle(used)
    span = float(medians[-1] - medians[0])
    loop = _loop(used[used["labelled"].astype(bool) | (used["angle"] == 0)])
    used["level"] += loop.width / 2 * used["branch"].astype(float)
    reason = _inconsistent(used)
    if reason is not None:
        return Refusal(reason)
    angles, levels = _by_angle(used)
    degrees_per_level = (angles[-1] - angles[0]) / (levels[-1] - levels[0])

    bent = used[used["labelled"].astype(bool)]
    residual = curve_through(levels, angles)(bent["level"].to_numpy(dtype=float)) - bent["angle"].to_numpy(dtype=float)
    freedom = len(bent) - bent["angle"].nunique()
    repeatability = math.sqrt(float(residual @ residual) / freedom) if freedom > 0 else math.nan
    scatter = parameters.hold_error_deg
    if freedom > 0:
        squares = freedom * repeatability**2 + _HOLD_ERROR_FREEDOM * parameters.hold_error_deg**2
        scatter = math.sqrt(squares / (freedom + _HOLD_ERROR_FREEDOM))
    nonzero = bent[bent["angle"] != 0]
    creep_share = (nonzero["creep"] * sign / nonzero["level"]).median() if len(nonzero) else math.nan
    if loop.known:
        unseen = math.hypot(_LOOP_SHAPE_SHARE * loop.width, loop.error) * degrees_per_level
    else:
        unseen = parameters.assumed_hysteresis_percent / 100 * (angles[-1] - angles[0])
    straight = used.loc[used["angle"] == 0, "absolute"].to_numpy(dtype=float)
    zero_drift = math.inf
    if len(straight) > 1:
        zero_drift = float(np.std(straight, ddof=1)) * degrees_per_level
        # Bend recordings before and after span the session themselves.
        one = used["recording"].min() == used["recording"].max()
        zero_drift *= parameters.session_drift_factor if one else 1.0
    drift, gain = _session_change(used, degrees_per_level)
    # Holds scatter because the leg is not quite at its angle, which only their mean inherits, and because the sensor
    # does not repeat itself, which every angle inherits.
    each = len(nonzero) / max(nonzero["angle"].nunique(), 1)
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
