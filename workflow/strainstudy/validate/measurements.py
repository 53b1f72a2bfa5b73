"""All measures of people in one long frame, which norms, change, retest and groups read.

In: result tables (one row per recording, or per recording and gait state). Out: a frame with recording_id,
participant_id, session_id, task, trial_type, measure, unit, value, standard_error; one row per number.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, Final

import numpy as np
import pandas as pd

from ..stats.normal import NORMAL_95
from .row_frames import text_or_none

__all__ = [
    "COLUMNS",
    "GAIT_MEASURES",
    "KEYS",
    "MINIMUM_PEOPLE",
    "SIGNED",
    "SIGNS_CANCEL",
    "SIZE",
    "SWALLOW_MEASURES",
    "gait_measurements",
    "join",
    "on_walkways",
    "per_person",
    "swallow_measurements",
    "with_walkway",
]

COLUMNS: Final = (
    "recording_id",
    "participant_id",
    "session_id",
    "task",
    "trial_type",
    "measure",
    "unit",
    "value",
    "standard_error",
)
MINIMUM_PEOPLE: Final = 3
"""Of two people the limits of a mean are 12.7 standard errors away: no statement (ours)."""
KEYS: Final = ["trial_type", "measure", "unit", "walkway"]
"""Values that differ in one of these are of different things, and are neither averaged nor compared."""
SIZE: Final = "_size"
SIGNED: Final = ("step_time_symmetry_index",)
"""Measures whose sign says which side is the larger: right minus left. Over people affected on different sides their
signs cancel in a mean and pass for agreement in an ICC; `step_time_log_ratio_size` stands for them there."""
SIGNS_CANCEL: Final = "left and right are one scale of which the signs cancel; see step_time_log_ratio_size"
GAIT_MEASURES: Final[dict[str, str]] = {
    "cadence": "1/min",
    "stride_time_mean": "s",
    "stride_time_sd": "s",
    "stride_time_cv": "percent",
    "step_time_mean_left": "s",
    "step_time_mean_right": "s",
    "stance_fraction_mean_left": "1",
    "stance_fraction_mean_right": "1",
    "swing_peak_mean_left": "deg",
    "swing_peak_mean_right": "deg",
    "range_of_motion_mean_left": "deg",
    "range_of_motion_mean_right": "deg",
    "step_time_symmetry_index": "percent",
    "step_time_log_ratio_size": "percent",
    "stance_time_log_ratio_size": "percent",
    "swing_time_log_ratio_size": "percent",
    "range_of_motion_log_ratio_size": "percent",
    "phase_deviation": "deg",
    "coordination_index": "percent",
}
"""Measures of ``tables/gait.tsv`` that are followed per person, with their units.

