"""What each figure and table of a paper is drawn from: result tables cut down to one frame of numbers.

In: the result tables of a study. Out: frames with one row a point, line or range. A person counts once: with the first
session alone, unless sessions are what is compared, and with the mean over that session's recordings.
"""

from __future__ import annotations

from typing import Final

import numpy as np
import pandas as pd

from ..report.results import StudyTables
from ..stats.intervals import no_interval, t_interval
from ..tables import read_described
from ..tables.gait import GAIT
from ..tables.standing import RETEST
from ..tables.swallows import SWALLOW_SUMMARY
from ..tables.validation import EVENTS, PAIRS, PARAMETERS
from ..validate.measurements import MINIMUM_PEOPLE, SIZE
from ..vocabulary import GAIT_STATES, SIDES
from .prose import counted

__all__ = [
    "AFFECTED", "MAIN_AGREEMENT", "MAIN_OUTCOMES", "NO_GROUP", "OTHER", "agreement_frames", "curve_frame",
    "event_frame", "group_frame", "main_outcomes", "paired_sides", "person_gait", "reliability_frame", "side_summary",
    "swallow_frame", "swallow_measures", "withheld_words",
]  # fmt: skip

AFFECTED: Final = "paretic"
OTHER: Final = "non-paretic"
NO_GROUP: Final = "all participants"
_CURVES: Final = "tables/curves.tsv"
_SIDED: Final = (
    ("step_time_mean", "s"),
    ("stance_time_mean", "s"),
    ("swing_time_mean", "s"),
    ("range_of_motion_mean", "deg"),
    ("swing_peak_mean", "deg"),
)
MAIN_OUTCOMES: Final = (
    ("cadence", "1/min"),
    ("stride_time_cv", "percent"),
    ("step_time_log_ratio_size", "percent"),
    ("range_of_motion_mean_affected", "deg"),
    ("range_of_motion_mean_other", "deg"),
    ("coordination_index", "percent"),
)
"""Of a group of whom some limp on the left and some on the right neither signs nor sides are averaged."""
_ROLES: Final = {"_affected": "_left", "_other": "_right"}
"""Sides by their part, and what stands for them where nobody has an affected side."""
_SWALLOWS: Final = (
    ("rate", "1/min"),
    ("duration_mean", "s"),
    ("interval_mean", "s"),
    ("volume_per_swallow", "ml"),
)
MAIN_AGREEMENT: Final = (
    "stride_time_mean",
    "step_time_symmetry_index",
    "stride_time_cv",
    "knee_bend_angle",
    "swallow_duration",
    "swallow_rate",
)
_MAIN_RELIABILITY: Final = (
    "cadence",
    "stride_time_mean",
    "stride_time_cv",
    "step_time_log_ratio_size",
    "range_of_motion_mean_left",
    "range_of_motion_mean_right",
    "coordination_index",
    "swallow_duration",
    "swallow_interval",
    "spontaneous_swallow_rate",
)
_FEWEST_PAIRS: Final = 3
"""Pairs below which nothing is plotted (ours)."""


def _first_sessions(frame: pd.DataFrame) -> pd.DataFrame:
    """Keep the rows of each person's first session, by name."""
    first = frame.groupby("participant_id")["session_id"].transform("min")
    return frame[frame["session_id"].isna() | (frame["session_id"] == first)]


def _grouped(frame: pd.DataFrame) -> pd.DataFrame:
    return frame.assign(group=frame["group"].astype(object).where(frame["group"].notna(), NO_GROUP))


def person_gait(tables: StudyTables) -> pd.DataFrame:
    """Gait of each person's first session: ``tables/gait.tsv`` with participant, group and affected side."""
    gait = tables.with_person(tables(GAIT))
    return _grouped(_first_sessions(gait[gait["participant_id"].notna()]))


def _side_names(frame: pd.DataFrame) -> pd.Series:
    """Call a side paretic or non-paretic where one side is affected, else left or right."""
    one = frame["affected_side"].isin(SIDES)
    named = np.where(frame["side"] == frame["affected_side"], AFFECTED, OTHER)
    return pd.Series(np.where(one, named, frame["side"]), index=frame.index)


def curve_frame(tables: StudyTables) -> pd.DataFrame:
    """Mean knee curves by group, gait state and side.

    Returns
    -------
    DataFrame
        group, trial_type, line, percent, mean and sd in degrees over people, n people; no rows where the study has no
        ``tables/curves.tsv``.
    """
    columns = ["group", "trial_type", "line", "percent"]
    if not (tables.results / _CURVES).is_file():
        return pd.DataFrame(columns=[*columns, "mean", "sd", "n"])
    curves = tables.with_person(read_described(tables.results / _CURVES))
    curves = _grouped(_first_sessions(curves[curves["trial_type"].isin(GAIT_STATES) & curves["mean"].notna()]))
    curves = curves.assign(line=_side_names(curves))
    own = curves.groupby([*columns, "participant_id"], sort=True)["mean"].mean().reset_index()
    return own.groupby(columns, sort=True)["mean"].agg(mean="mean", sd="std", n="count").reset_index()


