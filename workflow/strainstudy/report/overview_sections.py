"""The first screen, the flow of recordings, and the people: who was measured, what came out, whether to believe it.

In: result tables. Out: sections. The first screen holds at most as much as a reader takes in half a minute.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping
from typing import Any, Final

import pandas as pd

from ..gait.verdict import VERDICT_COLUMNS, verdict_words
from ..people.states import MAINLY
from ..tables.angles import CALIBRATIONS
from ..tables.classifier import BOUTS
from ..tables.gait import GAIT
from ..tables.sensors import SENSORS
from ..tables.standing import GROUPS
from ..tables.swallows import SWALLOW_SUMMARY
from ..vocabulary import BENCH_TASKS, GAIT_STATES
from .content import (
    Block,
    Cards,
    Column,
    Item,
    Items,
    Link,
    Note,
    Section,
    Table,
    Text,
    interval_text,
    number_text,
    table_of,
)
from .mending import Mending
from .results import StudyTables, records, usable_minutes
from .spoken import people_text, spoken, state, with_unit
from .trust import Line

__all__ = ["flow", "limping_of", "people", "summary"]

_FIRST_FAULTS: Final = 5
"""Faults on the first screen; the section on faults has all (ours)."""
_OUTCOMES: Final = {
    "cadence": "cadence (steps per minute)",
    "stride_time_cv": "stride-time variability (%)",
    "step_time_log_ratio_size": with_unit("step_time_log_ratio_size", "percent"),
    "range_of_motion_log_ratio_size": with_unit("range_of_motion_log_ratio_size", "percent"),
    "spontaneous_swallow_rate": "swallows unasked (per minute)",
    "volume_per_swallow": "water per swallow (ml)",
}
"""Main measures with their shortest words; asymmetries without sign, as sides cancel in a group."""
_FEWEST: Final = 3
"""People of a group from whom on its interval is shown at a glance (ours)."""
_MOST_LINES: Final = 11
"""Lines on belief on the first screen (ours)."""
_MOST_GROUPS: Final = 4
"""Groups side by side on the first screen (ours)."""
_MOST_NAMED: Final = 10
"""People named on the first screen (ours)."""
_USES: Final = {
    "gait measures": GAIT, "knee calibration": CALIBRATIONS, "swallows": SWALLOW_SUMMARY,
}  # fmt: skip


def _minutes(recordings: pd.DataFrame) -> float:
    return float(recordings["duration"].fillna(0).sum()) / 60.0


def _of_people(recordings: pd.DataFrame) -> pd.DataFrame:
    return recordings[recordings["participant_id"].notna() & ~recordings["task"].isin(BENCH_TASKS)]


def limping_of(tables: StudyTables) -> pd.DataFrame:
    """Give, for each person and session, seconds of normal and limping gait, and of limping by side.

    Returns
    -------
    DataFrame
        ``participant_id``, ``session_id``, ``normal``, ``limping``, ``left``, ``right``, ``prediction``.
    """
    bouts = tables(BOUTS)
    bouts = tables.with_person(bouts[bouts["trial_type"].isin(GAIT_STATES)])
    bouts = bouts[bouts["participant_id"].notna()]
    limping = bouts["trial_type"] == "limping_gait"
    seconds = bouts["duration"].astype(float)
    frame = bouts.assign(
        normal=seconds.where(~limping, 0.0),
        limping=seconds.where(limping, 0.0),
        left=seconds.where(limping & (bouts["limping_side"] == "left"), 0.0),
        right=seconds.where(limping & (bouts["limping_side"] == "right"), 0.0),
    )
    summed = frame.groupby(["participant_id", "session_id"], sort=True)[["normal", "limping", "left", "right"]].sum()
    decided = frame.groupby(["participant_id", "session_id"], sort=True)["prediction"].agg(
        lambda words: ", ".join(sorted({spoken(w) for w in words if pd.notna(w)}))
    )
    return summed.join(decided).reset_index()


def _limp_words(row: Mapping[str, Any]) -> str:
    walked = row["normal"] + row["limping"]
    share = row["limping"] / walked if walked else 0.0
    if not walked:
        return "no walking"
    if share <= 1.0 - MAINLY:
        return "no limp" if not row["limping"] else f"no limp but for {row['limping']:.0f} s"
    side = "side unclear" if row["left"] == row["right"] else "left" if row["left"] > row["right"] else "right"
    part = "" if share >= MAINLY else f", {100 * share:.0f} % of walking"
    return f"limping {side}{part}"


def _who(tables: StudyTables) -> Section:
    recordings = tables.recordings
    own, bench = _of_people(recordings), recordings[recordings["task"].isin(BENCH_TASKS)]
    persons = own.drop_duplicates("participant_id")
    counted = persons["group"].value_counts()
    groups = ", ".join(f"{name} {n}" for name, n in sorted(counted.items()))
    sessions = own[["participant_id", "session_id"]].drop_duplicates()
    visits = sessions["session_id"].value_counts()
    by_session = ", ".join(f"{name} {people_text(n)}" for name, n in sorted(visits.items()))
    items = [
        Item(people_text(len(persons)), f"({groups})." if groups else ""),
        Item(f"{len(sessions)} visit{'' if len(sessions) == 1 else 's'}:", f"{by_session}."),
        Item(
            f"{usable_minutes(own):.0f} of {_minutes(own):.0f} minutes usable,",
            f"in {int((own['status'] != 'rejected').sum())} of {len(own)} recordings; "
            f"{int((own['status'] == 'degraded').sum()) or 'none'} of them degraded.",
            Link("Flow of recordings", "#flow"),
        ),
    ]
    walked = limping_of(tables)
    if len(walked):
        limps = walked[walked["limping"] > (1.0 - MAINLY) * (walked["limping"] + walked["normal"])]
        said = []
        for session, rows in limps.groupby("session_id", sort=True):
            who = [f"{row['participant_id']} {_limp_side(row)}".strip() for row in records(rows)]
            said.append(f"{session}: {', '.join(who) if len(who) <= _MOST_NAMED else f'{len(who)} people'}")
        items.append(
            Item("Limping, with the side:", "; ".join(said) + "." if said else "nobody.", Link("All people", "#people"))
        )
    if len(bench):
        sensors, n = tables(SENSORS)["sensor_id"].nunique(), len(bench)
        items.append(
            Item(f"{sensors} sensor{'' if sensors == 1 else 's'}", f"in {n} bench recording{'' if n == 1 else 's'}.")
        )
    return Section("summary-who", "Who was measured", (Items(tuple(items)),))


def _limp_side(row: Mapping[str, Any]) -> str:
    return "" if row["left"] == row["right"] else "left" if row["left"] > row["right"] else "right"


def _outcomes(tables: StudyTables) -> Section:
    frame = tables(GROUPS)
    sessions = sorted({str(s) for s in frame["session_id"].dropna()})
    if not sessions:
        return Section("summary-outcomes", "What came out", (Text("No measure of people: see what fell short."),))
    frame = frame[(frame["session_id"] == sessions[0]) & frame["measure"].isin(list(_OUTCOMES))]
    halves = [frame[["measure", "trial_type", "unit", "group", "n", "mean", "mean_low", "mean_high"]]]
    other = frame[frame["other_group"].notna()]
    renamed = other[["measure", "trial_type", "unit"]].assign(
        group=other["other_group"], n=other["other_n"], mean=other["other_mean"],
        mean_low=other["other_mean_low"], mean_high=other["other_mean_high"],
    )  # fmt: skip
    values = pd.concat([*halves, renamed]).drop_duplicates(["measure", "trial_type", "group"])
    groups = sorted({str(g) for g in values["group"].dropna()})[:_MOST_GROUPS]
    rows = []
    for measure, words in _OUTCOMES.items():
        own = values[values["measure"] == measure]
        for kind in sorted({state(s) for s in own["trial_type"]}, reverse=True):
            cells = []
            for group in groups:
                found = own[(own["group"] == group) & (own["trial_type"].map(state) == kind)]
                cells.append(_mean_words(records(found)[0]) if len(found) else "n/a")
            if any(cell != "n/a" for cell in cells):
                rows.append((words, kind.removesuffix(" gait"), *cells))
    caption = f"Means of people, {sessions[0]}; 95 % interval over people where there are {_FEWEST}, cut at 0"
    header = ("measure", "gait", *groups)
    table = Table(caption, header, tuple(rows), ("text", "short", *("short",) * len(groups)))
    more = Text("", Link("All sessions and measures", "#groups"))
    nothing = Text("None of the main measures is here; others may be.")
    return Section("summary-outcomes", "What came out", (table if rows else nothing, more))


def _mean_words(row: Mapping[str, Any]) -> str:
    """Write a group's mean; of fewer than three people an interval says nothing."""
    said = interval_text(row, "mean", 2) if row["n"] >= _FEWEST else number_text(row["mean"], 2)
    return f"{said}, n {row['n']}"