A name that ends in ``_size`` is the size of the signed measure before it: published limits are of sizes, and in a
group of whom some limp on the left and some on the right the signs cancel. Amplitudes are followed only in degrees:
in units of the response they tell of the sensors that were worn, which may differ by session."""
SWALLOW_MEASURES: Final[dict[str, str]] = {
    "swallow_duration": "s",
    "swallow_interval": "s",
    "spontaneous_swallow_rate": "1/min",
    "volume_per_swallow": "ml",
    "time_per_swallow": "s",
    "swallowing_speed": "ml/s",
}
"""Measures of ``tables/swallow_summary.tsv`` that are followed per person, by the names they have here."""


def _heads(recordings: pd.DataFrame) -> dict[str, dict[str, Any]]:
    wanted = ("participant_id", "session_id", "task")
    return {
        str(row["recording_id"]): {name: text_or_none(row.get(name)) for name in wanted}
        for row in recordings.to_dict("records")
    }


def gait_measurements(gait: pd.DataFrame, recordings: pd.DataFrame) -> pd.DataFrame:
    """Put ``tables/gait.tsv`` into the long form.

    Parameters
    ----------
    gait : DataFrame
        recording_id, trial_type, and the measures with ``_low`` and ``_high``.
    recordings : DataFrame
        recording_id, participant_id, session_id, task.

    Returns
    -------
    DataFrame
        `COLUMNS`. The standard error is a quarter of the interval's width in normal quantiles (half width /
        1.96).
    """
    heads = _heads(recordings)
    rows = []
    for row in gait.to_dict("records"):
        recording = str(row["recording_id"])
        head = heads.get(recording)
        if head is None or head["participant_id"] is None:
            continue
        for measure, unit in GAIT_MEASURES.items():
            column = measure.removesuffix(SIZE)
            value = row.get(column)
            if value is None or pd.isna(value):
                continue
            low, high = row.get(f"{column}_low", np.nan), row.get(f"{column}_high", np.nan)
            rows.append(
                {
                    "recording_id": recording,
                    **head,
                    "trial_type": text_or_none(row.get("trial_type")),
                    "measure": measure,
                    "unit": unit,
                    "value": float(value) if column == measure else abs(float(value)),
                    "standard_error": (float(high) - float(low)) / (2 * NORMAL_95),
                }
            )
    return _frame(rows)


def swallow_measurements(summary: pd.DataFrame, recordings: pd.DataFrame) -> pd.DataFrame:
    """Put ``tables/swallow_summary.tsv`` into the long form.

    Parameters
    ----------
    summary : DataFrame
        One row per recording with a throat channel, columns of the summary table.
    recordings : DataFrame
        recording_id, participant_id, session_id, task. The rate of a recording of task ``free`` is the spontaneous one;
        of other tasks it is what was asked of the person, and is left out. Where a volume was drunk, swallows follow
        as fast as they can: the time per swallow stands for the interval, and the recording is a task of its own.

    Returns
    -------
    DataFrame
        `COLUMNS`. The standard error of a mean is SD / sqrt(n), unknown where too little was observed to count; that of
        the rate is read off its interval.
    """
    heads = _heads(recordings)
    rows: list[dict[str, Any]] = []
    for row in summary.to_dict("records"):
        recording = str(row["recording_id"])
        head = heads.get(recording)
        if head is None or head["participant_id"] is None:
            continue
        n = 0 if pd.isna(row["swallow_count"]) else int(row["swallow_count"])
        if pd.notna(row["volume"]):
            # Drinking a volume in one go repeats no other swallowing; its interval is the time per swallow.
            head = {**head, "task": f"{head['task']} of a volume"}
        found = {
            "swallow_duration": (row["duration_mean"], _mean_error(row["duration_sd"], n)),
            "swallow_interval": (row["interval_mean"], _mean_error(row["interval_sd"], n - 1)),
            "volume_per_swallow": (row["volume_per_swallow"], np.nan),
            "time_per_swallow": (row["time_per_swallow"], np.nan),
            "swallowing_speed": (row["swallowing_speed"], np.nan),
        }
        if pd.notna(row["volume"]):
            del found["swallow_interval"]
        if head["task"] == "free":
            error = (float(row["rate_high"]) - float(row["rate_low"])) / (2 * NORMAL_95)
            found["spontaneous_swallow_rate"] = (row["rate"], error)
        rows += [
            {
                "recording_id": recording,
                **head,
                "trial_type": None,
                "measure": measure,
                "unit": SWALLOW_MEASURES[measure],
                "value": float(value),
                "standard_error": float(error),
            }
            for measure, (value, error) in found.items()
            if pd.notna(value)
        ]
    return _frame(rows)


def _mean_error(sd: float, n: int) -> float:
    return float(sd) / n**0.5 if n > 1 and pd.notna(sd) else float("nan")


def _frame(rows: list[dict[str, Any]]) -> pd.DataFrame:
    frame = pd.DataFrame(rows, columns=list(COLUMNS))
    return frame.astype({"value": "float64", "standard_error": "float64"})


def join(*parts: pd.DataFrame) -> pd.DataFrame:
    """Put long frames together; parts without rows are passed over."""
    filled = [part for part in parts if len(part)]
    return pd.concat(filled, ignore_index=True) if filled else _frame([])


def on_walkways(measurements: pd.DataFrame, walkways: Mapping[str, str | None]) -> pd.DataFrame:
    """Say of each measure of gait what was walked on: treadmill and ground change gait, and are kept apart.

    Parameters
    ----------
    measurements : DataFrame
        `COLUMNS`.
    walkways : mapping of recording_id
        overground, treadmill, or None where it is not known.

    Returns
    -------
    DataFrame
        As given, and walkway: missing for measures that no walkway changes, so that a person's swallows stay one row.
    """
    on = [
        walkways.get(str(recording)) if measure in GAIT_MEASURES else None
        for recording, measure in zip(measurements["recording_id"], measurements["measure"], strict=True)
    ]
    return measurements.assign(walkway=pd.Series(on, index=measurements.index, dtype=object))


def with_walkway(measurements: pd.DataFrame) -> pd.DataFrame:
    """Give measures whose walkway nobody said an empty column of it."""
    return measurements if "walkway" in measurements else measurements.assign(walkway=None)


def per_person(measurements: pd.DataFrame) -> pd.DataFrame:
    """Average a person's recordings within a session, treadmill and overground walking apart.

    Parameters
    ----------
    measurements : DataFrame
        `COLUMNS`, by way of `on_walkways` where walkways are known.

    Returns
    -------
    DataFrame
        participant_id, session_id, trial_type, measure, unit, walkway, n_recordings, value; sorted.
    """
    keys = ["participant_id", "session_id", *KEYS]
    if not len(measurements):
        return pd.DataFrame(columns=[*keys, "n_recordings", "value"])
    groups = with_walkway(measurements).groupby(keys, sort=True, dropna=False)["value"]
    return groups.agg(n_recordings="count", value="mean").reset_index()