def paired_sides(tables: StudyTables) -> pd.DataFrame:
    """Measures of the paretic and the non-paretic side of people with one affected side.

    Returns
    -------
    DataFrame
        measure, unit, trial_type, participant_id, paretic, non-paretic: one row per person and gait state, of the
        first session.
    """
    gait = person_gait(tables)
    gait = gait[gait["affected_side"].isin(SIDES) & gait["trial_type"].isin(GAIT_STATES)]
    rows = []
    for (state, person), own in gait.groupby(["trial_type", "participant_id"], sort=True):
        side = str(own["affected_side"].iloc[0])
        other = SIDES[1 - SIDES.index(side)]
        for measure, unit in _SIDED:
            values = [float(own[f"{measure}_{where}"].mean()) for where in (side, other)]
            if np.isfinite(values).all():
                rows.append((measure, unit, state, person, *values))
    frame = pd.DataFrame(rows, columns=["measure", "unit", "trial_type", "participant_id", AFFECTED, OTHER])
    order = {measure: k for k, (measure, _) in enumerate(_SIDED)}
    frame = frame.sort_values("trial_type", ascending=False, kind="stable")
    return frame.sort_values("measure", key=lambda names: names.map(order), kind="stable", ignore_index=True)


def side_summary(paired: pd.DataFrame) -> pd.DataFrame:
    """Mean and SD of both sides and of their difference, with Student's t interval over people.

    Parameters
    ----------
    paired : DataFrame
        From `paired_sides`.

    Returns
    -------
    DataFrame
        measure, unit, trial_type, n, mean and sd of each side, difference (paretic minus non-paretic) with limits,
        which fewer than `MINIMUM_PEOPLE` people do not have.
    """
    rows = []
    for (measure, unit, state), own in paired.groupby(["measure", "unit", "trial_type"], sort=False):
        difference = (own[AFFECTED] - own[OTHER]).to_numpy(dtype=float)
        few = no_interval(f"fewer than {MINIMUM_PEOPLE} participants")
        limits = t_interval(difference) if len(own) >= MINIMUM_PEOPLE else few
        row = {"measure": measure, "unit": unit, "trial_type": state, "n": len(own)}
        for name, column in (("affected", AFFECTED), ("other", OTHER)):
            row |= {f"{name}_mean": own[column].mean(), f"{name}_sd": own[column].std()}
        row |= {"difference": difference.mean(), "difference_low": limits.low, "difference_high": limits.high}
        rows.append(row)
    return pd.DataFrame(rows)


def _by_person(frame: pd.DataFrame, keys: list[str], name: str) -> pd.DataFrame:
    own = frame.groupby([*keys, "participant_id"], sort=True)[name].mean().reset_index(name="value")
    return own.dropna(subset=["value"])


def main_outcomes(tables: StudyTables) -> list[tuple[str, str]]:
    """`MAIN_OUTCOMES` with units; left and right where nobody has one affected side."""
    if person_gait(tables)["affected_side"].isin(SIDES).any():
        return list(MAIN_OUTCOMES)
    plain = dict(MAIN_OUTCOMES)
    for role, side in _ROLES.items():
        plain = {(name.removesuffix(role) + side if name.endswith(role) else name): u for name, u in plain.items()}
    return list(plain.items())


def _measured(gait: pd.DataFrame, measure: str) -> pd.Series:
    """Give a measure of each row: a column, the size of one, or that of the affected or the other side.

    Of people whose sheet says that no side is affected, either is the mean of both sides.
    """
    if measure.endswith(SIZE):
        return gait[measure.removesuffix(SIZE)].abs()
    role = next((role for role in _ROLES if measure.endswith(role)), None)
    if role is None:
        return gait[measure]
    sides = {side: gait[f"{measure.removesuffix(role)}_{side}"] for side in SIDES}
    found = pd.DataFrame(sides).mean(axis=1).where(gait["affected_side"] == "none")
    for side, opposite in zip(SIDES, reversed(SIDES), strict=True):
        found = found.mask(gait["affected_side"] == side, sides[side if role == "_affected" else opposite])
    return found


