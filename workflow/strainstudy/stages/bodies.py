"""One recording put together as the body modules want it: knees by side on one time grid, sensors, one rater."""

from __future__ import annotations

from collections.abc import Mapping
from typing import TypeVar

import numpy as np
import numpy.typing as npt

from ..io.store import Trace
from ..records import Recording
from ..vocabulary import KNEES

__all__ = ["angles_of", "beside", "knees_of", "limits_of", "of_reference_rater", "seat_of", "sensor_of"]

Array = npt.NDArray[np.float64]
T = TypeVar("T")


def sensor_of(recording: Recording, tracked_point: str) -> str | None:
    """Name the sensor at a tracked point of a recording; None where the sheets name none."""
    for channel in recording.channels:
        if channel.tracked_point == tracked_point and channel.units != "deg":
            return channel.sensor_id or recording.sensor_id
    return None


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


def beside(reference: Trace, values: Array, trace: Trace) -> Array:
    """Put values of a reference, shape (m,), on the grid of the sensor it stands beside; NaN where it has none."""
    placed = np.full(trace.n, np.nan)
    first = round((reference.start - trace.start) * trace.sampling_frequency)
    start, stop = max(first, 0), min(first + len(values), trace.n)
    if start < stop:
        placed[start:stop] = values[start - first : stop - first]
    return placed


def _on_one_grid(traces: Mapping[str, Trace], quantity: str) -> dict[str, Array]:
    """Give curves that start at time 0 and end together, NaN where a channel has no data."""
    spans = {side: (round(t.start * t.sampling_frequency), t.n) for side, t in traces.items()}
    length = max((first + n for first, n in spans.values()), default=0)
    curves = {}
    for side, trace in traces.items():
        first, n = spans[side]
        curve = np.full(length, np.nan)
        curve[first : first + n] = trace[quantity]
        curves[side] = curve
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
