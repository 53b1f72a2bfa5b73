"""Is each sensor still the one it was? Rest resistance, gauge factor and noise over the uses of a study.

In: one number per recording. Out: an individuals chart per sensor and measure over its sessions, and the recordings of
the sessions in which a sensor was outside its limits. A session counts once, by the median of its recordings: those
share one donning, so their scatter is not that between sessions, and limits from it would be far too narrow.

Shewhart's individuals chart: centre +- 3 standard deviations, the standard deviation from moving ranges of two
successive uses (ISO 7870-2, *Control charts, part 2: Shewhart control charts*). The numbers are positive and vary by
factors, so the chart is kept on their logarithms. Of two sessions there is no middle: the first says what the sensor
was, and the limits are those of a difference of two, sqrt(2) as wide. A sensor is used too few times for limits of its
own, so the moving ranges of all sensors of the study are pooled (those of exactly 0 left out: a number repeated to the
last digit is one of the sheet and was not measured), and their median is taken (over 0.9539, the median of the range
of two of a normal distribution), which a single jump does not widen.
"""

from __future__ import annotations

from typing import Final

import numpy as np
import pandas as pd
from scipy.special import ndtri

from ..io.store import FloatArray
from .parameters import HealthParameters

__all__ = [
    "FIRST_OF_TWO",
    "HEALTH_COLUMNS",
    "MEASURES",
    "MIDDLE",
    "RANGE_MEDIAN",
    "HealthParameters",
    "control_chart",
    "flagged_recordings",
]

MEASURES: Final = ("rest_resistance", "gauge_factor", "noise")
# Median of |x1 - x2| of two standard normal numbers: sqrt(2) times the upper quartile.
RANGE_MEDIAN: Final = float(np.sqrt(2.0) * ndtri(0.75))
FIRST_OF_TWO: Final = "its first session of two"
MIDDLE: Final = "the middle of its sessions"
_ONE_SIDED: Final = ("noise",)
HEALTH_COLUMNS: Final = (
    "sensor_id", "measure", "use", "participant_id", "session_id", "n_recordings", "value", "centre", "limit_low",
    "limit_high", "n", "n_ranges", "flagged", "reason",
)  # fmt: skip


def _chart(group: pd.DataFrame, measure: str, sigma: float, ranges: int, parameters: HealthParameters) -> pd.DataFrame:
    values = group["value"].to_numpy(dtype=float)
    n = values.size
    pair = n == 2
    centre = float(values[0]) if pair else float(np.exp(np.median(np.log(values))))
    low = high = float("nan")
    if ranges >= parameters.fewest_ranges and n >= 2:
        spread = sigma * (float(np.sqrt(2.0)) if pair else 1.0)
        band = max(parameters.control_limit_sd * spread, float(np.log1p(parameters.smallest_change_percent / 100.0)))
        high = centre * float(np.exp(band))
        low = 0.0 if measure in _ONE_SIDED else centre * float(np.exp(-band))
    reasons: list[str] = []
    for value in values:
        if np.isnan(high):
            why = "one use" if n < 2 else f"{ranges} pairs of uses in the study"
            reasons.append(f"no limits: {why}")
        elif low <= value <= high:
            reasons.append("")
        else:
            name, change = measure.replace("_", " "), 100.0 * (value / centre - 1.0)
            reasons.append(f"{name} {change:+.0f} % from {FIRST_OF_TWO if pair else MIDDLE}, outside its limits")
    outside = np.array([bool(np.isfinite(high)) and not low <= value <= high for value in values])
    return group.assign(
        measure=measure, use=np.arange(1, n + 1), centre=centre, limit_low=low, limit_high=high, n=n,
        n_ranges=ranges, flagged=outside, reason=reasons,
    )  # fmt: skip


