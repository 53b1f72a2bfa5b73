"""Groups of people beside each other, described and compared; the unit is the person, never the stride.

In: measures per person and session (`measurements.per_person`), and each person's group. Out:
``validation/groups.tsv``. Nothing here is adjusted for age, sex or the number of comparisons, and no test is
made: intervals and effect sizes say how large a difference is and how well it is known.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Mapping
from dataclasses import replace
from typing import Any, Final

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from ..stats.effects import Difference, group_difference
from ..stats.intervals import Interval, no_interval, t_interval
from ..tables.standing import GROUPS
from .measurements import KEYS, MINIMUM_PEOPLE, SIGNED, with_walkway
from .rates import named_interval
from .row_frames import rows_frame, text_or_none
from .wording import group_words

__all__ = ["by_affected_side", "compare_groups"]

Floats = NDArray[np.float64]

_FEW: Final = f"fewer than {MINIMUM_PEOPLE} participants in a group"


def by_affected_side(people: pd.DataFrame, affected: Mapping[str, str | None]) -> pd.DataFrame:
    """Put measures of the left and right side as those of the affected and of the other side.

    Parameters
    ----------
    people : DataFrame
        From `measurements.per_person`.
    affected : mapping of participant_id to affected side
        left, right, both, none; None where the sheet has nothing.

    Returns
    -------
    DataFrame
        As given, but of each ``<measure>_left`` and ``<measure>_right`` instead ``<measure>_affected`` and
        ``<measure>_other``: of people with one affected side theirs, of people with none the mean of both sides in
        either, of others nothing. Signed measures become ``<measure>_affected``, positive where the affected side is
        the larger, of people with one affected side.
    """
    people = with_walkway(people)
    side = people["participant_id"].astype(str).map(dict(affected))
    name = people["measure"].astype(str)
    own = name.str.extract(r"^(?P<stem>.*)_(?P<side>left|right)$")
    sided, signed = own["side"].notna(), name.isin(SIGNED)
    parts = [people[~sided & ~signed]]
    one = side.isin(["left", "right"])
    mine = people[sided & one].assign(measure=own["stem"] + np.where(own["side"] == side, "_affected", "_other"))
    turned = people[signed & one]
    turned = turned.assign(
        value=np.where(side[turned.index] == "right", 1.0, -1.0) * turned["value"],
        measure=turned["measure"] + "_affected",
    )
    parts += [mine, turned]
    both = people[sided & (side == "none")].assign(measure=own["stem"])
    if len(both):
        mean = both.groupby(["participant_id", "session_id", *KEYS], sort=True, dropna=False, as_index=False)[
            "value"
        ].mean()
        parts += [mean.assign(measure=mean["measure"] + role) for role in ("_affected", "_other")]
    return pd.concat([part for part in parts if len(part)] or [people.iloc[:0]], ignore_index=True)


def _mean_interval(values: Floats, measure: str) -> Interval:
    if len(values) < MINIMUM_PEOPLE:
        return no_interval(_FEW)
    found = t_interval(values)
    # What cannot be below 0 has no limit there; few people far apart would give one.
    return found if measure.startswith(SIGNED) else replace(found, low=max(found.low, 0.0))


def _compared(own: Floats, theirs: Floats) -> Difference:
    if min(len(own), len(theirs)) >= MINIMUM_PEOPLE:
        return group_difference(own, theirs)
    nothing = no_interval(_FEW)
    return Difference(float(own.mean() - theirs.mean()), nothing, math.nan, nothing)


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
    grouped = people.assign(group=people["participant_id"].astype(str).map(dict(groups)))
    grouped = grouped[grouped["group"].notna()]
    for (session, state, measure, unit, walkway), part in grouped.groupby(
        ["session_id", *KEYS], sort=True, dropna=False
    ):
        values = {str(name): own["value"].to_numpy(dtype=np.float64) for name, own in part.groupby("group", sort=True)}
        pairs: list[tuple[str, str | None]] = list(itertools.combinations(values, 2))
        for name, other in pairs or [(name, None) for name in values]:
            own = values[name]
            row: dict[str, Any] = {
                "session_id": text_or_none(session),
                "trial_type": text_or_none(state),
                "measure": measure,
                "unit": unit,
                "walkway": text_or_none(walkway),
                "group": name,
                "n": len(own),
                **_described("", own),
                "median": float(np.median(own)),
                "minimum": float(own.min()),
                "maximum": float(own.max()),
            }
            mean = _mean_interval(own, str(measure))
            row |= {"mean_low": mean.low, "mean_high": mean.high}
            if other is not None:
                theirs = values[other]
                gap = _compared(own, theirs)
                theirs_mean = _mean_interval(theirs, str(measure))
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
