"""Whether to believe what came out: one line for each main outcome, with the number that it rests on.

In: validation tables. Out: lines that say what was measured against what, and what follows for a reader. The verdict
comes from the evidence beside it: for amounts the lower 95 % limit of ICC(2,1), read as Koo & Li (2016, J Chiropr Med
15:155-163) do (from 0.75 good, from 0.5 moderate, below poor), and the limits of agreement.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, Final, NamedTuple

import pandas as pd

from ..tables.angles import ANGLES
from ..tables.classifier import EVIDENCE
from ..tables.validation import CONFUSION, PARAMETERS, STATES
from ..tables.validation import EVENTS as AGREEMENT
from ..vocabulary import EVENT_TYPES
from .content import interval_text, number_text
from .elsewhere import elsewhere_of
from .results import StudyTables, records
from .spoken import measured, state, unit

__all__ = ["Line", "trust_lines", "weak_amounts"]

_GOOD, _MODERATE = 0.75, 0.5
"""Koo & Li 2016."""
_MAIN: Final = (
    "cadence", "stride_time_cv", "step_time_symmetry_index", "swallow_rate", "swallow_duration", "volume_per_swallow",
    "swallowing_speed",
)  # fmt: skip
_FORCE_PLATES: Final = (
    "Knee curves beside force plates differ by about 7 points more (SD between recordings): see docs/method-gait.md."
)
_WEAK_F1: Final = 0.9
"""F1 below which an event type is not found well (ours)."""
_KEPT: Final = 0.02
"""By how much a coverage may fall short of what was promised before it is said (ours)."""


class Line(NamedTuple):
    """An outcome, what it was held against and what came of it, what follows, and more for who asks why."""

    outcome: str
    evidence: str
    verdict: str
    more: str = ""


def _amounts(tables: StudyTables) -> list[dict[str, Any]]:
    frame = tables(PARAMETERS)
    whole = frame["detected_from"] == "result tables"
    alone = ~frame["measure"].isin(frame.loc[whole, "measure"])
    return records(frame[(whole | alone) & frame["bias"].notna()])


def _word(row: dict[str, Any]) -> str:
    low = row["icc_low"] if pd.notna(row["icc_low"]) else row["icc"]
    if pd.isna(low):
        return "not known"
    return "yes" if low >= _GOOD else "with care" if low >= _MODERATE else "no"


def weak_amounts(tables: StudyTables) -> list[str]:
    """Say of every outcome that does not agree with labels how far it is off."""
    return [
        f"{measured(r['measure'])}{', ' + state(r['trial_type']) if state(r['trial_type']) else ''}: ICC(2,1) "
        f"{interval_text(r, 'icc')}, single values within {number_text(r['loa_lower'])} to "
        f"{number_text(r['loa_upper'])} {unit(r['unit'], r['measure'])} of the labels'"
        for r in _amounts(tables)
        if _word(r) == "no"
    ]


def _capital(words: str) -> str:
    return words[:1].upper() + words[1:]


def _amount_lines(tables: StudyTables) -> list[Line]:
    rows = _amounts(tables)
    lines = []
    for name in _MAIN:
        own = [r for r in rows if r["measure"] == name]
        if not own:
            continue
        by_state = [(state(r["trial_type"]), _word(r)) for r in own]
        words = {word for _, word in by_state}
        verdict = words.pop() if len(words) == 1 else ", ".join(f"{s} {w}" for s, w in by_state)
        low, high = min(r["loa_lower"] for r in own), max(r["loa_upper"] for r in own)
        said = unit(own[0]["unit"], name)
        evidence = f"off by {number_text(low, 2)} to {number_text(high, 2)}{' ' + said if said else ''}"
        more = [
            f"{kind or 'all'}: ICC(2,1) {interval_text(r, 'icc', 2)}, {number_text(r['bias'], 2)} on average, "
            f"{r['n_pairs']} recordings of {r['n_participants']} people"
            for r, (kind, _) in zip(own, by_state, strict=True)
        ]
        if name == "step_time_symmetry_index":
            verdict += f"; below {number_text(max(abs(low), abs(high)), 2)} % it may be error"
            more.append(_FORCE_PLATES)
        lines.append(Line(_capital(measured(name)), evidence, _capital(verdict), "; ".join(more)))
    return lines


def _classes(tables: StudyTables) -> list[Line]:
    scores = tables(EVIDENCE["classifier"])
    own = scores[(scores["scope"] == "pooled") & (scores["trial_type"] == "all")]
    made = own[(own["predictor"] == "classifier") & own["balanced_accuracy_within_gait"].notna()]
    if made.empty:
        foreign = elsewhere_of(tables)
        if foreign is None:
            return []
        more = f"No label of this study taught or tested it; {foreign.beside}"
        return [Line("Normal or limping", foreign.told, "Not known here", more)]
    row = records(made)[0]
    others = own[own["predictor"] != "classifier"]["balanced_accuracy_within_gait"].max()
    beats = pd.isna(others) or row["balanced_accuracy_within_gait_low"] > others
    lines = [
        Line(
            "Normal or limping",
            f"{interval_text(row, 'balanced_accuracy_within_gait', 2)} right; best simple rule "
            f"{number_text(others, 2)}",
            "Yes" if beats else "No better than a simple rule",
            f"balanced accuracy within time found as gait, in {row['n_participants']} people never seen",
        )
    ]
    if pd.notna(row["side_accuracy"]):
        sure = row["side_accuracy_low"] if pd.notna(row["side_accuracy_low"]) else row["side_accuracy"]
        lines.append(
            Line("Limping side", f"{interval_text(row, 'side_accuracy', 2)} of limping time right",
                 "Yes" if sure >= _WEAK_F1 else "With care")
        )  # fmt: skip
    return lines


def _turns(tables: StudyTables) -> list[Line]:
    states = tables(STATES)
    own = states[(states["recording_id"] == "pooled") & (states["trial_type"] == "turn") & (states["measure"] == "f1")]
    return [
        Line("Turns", f"F1 by time {interval_text(row, 'value', 2)}",
             "Yes" if row["value"] >= _WEAK_F1 else "No: their edges are off")
        for row in records(own)
        if not tables(CONFUSION).empty
    ]  # fmt: skip


def _events(tables: StudyTables) -> list[Line]:
    events = tables(AGREEMENT)
    own = events[(events["recording_id"] == "pooled") & (events["side"] == "all") & events["f1"].notna()]
    own = own[(own["criterion"] != "overlap") & (own["n_labelled"].fillna(0) > 0)]
    widest = own.sort_values("tolerance", kind="stable").drop_duplicates("trial_type", keep="last")
    lines = []
    for row in records(widest.sort_values("trial_type", kind="stable")):
        low = row["f1_low"] if pd.notna(row["f1_low"]) else row["f1"]
        kind = EVENT_TYPES.get(str(row["trial_type"]))
        found = f"F1 {interval_text(row, 'f1', 2)} within {number_text(row['tolerance'], 2)} s"
        verdict = "Yes" if low >= _WEAK_F1 else "With care"
        more = f"{row['n_labelled']} labelled, {row['n_participants']} people"
        lines.append(Line(_capital(kind.plural if kind else str(row["trial_type"])), found, verdict, more))
    return lines


def _kept_words(row: Mapping[str, Any], promised: float) -> str:
    """Judge a coverage by its own limits: few people may look well and tell little."""
    if row["coverage"] < promised - _KEPT:
        return "Its interval is too narrow"
    low = row["coverage_low"]
    if pd.isna(low) or low < promised - _KEPT:
        return "With care: within its interval here, but too few people to be sure"
    return "Yes, within its interval"


def _angle(tables: StudyTables, promised: float) -> list[Line]:
    angles = tables(ANGLES)
    own = angles[(angles["recording_id"] == "pooled") & angles["participant_id"].isna() & (angles["phase"] == "all")]
    own = own[own["angle_from"].isna() & own["angle_to"].isna()]
    return [
        Line(
            "Knee angle",
            f"off by {number_text(row['rmse'], 2)} degrees (RMSE); {100 * promised:.0f} % interval holds "
            f"{100 * row['coverage']:.0f} %",
            _kept_words(row, promised),
            f"against a reference angle in {row['n_participants']} people, bend recordings left out; by range below",
        )
        for row in records(own)
    ]


def trust_lines(tables: StudyTables, *, promised: float) -> list[Line]:
    """Give the lines, the state of gait first.

    Parameters
    ----------
    tables : StudyTables
    promised : float
        Coverage that the interval of the knee angle promises (setting of calibration), 0 to 1.

    Returns
    -------
    list of Line
        Empty where a study has no labels and no reference.
    """
    return [
        *_classes(tables), *_amount_lines(tables), *_angle(tables, promised), *_events(tables), *_turns(tables),
    ]  # fmt: skip
