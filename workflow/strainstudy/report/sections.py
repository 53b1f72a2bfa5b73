"""The sections of the page in reading order, each from the tables it needs; none where a study has nothing for it."""

from __future__ import annotations

from collections.abc import Collection, Mapping
from typing import Any, Final

import pandas as pd

from ..condition.bridge import ASSUMED_EQUAL_ARMS
from ..gait.verdict import VERDICT_COLUMNS
from ..tables.angles import ANGLES, CALIBRATIONS
from ..tables.classifier import BOUTS, EVIDENCE
from ..tables.gait import GAIT
from ..tables.sensors import SENSOR_HEALTH, SENSORS
from ..tables.standing import CHANGE
from ..tables.swallows import SWALLOW_SUMMARY
from ..tables.validation import EVENTS as AGREEMENT
from ..tables.validation import RATERS, STATES
from ..vocabulary import EVENT_TYPES, GAIT_STATES
from .content import Block, Item, Items, Note, Picture, Section, Text, interval_text, number_text
from .elsewhere import elsewhere_of, tested_here
from .fault_list import fault_list
from .mending import Mending, mendings
from .methods import methods_blocks
from .overview_sections import flow, people, summary
from .people_sections import gait, groups, standing, swallows
from .proof_sections import agreement, classifier
from .results import StudyTables, records
from .sensor_sections import angle_range, bench, calibration
from .spoken import people_text, spoken
from .trust import coarse_labels, trust_lines, unsettled_amounts, weak_amounts
from .words import CAUTIONS, READING

__all__ = ["study_sections"]

_WEAK_F1 = 0.9
"""Pooled F1 below which an event type is listed among what fell short (ours)."""


_NO_THROAT_MODEL = (
    "Swallows were in part told by a rule that needs no labels. No model of throats comes along: no labelled throat "
    "signal of real people is free to be handed on."
)


def cautions() -> Section:
    """Say what this is, with its cautions."""
    blocks: list[Block] = [
        Text(
            "This page was made from the recordings of one study by strainstudy, a pipeline for soft piezoresistive "
            "strain sensors on the bench, on knees and on throats. It holds everything it shows and needs no "
            "network. Every number comes from a table of the results folder, where it stands with its unit and "
            "description."
        ),
        *(Note(f"{caution.words} (Basis: {caution.basis}.)", "caution") for caution in CAUTIONS),
    ]
    return Section("cautions", "Cautions: what this is, and what it is not", tuple(blocks))


def mending(tables: StudyTables, faults: list[Mending]) -> Section | None:
    """List every fault with whom it concerns and its remedy, worst first."""
    if not faults:
        return None
    items = tuple(Item(fault.what, f"{fault.where} {fault.remedy}") for fault in faults)
    return Section("faults", "What to mend", (Text(READING["faults"]), Items(items, ordered=True), *fault_list(tables)))


def shortfalls(
    tables: StudyTables,
    unrecorded: Mapping[str, int] | None = None,
    labelled: Mapping[str, Collection[str]] | None = None,
    *,
    promised: float = 0.9,
) -> Section:
    """Say what the study could not be told.

    Parameters
    ----------
    tables : StudyTables
    unrecorded : mapping of recording to int, optional
        Labels of a side that was not recorded.
    labelled : mapping of recording to collection of str, optional
        Types of event that anybody labelled in it.
    promised : float, optional
        Probability that the interval of an angle is to cover.
    """
    notes: list[Block] = []
    recordings = tables.recordings
    for status, words in (("rejected", "could not be used"), ("degraded", "used although degraded")):
        n = int((recordings["status"] == status).sum())
        if n:
            were = ("was " if n == 1 else "were ") if status == "degraded" else ""
            notes.append(Note(f"{n} of {len(recordings)} recordings {were}{words}: see Flow of recordings.", "fault"))
    notes += _assumed_rest(recordings)
    notes += _unrecorded_sides(unrecorded or {})
    frame = tables(GAIT, *VERDICT_COLUMNS)
    few = int(frame["warning"].notna().sum())
    if few:
        carry = "carries" if few == 1 else "carry"
        notes.append(Note(f"{few} of {len(frame)} gait rows {carry} a warning (mostly fewer than 20 strides)."))
    unsure = int((frame["verdict"].astype(str).str.contains("cannot be told apart")).sum())
    if unsure:
        notes.append(
            Note(
                f"{unsure} {'walk differs' if unsure == 1 else 'walks differ'} between the sides in amplitude only and "
                f"{'has' if unsure == 1 else 'have'} no bend calibration: sensor or gait cannot be told apart."
            )
        )
    notes += _not_recorded(tables)
    notes += _not_labelled(tables, labelled or {})
    notes += _elsewhere(tables)
    if (tables(SWALLOW_SUMMARY)["prediction"] == "rule").any():
        notes.append(Note(_NO_THROAT_MODEL))
    notes += _weak_detection(tables)
    notes += [Note(f"Does not agree with labels: {words}.", "fault") for words in weak_amounts(tables)]
    notes += [Note(words) for words in (*coarse_labels(tables), *unsettled_amounts(tables))]
    notes += _weak_turns(tables)
    notes += _narrow_intervals(tables, promised)
    notes += _sensors_out(tables)
    if not notes:
        notes.append(Text("Nothing fell short of what was asked of it."))
    return Section("shortfalls", "What fell short", tuple(notes))