def _pooled(groups: list[FloatArray]) -> tuple[float, int]:
    """Estimate the standard deviation of one use (of logarithms) from the median moving range of all sensors."""
    ranges = np.concatenate([np.abs(np.diff(np.log(values))) for values in groups] or [np.empty(0)])
    ranges = ranges[ranges > 0.0]
    return (float(np.median(ranges)) / RANGE_MEDIAN if ranges.size else 0.0), int(ranges.size)


def control_chart(uses: pd.DataFrame, parameters: HealthParameters | None = None) -> pd.DataFrame:
    """Draw the charts of all sensors.

    Parameters
    ----------
    uses : DataFrame
        One row per recording and sensor, in order of use: ``sensor_id``, ``participant_id``, ``session_id`` (None on
        the bench or where not known), ``recording_id`` and any of `MEASURES` (NaN where not measured; ohm, 1,
        relative change).
    parameters : HealthParameters, optional

    Returns
    -------
    DataFrame
        `HEALTH_COLUMNS`, one row per session of use and measure that is there and positive.
    """
    parameters = parameters or HealthParameters()
    keys = ["sensor_id", "participant_id", "session_id"]
    frames: list[pd.DataFrame] = []
    for measure in MEASURES:
        if measure not in uses:
            continue
        rows = uses[[*keys, measure]].rename(columns={measure: "value"})
        value = pd.to_numeric(rows["value"]).to_numpy(dtype=float)
        rows = rows[np.isfinite(value) & (value > 0.0) & rows["sensor_id"].notna().to_numpy()]
        grouped = rows.groupby(keys, sort=False, dropna=False)["value"]
        sessions = grouped.agg(value="median", n_recordings="count").reset_index()
        groups = [group for _, group in sessions.groupby("sensor_id", sort=True)]
        sigma, ranges = _pooled([group["value"].to_numpy(dtype=float) for group in groups])
        frames.extend(_chart(group, measure, sigma, ranges, parameters) for group in groups)
    if not frames:
        return pd.DataFrame(columns=list(HEALTH_COLUMNS))
    return pd.concat(frames, ignore_index=True)[list(HEALTH_COLUMNS)]


def flagged_recordings(health: pd.DataFrame, used: pd.DataFrame) -> pd.DataFrame:
    """List the recordings of the sessions in which a sensor was outside its limits, and of no other session.

    What a person shows of a sensor is that person's; what the bench shows of it in a session is so for all who wore it
    in that session.

    Parameters
    ----------
    health : DataFrame
        Of `control_chart`.
    used : DataFrame
        ``recording_id``, ``sensor_id``, ``participant_id``, ``session_id``: which recording used which sensor, of whom
        (None on the bench) and when.

    Returns
    -------
    DataFrame
        ``recording_id``, ``sensor_id``, ``reason``, sorted; ``reason`` names how the sensor left its limits then.
    """
    columns = ["recording_id", "sensor_id", "reason"]
    outside = health[health["flagged"].astype(bool)]
    if outside.empty or used.empty:
        return pd.DataFrame(columns=columns)
    keys = ["sensor_id", "participant_id", "session_id"]
    # on the bench there is no person, and missing ids are alike
    said = {tuple(use): list(rows["reason"]) for use, rows in _filled(outside, keys).groupby(keys, sort=True)}
    hit = _filled(used, keys).drop_duplicates(["recording_id", "sensor_id"])
    reasons = []
    for sensor, person, session in hit[keys].itertuples(index=False):
        own = list(said.get((sensor, person, session), []))
        if person and session:
            own += [f"on the bench of this session {words}" for words in said.get((sensor, "", session), [])]
        reasons.append(f"sensor {sensor}: {'; '.join(own)}" if own else "")
    hit = hit.assign(reason=reasons)
    hit = hit[hit["reason"] != ""]
    return hit[columns].sort_values(columns[:2], kind="stable").reset_index(drop=True)


def _filled(frame: pd.DataFrame, keys: list[str]) -> pd.DataFrame:
    return frame.assign(**{key: frame[key].astype(object).where(frame[key].notna(), "") for key in keys})
