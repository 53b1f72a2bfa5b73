"""The angle map of one sensor and session from a reference angle beside it (a goniometer, motion capture).

In: recordings in which the reference stands beside the sensor, and which of their samples may be used. Out: a
`ReferenceMap`, or a `Refusal` with its reason.

The weights are those of least squares with the ramps of the curves not negative, which makes the curves monotone: a
convex problem with one answer. Which terms a model has, and whether drift is taken off first, is not assumed: parts
of the reference are left out in turn (a recording at a time; within one recording, fifths of its time), and a term goes
where what was left out is predicted better without it. The interval rests on the errors in what was left out. A
recording has a model of its own where that predicts the parts of it that were left out better than the others do.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Final

import numpy as np
import numpy.typing as npt
from scipy.optimize import lsq_linear, nnls

from ..signal.gaps import spanned
from ..signal.runs import runs
from .anglemap import Refusal, rest_ratio
from .parameters import CalibrateParameters
from .referencemap import (
    CREEP_S,
    SURROUNDINGS_S,
    TERMS,
    ReferenceMap,
    ReferenceModel,
    columns_of,
    levels_of,
    spread_columns,
)

__all__ = ["ReferencePiece", "fit_reference_map"]

Array = npt.NDArray[np.float64]
Mask = npt.NDArray[np.bool_]

_KNOTS: Final = 7
"""Knots of a curve (chosen on the sleeve: docs/sleeve-study.md)."""
_PARTS: Final = 5
"""Parts of its time of which a single recording leaves one out at a time (ours; five folds are common practice)."""
_WORTH: Final = 0.01
"""Share by which the error of what was left out has to fall for a term to go (ours)."""
_FIT_HZ: Final = 25.0
"""Samples closer than this say the same thing twice: traces are low-passed at 6 Hz."""
_FEWEST_S: Final = 5.0
"""Seconds with sensor and reference below which nothing is fitted: a few bends (ours)."""
_LEAST_RANGE_DEG: Final = 20.0
"""Range of the reference in degrees below which nothing is fitted: a third of a walking knee's (ours)."""
_DRIFT_OFF_WORTH: Final = 0.2
"""Share by which that error has to be smaller with drift taken off than without: over the time of a fit drift is small,
and what is taken off for it may be movement (chosen on the sleeve: docs/sleeve-study.md)."""
_RIDGE: Final = 1e-6
"""Share of the mean square of a column that keeps columns without a sample solvable (ours)."""
_LOOP_AS_LAG_S: Final = 0.005
"""What a loop of another shape than that of two branches may add to a lag (ours: of recorded walks through simulated
sensors most lags came out within 2 ms, the worst 8 ms off)."""
_LAGS_S: Final = np.linspace(-0.1, 0.3, 9)
"""Lags in seconds of the first search (ours: response times up to 0.3 s are time constants up to 0.14 s)."""
_WIDTHS: Final = {"rate": 2, "creep": len(CREEP_S), "surroundings": len(SURROUNDINGS_S), "settling": 1}
"""Columns of each term besides the curves."""


@dataclass(frozen=True)
class ReferencePiece:
    """One recording with a reference beside the sensor.

    Parameters
    ----------
    recording_id : str
    sampling_frequency : float
        Hz.
    response, drift : array, shape (n,)
        As conditioning leaves them.
    reference : array, shape (n,)
        Degrees; NaN where there is none.
    used : array of bool, shape (n,)
        Samples that may be fitted.
    rest_ohm : float
        Rest resistance the response is relative to; NaN for arbitrary units.
    """

    recording_id: str
    sampling_frequency: float
    response: Array
    drift: Array
    reference: Array
    used: Mask
    rest_ohm: float = math.nan


@dataclass(frozen=True)
class _Rows:
    """Samples of all pieces, thinned: columns of the fullest map, the reference, and the part each belongs to."""

    level: tuple[Array, ...]
    rate: tuple[float, ...]
    pick: tuple[npt.NDArray[np.intp], ...]
    reference: Array
    part: npt.NDArray[np.intp]
    low: float
    high: float
    as_recorded: bool


def _sign(pieces: Sequence[ReferencePiece]) -> int:
    total = 0.0
    for piece in pieces:
        whole = piece.response + piece.drift
        pick = piece.used & np.isfinite(whole) & np.isfinite(piece.reference)
        if pick.sum() > 1:
            x, y = whole[pick], piece.reference[pick]
            total += float((x - x.mean()) @ (y - y.mean())) / (float(np.std(x)) or 1.0)
    return -1 if total < 0 else 1


