"""Response to degrees by a map that a reference angle beside the sensor made, with a prediction interval.

In: a conditioned response of a sensor whose map was fitted by `strainstudy.sensor.referencefit`. Out: the angle of the
knee with its limits, and where it is extrapolated.

The angle is a sum. Its first part is monotone in the response: one rising curve on the flexing branch and one on the
extending branch, mixed by the play operator that knows on which branch the knee is (`strainstudy.signal.play`). The
others vanish while the response stands still, so that a held angle is read from the curves alone:

- rate: speed of the response, with one factor for rising and one for falling (a first-order lag undone; a sensor
  answers and recovers at different speed),
- creep: what the response was over the last tenths of a second and seconds less what it is (the inverse of a Prony
  series: the response that fades in a hold and the tail after it),
- surroundings: the mean of the response around the sample less the response, before and after alike (a knit that
  gathers and slips at the turning point reads less there than just before and just after).

One more term serves the recordings that the map was fitted in: settling, a gain that changes with the logarithm of the
time since the recording began, as stretched elastomers soften over their first cycles (Mullins 1969, Rubber Chem
Technol 42:339-362, from memory).

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
from .anglemap import POSSIBLE_DEG, Angles

__all__ = ["TERMS", "ReferenceMap", "ReferenceModel", "columns_of", "levels_of", "spread_columns"]

Array = npt.NDArray[np.float64]

TERMS: Final = ("branches", "rate", "creep", "surroundings", "settling")
"""Parts that a map may have besides one rising curve, in the order in which they are tried."""
CREEP_S: Final = (0.3, 2.0)
SURROUNDINGS_S: Final = (0.2, 0.5)
SETTLING_S: Final = 1.0
BRANCH_RADIUS_SHARE: Final = 0.15
"""Half the travel from branch to branch as share of the span (all four chosen on the sleeve: docs/sleeve-study.md)."""
_RESTING_SHARE: Final = 0.1
"""Share of the samples below the reading that counts as the resting leg's (ours)."""
_EXTRAPOLATION_SHARE: Final = 0.3
"""As in `strainstudy.sensor.anglemap`."""
_DRIFT_DEG_PER_ROOT_MINUTE: Final = 1.25
"""Standard deviation by which sleeve and sensor leave the map in a minute from the nearest fitted sample
(chosen on three of five pairs of the sleeve: docs/sleeve-study.md)."""
_SPEED_SCALE: Final = 100.0


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
    """Terms and weights of one map, and how well it did on what was left out of its fit.

    Parameters
    ----------
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

    terms: tuple[str, ...]
    weights: tuple[float, ...]
    lowest: tuple[float, ...]
    highest: tuple[float, ...]
    spread: tuple[float, ...]
    multiplier: float
    rmse_left_out: float

    def predict(self, level: Array, fs: float, low: float, high: float, knots: int) -> tuple[Array, Array]:
        """Angle, and the variance that extrapolation of rate, creep and surroundings adds, each shape (n,)."""
        angle, beyond = np.zeros(len(level)), np.zeros(len(level))
        curves = 1 + (knots - 1) * (2 if "branches" in self.terms else 1)
        settling = len(self.weights) - 1 if "settling" in self.terms else -1
        columns = columns_of(level, fs, low, high, knots, self.terms)
        for k, (column, weight) in enumerate(zip(columns, self.weights, strict=True)):
            # The curves go on, and time goes on; what they cost is counted by level and by settling.
            seen = column if k < curves or k == settling else np.clip(column, self.lowest[k], self.highest[k])
            angle += weight * seen
            if k == settling:
                beyond += (_EXTRAPOLATION_SHARE * weight * np.maximum(column - self.highest[k], 0.0)) ** 2
            elif k >= curves:
                beyond += (weight * (column - seen)) ** 2
        return angle, beyond


@dataclass(frozen=True)
class ReferenceMap:
    """Map of one sensor in one session from conditioned response to knee flexion, made by a reference.

    Parameters
    ----------
    sign : {1, -1}
        Direction in which the response runs with flexion.
    low, high : float
        Levels of the first and the last knot, in units of the response towards flexion.
    knots : int
        Evenly spaced.
    angle_from, angle_to : float
        Range of the reference where it was fitted, degrees.
    as_recorded : bool
        As for `levels_of`.
    rest_ohm : float
        Rest resistance that levels are relative to; NaN for arbitrary units.
    within, beyond : ReferenceModel
        For the recordings that it was fitted in, and for others of the session.
    zero_error_deg : float
        Standard error of the straight leg's angle in other recordings.
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
    low: float
    high: float
    knots: int
    angle_from: float
    angle_to: float
    as_recorded: bool
    rest_ohm: float
    within: ReferenceModel
    beyond: ReferenceModel
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
        models: dict[str, Any] = {}
        for name in ("within", "beyond"):
            own: dict[str, Any] = {key: tuple(v) if isinstance(v, list) else v for key, v in plain[name].items()}
            models[name] = ReferenceModel(**own)
        lists: dict[str, Any] = {
            "fitted": tuple(tuple(span) for span in plain["fitted"]),
            "notes": tuple(plain["notes"]),
        }
        return cls(**{**plain, **models, **lists})

    def spans_in(self, recording_id: str | None) -> Array:
        """Spans of a recording that were fitted, shape (m, 2), seconds from its first sample."""
        spans = [(first, last) for recording, first, last in self.fitted if recording == recording_id]
        return np.array(spans, dtype=np.float64).reshape(-1, 2)

    @property
    def range_deg(self) -> tuple[float, float]:
        """Lowest and highest calibrated angle."""
        return self.angle_from, self.angle_to

    @property
    def response_per_degree(self) -> float:
        """Mean slope over the calibrated range, without sign: what of an amplitude is the sensor's gain."""
        return (self.high - self.low) / (self.angle_to - self.angle_from)

    @property
    def gain_error_share(self) -> float:
        """Standard error of the slope as a share of it: the error that was left out, over the calibrated range."""
        return self.beyond.rmse_left_out / (self.angle_to - self.angle_from)

    def apply(
        self,
        response: npt.ArrayLike,
        fs: float,
        *,
        drift: npt.ArrayLike,
        rest_ohm: float = math.nan,
        recording_id: str | None = None,
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
        rest_ohm : float
            Rest resistance the response is relative to; NaN for arbitrary units.
        recording_id : str, optional
            Whether the map was fitted in this recording decides on settling and on the error of the zero.

        Returns
        -------
        Angles
        """
        scale = rest_ohm / self.rest_ohm if math.isfinite(rest_ohm) and math.isfinite(self.rest_ohm) else 1.0
        x, slow = np.asarray(response, dtype=np.float64), np.asarray(drift, dtype=np.float64)
        level = levels_of(x, slow, sign=self.sign, scale=scale, as_recorded=self.as_recorded)
        missing = np.isnan(level)
        if len(x) < 2 or missing.all():
            empty, never = np.full(len(x), np.nan), np.zeros(len(x), dtype=bool)
            return Angles(empty, empty, empty, never, never)
        spans = self.spans_in(recording_id)
        own = bool(len(spans))
        model = self.within if own else self.beyond
        angle, variance = model.predict(spanned(level), fs, self.low, self.high, self.knots)
        for column, weight in zip(spread_columns(angle, fs, self.angle_from, self.angle_to), model.spread, strict=True):
            variance += weight * column
        outside = np.maximum(level - self.high, np.maximum(self.low - level, 0.0)) / self.response_per_degree
        extrapolated = np.where(missing, False, outside > 0)
        variance += (_EXTRAPOLATION_SHARE * np.where(missing, 0.0, outside)) ** 2
        if own:
            time = np.arange(len(x)) / fs
            away = np.maximum(spans[:, :1] - time, time - spans[:, 1:]).min(axis=0)
            variance += _DRIFT_DEG_PER_ROOT_MINUTE**2 * np.maximum(away, 0.0) / 60
        else:
            variance += self.zero_error_deg**2
        impossible = ~missing & ((angle < POSSIBLE_DEG[0]) | (angle > POSSIBLE_DEG[1]))
        angle = np.where(impossible | missing, np.nan, angle)
        half = model.multiplier * np.sqrt(variance)
        return Angles(angle, angle - half, angle + half, extrapolated, impossible)
