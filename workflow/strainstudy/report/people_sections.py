"""Sections about people: gait, swallows, published values, change, groups."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, Final

import pandas as pd

from ..gait.verdict import NO_ASYMMETRY, VERDICT_COLUMNS, verdict_words
from ..people.names import page_file as person_file
from ..people.states import came_or_went
from ..review.names import page_file
from ..tables.families import PREDICTION
from ..tables.gait import GAIT
from ..tables.standing import CHANGE, GROUPS, NORMS
from ..tables.swallows import SWALLOW_SUMMARY
from ..tables.validation import PARAMETERS
from ..validate.unvalidated import unvalidated_words
from .content import (
    Block,
    Column,
    Link,
    Note,
    Picture,
    Section,
    Text,
    interval_of,
    number_text,
    pictures_of,
    table_of,
)
from .overview_sections import limping_of
from .results import StudyTables, records
from .spoken import DECIDED, measured, spoken, state, with_unit
from .trust import step_time_sizes
from .words import CAUTIONS, READING

_COUNTED: Final = {NO_ASYMMETRY: "none found"}
"""As the rows beside say it, with what would have been found."""
__all__ = ["gait", "groups", "person_cell", "standing", "swallows"]


def person_cell(row: Mapping[str, Any]) -> str:
    """Name a row's person, with the way to their page."""
    person = row["participant_id"]
    return Link(person, person_file(person)) if isinstance(person, str) else "n/a"


def gait(tables: StudyTables, pictures: Mapping[str, Picture], *, step_time_limit: float) -> Section | None:
    """Gait by person and session, with the verdict on sensor or gait.

    Parameters
    ----------
    tables : StudyTables
    pictures : mapping of str to Picture
        Figures by name.
    step_time_limit : float
        Symmetry index of step time that healthy people may have (setting of the verdict), percent.
    """
    frame = tables(GAIT, PREDICTION, *VERDICT_COLUMNS)
    if frame.empty:
        return None
    frame = tables.with_person(frame)
    verdicts = frame["verdict"].value_counts(dropna=True)
    blocks: list[Block] = [
        Text(READING["gait"]),
        *pictures_of(pictures, "gait", "knee_curves"),
    ]
    if len(verdicts):
        counted = "; ".join(f"{_COUNTED.get(str(word), word)}: {n}" for word, n in sorted(verdicts.items()))
        sizes = step_time_sizes(tables, step_time_limit)
        blocks.append(Text(f"Sensor or gait, rows of n = {len(frame)}: {counted}. {sizes}".rstrip()))
    columns: list[Column] = [
        ("person", person_cell, False),
        ("session", "session_id", False),
        ("recording", _opened, False),
        ("state", lambda r: spoken(r["trial_type"]), False),
        ("decided by", lambda r: spoken(r["prediction"]), False),
        ("strides", "n_strides", True),
        ("cadence (steps per minute)", interval_of("cadence"), False),
        ("stride-time variability, CV (%)", interval_of("stride_time_cv"), False),
        (with_unit("step_time_symmetry_index", "percent"), interval_of("step_time_symmetry_index"), False),
        (with_unit("range_of_motion_symmetry_index", "percent"), interval_of("range_of_motion_symmetry_index"), False),
    ]
    judged: list[Column] = [
        ("recording", _opened, False),
        ("state", lambda r: spoken(r["trial_type"]), False),
        ("sensor or gait", _answer, False),
        ("weaker or limping side", "verdict_side", False),
        ("evidence", "verdict_evidence", False),
    ]
    frame = frame.sort_values(["participant_id", "session_id", "recording_id", "trial_type"], kind="stable")
    blocks.append(table_of(frame, "Walks, with 95 % intervals of the person's usual value that day", columns))
    if len(verdicts):
        blocks.append(table_of(frame, "Sensor or gait, walk by walk, with the evidence", judged, folded=True))
    return Section("gait", "Gait", tuple(blocks))


def _answer(row: Mapping[str, Any]) -> str:
    """Write the verdict of a row; where none was found, from which asymmetry on one would have been."""
    return "n/a" if pd.isna(row["verdict"]) else verdict_words(row)


def _opened(row: Mapping[str, Any]) -> Link:
    """Give a recording as a link to the page on which it is looked at."""
    return Link(str(row["recording_id"]), page_file(str(row["recording_id"])))


def swallows(tables: StudyTables, pictures: Mapping[str, Picture]) -> Section | None:
    """Swallows by recording."""
    summary = tables(SWALLOW_SUMMARY)
    if summary.empty:
        return None
    summary = tables.with_person(summary)
    blocks: list[Block] = [Text(READING["swallows"]), Note(CAUTIONS[1].words, "caution")]
    counts = summary["prediction"].value_counts()
    said = [f"in {counts[word]} {words}" for word, words in DECIDED.items() if word in counts]
    if said:
        blocks.append(Text(f"Recordings in which movements of the throat were judged, and by what: {'; '.join(said)}."))
    blocks += pictures_of(pictures, "swallows")
    columns: list[Column] = [
        ("recording", _opened, False),
        ("task", "task", False),
        ("swallows", "swallow_count", True),
        ("swallows per minute", interval_of("rate"), False),
        ("duration (s)", "duration_mean", True),
        ("time between (s)", "interval_mean", True),
        ("water per swallow (ml)", "volume_per_swallow", True),
        ("drinking speed (ml/s)", "swallowing_speed", True),
        ("what speaks against it", lambda r: _or_nothing(r["sensor_note"]), False),
    ]
    blocks.append(table_of(summary, "Recordings of a throat; rate with 95 % limits of a Poisson count", columns))
    return Section("swallows", "Swallows", tuple(blocks))


