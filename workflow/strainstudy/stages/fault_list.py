"""The list of faults of a study: what the stages found, recording by recording and sensor by sensor.

In: rows and notes of the stages before. Out: faults by recording, and the rows of ``tables/faults.tsv``.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace
from typing import Any

import pandas as pd

from ..faults import Fault, faults_of
from ..records import Recording, Sensor
from ..tables.faults import FAULTS
from ..vocabulary import KNEES
from .bodies import channel_of, polarity_remedy, sensor_of, wired_sensor

__all__ = [
    "Found",
    "fault_rows",
    "gains_named",
    "impossible_faults",
    "noted_faults",
    "reversed_seats",
    "sensor_faults",
    "walking_faults",
]

MOSTLY = 0.1
"""Share of impossible volts from which a sheet is more likely wrong than a sensor (ours: spikes are far fewer)."""

Found = Mapping[str, Sequence[Fault]]
"""Faults by recording."""
Seat = tuple[str | None, str | None, str, str | None]
"""Person, session, tracked point and sensor."""


def _sorted_in(found: Iterable[tuple[str, Fault]]) -> dict[str, list[Fault]]:
    by: dict[str, list[Fault]] = {}
    for recording, fault in found:
        by.setdefault(recording, []).append(fault)
    return by


def impossible_faults(
    conditioned: Sequence[Mapping[str, Any]], lengths: Mapping[str, float], recordings: Mapping[str, Recording]
) -> Found:
    """Find the recordings whose volts are mostly such as no resistance can give.

    Parameters
    ----------
    conditioned : sequence of mapping
        Notes of condition.
    lengths : mapping of recording_id to float
        Samples.
    recordings : mapping of recording_id to Recording
    """
    found = []
    for entry in conditioned:
        name, point = str(entry["recording_id"]), str(entry["tracked_point"])
        share = entry["impossible"] / lengths.get(name, math.nan)
        if share > MOSTLY:
            words = f"{share:.0%} of the volts of {point.replace('_', ' ')} are such as no resistance can give"
            remedy = "correct units in channels.tsv, or excitation, gain or polarity in sensors.tsv"
            found.append((name, Fault("impossible values", words, remedy, point, sensor_of(recordings[name], point))))
    return _sorted_in(found)


def _seat(recording: Recording, point: str) -> Seat:
    return recording.participant_id, recording.session_id, point, sensor_of(recording, point)


def _upside_down(
    segmented: Mapping[str, Mapping[str, Any]], recordings: Mapping[str, Recording]
) -> list[tuple[Recording, str]]:
    return [
        (recordings[name], KNEES[side])
        for name, notes in segmented.items()
        for side, knee in notes["polarity"].items()
        if knee["reversed"]
    ]


def walking_faults(
    segmented: Mapping[str, Mapping[str, Any]],
    recordings: Mapping[str, Recording],
    sensors: Mapping[str, Sensor],
) -> Found:
    """Find the knees whose wave of walking is upside down, which nothing before could turn.

    Parameters
    ----------
    segmented : mapping of recording_id to mapping
        Notes of segment.
    recordings : mapping of recording_id to Recording
    sensors : mapping of sensor_id to Sensor
    """
    found = []
    for recording, point in _upside_down(segmented, recordings):
        channel, sensor = channel_of(recording, point), wired_sensor(recording, point, sensors)
        if channel is None or sensor is None:
            continue
        words = (
            f"the wave of the {point.replace('_', ' ')} is that of a walking knee upside down: its bridge is wired in"
            " reverse; no labelled bend or reference of the session shows it the same way, so that its amplitudes,"
            " angles and rest resistance are withheld"
        )
        remedy = polarity_remedy(recording, channel, sensor)
        found.append((recording.recording_id, Fault("wired in reverse", words, remedy, point, sensor.sensor_id)))
    return _sorted_in(found)


def reversed_seats(
    segmented: Mapping[str, Mapping[str, Any]], recordings: Mapping[str, Recording]
) -> frozenset[tuple[Any, ...]]:
    """Give person, session, tracked point and sensor of the knees that `walking_faults` names."""
    return frozenset(_seat(recording, point) for recording, point in _upside_down(segmented, recordings))


def sensor_faults(chart: pd.DataFrame) -> list[dict[str, Any]]:
    """Make a row for each session in which a sensor lay outside its control limits.

    Of two sessions both values are told; the fault stands with the second.

    Parameters
    ----------
    chart : DataFrame
        Of `strainstudy.bench.health.control_chart`.
    """
    rows = []
    flagged = chart[chart["flagged"].fillna(value=False).astype(bool)] if len(chart) else chart
    for (sensor, measure), own in flagged.groupby(["sensor_id", "measure"], sort=True):
        name = str(measure).replace("_", " ")
        for row in own.to_dict("records"):
            words = str(row["reason"])
            if int(row["n"]) == 2:
                both = chart[(chart["sensor_id"] == sensor) & (chart["measure"] == measure)].sort_values("use")
                first, last = both.to_dict("records")
                change = 100 * (last["value"] / first["value"] - 1)
                words = (
                    f"{name} {first['value']:.4g} in {first['session_id']} and {last['value']:.4g} in"
                    f" {last['session_id']} ({change:+.0f} %), beyond its control limits"
                )
            rows.append(
                _row(
                    None,
                    row["participant_id"],
                    row["session_id"],
                    Fault("sensor changed", words, sensor_id=str(sensor)),
                )
            )
    return rows


def _row(recording_id: str | None, participant: object, session: object, fault: Fault) -> dict[str, Any]:
    return {
        "recording_id": recording_id,
        "participant_id": participant,
        "session_id": session,
        "tracked_point": fault.tracked_point,
        "sensor_id": fault.sensor_id,
        "fault": fault.kind,
        "description": fault.words,
        "remedy": fault.what_to_do,
    }


def fault_rows(
    parts: Iterable[Found], recordings: Mapping[str, Recording], sensors: list[dict[str, Any]]
) -> pd.DataFrame:
    """Put the list together.

    Parameters
    ----------
    parts : iterable of mapping of recording_id to sequence of Fault
    recordings : mapping of recording_id to Recording
    sensors : list of dict
        Of `sensor_faults`.

    Returns
    -------
    DataFrame
        Rows of `FAULTS`.
    """
    rows = [
        _row(name, recordings[name].participant_id, recordings[name].session_id, fault)
        for part in parts
        for name, faults in part.items()
        for fault in faults
    ]
    rows += sensors
    return pd.DataFrame(rows, columns=list(FAULTS.names)) if rows else FAULTS.empty()


def gains_named(found: Found, sensors: Mapping[str, Sensor]) -> dict[str, list[Fault]]:
    """Name the cell of sensors.tsv in the remedy of every saturated signal whose sensor is known.

    Parameters
    ----------
    found : mapping of recording_id to sequence of Fault
    sensors : mapping of sensor_id to Sensor

    Returns
    -------
    dict of str to list of Fault
        The same faults; one sensor with too high a gain then shows as one.
    """
    return {name: [_with_gain(fault, sensors) for fault in faults] for name, faults in found.items()}


def _with_gain(fault: Fault, sensors: Mapping[str, Sensor]) -> Fault:
    sensor = sensors.get(fault.sensor_id or "")
    if fault.kind != "saturated" or sensor is None:
        return fault
    return replace(
        fault,
        remedy=f"{fault.what_to_do}, and write the new one into sensors.tsv, column amplifier_gain, row of "
        f"{sensor.sensor_id} (now {sensor.amplifier_gain:g})",
    )


def noted_faults(notes: Iterable[Mapping[str, Any]]) -> Found:
    """Read the faults that a stage noted, by recording."""
    return _sorted_in((str(row["recording_id"]), fault) for row in notes for fault in faults_of(row["faults"]))