def _not_recorded(tables: StudyTables) -> list[Note]:
    """Tell what was not recorded, of which nothing can be said, apart from what was recorded and gave nothing."""
    there, recordings = tables.recorded, tables.recordings
    said = []
    if "knees" not in there:
        said.append("No knee was recorded, or none could be used: nothing is said of gait and knee angles.")
    if "throat" not in there:
        said.append("No throat was recorded, or none could be used: nothing is said of swallows.")
    if "bench" not in there:
        said.append("No bench recordings: sensors are not characterised.")
    elif tables(SENSORS).empty:
        said.append("The bench recordings gave no figures: sensors are not characterised.")
    if "knees" in there and tables(CALIBRATIONS).empty and not tables.angles_as_recorded:
        why = (
            "No hold is labelled in the bend recordings, and no reference calibrates"
            if "bends" in there
            else "No bend recordings, and no reference that calibrates"
        )
        said.append(f"{why}: no angle in degrees, amplitudes of two knees cannot be compared.")
    people = recordings[recordings["participant_id"].notna() & (recordings["status"] != "rejected")]
    if len(people) and tables(CHANGE).empty:
        again = bool(people.drop_duplicates(["participant_id", "session_id"])["participant_id"].duplicated().any())
        said.append(
            "No change: nobody has the same measure in two sessions."
            if again
            else "Nobody was recorded in a second session: no change."
        )
    return [Note(words) for words in said]


def _elsewhere(tables: StudyTables) -> list[Note]:
    """Say whose model decided about gait where it is not this study's, and how the published rule stands to it."""
    foreign = elsewhere_of(tables)
    if foreign is None:
        return []
    known = "" if tested_here(tables) else " How well either works on these people nothing says."
    return [
        Note(
            f"Normal and limping: states come from a model {foreign.told}; {foreign.beside}. Look at those walks "
            f"first: a limp that shifts steps without stiffening a knee the rule sees better.{known}"
        )
    ]


_EXPECTED: Final = {
    "knees": ("initial_contact", "toe_off", *GAIT_STATES),
    "bends": ("knee_bend",),
    "throat": ("swallow",),
}
"""What is looked for where it was recorded, and can be labelled."""


def _not_labelled(tables: StudyTables, labelled: Mapping[str, Collection[str]]) -> list[Note]:
    """Tell what was recorded and not labelled, and what was labelled in too few people to learn or to test."""
    agreement = tables(AGREEMENT)
    used = {name for names in labelled.values() for name in names}
    used |= set(agreement.loc[agreement["n_labelled"].fillna(0) > 0, "trial_type"].astype(str))
    states = tables(STATES)
    used |= set(states.loc[states["labelled_seconds"].fillna(0) > 0, "trial_type"].astype(str))
    if not used:
        return (
            [Note("No labels: nothing says how well events were found in this study.")]
            if tables.recorded - {"bench"}
            else []
        )
    notes = []
    missing = [name for point, names in _EXPECTED.items() if point in tables.recorded for name in names]
    missing = [
        (EVENT_TYPES[name].plural if name in EVENT_TYPES else spoken(name)) for name in missing if name not in used
    ]
    if missing:
        notes.append(Note(f"Not labelled, so that nothing says how well it was found: {', '.join(missing)}."))
    if tables(RATERS).empty:
        notes.append(Note("No second rater: nothing says how well people agree among themselves."))
    if "knees" in tables.recorded and tables(EVIDENCE["classifier"]).empty:
        notes.append(Note(_untested_classifier(tables, labelled)))
    return notes


