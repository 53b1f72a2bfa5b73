"""Whether to believe what came out: one line for each main outcome, with the number that it rests on.

In: validation tables. Out: lines that say what was measured against what, and what follows for a reader. The verdict
comes from the evidence beside it: for amounts the 95 % limits of ICC(2,1), read as Koo & Li (2016, J Chiropr Med
15:155-163) do (from 0.75 good, from 0.5 moderate, below poor), and the limits of agreement. Where an interval reaches
from poor to good, or there is none, nothing is shown either way; where the labels themselves are too coarse, they say
nothing of the pipeline.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import Any, Final, NamedTuple

import pandas as pd

from ..cautions import KNOWN_COVERAGE
from ..gait.verdict import VERDICT_COLUMNS
from ..stats.normal import NORMAL_95
from ..tables.angles import ANGLES
from ..tables.classifier import EVIDENCE
from ..tables.gait import GAIT
from ..tables.validation import CONFUSION, PARAMETERS, STATES
from ..tables.validation import EVENTS as AGREEMENT
from ..validate.unvalidated import CANNOT, GOOD_ICC
from ..vocabulary import EVENT_TYPES
from .content import interval_text, number_text
from .elsewhere import Elsewhere, elsewhere_of, tested_here
from .results import StudyTables, records
from .spoken import measured, people_text, state, unit

__all__ = ["Line", "coarse_labels", "step_time_sizes", "trust_lines", "unsettled_amounts", "weak_amounts"]

_STEP_TIME: Final = "step_time_symmetry_index"
_SIZE_OF_IT: Final = "step_time_log_ratio_size"
"""What ICC is taken of where a sign tells left from right."""
_MODERATE: Final = 0.5
"""Koo & Li 2016; from `GOOD_ICC` on good."""
_NOT_SHOWN: Final = "not shown: too few people"
_MAIN: Final = (
    "cadence", "stride_time_cv", "step_time_symmetry_index", "swallow_rate", "swallow_duration", "volume_per_swallow",
    "swallowing_speed",
)  # fmt: skip
_PLATES_SD: Final = 7.0
"""Symmetry index of step time beside force plates, percent, SD between recordings (docs/method-gait.md)."""
_WEAK_F1: Final = 0.9
"""F1 below which an event type is not found well (ours)."""
_CHANCE: Final = 0.5
"""Balanced accuracy of a guess between two states."""
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
    rows = records(frame[(whole | alone) & frame["bias"].notna()])
    sizes = {r["trial_type"]: r for r in rows if r["measure"] == _SIZE_OF_IT}
    for r in rows:
        if r["measure"] == _STEP_TIME and r["trial_type"] in sizes:
            r |= {name: sizes[r["trial_type"]][name] for name in ("icc", "icc_low", "icc_high")} | {"of": " of sizes"}
    signed = {r["trial_type"] for r in rows if r["measure"] == _STEP_TIME}
    return [r for r in rows if r["measure"] != _SIZE_OF_IT or r["trial_type"] not in signed]


def _word(row: dict[str, Any]) -> str:
    if pd.notna(row["validity"]):
        return str(row["validity"])
    low, high = row["icc_low"], row["icc_high"]
    if pd.isna(low) or (low < _MODERATE and high >= GOOD_ICC):
        return _NOT_SHOWN
    return "yes" if low >= GOOD_ICC else "with care" if low >= _MODERATE else "no"


def _named(row: Mapping[str, Any]) -> str:
    return f"{measured(row['measure'])}{', ' + state(row['trial_type']) if state(row['trial_type']) else ''}"


def coarse_labels(tables: StudyTables) -> list[str]:
    """Say of every outcome that labels are too coarse to validate by how much."""
    said = []
    for r in _amounts(tables):
        if _word(r) == CANNOT:
            of = unit(r["unit"], r["measure"])
            said.append(
                f"{_capital(_named(r))} {CANNOT}: two raters' contacts differ by {1000 * r['rater_timing_sd']:.0f} ms "
                f"(SD), which alone makes {number_text(r['from_rater_timing'], 2)} {of}; the pipeline gives "
                f"{number_text(r['detected_mean'], 2)} {of}, labels {number_text(r['labelled_mean'], 2)} {of}."
            )
    return said


def unsettled_amounts(tables: StudyTables) -> list[str]:
    """Name in one sentence the outcomes of which too few people were labelled to say anything."""
    few = [
        f"{_named(r)} ({people_text(r['n_participants'])}, ICC(2,1){r.get('of', '')} {interval_text(r, 'icc', 2)})"
        for r in _amounts(tables)
        if _word(r) == _NOT_SHOWN
    ]
    return [f"Too few people to say whether these agree with labels: {'; '.join(few)}."] if few else []


def weak_amounts(tables: StudyTables) -> list[str]:
    """Say of every outcome that does not agree with labels how far it is off."""
    return [
        f"{_named(r)}: ICC(2,1){r.get('of', '')} "
        f"{interval_text(r, 'icc')}, single values within {number_text(r['loa_lower'])} to "
        f"{number_text(r['loa_upper'])} {unit(r['unit'], r['measure'])} of the labels'"
        for r in _amounts(tables)
        if _word(r) == "no"
    ]


def _off_by(own: list[dict[str, Any]]) -> tuple[float, float]:
    """Give the widest limits of agreement of a measure, over states; NaN where no state has any."""
    return (min((r["loa_lower"] for r in own if pd.notna(r["loa_lower"])), default=math.nan),
            max((r["loa_upper"] for r in own if pd.notna(r["loa_upper"])), default=math.nan))  # fmt: skip


def _may_be_error(labels: float) -> float:
    """Put the limits of agreement with labels together with the error against force plates that labels do not show."""
    return math.hypot(labels, NORMAL_95 * _PLATES_SD)


def step_time_sizes(tables: StudyTables, limit: float) -> str:
    """Say in one sentence what each size of step-time asymmetry is for that stands on the page.

    Parameters
    ----------
    tables : StudyTables
    limit : float
        Symmetry index of step time that healthy people may have (setting of the verdict), percent.

    Returns
    -------
    str
        Empty where no walk has one.
    """
    settled = tables(GAIT, *VERDICT_COLUMNS)["step_time_settled_from"].dropna().astype(float)
    if settled.empty:
        return ""
    first, last = f"{settled.min():.0f}", f"{settled.max():.0f}"
    parts = [
        f"up to {limit:g} % is what healthy people may have, and the limit of the verdict",
        f"from {first if first == last else f'{first} to {last}'} % on, by walk, one walk would show that it is beyond "
        "that limit with its whole interval",
    ]
    own = [r for r in _amounts(tables) if r["measure"] == _STEP_TIME]
    off_by = max(map(abs, _off_by(own)))
    if pd.notna(off_by):
        off, whole = number_text(off_by, 2), number_text(_may_be_error(off_by), 2)
        parts.append(f"within {off} % lie the differences of single values from this study's labels, within {whole} % "
                     "with what knee curves err against force plates, so that a smaller one may be error")  # fmt: skip
    return f"Sizes of step-time asymmetry and what each is for: {'; '.join(parts)}."


def _counted(n: int, word: str) -> str:
    return f"{n} {word}{'' if n == 1 else 's'}"


def _capital(words: str) -> str:
    return words[:1].upper() + words[1:]


def _where_given(own: list[dict[str, Any]]) -> str:
    """Say of how many labelled values the pipeline gives one: agreement is of those alone."""
    given, missing = (sum(r[n] for r in own if pd.notna(r[n])) for n in ("n_pairs", "n_not_detected"))
    return f", in the {given} of {given + missing} that have a value" if missing else ""


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
        low, high = _off_by(own)
        said = unit(own[0]["unit"], name)
        known = pd.notna(low) and pd.notna(high)
        evidence = (
            f"off by {number_text(low, 2)} to {number_text(high, 2)}{' ' + said if said else ''}"
            if known
            else (f"off by {number_text(own[0]['bias'], 2)}{' ' + said if said else ''} on average; too few for limits")
        )
        evidence += _where_given(own)
        if CANNOT in verdict:
            alone = [r["from_rater_timing"] for r in own if r["validity"] == CANNOT]
            evidence += f"; raters' timing alone makes {number_text(max(alone), 2)}{' ' + said if said else ''}"
        more = [
            f"{kind or 'all'}: ICC(2,1){r.get('of', '')} {interval_text(r, 'icc', 2)}, {number_text(r['bias'], 2)} on "
            f"average, {_counted(r['n_pairs'], 'recording')} of {people_text(r['n_participants'])}"
            for r, (kind, _) in zip(own, by_state, strict=True)
        ]
        if name == _STEP_TIME and known:
            off = max(abs(low), abs(high))
            verdict += f"; below {number_text(_may_be_error(off), 2)} % it may be error"
            more += [
                f"of that {number_text(off, 2)} % are what labels show, and knee curves beside force plates differ by "
                f"{_PLATES_SD:g} points (SD between recordings; docs/method-gait.md)",
                "what other sizes of it mean: see Gait",
            ]
        lines.append(Line(_capital(measured(name)), evidence, _capital(verdict), "; ".join(more)))
    return lines


def _of_elsewhere(foreign: Elsewhere, row: Mapping[str, Any] | None) -> Line:
    """Judge a model that no label of this study taught by those that test it, if any do."""
    if row is None:
        more = f"No label of this study taught or tested it; {foreign.beside}"
        return Line("Normal or limping", foreign.told, "Not known here", more)
    low = row["value_low"]
    if pd.isna(low):
        verdict = _capital(_NOT_SHOWN)
    else:
        verdict = "Yes" if low >= _WEAK_F1 else "With care" if low > _CHANCE else "No better than chance"
    return Line(
        "Normal or limping",
        f"{interval_text(row, 'value', 2)} right; {foreign.told}",
        verdict,
        f"balanced accuracy by time in {people_text(row['n_participants'])} whose labels taught it nothing; "
        f"{foreign.beside}",
    )


def _classes(tables: StudyTables) -> list[Line]:
    scores = tables(EVIDENCE["classifier"])
    own = scores[(scores["scope"] == "pooled") & (scores["trial_type"] == "all")]
    made = own[(own["predictor"] == "classifier") & own["balanced_accuracy_within_gait"].notna()]
    if made.empty:
        foreign = elsewhere_of(tables)
        if foreign is None:
            return []
        return [_of_elsewhere(foreign, tested_here(tables))]
    row = records(made)[0]
    others = own[own["predictor"] != "classifier"]["balanced_accuracy_within_gait"].max()
    low = row["balanced_accuracy_within_gait_low"]
    verdict = "Yes" if pd.isna(others) or low > others else "No better than a simple rule"
    lines = [
        Line(
            "Normal or limping",
            f"{interval_text(row, 'balanced_accuracy_within_gait', 2)} right"
            + (f"; best simple rule {number_text(others, 2)}" if pd.notna(others) else ""),
            _capital(_NOT_SHOWN) if pd.isna(low) else verdict,
            f"balanced accuracy within time found as gait, in {people_text(row['n_participants'])} never seen",
        )
    ]
    if pd.notna(row["side_accuracy"]):
        sure = row["side_accuracy_low"]
        verdict = _capital(_NOT_SHOWN) if pd.isna(sure) else "Yes" if sure >= _WEAK_F1 else "With care"
        lines.append(
            Line("Limping side", f"{interval_text(row, 'side_accuracy', 2)} of limping time right, turns left out",
                 verdict, "the table of states counts what was taken for a turn as missed")
        )  # fmt: skip
    return lines


def _turn_word(row: Mapping[str, Any]) -> str:
    """Judge turns as events are: by the lower limit, which needs people."""
    if pd.isna(row["value_low"]):
        return _capital(_NOT_SHOWN)
    if row["value_low"] >= _WEAK_F1:
        return "Yes"
    return "With care" if row["value"] >= _WEAK_F1 else "No: their edges are off"


def _turns(tables: StudyTables) -> list[Line]:
    states = tables(STATES)
    own = states[(states["recording_id"] == "pooled") & (states["trial_type"] == "turn") & (states["measure"] == "f1")]
    return [
        Line("Turns", f"F1 by time {interval_text(row, 'value', 2)}", _turn_word(row))
        for row in records(own[own["value"].notna()])
        if not tables(CONFUSION).empty
    ]  # fmt: skip


def _events(tables: StudyTables) -> list[Line]:
    events = tables(AGREEMENT)
    own = events[(events["recording_id"] == "pooled") & (events["side"] == "all") & events["f1"].notna()]
    own = own[(own["criterion"] != "overlap") & (own["n_labelled"].fillna(0) > 0)]
    widest = own.sort_values("tolerance", kind="stable").drop_duplicates("trial_type", keep="last")
    lines = []
    for row in records(widest.sort_values("trial_type", kind="stable")):
        low = row["f1_low"]
        kind = EVENT_TYPES.get(str(row["trial_type"]))
        found = f"F1 {interval_text(row, 'f1', 2)} within {number_text(row['tolerance'], 2)} s"
        verdict = _capital(_NOT_SHOWN) if pd.isna(low) else "Yes" if low >= _WEAK_F1 else "With care"
        more = f"{row['n_labelled']} labelled, {people_text(row['n_participants'])}"
        lines.append(Line(_capital(kind.plural if kind else str(row["trial_type"])), found, verdict, more))
    return lines


def _kept_words(row: Mapping[str, Any], promised: float) -> str:
    """Judge a coverage by its own limits: few people may look well and tell little."""
    low = row["coverage_low"]
    if row["coverage"] < promised - _KEPT:
        short = "Its interval is too narrow"
        return short if pd.notna(low) else "With care: it held too seldom here, in too few people to be sure"
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
            f"against a reference angle in {people_text(row['n_participants'])}, bend recordings left out; by range "
            f"below; {KNOWN_COVERAGE}",
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