def _or_nothing(word: Any) -> str:
    return "" if word is None or pd.isna(word) else str(word)


def standing(tables: StudyTables, pictures: Mapping[str, Picture]) -> list[Section]:
    """Norms, change between sessions, groups."""
    sections = []
    norms = pictures.get("norms")
    if norms is not None:
        coarse = unvalidated_words(tables(PARAMETERS), measured)
        known = (Note(coarse),) if coarse else ()
        blocks = (Text(READING["norms"]), *known, norms, *_sources_at_odds(tables))
        sections.append(Section("norms", "Beside published values", blocks))
    change = pictures.get("change")
    if change is not None:
        table = tables(CHANGE)
        marked = [table[name].fillna(value=False).astype(bool) for name in ("exceeds", "lead")]
        beyond = table[marked[0] & marked[1]]
        columns: list[Column] = [
            ("person", person_cell, False),
            ("measure", lambda r: with_unit(r["measure"], r["unit"]), False),
            ("state", lambda r: state(r["trial_type"]), False),
            ("walkway", "walkway", False),
            ("sessions", lambda r: f"{r['session_id']} to {r['later_session_id']}", False),
            ("change", interval_of("change"), False),
            ("detectable from", "minimal_detectable_change", True),
            ("published by others", _published_change, False),
            ("beyond what", "error_kind", False),
        ]
        listed = table_of(beyond, "Changes beyond it, one measure a family", columns)
        blocks = (Text(READING["change"]), *_states_of_gait(tables), change, listed)
        sections.append(Section("change", "Change between sessions", blocks))
    return sections


def _states_of_gait(tables: StudyTables) -> tuple[Block, ...]:
    """Name the people of whom a state of gait came or went, which no change of a measure tells."""
    walked = limping_of(tables)
    said = []
    for person, own in walked.groupby("participant_id", sort=True):
        visits = [(str(r["session_id"]), float(r["normal"]), float(r["limping"])) for r in records(own)]
        said += [f"{person}, {words}" for words in came_or_went(visits)]
    if not said:
        return ()
    return (Note(f"States of gait that came or went, of which no measure here tells: {'; '.join(said)}.", "fault"),)


def _sources_at_odds(tables: StudyTables) -> tuple[Block, ...]:
    """Show every source of each measure that its sources disagree on, so that the spread between them shows."""
    norms = tables(NORMS)
    norms = norms.assign(measure=norms["measure"].str.replace(r"_(?:left|right|size)$", "", regex=True))
    at_odds = norms.loc[norms["sources_disagree"].notna(), "measure"]
    own = norms[norms["measure"].isin(at_odds)]
    own = own.drop_duplicates(["measure", "source", "population"]).sort_values(
        ["measure", "published_mean", "published_low", "source"], kind="stable"
    )
    if own.empty:
        return ()
    columns: list[Column] = [
        ("measure", lambda r: with_unit(r["measure"], r["unit"]), False),
        ("published for", "population", False),
        ("mean", "published_mean", True),
        ("range, from", "published_low", True),
        ("to", "published_high", True),
        ("places people", "counts", False),
        ("how known", lambda r: spoken(r["source_read"]), False),
        ("source", "source", False),
    ]
    caption = "All sources of the measures whose sources contradict each other"
    return (Text(READING["norms_at_odds"]), table_of(own, caption, columns, folded=True))


def _published_change(row: Mapping[str, Any]) -> str:
    low, high = (number_text(row[f"published_detectable_{end}"]) for end in ("low", "high"))
    return low if low == high else f"{low} to {high}"


def groups(tables: StudyTables) -> Section | None:
    """Show groups side by side."""
    frame = tables(GROUPS)
    own = frame[frame["other_group"].notna() & frame["hedges_g"].notna()]
    if own.empty:
        return None
    columns: list[Column] = [
        ("measure", lambda r: with_unit(r["measure"], r["unit"]), False),
        ("session", "session_id", False),
        ("state", lambda r: state(r["trial_type"]), False),
        ("walkway", "walkway", False),
        ("group", lambda r: f"{r['group']}, n = {r['n']}", False),
        ("mean", interval_of("mean"), False),
        ("other group", lambda r: f"{r['other_group']}, n = {r['other_n']}", False),
        ("its mean", interval_of("other_mean"), False),
        ("difference", interval_of("difference"), False),
        ("difference in SDs (Hedges' g; positive: the first is larger)", interval_of("hedges_g"), False),
    ]
    words = (
        "One value per person and session. Described, not tested: nothing is adjusted for age, sex or the number of "
        "comparisons. Sides are the affected and the other one; of people without an affected side, the mean of both. "
        "Groups of fewer than 3 people are not compared."
    )
    return Section(
        "groups",
        "Groups",
        (Text(words), table_of(own, "Group means with 95 % intervals", columns)),
    )
