"""Stretches of a recording in which a tracked point was not observed, as words of a table and back.

In: traces with NaN where there is no data, or the words. Out: the words, or spans in seconds.
"""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
import numpy.typing as npt

from ..signal.runs import runs
from ..vocabulary import REFERENCE_SUFFIX, UNOBSERVED_S

__all__ = ["unobserved_spans", "unobserved_words"]

Array = npt.NDArray[np.float64]


def unobserved_words(traces: Mapping[str, Array], rate: float) -> str | None:
    """Name the stretches without a value.

    Parameters
    ----------
    traces : mapping of tracked point to array, shape (n,)
        References are passed over.
    rate : float
        Hz.

    Returns
    -------
    str or None
        Such as ``right_knee 42.68-58.20; throat 0.00-1.50``; None where there is none.
    """
    told = []
    for point, values in traces.items():
        if point.endswith(REFERENCE_SUFFIX):
            continue
        missing = np.isnan(values)
        found = runs(missing) if missing.any() else np.empty((0, 2), dtype=np.intp)
        told += [f"{point} {a / rate:.2f}-{b / rate:.2f}" for a, b in found.tolist() if b - a >= UNOBSERVED_S * rate]
    return "; ".join(told) or None


def unobserved_spans(words: str | None) -> dict[str, Array]:
    """Undo `unobserved_words`.

    Returns
    -------
    dict of tracked point to array, shape (k, 2)
        Seconds.
    """
    found: dict[str, list[list[float]]] = {}
    for part in words.split("; ") if words else []:
        point, _, span = part.partition(" ")
        found.setdefault(point, []).append([float(edge) for edge in span.split("-")])
    return {point: np.array(spans) for point, spans in found.items()}
