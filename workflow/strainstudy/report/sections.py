"""The sections of the page in reading order, each from the tables it needs; none where a study has nothing for it."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import pandas as pd

from ..condition.bridge import ASSUMED_EQUAL_ARMS
from ..gait.verdict import VERDICT_COLUMNS
from ..tables.angles import ANGLES, CALIBRATIONS
from ..tables.classifier import EVIDENCE
from ..tables.gait import GAIT
from ..tables.sensors import SENSOR_HEALTH, SENSORS
from ..tables.standing import CHANGE
from ..tables.validation import EVENTS as AGREEMENT
from ..tables.validation import RATERS, STATES
from .content import Block, Item, Items, Note, Picture, Section, Text, interval_text, number_text
from .fault_list import fault_list
from .mending import Mending, mendings
from .methods import methods_blocks
from .overview_sections import flow, people, summary
from .people_sections import gait, groups, standing, swallows
from .proof_sections import agreement, classifier
from .results import StudyTables, records
from .sensor_sections import angle_range, bench, calibration
from .spoken import spoken
from .trust import trust_lines, weak_amounts
from .words import CAUTIONS, READING

__all__ = ["study_sections"]

_WEAK_F1 = 0.9
"""Pooled F1 below which an event type is listed among what fell short (ours)."""


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


def shortfalls(tables: StudyTables, unrecorded: Mapping[str, int] | None = None, *, promised: float = 0.9) -> Section:
    """Say what the study could not be told."""
    notes: list[Block] = []
    recordings = tables.recordings
    for status, words in (("rejected", "could not be used"), ("degraded", "were used in part")):
        n = int((recordings["status"] == status).sum())
        if n:
            notes.append(Note(f"{n} of {len(recordings)} recordings {words}: see Flow of recordings.", "fault"))
    notes += _assumed_rest(recordings)
    notes += _unrecorded_sides(unrecorded or {})
    frame = tables(GAIT, *VERDICT_COLUMNS)
    few = int(frame["warning"].notna().sum())
    if few:
        notes.append(Note(f"{few} of {len(frame)} gait rows carry a warning (mostly fewer than 20 strides)."))
    unsure = int((frame["verdict"].astype(str).str.contains("cannot be told apart")).sum())
    if unsure:
        notes.append(
            Note(
                f"{unsure} walks differ between the sides in amplitude only and have no bend calibration: sensor or "
                "gait cannot be told apart."
            )
        )
    for spec, words in (
        (AGREEMENT, "No labels: nothing says how well events were found in this study."),
        (RATERS, "No second rater: nothing says how well people agree among themselves."),
        (SENSORS, "No bench recordings: sensors are not characterised."),
        (CALIBRATIONS, "No bend recordings: no angle in degrees, amplitudes of two knees cannot be compared."),
        (CHANGE, "No second session: no change."),
        (EVIDENCE["classifier"], "No labels of limping and normal gait: states come from published rules only."),
    ):
        if tables(spec).empty:
            notes.append(Note(words))
    notes += _weak_detection(tables)
    notes += [Note(f"Does not agree with labels: {words}.", "fault") for words in weak_amounts(tables)]
    notes += _weak_turns(tables)
    notes += _narrow_intervals(tables, promised)
    notes += _sensors_out(tables)
    if not notes:
        notes.append(Text("Nothing fell short of what was asked of it."))
    return Section("shortfalls", "What fell short", tuple(notes))


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
    """Tell of states that are found badly by time, among them turns."""
    states = tables(STATES)
    own = states[(states["recording_id"] == "pooled") & (states["measure"] == "f1")]
    weak = own[pd.to_numeric(own["value"]) < _WEAK_F1].sort_values("trial_type", kind="stable")
    return [
        Note(f"F1 by time of {spoken(row['trial_type'])} is {interval_text(row, 'value')}.", "fault")
        for row in records(weak)
    ]


def _narrow_intervals(tables: StudyTables, promised: float) -> list[Note]:
    """Name the parts of the knee's range in which the interval of the angle holds the reference too seldom."""
    angles = tables(ANGLES)
    own = angles[(angles["recording_id"] == "pooled") & angles["participant_id"].isna() & (angles["phase"] == "all")]
    short = own[pd.to_numeric(own["coverage"]) < promised]
    return [
        Note(
            f"The {100 * promised:.0f} % interval of the knee angle holds the reference in "
            f"{100 * row['coverage']:.0f} % of the time {angle_range(row)} ({row['n_participants']} people).",
            "fault",
        )
        for row in records(short)
    ]


def _sensors_out(tables: StudyTables) -> list[Note]:
    """Name the sensors that left their control limits."""
    health = tables(SENSOR_HEALTH)
    bad = health[health["flagged"].fillna(value=False).astype(bool)]
    return [
        Note(f"Sensor {sensor} left its limits: {'; '.join(sorted({str(r) for r in rows['reason']}))}.", "fault")
        for sensor, rows in bad.groupby("sensor_id", sort=True)
    ]


def study_sections(
    tables: StudyTables,
    *,
    settings: Mapping[str, Any],
    pictures: Mapping[str, Picture],
    unrecorded: Mapping[str, int],
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
        gait(tables, pictures),
        calibration(tables, pictures),
        swallows(tables, pictures),
        classifier(tables, pictures),
        agreement(tables, pictures, lines),
        *standing(tables, pictures),
        groups(tables),
        bench(tables, pictures),
        recordings,
        shortfalls(tables, unrecorded, promised=promised),
        Section("methods", "Methods and settings", methods_blocks(settings, tables)),
        cautions(),
    ]
    return [section for section in found if section is not None]
