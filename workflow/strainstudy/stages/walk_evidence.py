"""Numbers of one walk put together for the question whether a difference is the sensor's or the gait's."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any, Literal

import pandas as pd

from ..calibrate.anglemap import AngleMap
from ..calibrate.referencemap import ReferenceMap
from ..gait.landmark_errors import AngleError
from ..gait.verdict import Measured, WalkEvidence, gain_ratio_of_bends

__all__ = ["angle_error", "walk_evidence"]


def _measured(row: Mapping[str, Any], name: str) -> Measured:
    return Measured(float(row[name]), float(row[f"{name}_low"]), float(row[f"{name}_high"]))


def angle_error(entry: AngleMap | ReferenceMap) -> AngleError:
    """Errors of a calibration's angles, for the limits of ranges and peaks."""
    if isinstance(entry, ReferenceMap):
        return AngleError(0.0, entry.rmse_left_out, entry.zero_error_deg)
    return AngleError(entry.error_share, entry.error_deg, entry.zero_error_deg)


def _gain(entry: AngleMap | ReferenceMap) -> tuple[float, float]:
    """Response per degree and its standard error: the map's relative error of any angle is an error of its gain."""
    share = entry.gain_error_share if isinstance(entry, ReferenceMap) else entry.error_share
    return entry.response_per_degree, entry.response_per_degree * share


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
) -> WalkEvidence:
    """Gather the evidence of one row of ``tables/gait.tsv``.

    Parameters
    ----------
    row : mapping
        Of `strainstudy.gait.measures.summarise_walk`.
    strides : DataFrame
        The strides it was made of, for their number.
    maps : mapping of side to AngleMap or ReferenceMap
        Calibrations of the session.
    flagged : sequence of str
        Sensors of the recording that left their control limits.
    limping : bool
        Whether the row is that of the limping state.

    Returns
    -------
    WalkEvidence
    """
    steady = strides[strides["steady"].astype(bool)]
    counts = [int((steady["side"] == side).sum()) for side in ("left", "right")]
    both = {"left", "right"} <= set(maps)
    likeness, phase = _measured(row, "waveform_likeness"), _measured(row, "phase_mean")
    return WalkEvidence(
        strides=min(counts),
        amplitude_recorded=_measured(row, "response_range_symmetry_index"),
        amplitude_calibrated=_measured(row, "range_of_motion_symmetry_index"),
        gain_ratio=gain_ratio_of_bends(_gain(maps["right"]), _gain(maps["left"])) if both else Measured(),
        gain_ratio_source=_source(maps) if both else "none",
        step_time=_measured(row, "step_time_symmetry_index"),
        phase=phase.mapped(lambda value: value - 180.0),
        peak_timing=_measured(row, "swing_peak_timing_difference"),
        shape=Measured(1.0 - likeness.value, 1.0 - likeness.high, 1.0 - likeness.low),
        flagged_sensors=tuple(flagged),
        limping=limping,
    )