def _untested_classifier(tables: StudyTables, labelled: Mapping[str, Collection[str]]) -> str:
    """Say why there are no scores of a classifier of gait."""
    who = tables.recordings.set_index("recording_id")["participant_id"]
    people: dict[str, set[str]] = {name: set() for name in GAIT_STATES}
    for recording, names in labelled.items():
        for name in set(names) & set(GAIT_STATES):
            people[name].add(str(who.get(recording)))
    counts = {name: len(own) for name, own in people.items()}
    used = set(tables(BOUTS).loc[tables(BOUTS)["trial_type"].isin(GAIT_STATES), "prediction"].dropna())
    ways = {"rule": "published rules", "final": "a stored classifier"}
    told = " and ".join(words for way, words in ways.items() if way in used)
    decided = f" Normal and limping come from {told} here." if told and elsewhere_of(tables) is None else ""
    if not any(counts.values()):
        return f"No labels of normal and limping gait: no classifier was tested.{decided}"
    said = ", ".join(f"{spoken(name)} in {people_text(n) if n else 'nobody'}" for name, n in counts.items())
    return (
        f"Too few people for a classifier of gait to be tested: labelled are {said}; it needs both states, and two "
        f"people or more of whom each can be left out.{decided}"
    )


def _assumed_rest(recordings: pd.DataFrame) -> list[Note]:
    """Tell of resistances that rest on an assumed one."""
    assumed = recordings["notes"].astype(str).str.contains(ASSUMED_EQUAL_ARMS, regex=False)
    if not assumed.any():
        return []
    return [
        Note(
            f"Rest resistance is assumed in {int(assumed.sum())} of {len(recordings)} recordings, to equal r3_ohm: "
            "their sensors have neither r2_ohm nor rest_ohm in sensors.tsv. Ohms, relative change and what is compared "
            "between sensors are known up to a factor; measure each sensor at rest and give rest_ohm.",
            "fault",
        )
    ]


def _unrecorded_sides(unrecorded: Mapping[str, int]) -> list[Note]:
    """Tell of labels that nothing could be compared with."""
    return [
        Note(
            f"{name}: {n} labels are of the side whose knee was not recorded; they are compared with nothing and count "
            "nowhere. Were the sides exchanged in channels.tsv, or in the labels?",
            "fault",
        )
        for name, n in unrecorded.items()
    ]


def _weak_detection(tables: StudyTables) -> list[Note]:
    """Name the event types whose pooled F1 is low even at the widest tolerance scored."""
    events = tables(AGREEMENT)
    timed = events[
        (events["recording_id"] == "pooled") & (events["criterion"] != "overlap") & (events["side"] == "all")
    ]
    widest = timed.sort_values("tolerance", kind="stable").drop_duplicates("trial_type", keep="last")
    weak = widest[pd.to_numeric(widest["f1"]) < _WEAK_F1].sort_values("trial_type", kind="stable")
    return [
        Note(
            f"Pooled F1 of {spoken(row['trial_type'])} is {number_text(row['f1'])} at "
            f"\u00b1{number_text(row['tolerance'], 2)} s, the widest tolerance scored.",
            "fault",
        )
        for row in records(weak)
    ]


def _weak_turns(tables: StudyTables) -> list[Note]:
    """Tell of states, among them turns, whose F1 by time is not shown to be high: by its lower limit, as of events."""
    states = tables(STATES)
    own = states[(states["recording_id"] == "pooled") & (states["measure"] == "f1") & states["value"].notna()]
    notes = []
    for row in records(own.sort_values("trial_type", kind="stable")):
        said = f"F1 by time of {spoken(row['trial_type'])} is {interval_text(row, 'value')}"
        if pd.isna(row["value_low"]):
            notes.append(Note(f"{said}: too few people for limits, so that nothing is shown."))
        elif row["value"] < _WEAK_F1:
            notes.append(Note(f"{said}.", "fault"))
        elif row["value_low"] < _WEAK_F1:
            notes.append(Note(f"{said}: its lower limit is below {_WEAK_F1:g}.", "fault"))
    return notes


