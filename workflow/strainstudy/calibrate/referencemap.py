"""Response to degrees by a map that a reference angle beside the sensor made, with a prediction interval.

In: a conditioned response of a sensor whose map was fitted by `strainstudy.calibrate.referencefit`. Out: the angle of
the knee with its limits, and where it is extrapolated.

The angle is a sum. Its first part is monotone in the response: one rising curve on the flexing branch and one on the
extending branch, mixed by the play operator that knows on which branch the knee is (`strainstudy.signal.play`). The
others vanish while the response stands still, so that a held angle is read from the curves alone:

- rate: speed of the response, with one factor for rising and one for falling (a first-order lag undone; a sensor
  answers and recovers at different speed),
- creep: what the response was over the last tenths of a second and seconds less what it is (the inverse of a Prony
  series: the response that fades in a hold and the tail after it),
- surroundings: the mean of the response around the sample less the response, before and after alike (a knit that
  gathers and slips at the turning point reads less there than just before and just after).

A sleeve lies otherwise on the leg whenever it was moved, so a recording of which a span was fitted has a model of its
own; the one of all fitted spans together serves the other recordings of the session. A model of one recording may have
one more term: settling, a gain that changes with the logarithm of the time since the recording began, as stretched
elastomers soften over their first cycles (Mullins 1969, Rubber Chem Technol 42:339-362, from memory).

Beyond the response that was seen with the reference, the curves go on along their ends, and rate, creep and
surroundings stay at the largest that was seen; the interval widens by what the map would have added there.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import asdict, dataclass
from typing import Any, Final

import numpy as np
import numpy.typing as npt
from scipy.ndimage import gaussian_filter1d
from scipy.signal import lfilter

from ..signal.gaps import spanned
from ..signal.play import branch
from .anglemap import POSSIBLE_DEG, Angles, rest_ratio

__all__ = [
    "CREEP_S",
    "SURROUNDINGS_S",
    "TERMS",
    "ReferenceMap",
    "ReferenceModel",
    "columns_of",
    "levels_of",
    "spread_columns",
]

Array = npt.NDArray[np.float64]

TERMS: Final = ("branches", "rate", "creep", "surroundings", "settling")
"""Parts that a map may have besides one rising curve, in the order in which they are tried."""
CREEP_S: Final = (0.3, 2.0)
"""Time constants of the means of the past."""
SURROUNDINGS_S: Final = (0.2, 0.5)
"""Standard deviations of the bells over which the surroundings are averaged."""
SETTLING_S: Final = 1.0
"""Time from which settling goes with the logarithm."""
BRANCH_RADIUS_SHARE: Final = 0.15
"""Half the travel from branch to branch as share of the span (all four chosen on the sleeve: docs/sleeve-study.md)."""
_RESTING_SHARE: Final = 0.1
"""Share of the samples below the reading that counts as the resting leg's (ours)."""
_EXTRAPOLATION_SHARE: Final = 0.3
"""As in `strainstudy.calibrate.anglemap`."""
_DRIFT_DEG_PER_ROOT_MINUTE: Final = 1.75
"""Standard deviation by which sleeve and sensor leave the map in a minute from the nearest fitted sample (chosen on the
sleeve: docs/sleeve-study.md)."""
_OTHER_RECORDING_FACTOR: Final = 1.25
"""Intervals in other recordings over what the errors within a single fitted one ask for (chosen on the sleeve)."""
_SPEED_SCALE: Final = 100.0
"""Degrees a second that count as 1 in the variance's column of speed, so that its weights are of one size (ours)."""


