"""Swallows to numbers: interval of each, and for a recording rate, regularity, doubles, bursts, water test.

In: accepted swallows of one recording, the seconds that were observed, the volume drunk. Out: the rows of
``tables/swallows.tsv`` and one row of ``tables/swallow_summary.tsv``. What each number means is beside it in
`tables.swallows`: 46 studies use 119 different time measures of swallowing (Molfenter SM, Steele CM 2012,
Dysphagia 27:162-177, doi 10.1007/s00455-012-9397-x), so a number without its definition says little.
"""

from __future__ import annotations

import numpy as np
import pandas as pd
from scipy import special

from .activity import SHORTEST_S, Array
from .parameters import SwallowParameters
from .throat_health import AT_LIMIT_FRACTION, throat_health

__all__ = ["RESPONSE_SHAPES", "drinking_measures", "measure_swallows", "response_shape", "summarise_swallows"]

RESPONSE_SHAPES = ("one_hump", "two_phase", "ringing")
_BURST_COUNT = 3
"""Swallows in a row from which they are a burst (ours)."""
LARGEST_SIP_ML = 49.0
"""A mouthful of water for one swallow, asked for as such: mean of 34 young men 49.1 (SD 19.9), of 33 women 39.7 (SD
10.2) ml (Kim SI et al. 2013, J Korean Soc Clin Toxicol 11:114-118). Sips from a cup are about half of it: 25 ml in men,
20 in women (Lawless HT et al. 2003, Dysphagia 18:196-202, doi 10.1007/s00455-002-0105-0). Both read in their
abstracts."""
# A piezo-like patch turns back and forth with each of its own oscillations; a sensor that lets go gives one stroke to
# either side, of which the second reaches at least a third of the first.
_RINGING_STROKES = 5
_TWO_PHASE_SHARE = 1 / 3
"""That third (ours)."""
_PER_SWALLOW = ("volume_per_swallow", "time_per_swallow", "swallowing_speed")
_LIKE_A_SWALLOW = 0.75
"""Plausibility from which a movement that was called otherwise is mentioned (ours)."""
# Less than a third of the usual size.
_SMALL = -1.1


def measure_swallows(swallows: pd.DataFrame, parameters: SwallowParameters) -> pd.DataFrame:
    """Put the intervals between swallows beside them.

    Parameters
    ----------
    swallows : DataFrame
        Accepted candidates of one recording: ``onset``, ``duration`` and the other candidate columns; where
        ``missing_before`` is among them, an interval with a gap in it is not given, for a swallow may be in it.
    parameters : SwallowParameters

    Returns
    -------
    DataFrame
        Sorted by onset, with ``interval`` (s from this onset to the next; NaN for the last and across gaps),
        ``double`` (starts within ``double_swallow_s`` after the end of the one before and is no sip of a burst),
        ``burst`` (number of the burst of sips it belongs to, counted from 1; 0 for none) and, where
        ``at_limit_fraction`` is among the columns, ``at_limit`` added.
    """
    order = np.argsort(swallows["onset"].to_numpy(dtype=float), kind="stable")
    rows = swallows.iloc[order].reset_index(drop=True)
    onset = rows["onset"].to_numpy(dtype=float)
    end = onset + rows["duration"].to_numpy(dtype=float)
    step = np.diff(onset)
    pause = onset[1:] - end[:-1]
    if "missing_before" in rows and len(rows) > 1:
        broken = np.diff(rows["missing_before"].to_numpy(dtype=float)) > 0
        step, pause = np.where(broken, np.nan, step), np.where(broken, np.nan, pause)
    none = np.full(min(len(rows), 1), np.nan)
    close = step <= parameters.burst_interval_s
    chain = np.concatenate([np.zeros(min(len(rows), 1), dtype=int), np.cumsum(~close)])
    length = np.bincount(chain, minlength=1) if len(rows) else np.zeros(1, dtype=int)
    number = np.cumsum(length >= _BURST_COUNT) * (length >= _BURST_COUNT)
    burst = number[chain] if len(rows) else np.zeros(0, dtype=int)
    at_limit = (
        {"at_limit": rows["at_limit_fraction"].to_numpy(dtype=float) >= AT_LIMIT_FRACTION}
        if "at_limit_fraction" in rows
        else {}
    )
    return rows.assign(
        **at_limit,
        interval=np.concatenate([step, none]),
        double=np.concatenate([np.zeros(min(len(rows), 1), dtype=bool), pause <= parameters.double_swallow_s])
        & (burst == 0),
        burst=burst,
    )