def _rows(pieces: Sequence[ReferencePiece], sign: int, rest_ohm: float, *, as_recorded: bool) -> _Rows:
    levels, picks, references, parts = [], [], [], []
    for number, piece in enumerate(pieces):
        scale = rest_ratio(piece.rest_ohm, rest_ohm)
        level = levels_of(piece.response, piece.drift, sign=sign, scale=scale, as_recorded=as_recorded)
        sound = np.flatnonzero(piece.used & np.isfinite(level) & np.isfinite(piece.reference))
        pick = sound[:: max(1, round(piece.sampling_frequency / _FIT_HZ))]
        levels.append(spanned(level))
        picks.append(pick)
        references.append(piece.reference[pick])
        parts.append(
            np.full(len(pick), number) if len(pieces) > 1 else np.arange(len(pick)) * _PARTS // max(len(pick), 1)
        )
    seen = np.concatenate([level[pick] for level, pick in zip(levels, picks, strict=True)])
    low, high = np.quantile(seen, [0.001, 0.999])
    return _Rows(
        tuple(levels),
        tuple(piece.sampling_frequency for piece in pieces),
        tuple(picks),
        np.concatenate(references),
        np.concatenate(parts),
        float(low),
        float(high),
        as_recorded,
    )


def _design(rows: _Rows, terms: tuple[str, ...]) -> Array:
    blocks = [
        np.column_stack([column[pick] for column in columns_of(level, fs, rows.low, rows.high, _KNOTS, terms)])
        for level, fs, pick in zip(rows.level, rows.rate, rows.pick, strict=True)
    ]
    return np.concatenate(blocks)


def _weights(design: Array, reference: Array, terms: tuple[str, ...]) -> Array:
    """Least squares with rising curves, from the normal equations: many samples, few columns."""
    n = design.shape[1]
    normal = design.T @ design
    # A ramp that no sample reached has nothing to say and stays at 0.
    root = np.linalg.cholesky(normal + _RIDGE * float(np.trace(normal)) / n * np.eye(n)).T
    target = np.linalg.solve(root.T, design.T @ reference)
    least = np.full(n, -np.inf)
    least[1 : 1 + (_KNOTS - 1) * (2 if "branches" in terms else 1)] = 0.0
    return np.asarray(lsq_linear(root, target, bounds=(least, np.inf)).x)


def _left_out(design: Array, rows: _Rows, terms: tuple[str, ...]) -> Array:
    """Predict every sample from the parts it is not in."""
    angle = np.empty(len(rows.reference))
    for part in np.unique(rows.part):
        out = rows.part == part
        angle[out] = design[out] @ _weights(design[~out], rows.reference[~out], terms)
    return angle


def _chosen_columns(terms: tuple[str, ...], fullest: tuple[str, ...]) -> list[int]:
    """Places of the columns of some terms among those of more terms with the same curves."""
    place = 1 + (_KNOTS - 1) * (2 if "branches" in terms else 1)
    chosen = list(range(place))
    for term in fullest:
        width = _WIDTHS.get(term, 0)
        if term in terms:
            chosen += range(place, place + width)
        place += width
    return chosen


def _choose(rows: _Rows, allowed: Sequence[str]) -> tuple[tuple[str, ...], float]:
    """Start with all terms and drop, the worst first, those without which what was left out is predicted better."""
    terms = tuple(allowed)
    fullest = {"branches" in kind: (kind, _design(rows, kind)) for kind in (terms, _without(terms, "branches"))}

    def error(kept: tuple[str, ...]) -> float:
        kind, design = fullest["branches" in kept]
        angle = _left_out(design[:, _chosen_columns(kept, kind)], rows, kept)
        return float(np.sqrt(np.mean((angle - rows.reference) ** 2)))

    best = error(terms)
    while terms:
        least, less = min((error(less), less) for less in (_without(terms, term) for term in terms))
        if least > (1 - _WORTH) * best:
            break
        terms, best = less, least
    return terms, best


def _without(terms: tuple[str, ...], term: str) -> tuple[str, ...]:
    return tuple(other for other in terms if other != term)