def levels_of(response: Array, drift: Array, *, sign: int, scale: float, as_recorded: bool) -> Array:
    """Level in the direction of flexion, 0 where the leg rests.

    Parameters
    ----------
    response, drift : array, shape (n,)
        As conditioning leaves them; NaN = no data.
    sign : {1, -1}
        Which way the response runs with flexion.
    scale : float
        From this recording's rest resistance to that of the map.
    as_recorded : bool
        Drift stays in, and the leg rests at the tenth percentile of the recording; else drift is off, and the leg rests
        at 0.
    """
    if not as_recorded:
        return np.asarray(sign * scale * response)
    whole = sign * scale * (response + drift)
    seen = whole[np.isfinite(whole)]
    return np.asarray(whole - np.quantile(seen, _RESTING_SHARE) if len(seen) else whole)


def _ramps(share: Array, knots: int) -> Iterator[Array]:
    """Rises from 0 to 1 between neighbouring knots; the first and the last go on beyond."""
    for k in range(knots - 1):
        ramp = share * (knots - 1) - k
        yield np.clip(ramp, -math.inf if k == 0 else 0.0, math.inf if k == knots - 2 else 1.0)


def _past(share: Array, fs: float, seconds: float) -> Array:
    """Exponentially weighted mean of the past."""
    gain = -math.expm1(-1 / (fs * seconds))
    return np.asarray(lfilter([gain], [1, gain - 1], share, zi=[(1 - gain) * share[0]])[0])


def columns_of(level: Array, fs: float, low: float, high: float, knots: int, terms: tuple[str, ...]) -> Iterator[Array]:
    """Columns whose weighted sum is the angle.

    Parameters
    ----------
    level : array, shape (n,)
        Finite; a recording's whole trace in order.
    fs : float
        Hz.
    low, high : float
        Levels of the first and the last knot.
    knots : int
        Evenly spaced.
    terms : tuple of str
        Of `TERMS`.

    Yields
    ------
    array, shape (n,)
        A constant; ``knots - 1`` ramps (``branches``: those of the flexing branch, then of the extending one), whose
        weights are not negative; two for each of rate, creep and surroundings; one for settling.
    """
    share = (level - low) / (high - low)
    yield np.ones(len(share))
    if "branches" in terms:
        on = branch(share, BRANCH_RADIUS_SHARE)
        yield from ((1 + on) / 2 * ramp for ramp in _ramps(share, knots))
        yield from ((1 - on) / 2 * ramp for ramp in _ramps(share, knots))
    else:
        yield from _ramps(share, knots)
    if "rate" in terms:
        speed = np.gradient(share) * fs
        yield np.maximum(speed, 0.0)
        yield np.minimum(speed, 0.0)
    if "creep" in terms:
        yield from (_past(share, fs, seconds) - share for seconds in CREEP_S)
    if "surroundings" in terms:
        yield from (gaussian_filter1d(share, seconds * fs, mode="nearest") - share for seconds in SURROUNDINGS_S)
    if "settling" in terms:
        yield share * np.log1p(np.arange(len(share)) / fs / SETTLING_S)


def spread_columns(angle: Array, fs: float, first: float, last: float) -> tuple[Array, Array, Array, Array]:
    """Columns whose weighted sum is the variance of an angle: always, with angular speed, with flexion, half way."""
    speed = np.gradient(angle) * fs / _SPEED_SCALE
    share = np.clip((angle - first) / (last - first), 0.0, 1.0)
    return np.ones(len(angle)), speed**2, share**2, share * (1 - share)