def response_shape(swallows: pd.DataFrame) -> str | None:
    """Name the shape that a sensor gives to swallows.

    Parameters
    ----------
    swallows : DataFrame
        Of one recording: ``recorded_strokes``, ``recorded_opposite_share``.

    Returns
    -------
    str or None
        One of `RESPONSE_SHAPES`, by the medians; None without swallows.
    """
    if swallows.empty:
        return None
    if swallows["recorded_strokes"].median() >= _RINGING_STROKES:
        return "ringing"
    return "two_phase" if swallows["recorded_opposite_share"].median() >= _TWO_PHASE_SHARE else "one_hump"


def _rate(count: int, seconds: float) -> tuple[float, float, float]:
    """Events per minute with the exact 95 % limits of a Poisson count (Garwood F 1936, Biometrika 28:437-442)."""
    if seconds <= 0:
        return np.nan, np.nan, np.nan
    minutes = seconds / 60
    # half the chi-square quantile of 2 n degrees of freedom
    low = float(special.gammaincinv(count, 0.025)) if count else 0.0
    return count / minutes, low / minutes, float(special.gammaincinv(count + 1, 0.975)) / minutes


def _drinking(onset: Array, end: Array, pause_s: float) -> tuple[int, int]:
    """First and one past the last swallow of the drinking: clearing swallows before and after set apart.

    The longest run without a pause longer than ``pause_s`` and three usual intervals; of equally long ones the first.
    Of two swallows nothing tells what is usual: a long pause parts them.
    """
    steps = np.diff(onset)
    limit = max(pause_s, 3 * float(np.median(steps))) if len(steps) > 1 else pause_s
    starts = np.concatenate([[0], np.flatnonzero(onset[1:] - end[:-1] > limit) + 1])
    lengths = np.diff(np.concatenate([starts, [len(onset)]]))
    longest = int(np.argmax(lengths))
    return int(starts[longest]), int(starts[longest] + lengths[longest])


def drinking_measures(onset: Array, end: Array, volume_ml: float, pause_s: float) -> dict[str, float]:
    """Measure the drinking of a known volume.

    Parameters
    ----------
    onset, end : array, shape (n,)
        Of all swallows of the recording, s, in order; n at least 1.
    volume_ml : float
    pause_s : float
        As ``clearing_pause_s``.

    Returns
    -------
    dict
        ``volume_per_swallow`` in ml, ``time_per_swallow`` in s, ``swallowing_speed`` in ml/s
        (Hughes TAT, Wiles CM 1996).
    """
    first, last = _drinking(onset, end, pause_s)
    time = float(end[last - 1] - onset[first])
    return {
        "volume_per_swallow": volume_ml / (last - first),
        "time_per_swallow": time / (last - first),
        "swallowing_speed": volume_ml / time,
    }


def _called_otherwise(others: pd.DataFrame, begin: float, end: float, parameters: SwallowParameters) -> int:
    """Count what has a swallow's length, place and way back within the drinking, and was called something else."""
    onset, duration, plausibility, size = (
        others[name].to_numpy(dtype=float) for name in ("onset", "duration", "plausibility", "log_size_ratio")
    )
    centre = onset + duration / 2
    reach = parameters.burst_interval_s
    within = (centre >= begin - reach) & (centre <= end + reach)
    large = np.where(np.isnan(size), 0.0, size) > _SMALL
    return int(np.count_nonzero(within & (plausibility >= _LIKE_A_SWALLOW) & large))


