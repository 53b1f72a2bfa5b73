"""Sections about sensors: on the bench, over the study, and as an angle."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, Final

import pandas as pd

from ..tables.angles import ANGLES, CALIBRATIONS
from ..tables.sensors import SENSOR_CURVES, SENSOR_HEALTH, SENSORS
from .content import (
    Block,
    Column,
    Link,
    Note,
    Picture,
    Section,
    Table,
    Text,
    interval_of,
    interval_text,
    number_text,
    pictures_of,
    table_of,
)
from .mending import named
from .names import sensor_figure
from .results import StudyTables, records
from .spoken import spoken
from .words import READING

__all__ = ["angle_range", "bench", "calibration"]

_CURVE: Final = (
    ("hysteresis", "hysteresis (% FS)"),
    ("linearity", "non-linearity, terminal (% FS)"),
    ("repeatability", "repeatability 2 s (% FS)"),
    ("drift", "drift (% FS per cycle)"),
)
_TIME: Final = (
    ("response_time", "response 10-90 % (s)"),
    ("recovery_time", "recovery 90-10 % (s)"),
    ("creep", "creep (% of step)"),
    ("detection_limit", "detection limit (% strain)"),
    ("stretch_to_tap_ratio", "stretch-to-tap ratio"),
    ("lag", "delay (s)"),
)


_MOST_FIGURES: Final = 12
"""Sensors drawn on the page; of more only those that changed (ours)."""


def _between(low: str, high: str) -> Any:
    return lambda row: f"{number_text(row[low])} to {number_text(row[high])}"


def angle_range(row: Mapping[str, Any]) -> str:
    """Write the part of the knee's range that a row of ``validation/angles.tsv`` is about."""
    low, high = row["angle_from"], row["angle_to"]
    if pd.isna(low):
        return "over the whole range" if pd.isna(high) else f"up to {high:g} degrees"
    return f"from {low:g} degrees on" if pd.isna(high) else f"from {low:g} to {high:g} degrees"


def _gauge_factor(tables: StudyTables) -> Any:
    curves = tables(SENSOR_CURVES)

    def words(row: Mapping[str, Any]) -> str:
        if pd.notna(row["gauge_factor"]):
            return interval_text(row, "gauge_factor")
        own = curves[curves["sensor_id"] == row["sensor_id"]]
        said = []
        for recording, rows in own.groupby("recording_id", sort=True, dropna=False):
            slopes = rows.sort_values("strain_low")["gauge_factor"]
            where = f" in {recording}" if isinstance(recording, str) else ""
            said.append(f"{number_text(slopes.iloc[0])} to {number_text(slopes.iloc[-1])}, by strain interval{where}")
        return "; ".join(said) or "n/a"

    return words


def _odd_sensors(tables: StudyTables) -> set[str]:
    """Sensors with a warning from the bench, or outside their control limits."""
    sensors, health = tables(SENSORS), tables(SENSOR_HEALTH)
    flagged = health.loc[health["flagged"].fillna(value=False).astype(bool), "sensor_id"]
    return {str(name) for name in (*sensors.loc[sensors["warning"].notna(), "sensor_id"], *flagged)}


