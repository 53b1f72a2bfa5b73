"""Groups of people beside each other, described and compared; the unit is the person, never the stride.

In: measures per person and session (`measurements.per_person`), and each person's group. Out:
``validation/groups.tsv``. Nothing here is adjusted for age, sex or the number of comparisons, and no test is
made: intervals and effect sizes say how large a difference is and how well it is known.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Mapping
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from ..stats.effects import group_difference
from ..stats.intervals import t_interval
from ..tables.standing import GROUPS
from .rates import named_interval
from .row_frames import rows_frame, text_or_none
from .wording import group_words

__all__ = ["compare_groups"]

Floats = NDArray[np.float64]


def _described(prefix: str, values: Floats) -> dict[str, float]:
    return {
        f"{prefix}mean": float(values.mean()),
        f"{prefix}sd": float(values.std(ddof=1)) if len(values) > 1 else math.nan,
    }


def compare_groups(people: pd.DataFrame, groups: Mapping[str, str | None]) -> pd.DataFrame:
    """Describe each group and compare groups two at a time, session by session.

    Parameters
    ----------
    people : DataFrame
        From `measurements.per_person`.
    groups : mapping of participant_id to group
        People without a group are left out.

    Returns
    -------
    DataFrame
        Columns of ``validation/groups.tsv``: a row for each pair of groups (first minus second in
        alphabetical order); a group that has nothing to be compared with has a row of its own.
    """
    rows: list[dict[str, Any]] = []
    keys = ["session_id", "trial_type", "measure", "unit"]
    grouped = people.assign(group=people["participant_id"].astype(str).map(dict(groups)))
    grouped = grouped[grouped["group"].notna()]
    for (session, state, measure, unit), part in grouped.groupby(keys, sort=True, dropna=False):
        values = {str(name): own["value"].to_numpy(dtype=np.float64) for name, own in part.groupby("group", sort=True)}
        pairs: list[tuple[str, str | None]] = list(itertools.combinations(values, 2))
        for name, other in pairs or [(name, None) for name in values]:
            own = values[name]
            row: dict[str, Any] = {
                "session_id": text_or_none(session),
                "trial_type": text_or_none(state),
                "measure": measure,
                "unit": unit,
                "group": name,
                "n": len(own),
                **_described("", own),
                "median": float(np.median(own)),
                "minimum": float(own.min()),
                "maximum": float(own.max()),
            }
            mean = t_interval(own)
            row |= {"mean_low": mean.low, "mean_high": mean.high}
            if other is not None:
                theirs = values[other]
                gap = group_difference(own, theirs)
                theirs_mean = t_interval(theirs)
                row |= {
                    "other_group": other,
                    "other_n": len(theirs),
                    **_described("other_", theirs),
                    "other_mean_low": theirs_mean.low,
                    "other_mean_high": theirs_mean.high,
                    **named_interval("difference", gap.difference, gap.interval),
                    **named_interval("hedges_g", gap.hedges_g, gap.g_interval),
                    "interval_method": f"difference: {gap.interval.method}; Hedges g: {gap.g_interval.method}",
                }
            rows.append(row)
    return rows_frame(rows, GROUPS, group_words)
