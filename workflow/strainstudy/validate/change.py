"""Change between sessions, and whether repeats explain it.

In: measures in the long form (`measurements`). Out: ``tables/change.tsv`` (each person, measure and pair of
sessions) and ``validation/retest.tsv`` (reliability between sessions over people).

The standard error of a change comes from the best of three sources, and the table says from which:

1. repeat recordings within a session: their standard deviation within person and session, pooled over the study,
   divided by the root of the number of recordings on each side;
2. where no session repeats a recording, the other people: the standard deviation of their changes between the same
   two sessions, which holds the day and the putting on of the sensor, and counts true change as error;
3. where there are too few of them, or where it is the larger, the limits of the two values: strides or swallows as a
   sample, and the error of the landmarks; both leave out the day and the putting on.

The minimal detectable change of `retest` is another: how much two sessions of all these people differ, by its SD alone.
That is near the second source; the third counts the error of every landmark anew in each session, though the sessions
of one person may share much of it, and is the larger where feet tell a measure.

Only the first is an error of measurement; the second says how unusual a change is among these people. Measures that
are made of the same thing are one family, of which one measure is counted: nine numbers of one changed rhythm are one
change.

Minimal detectable change = t x standard error of the change, which for one recording a session is t x sqrt(2) x SEM
(Weir JP 2005 J Strength Cond Res 19:231-240, who prints 1.96 for t). A standard error that few repeats or people tell
is itself not known well, so that t is Student's quantile at its degrees of freedom; 1.96 for the third source, whose
limits hold theirs already.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Sequence
from typing import Any, Final

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from scipy import special

from ..stats.agreement import bland_altman, within_person_sd
from ..stats.normal import NORMAL_95
from ..stats.reliability import icc, mean_squares, minimal_detectable_change
from ..tables.standing import CHANGE, RETEST
from .measurements import KEYS, SIGNED, per_person, with_walkway
from .parameters import ValidateParameters
from .rates import named_interval
from .row_frames import rows_frame, text_or_none
from .wording import change_words, retest_words

__all__ = ["FAMILIES", "changes", "retest"]

Floats = NDArray[np.float64]

_MINIMUM_FREEDOM: Final = 3
"""Fewer degrees of freedom than this give no usable standard deviation of repeats (ours)."""
_MINIMUM_OTHERS: Final = 5
"""Fewer other people than this say too little of how sessions differ (ours)."""
REPEATS: Final = "repeat recordings within a session"
OTHERS: Final = "sessions of the other people"
WITHIN: Final = "spread within the recordings"
NOTHING: Final = "none: nothing was repeated"
KINDS: Final = {
    REPEATS: "error of measurement",
    OTHERS: "difference between sessions of other people, not an error of measurement",
    WITHIN: "part of the error of measurement",
    NOTHING: None,
}
FAMILIES: Final[dict[str, tuple[str, ...]]] = {
    "pace": ("cadence", "stride_time_mean", "step_time_mean_left", "step_time_mean_right"),
    "variability": ("stride_time_cv", "stride_time_sd"),
    "steps of both sides": (
        "step_time_symmetry_index",
        "step_time_log_ratio_size",
        "phase_deviation",
        "coordination_index",
    ),
    "stance and swing": (
        "swing_time_log_ratio_size",
        "stance_time_log_ratio_size",
        "stance_fraction_mean_left",
        "stance_fraction_mean_right",
    ),
    "range, left": ("range_of_motion_mean_left", "swing_peak_mean_left"),
    "range, right": ("range_of_motion_mean_right", "swing_peak_mean_right"),
    "range of both sides": ("range_of_motion_log_ratio_size",),
    "swallow": ("swallow_duration",),
    "pauses between swallows": ("swallow_interval", "spontaneous_swallow_rate"),
    "drinking": ("swallowing_speed", "volume_per_swallow", "time_per_swallow"),
}
"""Measures that are made of the same thing and so change together, the one that stands for all first (ours)."""
_FAMILY_OF: Final = {measure: family for family, members in FAMILIES.items() for measure in members}


def _reach(freedom: int | None) -> float:
    """Count the standard errors to a 95 % limit: Student's t, or the normal quantile without degrees of freedom."""
    return NORMAL_95 if freedom is None else float(special.stdtrit(freedom, 0.975))