def _narrow_intervals(tables: StudyTables, promised: float) -> list[Note]:
    """Name the parts of the knee's range in which the angle's interval holds too seldom, and the worst movement."""
    angles = tables(ANGLES)
    own = angles[(angles["recording_id"] == "pooled") & angles["participant_id"].isna()]
    short = own[pd.to_numeric(own["coverage"]) < promised]
    if short.empty:
        return []
    whole = short["phase"] == "all"
    ranges = short[whole].sort_values(["angle_from", "angle_to"], kind="stable", na_position="first")
    moving = short[~whole].sort_values("coverage", kind="stable").head(1)
    lists = [
        f"{words} {'; '.join(map(_coverage_words, records(rows)))}"
        for words, rows in (("over all movements", ranges), ("worst of the movements,", moving))
        if len(rows)
    ]
    start = f"The {100 * promised:.0f} % interval of the knee angle holds the reference less often than it claims"
    spread = _spread_words(pd.concat([ranges, moving]), promised)
    where = "Every movement and range: validation/angles.tsv."
    return [Note(f"{start}: {'; '.join(lists)}. {spread} {where}", "fault")]


def _coverage_words(row: Mapping[str, Any]) -> str:
    moving = "" if row["phase"] == "all" else f"{row['phase']}, "
    return f"{moving}{angle_range(row)} {100 * row['coverage']:.0f} % of {number_text(row['seconds'], 2)} s"


def _spread_words(named: pd.DataFrame, promised: float) -> str:
    """Say of how many of the coverages named the spread between people shows that they are too low."""
    fewest, most = int(named["n_participants"].min()), int(named["n_participants"].max())
    who = people_text(most) if fewest == most else f"{fewest} to {most} people"
    known = named[named["coverage_low"].notna()]
    if known.empty:
        return f"In {who}, too few to tell more."
    ends = f"{100 * known['coverage_low'].min():.0f} to {100 * known['coverage_high'].max():.0f} %"
    sure = int((known["coverage_high"] < promised).sum())
    settled = f"shows it of {sure} of these {len(named)}" if sure else "does not settle it"
    return f"In {who}; by the spread between them {ends}, which {settled}."


def _when(row: Mapping[str, Any]) -> str:
    where = "on the bench, " if pd.isna(row["participant_id"]) else ""
    return f"{where}{row['session_id']}: {row['reason']}" if pd.notna(row["session_id"]) else f"{where}{row['reason']}"


def _sensors_out(tables: StudyTables) -> list[Note]:
    """Name the sensors that left their control limits."""
    health = tables(SENSOR_HEALTH)
    bad = health[health["flagged"].fillna(value=False).astype(bool)]
    return [
        Note(f"Sensor {sensor} left its limits: {'; '.join(dict.fromkeys(map(_when, records(rows))))}.", "fault")
        for sensor, rows in bad.groupby("sensor_id", sort=True)
    ]


def study_sections(
    tables: StudyTables,
    *,
    settings: Mapping[str, Any],
    pictures: Mapping[str, Picture],
    unrecorded: Mapping[str, int],
    labelled: Mapping[str, Collection[str]],
    recordings: Section | None,
) -> list[Section]:
    """Give all sections in reading order.

    Parameters
    ----------
    tables : StudyTables
    settings : mapping of section to parameters
    pictures : mapping of str to Picture
        Figures by name, as far as the study gives them.
    unrecorded : mapping of recording to int
        Labels of a side that was not recorded.
    labelled : mapping of recording to collection of str
        Types of event that anybody labelled in it.
    recordings : Section or None
        Every recording of a person with where it is drawn.

    Returns
    -------
    list of Section
    """
    promised = settings["calibrate"].prediction_level
    faults, lines = mendings(tables), trust_lines(tables, promised=promised)
    found = [
        summary(tables, faults, lines),
        mending(tables, faults),
        flow(tables),
        people(tables),
        gait(tables, pictures, step_time_limit=settings["verdict"].step_time_limit_percent),
        calibration(tables, pictures),
        swallows(tables, pictures),
        classifier(tables, pictures),
        agreement(tables, pictures, lines),
        *standing(tables, pictures),
        groups(tables),
        bench(tables, pictures),
        recordings,
        shortfalls(tables, unrecorded, labelled, promised=promised),
        Section("methods", "Methods and settings", methods_blocks(settings, tables)),
        cautions(),
    ]
    return [section for section in found if section is not None]
