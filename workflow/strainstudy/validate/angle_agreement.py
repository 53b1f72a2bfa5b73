"""Calibrated angle against a reference that stands beside it (a goniometer, motion capture).

In: one knee's calibrated angle with its limits and the reference, both in degrees. Out: root mean square error, bias,
limits of agreement, squared correlation, coverage of the prediction interval and lag: over all, for flexing and
extending apart (a soft sensor's errors differ with direction: hysteresis), and by range of the reference.

Limits of agreement: Bland JM, Altman DG 1986, Lancet 327:307-310; pooled over people with the variance between and
within them, 2007, J Biopharm Stat 17:571-582, section 3. Traces are kept as sums, so a study is pooled without its
samples.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from typing import Any, Final

import numpy as np
import numpy.typing as npt
import pandas as pd
from scipy import special

from ..stats.normal import NORMAL_95

__all__ = ["PHASES", "RANGES_DEG", "agreement_table", "angle_sums", "coverage_claim"]

Array = npt.NDArray[np.float64]

PHASES: Final = ("all", "flexing", "extending", "still")
RANGES_DEG: Final = ((-math.inf, math.inf), (-math.inf, 15), (15, 30), (30, 45), (45, 60), (60, 90), (90, math.inf))
"""Ranges of the reference, degrees, that are judged apart (ours); the first is all of them."""

_STILL_DEG_PER_S: Final = 10.0
"""Slower than this the knee counts as still; walking moves at up to some 400 degrees a second (ours)."""
_LONGEST_LAG_S: Final = 0.3
"""Seconds to each side in which a lag is looked for: the slowest response times of such sensors (ours)."""
_LAG_HZ: Final = 100.0
"""Rate at which it is looked for; the parabola finds what lies between samples (ours, for speed)."""
_LEAST_RANGE_FOR_LAG_DEG: Final = 20.0
"""Range of the reference in degrees below which its movement is too small to time (ours)."""
_SUMS: Final = ("n", "d", "dd", "a", "r", "aa", "rr", "ar", "covered")
_GROUPS: Final = ["phase", "angle_from", "angle_to"]
_LIMITS: Final = ("rmse_low", "rmse_high", "bias_low", "bias_high", "coverage_low", "coverage_high")
_FIGURES: Final = ("rmse", "bias", *_LIMITS, "sd", "limit_low", "limit_high", "r2", "coverage", "lag")
_LEAST_PEOPLE: Final = 3
"""Fewer people than this say nothing about the spread between people (ours)."""


def _lag(angle: Array, reference: Array, fs: float) -> float:
    """Seconds by which the angle is late: peak of the cross-correlation, with a parabola through its top."""
    step = max(1, round(fs / _LAG_HZ))
    x, y = angle[::step], reference[::step]
    rate = fs / step
    reach = round(_LONGEST_LAG_S * rate)
    if len(x) < 10 * reach or np.nanmax(y) - np.nanmin(y) < _LEAST_RANGE_FOR_LAG_DEG:
        return math.nan
    x, y = (np.where(np.isfinite(v), v - np.nanmean(v), 0.0) for v in (x, y))
    middle = y[reach : len(y) - reach]
    score = np.array([x[reach + k : reach + k + len(middle)] @ middle for k in range(-reach, reach + 1)])
    best = int(np.argmax(score))
    if best in (0, 2 * reach):
        return math.nan
    before, top, after = score[best - 1 : best + 2]
    return float((best - reach + 0.5 * (before - after) / (before - 2 * top + after)) / rate)


def angle_sums(
    angle: npt.ArrayLike, low: npt.ArrayLike, high: npt.ArrayLike, reference: npt.ArrayLike, fs: float
) -> pd.DataFrame:
    """Add up the samples of one trace, by phase and by range of the reference.

    Parameters
    ----------
    angle, low, high, reference : array, shape (n,)
        Degrees; samples where angle or reference is NaN are left out.
    fs : float
        Hz.

    Returns
    -------
    DataFrame
        One row per phase and range with samples: ``phase``, ``angle_from``, ``angle_to`` (degrees; infinite where
        open), ``seconds``, ``lag`` (s; only over all) and the sums ``n d dd a r aa rr ar covered`` (d = angle
        minus reference).
    """
    a, b, c, r = (np.asarray(v, dtype=np.float64) for v in (angle, low, high, reference))
    both = np.isfinite(a) & np.isfinite(r)
    columns = [*_GROUPS, "seconds", "lag", *_SUMS]
    if np.count_nonzero(both) < 2:
        return pd.DataFrame(columns=columns)
    speed = np.gradient(r) * fs
    in_phase = {
        "all": both,
        "flexing": both & (speed > _STILL_DEG_PER_S),
        "extending": both & (speed < -_STILL_DEG_PER_S),
        "still": both & (np.abs(speed) <= _STILL_DEG_PER_S),
    }
    inside = (b <= r) & (r <= c)
    known = bool(np.isfinite(b[both]).any())
    rows = []
    for phase in PHASES:
        for start, stop in RANGES_DEG:
            pick = in_phase[phase] & (r >= start) & (r < stop)
            n = int(np.count_nonzero(pick))
            if n == 0:
                continue
            x, y = a[pick], r[pick]
            d = x - y
            whole = phase == "all" and math.isinf(start) and math.isinf(stop)
            lag = _lag(np.where(both, a, np.nan), np.where(both, r, np.nan), fs) if whole else math.nan
            covered = float(np.count_nonzero(inside[pick])) if known else math.nan
            sums = (n, d.sum(), d @ d, x.sum(), y.sum(), x @ x, y @ y, x @ y, covered)
            rows.append([phase, float(start), float(stop), n / fs, lag, *map(float, sums)])
    return pd.DataFrame(rows, columns=columns)


def _numbers(s: Mapping[Any, Any], multiplier: float) -> dict[str, float]:
    """Agreement figures from sums."""
    n = float(s["n"])
    bias = s["d"] / n
    spread = (s["dd"] - n * bias**2) / (n - 1) if n > 1 else math.nan
    sd = math.sqrt(max(spread, 0.0))
    aa, rr, ar = (s[k] - s[k[0]] * s[k[1]] / n for k in ("aa", "rr", "ar"))
    return {
        "seconds": float(s["seconds"]),
        "rmse": math.sqrt(s["dd"] / n),
        "bias": float(bias),
        "sd": sd,
        "limit_low": float(bias - multiplier * sd),
        "limit_high": float(bias + multiplier * sd),
        "r2": float(ar**2 / (aa * rr)) if aa > 0 and rr > 0 else math.nan,
        "coverage": float(s["covered"] / n),
        "lag": float(s["lag"]),
    }


def _median(values: pd.Series) -> float:
    known = values.dropna()
    return float(known.median()) if len(known) else math.nan


def _pooled(people: pd.DataFrame, multiplier: float) -> dict[str, float]:
    """Figures over people from one row of sums each; intervals from the spread of the people's own figures."""
    total = people[["seconds", *_SUMS]].sum(skipna=False)
    total["lag"] = _median(people["lag"])
    m = people["n"].to_numpy(dtype=float)
    k, n = len(m), m.sum()
    means = (people["d"] / people["n"]).to_numpy(dtype=float)
    each_rmse = np.sqrt((people["dd"] / people["n"]).to_numpy(dtype=float))
    numbers = _numbers(total, multiplier)
    interval = dict.fromkeys(_LIMITS, math.nan)
    if k > 1 and n > k:
        within = float(((people["dd"] - people["d"] ** 2 / people["n"]).sum()) / (n - k))
        grand = float(m @ means / n)
        m0 = (n - float(m @ m) / n) / (k - 1)
        between = max(0.0, (float(m @ (means - grand) ** 2) / (k - 1) - within) / m0)
        sd = math.sqrt(within + between)
        numbers |= {
            "sd": sd,
            "limit_low": numbers["bias"] - multiplier * sd,
            "limit_high": numbers["bias"] + multiplier * sd,
        }
        factor = float(special.stdtrit(k - 1, 0.975)) / math.sqrt(k)
        if k >= _LEAST_PEOPLE:
            half = factor * float(np.std((people["covered"] / people["n"]).to_numpy(dtype=float), ddof=1))
            interval["coverage_low"] = max(0.0, numbers["coverage"] - half)
            interval["coverage_high"] = min(1.0, numbers["coverage"] + half)
        for name, values in (("rmse", each_rmse), ("bias", means)):
            half = factor * float(np.std(values, ddof=1))
            interval[f"{name}_low"] = max(0.0, numbers[name] - half) if name == "rmse" else numbers[name] - half
            interval[f"{name}_high"] = numbers[name] + half
    return numbers | interval