def _trust(lines: list[Line]) -> Section:
    if not lines:
        blocks: tuple[Block, ...] = (
            Text("Nothing in this study says: it has no labels and no reference angle. Label a few recordings."),
        )
    else:
        rows = tuple((line.outcome, line.evidence, line.verdict) for line in lines[:_MOST_LINES])
        caption = (
            "Against this study's labels and references; off by: 95 of 100 recordings lie between these limits; of the "
            "knee angle the root mean square"
        )
        blocks = (
            Table(caption, ("", "evidence", "believe it?"), rows, ("text", "text", "text")),
            Text("", Link("Why, and what else", "#agreement")),
        )
    return Section("summary-trust", "Whether to believe it", blocks)


def _mend(faults: list[Mending]) -> Section:
    if not faults:
        return Section("summary-mend", "What to mend first", (Text("Nothing: no fault was found."),))
    items = tuple(Item(f"{f.what}", f"{f.where} {f.remedy}") for f in faults[:_FIRST_FAULTS])
    more = Text("", Link("The fault, whole" if len(faults) == 1 else f"All {len(faults)} faults", "#faults"))
    return Section("summary-mend", "What to mend first", (Items(items, ordered=True), more))


def summary(tables: StudyTables, faults: list[Mending], lines: list[Line]) -> Section:
    """Give the first screen.

    Parameters
    ----------
    tables : StudyTables
    faults : list of Mending
        Worst first.
    lines : list of Line
        What speaks for and against each main outcome.
    """
    if tables.recordings.empty:
        return Section("summary", "At a glance", (Note("No recording was read.", "fault"),))
    cards = (_who(tables), _mend(faults), _outcomes(tables), _trust(lines))
    return Section("summary", "At a glance", (Cards(cards),))


