"""Levels of a knee sensor in holds at known angles.

In: the conditioned response of a bend recording and its labels (``knee_bend`` rows whose ``value`` is the angle).
Out: one row per hold: its angle, the level on arrival, the branch it was reached on, the creep while it lasted; and
the rest of the straight leg between the holds, as holds at 0 degrees.
"""

from __future__ import annotations

from operator import itemgetter
from typing import Any, Final

import numpy as np
import numpy.typing as npt
import pandas as pd

from ..signal.gaps import runs, spanned
from ..signal.plateau import find_plateau
from ..signal.play import branch
from .parameters import CalibrateParameters

__all__ = ["BRANCH_RADIUS_SHARE", "HOLD_COLUMNS", "hold_levels"]

Array = npt.NDArray[np.float64]

HOLD_COLUMNS: Final = (
    "onset",
    "duration",
    "angle",
    "level",
    "absolute",
    "branch",
    "direction",
    "creep",
    "labelled",
)
BRANCH_RADIUS_SHARE: Final = 0.12
"""Half the travel, as share of the span, after which a loop is on its other branch (ours: a quarter of the span)."""

_PLATEAU_SHARE: Final = 0.06
"""Half the band of a plateau as share of the span; creep of soft sensors within a hold is smaller (ours)."""
_MARGIN_S: Final = 0.3
"""Seconds beside a label that are not taken for the straight leg: labels by hand are off by tenths (ours)."""
_ON_BRANCH: Final = 0.5
"""Place between the branches, -1 to 1, from which a hold counts as reached by flexing or by extending (ours)."""
_ARRIVAL_S: Final = 0.5
"""Seconds from the start of a plateau in which the branch is read (ours)."""


def hold_levels(
    response: npt.ArrayLike,
    drift: npt.ArrayLike,
    fs: float,
    labels: pd.DataFrame,
    parameters: CalibrateParameters,
) -> pd.DataFrame:
    """Read the holds of one knee in one recording.

    Parameters
    ----------
    response : array, shape (n,)
        Conditioned response, at rest (straight leg) about 0; NaN = no data.
    drift : array, shape (n,)
        What was taken off it.
    fs : float
        Hz.
    labels : DataFrame
        Rows ``knee_bend`` of this knee with ``onset``, ``duration`` (s) and ``value`` (degrees); rows without a
        value are passed over.
    parameters : CalibrateParameters

    Returns
    -------
    DataFrame
        Columns `HOLD_COLUMNS`: ``onset`` and ``duration`` of the plateau (s), ``angle`` (degrees), ``level`` and
        ``creep`` (unit of the response), ``absolute`` (level with the drift put back), ``branch`` (-1 reached by
        extending, 1 by flexing), ``direction`` (the same in a word), ``labelled`` (False for the straight leg
        between the holds, taken for 0 degrees). Labels without a plateau in them give no row. Sorted by onset.
    """
    x, slow = np.asarray(response, dtype=np.float64), np.asarray(drift, dtype=np.float64)
    finite = np.isfinite(x)
    rows: list[dict[str, Any]] = []
    onsets, durations, values = (labels[name].to_numpy(dtype=float) for name in ("onset", "duration", "value"))
    marked = [k for k in np.lexsort((values, onsets)).tolist() if not np.isnan(values[k])]
    if not finite.any() or not marked:
        return pd.DataFrame(rows, columns=list(HOLD_COLUMNS))
    low, high = np.quantile(x[finite], [0.005, 0.995])
    sign = 1.0 if abs(high) >= abs(low) else -1.0
    span = float(high - low)
    if span == 0:
        return pd.DataFrame(rows, columns=list(HOLD_COLUMNS))
    on_branch = branch(sign * spanned(x), BRANCH_RADIUS_SHARE * span)
    shortest = max(2, round(parameters.hold_shortest_s * fs))
    first = max(1, round(parameters.hold_level_s * fs))
    arrival = max(1, round(_ARRIVAL_S * fs))

    def add(start: int, stop: int, angle: float, labelled: bool) -> None:
        part = np.where(np.isfinite(x[start:stop]), x[start:stop], np.nan)
        if labelled and angle != 0 and np.isfinite(part).any():
            # A generous label takes in the straight leg on either side.
            part = np.where(np.abs(part) > 0.5 * np.nanmax(np.abs(part)), part, np.nan)
        found = find_plateau(part, _PLATEAU_SHARE * span, shortest=shortest, first=first)
        if found is None:
            return
        begin = start + found.start
        length = found.stop - found.start
        on = float(np.median(on_branch[begin : begin + min(arrival, length)]))
        rows.append(
            {
                "onset": begin / fs,
                "duration": length / fs,
                "angle": angle,
                "level": found.level,
                "absolute": found.level + float(np.nanmedian(slow[begin : begin + length])),
                "branch": on,
                "direction": "flexing" if on > _ON_BRANCH else "extending" if on < -_ON_BRANCH else "between",
                "creep": found.creep,
                "labelled": labelled,
            }
        )

    margin = round(_MARGIN_S * fs)
    taken = np.zeros(len(x), dtype=bool)
    for onset, duration, value in zip(onsets[marked], durations[marked], values[marked], strict=True):
        start, stop = (int(np.clip(round(t * fs), 0, len(x))) for t in (onset, onset + duration))
        taken[max(0, start - margin) : stop + margin] = True
        add(start, stop, float(value), True)
    # The straight leg between holds: the far side of its own first and last half second is on the way.
    for start, stop in runs(~taken & (np.abs(x) < 0.2 * span)):
        if stop - start >= shortest:
            add(int(start), int(stop), 0.0, False)
    rows.sort(key=itemgetter("onset"))
    return pd.DataFrame(rows, columns=list(HOLD_COLUMNS))
