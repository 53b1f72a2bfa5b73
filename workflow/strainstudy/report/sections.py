"""The sections of the page in reading order, each from the tables it needs; none where a study has nothing for it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

import pandas as pd

from ..condition.bridge import ASSUMED_EQUAL_ARMS
from ..gait.verdict import VERDICT_COLUMNS
from ..io.store import Trace
from ..tables.angles import CALIBRATIONS
from ..tables.classifier import EVIDENCE
from ..tables.gait import GAIT
from ..tables.sensors import SENSORS
from ..tables.standing import CHANGE
from ..tables.validation import EVENTS as AGREEMENT
from ..tables.validation import RATERS
from ..validate.row_frames import LabelsByRater
from ..validate.unrecorded import unrecorded_counts
from .content import Block, Note, Section, Text, number_text, table_of
from .fault_list import fault_list
from .methods import methods_blocks
from .people_sections import gait, groups, standing, swallows
from .proof_sections import agreement, classifier
from .results import StudyTables, records
from .sensor_sections import bench, calibration
from .words import CAUTIONS, READING

__all__ = ["study_sections"]

_WEAK_F1 = 0.9
"""Pooled F1 below which an event type is listed among what fell short (ours)."""


def about() -> Section:
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
    return Section("about", "What this is, and what it is not", tuple(blocks))


def glance(tables: StudyTables) -> Section:
    """People, recordings, and why some were set aside."""
    recordings = tables.recordings
    if recordings.empty:
        return Section("glance", "The study at a glance", (Note("No recording was read.", "fault"),))
    by = recordings.groupby(["task", "status"]).size().reset_index(name="count")
    by = by.pivot_table(index="task", columns="status", values="count", fill_value=0)
    for status in ("good", "degraded", "rejected"):
        if status not in by:
            by[status] = 0
    seen = recordings["duration"] * (1 - recordings["missing_fraction"])
    minutes = seen.groupby(recordings["task"]).sum() / 60.0
    rows = by[["good", "degraded", "rejected"]].astype("int64").assign(minutes=minutes).reset_index()
    people = recordings["participant_id"].nunique()
    sessions = recordings.dropna(subset=["participant_id"])[["participant_id", "session_id"]].drop_duplicates()
    words = (
        f"{people} people in {len(sessions)} sessions, {len(recordings)} recordings, "
        f"{recordings['duration'].sum() / 3600.0:.1f} hours."
    )
    if recordings["group"].notna().any():
        groups = recordings.dropna(subset=["participant_id"]).drop_duplicates("participant_id")["group"].value_counts()
        words += " Groups: " + ", ".join(f"{name} {n}" for name, n in sorted(groups.items())) + "."
    blocks: list[Block] = [
        Text(words),
        table_of(
            rows,
            "Recordings by task and status",
            [
                ("task", "task", False),
                ("good", "good", True),
                ("degraded", "degraded", True),
                ("rejected", "rejected", True),
                ("minutes observed", "minutes", True),
            ],
        ),
    ]
    blocks += fault_list(tables)
    return Section("glance", "The study at a glance", tuple(blocks))


def shortfalls(tables: StudyTables, labels: LabelsByRater | None = None) -> Section:
    """Say what the study could not be told."""
    notes: list[Block] = []
    recordings = tables.recordings
    for status, words in (("rejected", "could not be used"), ("degraded", "were used in part")):
        n = int((recordings["status"] == status).sum())
        if n:
            notes.append(Note(f"{n} of {len(recordings)} recordings {words}: see The study at a glance.", "fault"))
    notes += _assumed_rest(recordings)
    notes += _unrecorded_sides(recordings, labels or {})
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


def _unrecorded_sides(recordings: pd.DataFrame, labels: LabelsByRater) -> list[Note]:
    """Tell of labels that nothing could be compared with."""
    return [
        Note(
            f"{name}: {n} labels are of the side whose knee was not recorded; they are compared with nothing and count "
            "nowhere. Were the sides exchanged in channels.tsv, or in the labels?",
            "fault",
        )
        for name, n in unrecorded_counts(labels, recordings).items()
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
            f"Pooled F1 of {str(row['trial_type']).replace('_', ' ')} is {number_text(row['f1'])} at "
            f"\u00b1{number_text(row['tolerance'], 2)} s, the widest tolerance scored.",
            "fault",
        )
        for row in records(weak)
    ]


def study_sections(
    tables: StudyTables,
    *,
    labels: Mapping[str, Mapping[str, pd.DataFrame]],
    settings: Mapping[str, Any],
    bench_traces: Mapping[str, Mapping[str, Trace]],
    recordings: Sequence[Section],
    folder: Path,
) -> list[Section]:
    """Give all sections in reading order.

    Parameters
    ----------
    tables : StudyTables
    labels : mapping of recording to rater to DataFrame
    settings : mapping of section to parameters
    bench_traces : mapping of recording to tracked point to Trace
    recordings : sequence of Section
        One per participant, with a drawing of each recording.
    folder : Path
        Where figures are written.

    Returns
    -------
    list of Section
    """
    traces = Section("recordings", "Recordings", (Text(READING["recordings"]),), tuple(recordings))
    found = [
        about(),
        glance(tables),
        gait(tables, folder),
        swallows(tables, folder),
        classifier(tables, folder),
        agreement(tables, folder),
        *standing(tables, folder),
        groups(tables),
        calibration(tables, labels, folder),
        bench(tables, bench_traces, folder),
        traces if recordings else None,
        shortfalls(tables, labels),
        Section("methods", "Methods and settings", methods_blocks(settings, tables)),
    ]
    return [section for section in found if section is not None]
