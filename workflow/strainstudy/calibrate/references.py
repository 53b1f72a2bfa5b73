"""The angle map of each sensor and session from a reference angle that stands beside it.

In: calibrated responses with the reference and the spans that may be fitted. Out: one `ReferenceMap` or `Refusal` for
each participant, session, knee and sensor. All recordings of a session are fitted together.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from ..condition.parameters import ConditionParameters
from ..condition.trace import condition_trace
from .anglemap import AngleMap, Refusal
from .maps import MapKey
from .parameters import CalibrateParameters
from .referencefit import ReferencePiece, fit_reference_map
from .referencemap import ReferenceMap

__all__ = ["ReferenceTrace", "fit_references", "joined"]

Array = npt.NDArray[np.float64]


@dataclass(frozen=True)
class ReferenceTrace:
    """One knee of one recording whose reference calibrates.

    Parameters
    ----------
    key : MapKey
    recording_id : str
    sampling_frequency : float
        Hz.
    units : str
        Of the sensor's raw channel.
    response : array, shape (n,)
        As `strainstudy.condition.channel.calibrate_trace` gives it.
    rest_ohm : float
        Rest resistance it is relative to; NaN for arbitrary units.
    reference : array, shape (n,)
        Degrees, on the grid of the response; NaN where there is none.
    spans : sequence of (first, last)
        Seconds from the first sample of the response.
    """

    key: MapKey
    recording_id: str
    sampling_frequency: float
    units: str
    response: Array
    rest_ohm: float
    reference: Array
    spans: Sequence[tuple[float, float]]


def _used(trace: ReferenceTrace) -> npt.NDArray[np.bool_]:
    time = np.arange(len(trace.response)) / trace.sampling_frequency
    used = np.zeros(len(time), dtype=bool)
    for first, last in trace.spans:
        used |= (time >= first) & (time < last)
    return used


def _piece(trace: ReferenceTrace, how: ConditionParameters) -> ReferencePiece:
    used, fs, point = _used(trace), trace.sampling_frequency, trace.key.tracked_point
    both = used & np.isfinite(trace.response) & np.isfinite(trace.reference)
    falls = both.sum() > 1 and float(np.cov(trace.response[both], trace.reference[both])[0, 1]) < 0
    clean = condition_trace(
        trace.response, fs, tracked_point=point, units=trace.units, parameters=how, end=-1 if falls else 1
    )
    reference = condition_trace(trace.reference, fs, tracked_point=point, units="deg", parameters=how)
    return ReferencePiece(trace.recording_id, fs, clean.response, clean.drift, reference.response, used, trace.rest_ohm)


def fit_references(
    traces: Iterable[ReferenceTrace], parameters: CalibrateParameters, how: ConditionParameters
) -> dict[MapKey, ReferenceMap | Refusal]:
    """Fit one map for each key.

    Parameters
    ----------
    traces : iterable of ReferenceTrace
        In the order of the recording sheet.
    parameters : CalibrateParameters
    how : ConditionParameters
        How both are cleaned, as they are later.

    Returns
    -------
    dict of MapKey to ReferenceMap or Refusal
        Keys in order.
    """
    grouped: dict[MapKey, list[ReferencePiece]] = {}
    for trace in traces:
        grouped.setdefault(trace.key, []).append(_piece(trace, how))
    return {key: fit_reference_map(grouped[key], parameters) for key in sorted(grouped)}


def joined(
    holds: Mapping[MapKey, AngleMap | Refusal], references: Mapping[MapKey, ReferenceMap | Refusal]
) -> dict[MapKey, AngleMap | ReferenceMap | Refusal]:
    """Choose where a session has holds as well: the reference, which the sheet asks for, unless it was refused."""
    found: dict[MapKey, AngleMap | ReferenceMap | Refusal] = {**holds}
    for key, entry in references.items():
        other = holds.get(key)
        if isinstance(entry, ReferenceMap):
            also = ("holds of bend recordings were not used",) if isinstance(other, AngleMap) else ()
            found[key] = replace(entry, notes=(*entry.notes, *also))
        elif isinstance(other, AngleMap):
            found[key] = replace(other, notes=(*other.notes, f"from holds, because by the reference: {entry.reason}"))
        else:
            found[key] = entry
    return found