def _spread(angle: Array, rows: _Rows, span: tuple[float, float], level: float) -> tuple[tuple[float, ...], float]:
    """Weights of the variance of what was left out, and the multiplier at which its interval would have covered."""
    speeds = []
    place = 0
    for fs, pick in zip(rows.rate, rows.pick, strict=True):
        own = angle[place : place + len(pick)]
        place += len(pick)
        # Thinned samples are evenly spaced but for gaps, at which the speed is not to be believed.
        step = float(np.median(np.diff(pick))) / fs if len(pick) > 1 else 1.0
        speeds.append(np.column_stack(spread_columns(own, 1 / step, *span)))
    columns = np.concatenate(speeds)
    squared = (angle - rows.reference) ** 2
    # Weighted once by the variance it gives, so that the few large errors do not decide on the many small ones.
    weights = nnls(columns, squared)[0]
    variance = np.maximum(columns @ weights, 0.05 * float(squared.mean()))
    weights = nnls(columns / variance[:, None], squared / variance)[0]
    weights[0] = max(weights[0], 0.01 * float(squared.mean()))
    ratio = np.sqrt(squared / (columns @ weights))
    return tuple(weights.tolist()), float(np.quantile(ratio, level))


def _terms_and_rows(
    pieces: Sequence[ReferencePiece], sign: int, rest_ohm: float, allowed: Sequence[str]
) -> tuple[tuple[str, ...], _Rows]:
    choices = []
    for as_recorded in (True, False):
        rows = _rows(pieces, sign, rest_ohm, as_recorded=as_recorded)
        if not rows.high > rows.low:
            continue
        terms, error = _choose(rows, allowed)
        choices.append((error if as_recorded else error / (1 - _DRIFT_OFF_WORTH), terms, rows))
    if not choices:
        return (), rows
    _, terms, rows = min(choices, key=lambda choice: choice[0])
    return terms, rows


def _model(rows: _Rows, terms: tuple[str, ...], level: float, recording_id: str | None) -> tuple[ReferenceModel, Array]:
    """Fit the terms, and give the errors of the samples in what was left out."""
    design = _design(rows, terms)
    angle = _left_out(design, rows, terms)
    first, last = np.quantile(rows.reference, [0.001, 0.999]).tolist()
    spread, multiplier = _spread(angle, rows, (first, last), level)
    model = ReferenceModel(
        recording_id=recording_id,
        low=rows.low,
        high=rows.high,
        angle_from=first,
        angle_to=last,
        as_recorded=rows.as_recorded,
        terms=terms,
        weights=tuple(_weights(design, rows.reference, terms).tolist()),
        lowest=tuple(design.min(axis=0).tolist()),
        highest=tuple(design.max(axis=0).tolist()),
        spread=spread,
        multiplier=multiplier,
        rmse_left_out=float(np.sqrt(np.mean((angle - rows.reference) ** 2))),
    )
    return model, angle - rows.reference


def _lag(rows: _Rows) -> tuple[float, float]:
    """Time constant of the sensor's answer behind the reference, and its standard error; NaN where none is best.

    The lag is that with which curves of two branches explain the reference best: hysteresis does not count as delay.
    The error is the jackknife's over the parts, with `_LOOP_AS_LAG_S`.
    """
    parts = np.unique(rows.part)

    def misfit(lag: float) -> Array:
        levels = tuple(level + lag * fs * np.gradient(level) for level, fs in zip(rows.level, rows.rate, strict=True))
        design = _design(replace(rows, level=levels), ("branches",))
        residual = design @ _weights(design, rows.reference, ("branches",)) - rows.reference
        return np.asarray(np.bincount(np.searchsorted(parts, rows.part), weights=residual**2, minlength=len(parts)))

    coarse = float(_LAGS_S[np.argmin([misfit(lag).sum() for lag in _LAGS_S])])
    lags = coarse + np.linspace(-1, 1, 11) * float(_LAGS_S[1] - _LAGS_S[0])
    errors = np.array([misfit(lag) for lag in lags])
    whole = _lowest(lags, errors.sum(axis=1))
    without = np.array([_lowest(lags, errors.sum(axis=1) - errors[:, k]) for k in range(len(parts))])
    n = len(parts)
    if n < 2 or not np.isfinite([whole, *without]).all():
        return math.nan, math.nan
    scatter = float(np.sqrt((n - 1) / n * np.sum((without - without.mean()) ** 2)))
    return whole, math.hypot(scatter, _LOOP_AS_LAG_S)