def group_frame(tables: StudyTables, measure: str) -> pd.DataFrame:
    """One measure of `main_outcomes` by group and gait state: group, trial_type, participant_id, value."""
    gait = person_gait(tables)
    gait = gait[gait["trial_type"].isin(GAIT_STATES)]
    return _by_person(gait.assign(measured=_measured(gait, measure)), ["group", "trial_type"], "measured")


def swallow_frame(tables: StudyTables, measure: str) -> pd.DataFrame:
    """One swallow measure by group and kind of recording, timed water tests apart.

    Returns
    -------
    DataFrame
        group, trial_type (the kind of recording in words), participant_id, value.
    """
    summary = tables.with_person(tables(SWALLOW_SUMMARY))
    summary = _grouped(_first_sessions(summary[summary["participant_id"].notna()]))
    timed = summary["volume"].notna()
    words = summary["task"].astype(str).replace({"swallow": "swallow task", "free": "free recording"})
    kind = np.where(timed, "timed water test", words)
    return _by_person(summary.assign(trial_type=kind), ["group", "trial_type"], measure)


def swallow_measures(tables: StudyTables) -> list[tuple[str, str]]:
    """Swallow measures that the study has values of, with their units."""
    summary = tables(SWALLOW_SUMMARY)
    return [(name, unit) for name, unit in _SWALLOWS if summary[name].notna().any()]


def withheld_words(tables: StudyTables) -> str:
    """Say in a sentence of how many timed water tests nothing is given per swallow, and why; empty where of none."""
    summary = tables(SWALLOW_SUMMARY)
    without = int((summary["volume"].notna() & summary["volume_per_swallow"].isna()).sum())
    if not without:
        return ""
    return (
        f" Volume and time per swallow and speed are not given for {counted(without, 'timed water test')}: no swallow "
        "was found, a gap lay within the drinking, or swallows seem to have been missed, which would make them bounds."
    )


def agreement_frames(tables: StudyTables) -> list[tuple[pd.Series, pd.DataFrame]]:
    """Pairs of the main measures with the row of ``validation/parameters.tsv`` that sums them up.

    Returns
    -------
    list of (Series, DataFrame)
        In the order of `MAIN_AGREEMENT`. The frame has participant_id, mean, difference (pipeline minus labels), and in
        every row bias and limits with their own limits. What the result tables report is taken before what detected
        events alone give.
    """
    pairs, said = tables(PAIRS), tables(PARAMETERS)
    found = []
    for measure in MAIN_AGREEMENT:
        rows = said[(said["measure"] == measure) & (said["n_pairs"] >= _FEWEST_PAIRS)]
        rows = rows.sort_values("detected_from", ascending=False, kind="stable")
        rows = rows.drop_duplicates("trial_type").sort_values("trial_type", ascending=False, kind="stable")
        for _, row in rows.iterrows():
            chosen = (pairs["measure"] == measure) & (pairs["detected_from"] == row["detected_from"])
            chosen &= pairs["trial_type"].fillna("") == ("" if pd.isna(row["trial_type"]) else row["trial_type"])
            own = pairs[chosen].dropna(subset=["labelled", "detected"])
            lines = ["bias", "loa_lower", "loa_upper"]
            limits = {name: row[name] for line in lines for name in (line, f"{line}_low", f"{line}_high")}
            frame = pd.DataFrame(
                {
                    "participant_id": own["participant_id"],
                    "mean": (own["labelled"] + own["detected"]) / 2.0,
                    "difference": own["detected"] - own["labelled"],
                    "state": row["trial_type"],
                }
            ).assign(**limits)
            found.append((row, frame))
    return found


def reliability_frame(tables: StudyTables, *, main: bool = True) -> pd.DataFrame:
    """Rows of ``validation/retest.tsv`` in the order of the main measures, or all of them.

    With more than two sessions only the first and the one after it are compared here.
    """
    rows = tables(RETEST)
    pair = rows.groupby(["measure", "trial_type"], dropna=False).cumcount()
    rows = rows[(pair == 0) & rows["icc_agreement"].notna()]
    if not main:
        return rows
    order = {name: k for k, name in enumerate(_MAIN_RELIABILITY)}
    rows = rows[rows["measure"].isin(order)].sort_values("trial_type", ascending=False, kind="stable")
    return rows.sort_values("measure", key=lambda names: names.map(order), kind="stable", ignore_index=True)


def event_frame(tables: StudyTables) -> pd.DataFrame:
    """Pooled agreement of every event type and tolerance with the labels, both sides together."""
    events = tables(EVENTS)
    pooled = events[(events["recording_id"] == "pooled") & events["f1"].notna() & (events["n_labelled"] > 0)]
    whole = pooled[pooled["side"] == "all"]
    return whole if len(whole) else pooled