def _session_pairs(sessions: list[str]) -> list[tuple[str, str]]:
    return list(itertools.combinations(sorted(sessions), 2))


def _own_error(errors: Sequence[Floats]) -> float:
    """Give the standard error of a change from those of the recordings; NaN where it is not known."""
    error = math.sqrt(sum(float((own**2).sum()) / len(own) ** 2 for own in errors))
    return error if math.isfinite(error) and error > 0 else math.nan


def _of_others(change: Floats, others: NDArray[np.bool_]) -> tuple[float, int]:
    """Give the standard deviation of the other people's changes between two sessions, and how many people they are.

    ``change`` has one entry per person, NaN where a session is missing.
    """
    known = change[others & ~np.isnan(change)]
    return (float(known.std(ddof=1)) if len(known) > 1 else math.nan), len(known)


def _by_session(group: pd.DataFrame) -> dict[str, dict[str, tuple[Floats, Floats]]]:
    """Give the values and standard errors of each person in each session, people and sessions in order."""
    found: dict[str, dict[str, tuple[list[float], list[float]]]] = {}
    columns = (group[name].tolist() for name in ("participant_id", "session_id", "value", "standard_error"))
    for person, session, value, error in zip(*columns, strict=True):
        values, errors = found.setdefault(str(person), {}).setdefault(str(session), ([], []))
        values.append(value)
        errors.append(error)
    return {
        person: {name: (np.array(values), np.array(errors)) for name, (values, errors) in sorted(sessions.items())}
        for person, sessions in sorted(found.items())
    }


def changes(measurements: pd.DataFrame) -> pd.DataFrame:
    """Compare each person's sessions, two at a time.

    Parameters
    ----------
    measurements : DataFrame
        From `measurements.join` or `measurements.on_walkways`; a recording without a session is left out. A walk on a
        treadmill is compared with one on a treadmill only.

    Returns
    -------
    DataFrame
        Columns of ``tables/change.tsv``: later minus earlier session (by name), its standard error, the
        minimal detectable change, whether it is exceeded, and what the error was taken from. Empty with one
        session.
    """
    rows: list[dict[str, Any]] = []
    known = with_walkway(measurements[measurements["session_id"].notna()])
    for _, group in known.groupby(KEYS, sort=True, dropna=False):
        session = group["participant_id"].astype(str) + "\t" + group["session_id"].astype(str)
        # Tasks differ in what is asked of the person, so that only recordings of one task repeat each other.
        repeat = session + "\t" + group["task"].astype(str)
        sd, freedom = within_person_sd(group["value"].to_numpy(), repeat.to_numpy(dtype=str))
        repeated = freedom >= _MINIMUM_FREEDOM and sd > 0
        wide = group.pivot_table(index="participant_id", columns="session_id", values="value", aggfunc="mean")
        people, between = wide.index.to_numpy(dtype=object), {str(name): wide[name].to_numpy() for name in wide}
        changed = {pair: between[pair[1]] - between[pair[0]] for pair in _session_pairs(list(between))}
        state, measure, unit, walkway = (group[key].iloc[0] for key in KEYS)
        same = {
            "trial_type": text_or_none(state),
            "measure": measure,
            "unit": unit,
            "walkway": text_or_none(walkway),
            "family": _FAMILY_OF.get(str(measure)),
        }
        for person, parts in _by_session(group).items():
            not_me = people != person
            for earlier, later in _session_pairs(list(parts)):
                (first, first_errors), (second, second_errors) = parts[earlier], parts[later]
                error, basis, degrees = _own_error((first_errors, second_errors)), WITHIN, None
                spread, others = _of_others(changed[earlier, later], not_me)
                by_others = _reach(others - 1) * spread if others >= _MINIMUM_OTHERS and spread > 0 else math.nan
                if repeated:
                    error, basis, degrees = sd * math.sqrt(1 / len(first) + 1 / len(second)), REPEATS, freedom
                elif math.isfinite(by_others):
                    if not _reach(None) * error >= by_others:
                        error, basis, degrees = spread, OTHERS, others - 1
                elif math.isnan(error):
                    basis = NOTHING
                value, later_value = float(first.mean()), float(second.mean())
                change = later_value - value
                detectable = _reach(degrees) * error
                rows.append(
                    {
                        **same,
                        "participant_id": person,
                        "session_id": earlier,
                        "later_session_id": later,
                        "n_recordings": len(first),
                        "later_n_recordings": len(second),
                        "value": value,
                        "later_value": later_value,
                        "change": change,
                        "change_low": change - detectable,
                        "change_high": change + detectable,
                        "standard_error": error,
                        "minimal_detectable_change": detectable,
                        "others_detectable_change": by_others,
                        "exceeds": None if math.isnan(detectable) else abs(change) > detectable,
                        "error_basis": basis,
                        "error_freedom": degrees,
                        "error_kind": KINDS[basis],
                    }
                )
    _mark_leads(rows)
    return rows_frame(rows, CHANGE, change_words)