def summarise_swallows(
    swallows: pd.DataFrame,
    observed_s: float,
    parameters: SwallowParameters,
    *,
    volume_ml: float | None = None,
    duration_s: float | None = None,
    others: pd.DataFrame | None = None,
) -> dict[str, float | int | str | None]:
    """Summarise one recording.

    Parameters
    ----------
    swallows : DataFrame
        As `measure_swallows` returns them.
    observed_s : float
        Seconds of the recording with a throat signal.
    parameters : SwallowParameters
    volume_ml : float, optional
        Volume drunk in a timed water test.
    duration_s : float, optional
        Length of the recording with its gaps, to say when the sensor was live for a part of it only.
    others : DataFrame, optional
        The recording's other candidates, with their features: where a volume was drunk, what looks like a swallow
        among them is named in ``sensor_note``.

    Where swallows of a drunk volume seem to have been missed, what is made of their number is a bound and no
    measurement: volume and time per swallow and speed are left out, here and so everywhere, and the note says why.

    Returns
    -------
    dict
        Columns of ``tables/swallow_summary.tsv`` after ``recording_id``; NaN where there is no such number,
        None for a ``response_shape`` that the swallows carry no measures for.
    """
    onset = swallows["onset"].to_numpy(dtype=float)
    end = onset + swallows["duration"].to_numpy(dtype=float)
    interval = swallows["interval"].to_numpy(dtype=float)
    interval = interval[np.isfinite(interval)]
    burst = swallows["burst"].to_numpy(dtype=int)
    count = len(swallows)
    rate, rate_low, rate_high = _rate(count, observed_s)
    mean = float(interval.mean()) if len(interval) else np.nan
    sd = float(interval.std(ddof=1)) if len(interval) > 1 else np.nan
    row: dict[str, float | int | str | None] = {
        "observed_time": observed_s,
        "swallow_count": count,
        "rate": rate,
        "rate_low": rate_low,
        "rate_high": rate_high,
        "duration_mean": float(np.mean(end - onset)) if count else np.nan,
        "duration_sd": float(np.std(end - onset, ddof=1)) if count > 1 else np.nan,
        "interval_mean": mean,
        "interval_sd": sd,
        "interval_cv": 100 * sd / mean,
        "double_count": int(swallows["double"].sum()),
        "burst_count": int(burst.max(initial=0)),
        "burst_swallows": int((burst > 0).sum()),
        "longest_burst": int(np.bincount(burst[burst > 0]).max(initial=0)),
        "volume": np.nan if volume_ml is None else float(volume_ml),
        "drinking_count": np.nan,
        "drinking_time": np.nan,
        "clearing_count": np.nan,
        "volume_per_swallow": np.nan,
        "time_per_swallow": np.nan,
        "swallowing_speed": np.nan,
    }
    notes = []
    doubted = False
    if volume_ml is not None and count:
        first, last = _drinking(onset, end, parameters.clearing_pause_s)
        drinking, time = last - first, float(end[last - 1] - onset[first])
        broken = bool(np.isnan(swallows["interval"].to_numpy(dtype=float)[first : last - 1]).any())
        if broken:
            notes.append("a gap in the signal lies within the drinking: its measures are left out")
        elif volume_ml > drinking * LARGEST_SIP_ML:
            doubted = True
            found = "one swallow" if drinking == 1 else f"{drinking} swallows"
            notes.append(
                f"{found} found for {volume_ml:g} ml, more than a mouthful{'' if drinking == 1 else ' each'}: others "
                "were missed, or it was no single drink"
            )
        row |= (
            {"clearing_count": count - drinking}
            if broken
            else {
                "drinking_count": drinking,
                "drinking_time": time,
                "clearing_count": count - drinking,
            }
            | drinking_measures(onset, end, volume_ml, parameters.clearing_pause_s)
        )
    if volume_ml is not None and others is not None and len(others):
        bout = (onset[first], end[last - 1]) if count else (-np.inf, np.inf)
        missed = _called_otherwise(others, bout[0], bout[1], parameters)
        if missed:
            were = "movement like a swallow was" if missed == 1 else "movements like swallows were"
            notes.append(f"{missed} {were} called something else within the drinking: look there")
            doubted = True
    each = row["volume_per_swallow"]
    if doubted and isinstance(each, float) and np.isfinite(each):
        notes.append(
            f"so its volume per swallow (at most {each:.3g} ml by what was found), time per "
            "swallow and speed are left out"
        )
        row |= dict.fromkeys(_PER_SWALLOW, np.nan)
    if observed_s < SHORTEST_S:
        row |= dict.fromkeys(("swallow_count", "rate", "rate_low", "rate_high"), np.nan)
        notes.append(f"live signal for {observed_s:.1f} s: too short to look for swallows")
    row["response_shape"] = response_shape(swallows) if "recorded_strokes" in swallows else None
    health = throat_health(swallows, observed_s, observed_s if duration_s is None else duration_s)
    said = [*([health.note] if health.note else []), *notes]
    return row | {"at_limit_count": health.at_limit_count, "sensor_note": "; ".join(said) or None}