@dataclass(frozen=True)
class ReferenceModel:
    """One fit: terms and weights, where they hold, and how well they did on what was left out.

    Parameters
    ----------
    recording_id : str or None
        The recording it was fitted in, of which it is the own model; None for the one of all together.
    low, high : float
        Levels of the first and the last knot, in units of the response towards flexion.
    angle_from, angle_to : float
        Range of the reference where it was fitted, degrees.
    as_recorded : bool
        As for `levels_of`.
    terms : tuple of str
        Of `TERMS`.
    weights : tuple of float
        Of `columns_of`, degrees.
    lowest, highest : tuple of float
        Range of each column where it was fitted.
    spread : tuple of float
        Weights of `spread_columns`, squared degrees.
    multiplier : float
        Half the interval over the standard deviation that ``spread`` gives.
    rmse_left_out : float
        Degrees; root mean square error on parts of the reference that were left out in turn.
    """

    recording_id: str | None
    low: float
    high: float
    angle_from: float
    angle_to: float
    as_recorded: bool
    terms: tuple[str, ...]
    weights: tuple[float, ...]
    lowest: tuple[float, ...]
    highest: tuple[float, ...]
    spread: tuple[float, ...]
    multiplier: float
    rmse_left_out: float

    @property
    def response_per_degree(self) -> float:
        """Mean slope over the calibrated range, without sign."""
        return (self.high - self.low) / (self.angle_to - self.angle_from)

    def predict(self, level: Array, fs: float, knots: int) -> tuple[Array, Array]:
        """Angle of a finite level and its variance but for the drift of the zero, each shape (n,)."""
        angle, variance = np.zeros(len(level)), np.zeros(len(level))
        curves = 1 + (knots - 1) * (2 if "branches" in self.terms else 1)
        settling = len(self.weights) - 1 if "settling" in self.terms else -1
        columns = columns_of(level, fs, self.low, self.high, knots, self.terms)
        for k, (column, weight) in enumerate(zip(columns, self.weights, strict=True)):
            # The curves go on, and time goes on; what they cost is counted by level and by settling.
            seen = column if k < curves or k == settling else np.clip(column, self.lowest[k], self.highest[k])
            angle += weight * seen
            if k == settling:
                variance += (_EXTRAPOLATION_SHARE * weight * np.maximum(column - self.highest[k], 0.0)) ** 2
            elif k >= curves:
                variance += (weight * (column - seen)) ** 2
        for column, weight in zip(spread_columns(angle, fs, self.angle_from, self.angle_to), self.spread, strict=True):
            variance += weight * column
        variance += (_EXTRAPOLATION_SHARE * self.outside(level) / self.response_per_degree) ** 2
        return angle, variance

    def outside(self, level: Array) -> Array:
        """How far a level lies beyond the fitted ones, in its unit, shape (n,)."""
        return np.asarray(np.maximum(level - self.high, np.maximum(self.low - level, 0.0)))