def _mark_leads(rows: list[dict[str, Any]]) -> None:
    """Mark in each family of one person, state, walkway and pair of sessions the measure that stands for all."""
    first: dict[tuple[Any, ...], dict[str, Any]] = {}
    for row in rows:
        family = row["family"] or row["measure"]
        names = ("participant_id", "trial_type", "walkway", "session_id", "later_session_id")
        key = (*(row[name] for name in names), family)
        members = FAMILIES.get(family, (row["measure"],))
        row["lead"] = False
        if key not in first or members.index(row["measure"]) < members.index(first[key]["measure"]):
            first[key] = row
    for row in first.values():
        row["lead"] = True


def retest(measurements: pd.DataFrame, parameters: ValidateParameters) -> pd.DataFrame:
    """Reliability of each measure between two sessions, over people.

    Parameters
    ----------
    measurements : DataFrame
        As for `changes`.
    parameters : ValidateParameters
        Multiplier of the limits of agreement.

    Returns
    -------
    DataFrame
        Columns of ``validation/retest.tsv``: ICC(2,1) and ICC(3,1), standard error of measurement and minimal
        detectable change, bias and limits of later minus earlier. True change between the sessions counts as
        error. Measures that are signed by side have no mean, bias, limits and ICC: those are of their sizes.
    """
    known = measurements[measurements["session_id"].notna()]
    people = per_person(known)
    rows: list[dict[str, Any]] = []
    for (state, measure, unit, walkway), group in people.groupby(KEYS, sort=True, dropna=False):
        wide = group.pivot_table(index="participant_id", columns="session_id", values="value", aggfunc="mean")
        for earlier, later in _session_pairs([str(c) for c in wide.columns]):
            table = wide[[earlier, later]].to_numpy(dtype=np.float64)
            table = table[np.isfinite(table).all(axis=1)]
            if len(table) < 2:
                continue
            squares = mean_squares(table)
            agreement, consistency = icc(table, "2,1"), icc(table, "3,1")
            limits = bland_altman(table[:, 1], table[:, 0], multiplier=parameters.limits_multiplier)
            told = {
                "mean": float(table.mean()),
                **named_interval("bias", limits.bias, limits.bias_interval),
                **named_interval("loa_lower", limits.low, limits.low_interval),
                **named_interval("loa_upper", limits.high, limits.high_interval),
                **named_interval("icc_agreement", agreement.value, agreement.interval),
                **named_interval("icc_consistency", consistency.value, consistency.interval),
            }
            rows.append(
                {
                    "trial_type": text_or_none(state),
                    "measure": measure,
                    "unit": unit,
                    "walkway": text_or_none(walkway),
                    "session_id": earlier,
                    "later_session_id": later,
                    "n_participants": len(table),
                    **(dict.fromkeys(told, math.nan) if measure in SIGNED else told),
                    "sd": limits.sd,
                    "standard_error_of_measurement": squares.standard_error,
                    "minimal_detectable_change": minimal_detectable_change(
                        squares.standard_error, multiplier=_reach(len(table) - 1)
                    ),
                    "error_freedom": len(table) - 1,
                }
            )
    return rows_frame(rows, RETEST, retest_words)