def _percent(share: float, decimals: int) -> str:
    """Write a share in percent as the reason beside it does, so that one number is printed in one way."""
    return "n/a" if pd.isna(share) else f"{share:.{decimals}%}".removesuffix("%")


def flow(tables: StudyTables) -> Section | None:
    """Show what became of every recording, by task: rejected and why, degraded and why, used for what."""
    recordings = tables.recordings
    if recordings.empty:
        return None
    uses: dict[str, set[str]] = {name: set() for name in _USES}
    uses["gait measures"] = set(tables(GAIT)["recording_id"].astype(str))
    counted = tables(SWALLOW_SUMMARY)
    uses["swallows"] = set(counted.loc[counted["swallow_count"].notna(), "recording_id"].astype(str))
    fitted = tables(CALIBRATIONS)
    fitted = fitted[fitted["status"] == "fitted"]
    made = set(zip(fitted["participant_id"], fitted["session_id"], strict=True))
    bends = recordings[recordings["task"] == "bend"]
    uses["knee calibration"] = {
        str(r["recording_id"]) for r in records(bends) if (r["participant_id"], r["session_id"]) in made
    }
    uses["sensors on the bench"] = set(recordings.loc[recordings["task"].isin(BENCH_TASKS), "recording_id"].astype(str))
    usable = recordings[recordings["status"] != "rejected"]
    rows = []
    for task, own in recordings.groupby("task", sort=True):
        names = set(usable.loc[usable["task"] == task, "recording_id"].astype(str))
        used = [f"{what} {n}" for what, of in uses.items() if (n := len(of & names))]
        counts = [int((own["status"] == kind).sum()) for kind in ("rejected", "degraded", "good")]
        rows.append(
            (str(task), str(len(own)), *(str(n) for n in counts), number_text(_minutes(own)),
             number_text(usable_minutes(own)), "; ".join(used) or "nothing")
        )  # fmt: skip
    total = [sum(int(row[k]) for row in rows) for k in range(1, 5)]
    rows.append(
        ("all", *map(str, total), number_text(_minutes(recordings)), number_text(usable_minutes(recordings)), "")
    )
    header = ("task", "recorded", "rejected", "degraded", "good", "minutes", "minutes usable", "used for (recordings)")
    table = Table("Recordings by task: what became of them", header, tuple(rows), ("short", *("number",) * 6, "text"))
    blocks: list[Block] = [table]
    for status, words in (("rejected", "Rejected, and why"), ("degraded", "Degraded: used, and with what care")):
        odd = recordings[recordings["status"] == status]
        if len(odd):
            columns: list[Column] = [
                ("recording", "recording_id", False),
                ("minutes", lambda r: number_text(r["duration"] / 60.0), True),
                ("missing (%)", lambda r: _percent(r["missing_fraction"], 1), True),
                ("cut off (%)", lambda r: _percent(r["clipped_fraction"], 2), True),
                ("why", "status_description", False),
            ]  # fmt: skip
            blocks.append(table_of(odd, words, columns))
    return Section("flow", "Flow of recordings", tuple(blocks))