@dataclass(frozen=True)
class ReferenceMap:
    """Map of one sensor in one session from conditioned response to knee flexion, made by a reference.

    Parameters
    ----------
    sign : {1, -1}
        Direction in which the response runs with flexion.
    knots : int
        Of the curves, evenly spaced.
    rest_ohm : float
        Rest resistance that levels are relative to; NaN for arbitrary units.
    joint : ReferenceModel
        Of all fitted spans together.
    own : tuple of ReferenceModel
        Of recordings that their own spans tell better than the others' do.
    zero_error_deg : float
        Standard error of the straight leg's angle in a recording that was not fitted.
    lag_s, lag_error_s : float
        Time constant of the sensor's answer against the reference, and its standard error; NaN if not told.
    prediction_level : float
        Probability that the interval is to cover.
    seconds : float
        Time with both that was fitted.
    fitted : tuple of (recording_id, first, last)
        Spans that were fitted, seconds from the first sample.
    notes : tuple of str
        In words for the report.
    """

    sign: int
    knots: int
    rest_ohm: float
    joint: ReferenceModel
    own: tuple[ReferenceModel, ...]
    zero_error_deg: float
    lag_s: float
    lag_error_s: float
    prediction_level: float
    seconds: float
    fitted: tuple[tuple[str, float, float], ...] = ()
    notes: tuple[str, ...] = ()

    def to_dict(self) -> dict[str, Any]:
        """As plain values for JSON, with None for what is not a number."""
        return {
            name: None if isinstance(value, float) and not math.isfinite(value) else value
            for name, value in asdict(self).items()
        }

    @classmethod
    def from_dict(cls, values: dict[str, Any]) -> ReferenceMap:
        """Undo `to_dict`."""
        plain: dict[str, Any] = {name: math.nan if value is None else value for name, value in values.items()}
        plain["joint"] = _model_of(plain["joint"])
        plain["own"] = tuple(_model_of(model) for model in plain["own"])
        plain["fitted"] = tuple(tuple(span) for span in plain["fitted"])
        plain["notes"] = tuple(plain["notes"])
        return cls(**plain)

    def spans_in(self, recording_id: str) -> Array:
        """Spans of a recording that were fitted, shape (m, 2), seconds from its first sample."""
        spans = [(first, last) for recording, first, last in self.fitted if recording == recording_id]
        return np.array(spans, dtype=np.float64).reshape(-1, 2)

    def model_for(self, recording_id: str) -> ReferenceModel:
        """Give a recording's own model, else the joint one."""
        return next((model for model in self.own if model.recording_id == recording_id), self.joint)

    @property
    def response_per_degree(self) -> float:
        """Mean slope over the calibrated range, without sign: what of an amplitude is the sensor's gain."""
        return self.joint.response_per_degree

    @property
    def rmse_left_out(self) -> float:
        """Error in what was left out of the models that the fitted recordings have, degrees."""
        errors = [self.model_for(recording).rmse_left_out for recording in {name for name, *_ in self.fitted}]
        return float(np.sqrt(np.mean(np.square(errors))))

    @property
    def gain_error_share(self) -> float:
        """Standard error of the slope as a share of it: the error that was left out, over the calibrated range."""
        return self.joint.rmse_left_out / (self.joint.angle_to - self.joint.angle_from)

    def apply(
        self, response: npt.ArrayLike, fs: float, *, drift: npt.ArrayLike, recording_id: str, rest_ohm: float = math.nan
    ) -> Angles:
        """Turn a conditioned response into degrees.

        Parameters
        ----------
        response : array, shape (n,)
            One recording's whole trace in order (hysteresis needs the history); NaN = no data.
        fs : float
            Hz.
        drift : array, shape (n,)
            What conditioning took off.
        recording_id : str
            Decides on the model, and on what is known of the zero.
        rest_ohm : float
            Rest resistance the response is relative to; NaN for arbitrary units.

        Returns
        -------
        Angles
        """
        scale = rest_ratio(rest_ohm, self.rest_ohm)
        x, slow = np.asarray(response, dtype=np.float64), np.asarray(drift, dtype=np.float64)
        model = self.model_for(recording_id)
        level = levels_of(x, slow, sign=self.sign, scale=scale, as_recorded=model.as_recorded)
        missing = np.isnan(level)
        if len(x) < 2 or missing.all():
            return Angles.none(len(x))
        level = spanned(level)
        angle, variance = model.predict(level, fs, self.knots)
        spans = self.spans_in(recording_id)
        if len(spans):
            time = np.arange(len(x)) / fs
            away = np.maximum(spans[:, :1] - time, time - spans[:, 1:]).min(axis=0)
            variance += _DRIFT_DEG_PER_ROOT_MINUTE**2 * np.maximum(away, 0.0) / 60
        else:
            # A few recordings that were left out in turn, or none, know little of where the next one's leg rests.
            single = len({recording for recording, *_ in self.fitted}) == 1
            variance = (_OTHER_RECORDING_FACTOR if single else 1.0) ** 2 * variance + self.zero_error_deg**2
        impossible = ~missing & ((angle < POSSIBLE_DEG[0]) | (angle > POSSIBLE_DEG[1]))
        half = model.multiplier * np.sqrt(variance)
        angle = np.where(missing, np.nan, angle)
        return Angles.within(angle, half, ~missing & (model.outside(level) > 0), impossible)


def _model_of(values: dict[str, Any]) -> ReferenceModel:
    plain: dict[str, Any] = {name: tuple(v) if isinstance(v, list) else v for name, v in values.items()}
    return ReferenceModel(**plain)
