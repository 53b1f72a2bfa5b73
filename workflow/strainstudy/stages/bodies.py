"""One recording put together as the body modules want it: knees by side on one time grid, sensors, one rater."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from typing import TypeVar

import numpy as np
import numpy.typing as npt

from ..io.store import Trace
from ..records import Channel, Recording, Sensor
from ..vocabulary import KNEES

__all__ = [
    "angles_of",
    "channel_of",
    "knees_of",
    "limits_of",
    "of_reference_rater",
    "polarity_remedy",
    "seat_of",
    "sensor_of",
    "wired_sensor",
]

Array = npt.NDArray[np.float64]
T = TypeVar("T")


def sensor_of(recording: Recording, tracked_point: str) -> str | None:
    """Name the sensor at a tracked point of a recording; None where the sheets name none."""
    channel = channel_of(recording, tracked_point)
    return None if channel is None else channel.sensor_id or recording.sensor_id


def channel_of(recording: Recording, tracked_point: str) -> Channel | None:
    """Give the channel of the sensor at a tracked point; None where there is none."""
    own = (c for c in recording.channels if c.tracked_point == tracked_point and c.units != "deg")
    return next(own, None)


def wired_sensor(recording: Recording, tracked_point: str, sensors: Mapping[str, Sensor]) -> Sensor | None:
    """Give the sensor at a tracked point as it was wired in a recording: a channel's own polarity goes before."""
    sensor, channel = sensors.get(sensor_of(recording, tracked_point) or ""), channel_of(recording, tracked_point)
    if sensor is None or channel is None or channel.polarity is None:
        return sensor
    return replace(sensor, polarity=channel.polarity)


def polarity_remedy(recording: Recording, channel: Channel, sensor: Sensor) -> str:
    """Say what to write where a channel was wired the other way than the sheets state (``sensor`` as wired there).

    Whom it concerns is said, for others may have worn the sensor rightly wired in the same session.
    """
    instead = ", which takes the place of the row *" if channel.shared else ""
    who = f" as {recording.participant_id} wore it" if recording.participant_id else ""
    session = f" in session {recording.session_id}" if recording.session_id else ""
    return (
        f"set polarity {-sensor.polarity} for sensor {sensor.sensor_id}{who}{session} and nowhere else: in"
        " channels.tsv, column polarity (if there is none, add it, n/a in every other place),"
        f" row of {recording.recording_id} and {channel.name}{instead}"
    )


def seat_of(recording: Recording) -> tuple[str, ...]:
    """Name what recordings with one throat sensor that was not taken off between them share.

    Where the sheets do not say who it was or which session, a recording stands by itself.
    """
    person, session = recording.participant_id, recording.session_id
    if person is None or session is None:
        return (recording.recording_id,)
    return (person, session, sensor_of(recording, "throat") or "")


def of_reference_rater(labels: Mapping[str, T], reference_rater: str | None) -> T | None:
    """Choose what the reference rater gave, else what the first other rater in alphabetical order gave."""
    if not labels:
        return None
    rater = min(labels) if reference_rater is None or reference_rater not in labels else reference_rater
    return labels[rater]


def _on_one_grid(traces: Mapping[str, Trace], quantity: str) -> dict[str, Array]:
    """Give curves that end together, NaN where a channel has no data; one that is long enough is not copied."""
    length = max((trace.n for trace in traces.values()), default=0)
    curves = {}
    for side, trace in traces.items():
        curves[side] = trace[quantity]
        if trace.n < length:
            curves[side] = np.concatenate([trace[quantity], np.full(length - trace.n, np.nan)])
    return curves


def _knee_traces(traces: Mapping[str, Trace]) -> dict[str, Trace]:
    return {side: traces[point] for side, point in KNEES.items() if point in traces}


def knees_of(traces: Mapping[str, Trace]) -> tuple[dict[str, Array], float]:
    """Responses of the knees that were recorded, and their sampling frequency.

    Parameters
    ----------
    traces : mapping of tracked point to Trace
        One recording, as the signals have it: all channels have the same rate.

    Returns
    -------
    dict of side to array, shape (n,)
        Empty without knees.
    float
        Hz; NaN without knees.
    """
    knees = _knee_traces(traces)
    rate = next((trace.sampling_frequency for trace in knees.values()), float("nan"))
    return _on_one_grid(knees, "response"), rate


def angles_of(traces: Mapping[str, Trace]) -> dict[str, Array]:
    """Calibrated angles of the knees that have one, in degrees, on the grid of `knees_of`."""
    angles = _on_one_grid(_knee_traces(traces), "angle")
    return {side: angle for side, angle in angles.items() if np.isfinite(angle).any()}


def limits_of(traces: Mapping[str, Trace]) -> dict[str, tuple[Array, Array, Array]]:
    """Calibrated angles of the knees with their lower and upper limits, in degrees, on the grid of `knees_of`."""
    knees = _knee_traces(traces)
    low, high = _on_one_grid(knees, "angle_low"), _on_one_grid(knees, "angle_high")
    return {side: (angle, low[side], high[side]) for side, angle in angles_of(traces).items()}