def _lowest(lags: Array, error: Array) -> float:
    """Lag at the bottom of the parabola through the three lowest; NaN at an end of the range."""
    k = int(np.argmin(error))
    if k in (0, len(error) - 1):
        return math.nan
    before, least, after = error[k - 1 : k + 2]
    return float(lags[k] + 0.5 * (lags[1] - lags[0]) * (before - after) / (before - 2 * least + after))


def fit_reference_map(pieces: Sequence[ReferencePiece], parameters: CalibrateParameters) -> ReferenceMap | Refusal:
    """Fit the map of one sensor and session.

    Parameters
    ----------
    pieces : sequence of ReferencePiece
        Recordings of the session, in the order of the sheet.
    parameters : CalibrateParameters

    Returns
    -------
    ReferenceMap or Refusal
    """
    kept = []
    seconds = 0.0
    for piece in pieces:
        both = piece.used & np.isfinite(piece.response) & np.isfinite(piece.reference)
        if both.any():
            kept.append(piece)
            seconds += float(both.sum()) / piece.sampling_frequency
    if seconds < _FEWEST_S:
        return Refusal(
            f"{seconds:.1f} s with both sensor and reference in the spans that reference_use names; "
            f"{_FEWEST_S:g} s are needed"
        )
    rest_ohm, sign, level = kept[0].rest_ohm, _sign(kept), parameters.prediction_level
    terms, rows = _terms_and_rows(kept, sign, rest_ohm, [term for term in TERMS if term != "settling"])
    if not rows.high > rows.low:
        return Refusal("the sensor does not answer where the reference moves")
    moved = _range(rows.reference)
    if moved < _LEAST_RANGE_DEG:
        return Refusal(f"the reference moves by {moved:.1f} degrees only; {_LEAST_RANGE_DEG:g} are needed")
    joint, errors = _model(rows, terms, level, None)
    own, lags = [], []
    for number, piece in enumerate(kept):
        terms, alone = _terms_and_rows([piece], sign, rest_ohm, TERMS)
        enough = len(alone.reference) / _FIT_HZ >= _FEWEST_S and _range(alone.reference) >= _LEAST_RANGE_DEG
        if not enough or not alone.high > alone.low:
            continue
        lags.append(_lag(alone))
        model, _ = _model(alone, terms, level, piece.recording_id)
        others = float(np.sqrt(np.mean(errors[rows.part == number] ** 2))) if len(kept) > 1 else math.inf
        if model.rmse_left_out <= others:
            own.append(model)
    lag_s, lag_error_s = _mean_lag(lags)
    return ReferenceMap(
        sign=sign,
        knots=_KNOTS,
        rest_ohm=rest_ohm,
        joint=joint,
        own=tuple(own),
        zero_error_deg=parameters.straight_leg_sd_deg,
        lag_s=lag_s,
        lag_error_s=lag_error_s,
        prediction_level=level,
        seconds=seconds,
        fitted=tuple(
            (piece.recording_id, float(first) / piece.sampling_frequency, float(last) / piece.sampling_frequency)
            for piece in kept
            for first, last in runs(piece.used)
        ),
        notes=(_note(joint, own, len(kept)),),
    )


def _range(reference: Array) -> float:
    return float(np.ptp(np.quantile(reference, [0.001, 0.999]))) if len(reference) else 0.0


def _mean_lag(lags: Sequence[tuple[float, float]]) -> tuple[float, float]:
    """Mean over recordings; its error is the mean error, or the scatter between recordings where that is larger."""
    told = np.array([lag for lag in lags if np.isfinite(lag).all()]).reshape(-1, 2)
    if not len(told):
        return math.nan, math.nan
    scatter = float(np.std(told[:, 0], ddof=1)) if len(told) > 1 else 0.0
    return float(told[:, 0].mean()), max(float(told[:, 1].mean()), scatter)


def _note(joint: ReferenceModel, own: Sequence[ReferenceModel], recordings: int) -> str:
    """Say what the map is made of, and how well it told what was left out."""
    model = own[0] if len(own) == 1 and recordings == 1 else joint
    parts = ", ".join(model.terms) or "one curve alone"
    kind = "a recording" if recordings > 1 else "a fifth of the time"
    text = f"{parts}; drift {'left in' if model.as_recorded else 'taken off'}; RMSE {model.rmse_left_out:.1f} degrees"
    text += f" when {kind} is left out"
    if recordings > 1 and own:
        errors = [one.rmse_left_out for one in own]
        text += (
            f"; {len(own)} of {recordings} recordings have a map of their own ({min(errors):.1f} to {max(errors):.1f})"
        )
    return text
