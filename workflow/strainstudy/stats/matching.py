"""One-to-one matching of events with reference events.

In: times, or intervals as ``(n, 2)`` arrays of onset and end. Out: index pairs. Among all one-to-one
matchings those with the most pairs are kept, and of these the one with the smallest total distance (of equal totals
the one that keeps the order of events): an assignment problem on a sparse bipartite graph, solved by the shortest
augmenting paths of Jonker R, Volgenant A 1987 Computing 38:325-340 (as in
`scipy.sparse.csgraph.min_weight_full_bipartite_matching`). A greedy choice would depend on the order of events.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.sparse import csr_array
from scipy.sparse.csgraph import min_weight_full_bipartite_matching

__all__ = ["Matches", "match_centres", "match_instants", "match_overlaps", "overlap_over_union"]

Floats = NDArray[np.float64]
Indices = NDArray[np.intp]

TIE_BREAK: Final = 1e-7
"""Weight of squared distance that decides between equal totals."""
ROUNDING_S: Final = 1e-9
"""Slack on a tolerance, so that 1.18 s and 1.13 s count as 0.05 s apart in binary fractions too."""


@dataclass(frozen=True)
class Matches:
    """Pairs of a one-to-one matching.

    Parameters
    ----------
    reference, estimate : ndarray of int, shape (n_pairs,)
        Indices into the two inputs, ordered by ``reference``.
    distance : ndarray of float, shape (n_pairs,)
        Distance of each pair: seconds for times and centres, 1 - overlap over union for intervals.
    """

    reference: Indices
    estimate: Indices
    distance: Floats

    def __len__(self) -> int:
        return len(self.reference)


def _assign(rows: Indices, columns: Indices, distance: Floats, n_rows: int, n_columns: int) -> Matches:
    """Solve the assignment on the allowed pairs: most pairs first, then least total distance."""
    if len(rows) == 0:
        empty = np.empty(0, dtype=np.intp)
        return Matches(empty, empty.copy(), np.empty(0))
    if len(np.unique(rows)) == len(rows) and len(np.unique(columns)) == len(columns):
        # Nobody has two to choose from, so every pair is one.
        order = np.argsort(rows, kind="stable")
        return Matches(rows[order], columns[order], distance[order])
    # Each row may stay alone at a price above any saving in distance that leaving it out could bring; weights
    # are shifted off zero because a sparse graph has no edge of weight zero.
    largest = float(distance.max()) if distance.max() > 0 else 1.0
    share = distance / largest
    # Pairs that cross have the same total distance as pairs that do not; the small square makes the latter cheaper.
    weight = 1.0 + share + TIE_BREAK * share**2
    alone = 2.0 * (min(n_rows, n_columns) + 1)
    everyone = np.arange(n_rows)
    graph = csr_array(
        (
            np.concatenate([weight, np.full(n_rows, alone)]),
            (np.concatenate([rows, everyone]), np.concatenate([columns, n_columns + everyone])),
        ),
        shape=(n_rows, n_columns + n_rows),
    )
    row, column = min_weight_full_bipartite_matching(graph)
    paired = column < n_columns
    first, second = np.asarray(row[paired], np.intp), np.asarray(column[paired], np.intp)
    cost = {(int(i), int(j)): float(d) for i, j, d in zip(rows, columns, distance, strict=True)}
    order = np.argsort(first, kind="stable")
    first, second = first[order], second[order]
    return Matches(first, second, np.array([cost[int(i), int(j)] for i, j in zip(first, second, strict=True)]))


def _ranges(low: Indices, high: Indices) -> tuple[Indices, Indices]:
    """Expand ranges ``low[i]:high[i]`` into row and column indices."""
    counts = np.maximum(high - low, 0)
    rows = np.repeat(np.arange(len(low)), counts)
    starts = np.cumsum(counts) - counts
    columns = np.arange(counts.sum()) - np.repeat(starts, counts) + np.repeat(low, counts)
    return rows.astype(np.intp), columns.astype(np.intp)


def _times(values: ArrayLike, name: str) -> Floats:
    times = np.asarray(values, dtype=np.float64)
    if times.ndim != 1 or not np.isfinite(times).all():
        raise ValueError(f"{name} must be a flat list of finite times")
    return times


def _intervals(values: ArrayLike, name: str) -> Floats:
    spans = np.asarray(values, dtype=np.float64).reshape(-1, 2)
    if not np.isfinite(spans).all() or (spans[:, 1] < spans[:, 0]).any():
        raise ValueError(f"{name} must be pairs of onset and end, in this order and finite")
    return spans


def match_instants(reference: ArrayLike, estimate: ArrayLike, tolerance: float) -> Matches:
    """Match instants that are at most ``tolerance`` apart.

    Parameters
    ----------
    reference : array_like, shape (n,)
        Reference times in seconds, in any order.
    estimate : array_like, shape (m,)
        Times to be matched with them.
    tolerance : float
        Largest distance of a pair in seconds, the limit included.

    Returns
    -------
    Matches

    Raises
    ------
    ValueError
        If a time is not finite or the tolerance is negative.
    """
    first, second = _times(reference, "reference"), _times(estimate, "estimate")
    if not tolerance >= 0:
        raise ValueError("tolerance must not be negative")
    order = np.argsort(second, kind="stable")
    ordered = second[order]
    reach = tolerance + ROUNDING_S
    low = np.searchsorted(ordered, first - reach, side="left")
    high = np.searchsorted(ordered, first + reach, side="right")
    rows, places = _ranges(low, high)
    columns = order[places]
    return _assign(rows, columns, np.abs(first[rows] - second[columns]), len(first), len(second))


def match_centres(reference: ArrayLike, estimate: ArrayLike, tolerance: float) -> Matches:
    """Match intervals whose centres are at most ``tolerance`` apart.

    Parameters
    ----------
    reference, estimate : array_like, shape (n, 2) and (m, 2)
        Onset and end in seconds.
    tolerance : float
        Largest distance of the centres in seconds, the limit included.

    Returns
    -------
    Matches
    """
    first, second = _intervals(reference, "reference"), _intervals(estimate, "estimate")
    return match_instants(first.mean(axis=1), second.mean(axis=1), tolerance)


def overlap_over_union(first: Floats, second: Floats) -> Floats:
    """Overlap divided by union of intervals, pair by pair.

    Parameters
    ----------
    first, second : ndarray, shape (n, 2)
        Onset and end.

    Returns
    -------
    ndarray, shape (n,)
        0 for no overlap, 1 for identical intervals (also for two identical instants).
    """
    overlap = np.minimum(first[:, 1], second[:, 1]) - np.maximum(first[:, 0], second[:, 0])
    union = np.maximum(first[:, 1], second[:, 1]) - np.minimum(first[:, 0], second[:, 0])
    same = union <= 0
    ratio: Floats = np.where(same, 1.0, np.maximum(overlap, 0.0) / np.where(same, 1.0, union))
    return ratio


def match_overlaps(reference: ArrayLike, estimate: ArrayLike, threshold: float) -> Matches:
    """Match intervals whose overlap over union reaches ``threshold``.

    Parameters
    ----------
    reference, estimate : array_like, shape (n, 2) and (m, 2)
        Onset and end in seconds.
    threshold : float
        Smallest overlap over union of a pair, above 0 and at most 1, the limit included.

    Returns
    -------
    Matches
        With ``distance`` = 1 - overlap over union.
    """
    first, second = _intervals(reference, "reference"), _intervals(estimate, "estimate")
    if not 0 < threshold <= 1:
        raise ValueError("threshold must be above 0 and at most 1")
    order = np.argsort(second[:, 0], kind="stable")
    ordered = second[order]
    # The running maximum of ends is monotone, so that a binary search finds the first interval that may still
    # overlap.
    latest = np.maximum.accumulate(ordered[:, 1]) if len(ordered) else ordered[:, 1]
    low = np.searchsorted(latest, first[:, 0], side="left")
    high = np.searchsorted(ordered[:, 0], first[:, 1], side="right")
    rows, places = _ranges(low, high)
    columns = order[places]
    ratio = overlap_over_union(first[rows], second[columns])
    good = ratio >= threshold - ROUNDING_S
    return _assign(rows[good], columns[good], 1.0 - ratio[good], len(first), len(second))