def bench(tables: StudyTables, pictures: Mapping[str, Picture]) -> Section | None:
    """Sensors on the bench and over the study."""
    sensors = tables(SENSORS)
    health = pictures_of(pictures, "sensor_health")
    if sensors.empty and not health:
        return None
    blocks: list[Block] = [Text(READING["bench"])]
    if len(sensors):
        columns: list[Column] = [
            ("sensor", "sensor_id", False),
            ("cycles", "n_cycles", True),
            ("gauge factor", _gauge_factor(tables), False),
        ]
        columns += [(title, interval_of(name), False) for name, title in _CURVE]
        blocks.append(table_of(sensors, "The curve of each sensor, with 95 % intervals (FS: full scale)", columns))
        columns = [("sensor", "sensor_id", False), ("steps", "n_steps", True), ("taps", "n_taps", True)]
        columns += [(title, interval_of(name), False) for name, title in _TIME]
        blocks.append(table_of(sensors, "Time, noise and taps of each sensor, with 95 % intervals", columns))
        for row in records(sensors[sensors["warning"].notna()]):
            blocks.append(Note(f"Sensor {row['sensor_id']}: {row['warning']}."))
    blocks += health
    flagged = tables.recordings[tables.recordings["sensor_flag"].notna()]
    if len(flagged):
        people = flagged["participant_id"].dropna()
        who = f", of {named(people)}" if len(people) else ""
        sentence = (
            f"{len(flagged)} {'recordings use' if len(flagged) > 1 else 'recording uses'} a sensor in a session in "
            f"which it was outside its control limits{who}; tables/recordings.tsv names each."
        )
        blocks.append(Note(sentence, "fault"))
    drawn = pictures_of(pictures, *(sensor_figure(str(name)) for name in sensors["sensor_id"]))
    odd = {f"Sensor {name} on the bench" for name in _odd_sensors(tables)}
    shown = drawn if len(drawn) <= _MOST_FIGURES else [p for p in drawn if p.title in odd][:_MOST_FIGURES]
    blocks += shown
    if len(shown) < len(drawn):
        rows = tuple((Link(p.title, f"figures/{p.name}.png"),) for p in drawn if p not in shown)
        blocks.append(Table("Sensors that did not change; each drawing is a file", ("sensor",), rows, ("text",)))
    return Section("bench", "Sensors", tuple(blocks))


def _claim(row: Mapping[str, Any]) -> str:
    """Say of a range of angles that its interval does not hold what it claims."""
    held = f"{100 * row['coverage']:.0f} % ({100 * row['coverage_low']:.0f} to {100 * row['coverage_high']:.0f} %"
    return (
        f"The interval of the angle claims to hold the reference in {100 * row['coverage_nominal']:.0f} % of the "
        f"samples; {angle_range(row)} it holds it in {held} over {row['n_participants']} people): "
        f"{row['coverage_claim']}."
    )


def calibration(tables: StudyTables, pictures: Mapping[str, Picture]) -> Section | None:
    """Knee calibration and, where there is a reference, its proof."""
    calibrations = tables(CALIBRATIONS)
    angles = tables(ANGLES)
    shown = pictures_of(pictures, "knee_calibration")
    if calibrations.empty and angles.empty and not shown:
        return None
    blocks: list[Block] = [Text(READING["calibration"]), *shown]
    refused = calibrations[~calibrations["status"].isin(["fitted"])] if len(calibrations) else calibrations
    if len(refused):
        refusals: list[Column] = [
            ("person", "participant_id", False),
            ("session", "session_id", False),
            ("knee", lambda r: spoken(r["tracked_point"]), False),
            ("status", "status", False),
            ("why", "status_description", False),
        ]
        blocks.append(table_of(refused, "Calibrations that were not made, and why", refusals))
    pooled = angles[(angles["recording_id"] == "pooled") & angles["participant_id"].isna()]
    if len(pooled):
        pooled = pooled.sort_values(["phase", "angle_from", "angle_to"], kind="stable", na_position="first")
        columns: list[Column] = [
            ("phase", "phase", False),
            ("range", angle_range, False),
            ("people", "n_participants", True),
            ("RMSE (degrees)", interval_of("rmse"), False),
            ("bias (degrees)", interval_of("bias"), False),
            ("limits of agreement (degrees)", _between("limit_low", "limit_high"), False),
            ("R²", "r2", True),
            ("interval holds reference", interval_of("coverage"), False),
            ("it claims", "coverage_nominal", True),
        ]
        blocks.append(
            table_of(pooled, "Calibrated angle against the reference beside it, bend recordings left out", columns)
        )
        off = pooled[pooled["coverage_claim"].isin(["less often than it claims", "more often than it claims"])]
        for row in records(off[off["phase"].eq("all")]):
            blocks.append(Note(_claim(row)))
    return Section("calibration", "Knee angle", tuple(blocks))
