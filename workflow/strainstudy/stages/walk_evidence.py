"""Numbers of one walk put together for the question whether a difference is the sensor's or the gait's."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from typing import Any, Final, Literal

import numpy as np
import pandas as pd

from ..calibrate.anglemap import AngleMap
from ..calibrate.referencemap import ReferenceMap
from ..gait.landmark_errors import AngleError
from ..gait.verdict import Measured, VerdictParameters, WalkEvidence, gain_ratio_of_bends
from ..vocabulary import SIDES

__all__ = ["angle_error", "walk_evidence"]


_LEAST_MOVEMENT: Final = 5.0
"""Degrees; a movement within both calibrated ranges that is smaller tells less of two gains than their means (ours)."""


def _measured(row: Mapping[str, Any], name: str, error: float = 0.0) -> Measured:
    """Value and limits of the row; ``error`` (standard deviation) is added where the row has none of its own."""
    found = Measured(float(row[name]), float(row[f"{name}_low"]), float(row[f"{name}_high"]))
    return found if math.isfinite(row.get(f"{name}_error", math.nan)) else found.widened(error)


def angle_error(entry: AngleMap | ReferenceMap) -> AngleError:
    """Errors of a calibration's angles, for the limits of ranges and peaks."""
    if isinstance(entry, ReferenceMap):
        return AngleError(0.0, entry.rmse_left_out, entry.zero_error_deg)
    return AngleError(entry.error_share, math.hypot(entry.error_deg, entry.loop_error_deg), entry.zero_error_deg)


def _movement(
    row: Mapping[str, Any], maps: Mapping[str, AngleMap | ReferenceMap]
) -> tuple[float, float] | tuple[None, None]:
    """Give one movement for both sensors, degrees: how the knees bent on average, within what both maps know."""
    peak, extent = (
        sum(float(row.get(f"{name}_mean_{side}", math.nan)) for side in SIDES) / len(SIDES)
        for name in ("swing_peak", "range_of_motion")
    )
    known = [entry.range_deg for entry in maps.values() if isinstance(entry, AngleMap)]
    low, high = max([peak - extent, *(first for first, _ in known)]), min([peak, *(last for _, last in known)])
    return (low, high) if high - low >= _LEAST_MOVEMENT else (None, None)


def _gain(entry: AngleMap | ReferenceMap, low: float | None, high: float | None) -> tuple[float, float]:
    """Response per degree and its standard error: the map's relative error of any angle is an error of its gain."""
    if isinstance(entry, ReferenceMap):
        return entry.response_per_degree, entry.response_per_degree * entry.gain_error_share
    gain = entry.response_per_degree if low is None or high is None else entry.response_to(low, high)
    return gain, gain * entry.error_share


def _source(maps: Mapping[str, AngleMap | ReferenceMap]) -> Literal["bends", "reference"]:
    by_reference = any(isinstance(entry, ReferenceMap) for entry in maps.values())
    return "reference" if by_reference else "bends"


def walk_evidence(
    row: Mapping[str, Any],
    strides: pd.DataFrame,
    maps: Mapping[str, AngleMap | ReferenceMap],
    flagged: Sequence[str],
    *,
    limping: bool = False,
    parameters: VerdictParameters | None = None,
) -> WalkEvidence:
    """Gather the evidence of one row of ``tables/gait.tsv``.

    Parameters
    ----------
    row : mapping
        Of `strainstudy.gait.measures.summarise_walk`, as it is printed: with the ``_error`` of its measures in its
        limits (`strainstudy.gait.landmark_errors`), so that a number has one interval wherever it stands.
    strides : DataFrame
        The strides it was made of, for their number.
    maps : mapping of side to AngleMap or ReferenceMap
        Calibrations of the session.
    flagged : sequence of str
        Sensors of the recording that left their control limits.
    limping : bool
        Whether the row is that of the limping state.
    parameters : VerdictParameters, optional
        Errors of step time and phase for a row that has none of its own.

    Returns
    -------
    WalkEvidence
    """
    steady, sides = strides["steady"].to_numpy(dtype=bool), strides["side"].to_numpy(dtype=object)
    counts = [int(np.count_nonzero(steady & (sides == side))) for side in ("left", "right")]
    both = set(SIDES) <= set(maps)
    parameters = parameters or VerdictParameters()
    likeness, phase = _measured(row, "waveform_likeness"), _measured(row, "phase_mean", parameters.phase_error_deg)
    ends = _movement(row, maps) if both else (None, None)
    gains = {side: _gain(entry, *ends) for side, entry in maps.items()}
    return WalkEvidence(
        strides=min(counts),
        amplitude_recorded=_measured(row, "response_range_symmetry_index"),
        amplitude_calibrated=_measured(row, "range_of_motion_symmetry_index"),
        gain_ratio=gain_ratio_of_bends(gains["right"], gains["left"]) if both else Measured(),
        gain_ratio_source=_source(maps) if both else "none",
        step_time=_measured(row, "step_time_symmetry_index", parameters.step_time_error_percent),
        phase=phase.mapped(lambda value: value - 180.0),
        peak_timing=_measured(row, "swing_peak_timing_difference"),
        shape=Measured(1.0 - likeness.value, 1.0 - likeness.high, 1.0 - likeness.low),
        flagged_sensors=tuple(flagged),
        limping=limping,
    )