def _is_whole(s: Mapping[Any, Any]) -> bool:
    """Whether sums are over all phases and angles."""
    return s["phase"] == "all" and math.isinf(s["angle_from"]) and math.isinf(s["angle_to"])


def coverage_claim(nominal: float, low: float, high: float) -> str | None:
    """Say how the share of held references, by its limits over people, stands to what the interval claims.

    Parameters
    ----------
    nominal : float
        What the interval claims to hold; NaN: nothing is said.
    low, high : float
        95 % limits of the share that it holds; NaN where there are none.

    Returns
    -------
    str or None
    """
    if not math.isfinite(nominal):
        return None
    if not (math.isfinite(low) and math.isfinite(high)):
        return "too few people to tell"
    if high < nominal:
        return "less often than it claims"
    return "more often than it claims" if low > nominal else "as it claims, within its own limits"


def agreement_table(
    traces: Sequence[tuple[Mapping[str, Any], pd.DataFrame]],
    *,
    multiplier: float = NORMAL_95,
    nominal: float = math.nan,
) -> pd.DataFrame:
    """Put traces together: one block per trace, one per participant, one over all.

    Parameters
    ----------
    traces : sequence of (ids, sums)
        ``ids`` with ``recording_id``, ``participant_id``, ``tracked_point``, ``task`` and, where there are any,
        ``fitted`` (seconds whose reference made the map); ``sums`` from `angle_sums` of the rest.
    multiplier : float
        Standard deviations from the bias to a limit of agreement.
    nominal : float
        Probability that the angle's interval claims to cover (setting calibrate.prediction_level).

    Returns
    -------
    DataFrame
        Columns of `strainstudy.tables.angles.ANGLES`. Bend recordings made the map, so they have rows of their own but
        are left out where recordings are pooled (``recording_id`` is ``pooled``; ``participant_id`` missing: over
        all). A trace that made the map as a whole has one row, of 0 seconds.
    """
    rows: list[dict[str, object]] = []
    parts = []
    for ids, sums in traces:
        fitted = float(ids.get("fitted", 0.0))
        who = {key: ids[key] for key in ("recording_id", "participant_id", "tracked_point")}
        if sums.empty and fitted > 0:
            whole = dict(zip(_GROUPS, ("all", -math.inf, math.inf), strict=True))
            nothing = dict.fromkeys(_FIGURES, math.nan)
            rows.append({**who, **whole, **nothing, "n_participants": 1, "seconds": 0.0, "fitted": fitted})
        for s in sums.to_dict("records"):
            rows.append(
                who
                | {name: s[name] for name in _GROUPS}
                | {"n_participants": 1, "fitted": fitted if _is_whole(s) else math.nan}
                | _numbers(s, multiplier)
                | dict.fromkeys(_LIMITS, math.nan)
            )
        if ids["task"] != "bend":
            parts.append(sums.assign(participant_id=ids["participant_id"]))
    parts = [part for part in parts if len(part)]
    if parts:
        pool = pd.concat(parts, ignore_index=True)
        adding = dict.fromkeys(("seconds", *_SUMS), "sum") | {"lag": "median"}
        people = pool.groupby(["participant_id", *_GROUPS], sort=True, as_index=False).agg(adding)
        for s in people.to_dict("records"):
            rows.append(
                {"recording_id": "pooled", "participant_id": s["participant_id"], "tracked_point": None}
                | {name: s[name] for name in _GROUPS}
                | {"n_participants": 1}
                | _numbers(s, multiplier)
                | dict.fromkeys(_LIMITS, math.nan)
            )
        for group, part in people.groupby(_GROUPS, sort=True):
            rows.append(
                {"recording_id": "pooled", "participant_id": None, "tracked_point": None}
                | dict(zip(_GROUPS, group, strict=True))
                | {"n_participants": len(part)}
                | _pooled(part, multiplier)
            )
    table = pd.DataFrame(rows)
    if table.empty:
        return table
    claims = [coverage_claim(nominal, *row) for row in zip(table["coverage_low"], table["coverage_high"], strict=True)]
    known = table["coverage"].notna()
    table = table.assign(coverage_nominal=np.where(known, nominal, np.nan))
    table["coverage_claim"] = [claim if there else None for claim, there in zip(claims, known, strict=True)]
    return table.replace({"angle_from": {-math.inf: math.nan}, "angle_to": {math.inf: math.nan}})