def people(tables: StudyTables) -> Section | None:
    """Show each person's visits: who, how much, how they walked and swallowed, and what was wrong."""
    own = _of_people(tables.recordings)
    if own.empty:
        return None
    walked = {(r["participant_id"], r["session_id"]): r for r in records(limping_of(tables))}
    counted = tables.with_person(tables(SWALLOW_SUMMARY))
    counted = counted[counted["volume"].isna() & counted["swallow_count"].notna()]
    swallowed = {
        key: (float(rows["swallow_count"].sum()), float(rows["observed_time"].sum()))
        for key, rows in counted.groupby(["participant_id", "session_id", counted["task"].eq("free")], sort=True)
    }
    verdicts = tables.with_person(tables(GAIT, *VERDICT_COLUMNS))
    judged: dict[tuple[Any, Any], set[str]] = {}
    for r in records(verdicts[verdicts["verdict"].notna()]):
        judged.setdefault((r["participant_id"], r["session_id"]), set()).add(verdict_words(r))
    rows = []
    for (person, session), visit in own.groupby(["participant_id", "session_id"], sort=True):
        row = walked.get((person, session))
        rates = []
        for unasked in (True, False):
            count, seconds = swallowed.get((person, session, unasked), (0.0, 0.0))
            rates.append(number_text(60.0 * count / seconds, 2) if seconds else "n/a")
        said = judged.get((person, session), set())
        odd = visit[visit["status"] != "good"]
        told = Counter(f"{task} {status}" for task, status in zip(odd["task"], odd["status"], strict=True))
        wrong = [words + (f" ({n} recordings)" if n > 1 else "") for words, n in told.items()]
        flags = visit["sensor_flag"].dropna().astype(str)
        wrong += sorted({f"{flag.split(':')[0]} outside its limits" for text in flags for flag in text.split("; ")
                         if flag.startswith("sensor ")})  # fmt: skip
        rows.append(
            (
                str(person), str(session), spoken(visit["group"].iloc[0]),
                spoken(visit["affected_side"].iloc[0]), number_text(usable_minutes(visit)),
                _limp_words(row) if row else "no walking", row["prediction"] if row else "n/a",
                "; ".join(sorted(said)) or "n/a", *rates, "; ".join(wrong) or "none",
            )
        )  # fmt: skip
    header = ("person", "session", "group", "affected side", "minutes usable", "walking", "decided by",
              "is it sensor or gait?", "swallows per minute, unasked",
              "swallows per minute, task", "wrong in the recordings")  # fmt: skip
    keep = [k for k, _ in enumerate(header) if not all(row[k] == "n/a" for row in rows)]
    looks = ("short", "short", "short", "short", "number", "text", "text", "text", "number", "number", "text")
    table = Table(
        "People by session", tuple(header[k] for k in keep), tuple(tuple(row[k] for k in keep) for row in rows),
        tuple(looks[k] for k in keep),
    )  # fmt: skip
    return Section("people", "People", (table,))
