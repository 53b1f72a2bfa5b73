"""The angle map of each sensor and session from a reference angle that stands beside it.

In: conditioned responses with the reference and the spans that may be fitted. Out: one `ReferenceMap` or `Refusal` for
each participant, session, knee and sensor. All recordings of a session are fitted together.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from .anglemap import AngleMap, Refusal
from .maps import KneeTrace, MapEntry, MapKey
from .parameters import CalibrateParameters
from .referencefit import ReferencePiece, fit_reference_map
from .referencemap import ReferenceMap

__all__ = ["ReferenceTrace", "fit_references", "joined"]

Array = npt.NDArray[np.float64]


@dataclass(frozen=True)
class ReferenceTrace(KneeTrace):
    """A knee whose reference calibrates.

    Parameters
    ----------
    reference : array, shape (n,)
        Degrees as conditioning leaves them, on the grid of the response; NaN where there is none.
    spans : sequence of (first, last)
        Seconds from the first sample of the response.
    """

    reference: Array
    spans: Sequence[tuple[float, float]]


def used_samples(trace: ReferenceTrace) -> npt.NDArray[np.bool_]:
    """Mark the samples in which a reference calibrates, shape as its response."""
    time = np.arange(len(trace.response)) / trace.sampling_frequency
    used = np.zeros(len(time), dtype=bool)
    for first, last in trace.spans:
        used |= (time >= first) & (time < last)
    return used


def _piece(trace: ReferenceTrace, shortest_period_s: float) -> ReferencePiece:
    used, whole = used_samples(trace), trace.response + trace.drift
    both = used & np.isfinite(whole) & np.isfinite(trace.reference)
    falls = both.sum() > 1 and float(np.cov(whole[both], trace.reference[both])[0, 1]) < 0
    knee = trace.towards(-1 if falls else 1, shortest_period_s)
    return ReferencePiece(
        knee.recording_id, knee.sampling_frequency, knee.response, knee.drift, knee.reference, used, knee.rest_ohm
    )


def fit_references(
    traces: Iterable[ReferenceTrace], parameters: CalibrateParameters, shortest_period_s: float
) -> dict[MapKey, ReferenceMap | Refusal]:
    """Fit one map for each key.

    Parameters
    ----------
    traces : iterable of ReferenceTrace
        In the order of the recording sheet.
    parameters : CalibrateParameters
    shortest_period_s : float
        As ``condition.drift_shortest_period_s``.

    Returns
    -------
    dict of MapKey to ReferenceMap or Refusal
        Keys in order.
    """
    grouped: dict[MapKey, list[ReferencePiece]] = {}
    for trace in traces:
        grouped.setdefault(trace.key, []).append(_piece(trace, shortest_period_s))
    return {key: fit_reference_map(grouped[key], parameters) for key in sorted(grouped)}


def joined(
    holds: Mapping[MapKey, AngleMap | Refusal], references: Mapping[MapKey, ReferenceMap | Refusal]
) -> dict[MapKey, MapEntry]:
    """Choose where a session has holds as well: the reference, which the sheet asks for, unless it was refused."""
    found: dict[MapKey, MapEntry] = {**holds}
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
