"""The methods section of the paper, from the settings the study ran with and the tables that came of it.

What differs between studies (who was called by what, over what an interval is) is read from the result tables. The
order of steps is written once, beside the names of the functions that take them; a test holds it to the order in
which they are called.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any, Final

import pandas as pd

from ..gait.limits import FALSE_ALARMS
from ..gait.verdict import VERDICT_COLUMNS
from ..settings import describe
from ..tables.angles import CALIBRATIONS
from ..tables.classifier import BOUTS, EVIDENCE
from ..tables.gait import ANSWERS, GAIT
from ..tables.sensors import SENSOR_HEALTH, SENSORS
from ..tables.spec import TableSpec
from ..tables.standing import GROUPS
from ..tables.swallows import SWALLOW_SUMMARY
from ..tables.validation import CONFOUNDERS, PARAMETERS, RATERS, SHAPES, STATES
from ..tables.validation import EVENTS as AGREEMENT
from ..vocabulary import GAIT_STATES, SIDES
from .content import Block, Table, Text
from .elsewhere import elsewhere_of
from .results import StudyTables

__all__ = ["CONDITION_STEPS", "GAIT_STEPS", "METHODS", "methods_blocks"]

Sentence = str | Callable[[StudyTables], str]

CONDITION_STEPS: Final = {
    "find_spikes": "freed of spikes (Hampel)",
    "bridge_gaps": "bridged across short gaps",
    "remove_hum": "freed of mains hum where there was any",
    "lowpass": "low-passed without phase shift (Butterworth, both ways, cutoff corrected for two passes)",
    "resting_drift": "freed of slow drift, which is kept apart",
}
"""Steps of `condition.trace.condition_trace` on a knee, in their order."""
GAIT_STEPS: Final = {
    "local_rhythm": "the rhythm of strides in all knees",
    "choose_swings": "the direction of flexion and one swing for each stride and knee",
    "find_landmarks": "initial contacts and toe-offs beside the swings",
    "find_walks": "bouts of walking",
    "turning": "turns",
    "stride_rows": "strides",
}
"""Steps of `gait.walk.detect_walk`, in their order."""
_INTERVALS: Final[Mapping[TableSpec, str]] = {
    AGREEMENT: "events",
    CONFOUNDERS: "what was taken for a swallow",
    SHAPES: "swallows by response shape",
    STATES: "states",
    RATERS: "raters",
    PARAMETERS: "parameters",
    GROUPS: "groups",
}
"""Tables that say of each row how its interval was made."""


def _calibrate(tables: StudyTables) -> str:
    ways = {
        "holds": "from holds at known angles, one monotone map per sensor and session",
        "reference": "by a reference angle beside them, in the spans that the sheet names",
    }
    used = set(tables(CALIBRATIONS)["source"].dropna())
    said = [words for way, words in ways.items() if way in used]
    return (
        f"Knee sensors were, once conditioned, calibrated to degrees {', or '.join(said)}."
        if said
        else _not_calibrated(tables)
    )


def _not_calibrated(tables: StudyTables) -> str:
    if "knees" not in tables.recorded:
        return "No knee was recorded: there was nothing to calibrate to degrees."
    if tables.angles_as_recorded:
        return "Knee angles were recorded in degrees: there was nothing to calibrate."
    if tables(CALIBRATIONS).empty:
        return "No knee was calibrated to degrees: no bend recording with labelled holds, and no reference angle."
    return "No knee was calibrated to degrees; tables/calibrations.tsv says why of each."


def _of_knees(sentence: str, undone: str) -> Callable[[StudyTables], str]:
    """Give a sentence about knees where there were any, else what was not done."""
    return lambda tables: sentence if "knees" in tables.recorded else f"No knee was recorded: {undone}."


def _health(tables: StudyTables) -> str:
    if tables(SENSOR_HEALTH).empty:
        return "No sensor was followed over the study: no use of one gave a rest resistance, gauge factor or noise."
    return "Rest resistance, gauge factor and noise of each sensor were followed on individuals charts, where measured."


def _verdict(tables: StudyTables) -> str:
    if tables(GAIT, *VERDICT_COLUMNS)["verdict"].isna().all():
        return "No walk let both sides be compared."
    return "Differences between the sides were weighed: could the sensors' gains have made them?"


def _condition(tables: StudyTables) -> str:
    names = [f"answer_time_source_{side}" for side in SIDES]
    gait = tables(GAIT, *ANSWERS)
    told = pd.concat([gait[name] for name in names])
    own = [words for way, words in (("bench", "its bench"), ("reference", "a reference")) if (told == way).any()]
    steps = (
        "Bridge output, where volts were recorded, was turned into resistance by the exact inverse of the bridge "
        "equation and into relative resistance change. Signals were then, in this order, "
        f"{', '.join(CONDITION_STEPS.values())}."
    )
    if not own:
        return steps
    return (
        f"{steps} A sensor's own answering time and hysteresis were undone where {' or '.join(own)} had measured "
        "them, else an assumed time."
    )


def _swallow(tables: StudyTables) -> str:
    ways = {
        "out_of_fold": "by a classifier that never saw the person",
        "final": "by the stored classifier, for people it was not trained on",
        "rule": "by a rule that needs no labels",
    }
    if "throat" not in tables.recorded:
        return "No throat was recorded: no swallow was looked for."
    used = set(tables(SWALLOW_SUMMARY)["prediction"].dropna())
    said = [words for way, words in ways.items() if way in used]
    told = f"told from other movements {'; '.join(said)}" if said else "but none was found"
    return f"Swallow candidates were taken from the continuous throat signal, {told}."


def _classify(tables: StudyTables) -> str:
    ways = {
        "out_of_fold": "in people with labels by a classifier trained with whole participants left out",
        "final": "in people without labels by the classifier of all labelled people or of another study",
        "rule": f"by published limits, without a classifier ({FALSE_ALARMS})",
    }
    foreign = elsewhere_of(tables)
    if foreign is not None:
        ways["final"] = f"by a stored model {foreign.told}, with published limits beside it"
        ways["rule"] = f"where that model lacked too much, by published limits ({FALSE_ALARMS})"
    bouts = tables(BOUTS)
    used = set(bouts.loc[bouts["trial_type"].isin(GAIT_STATES), "prediction"].dropna())
    said = [words for way, words in ways.items() if way in used]
    return (
        f"Normal and limping gait were told apart {'; '.join(said)}."
        if said
        else "No gait was found that could be called normal or limping."
    )


def _bench(tables: StudyTables) -> str:
    if tables(SENSORS).empty:
        there = "bench" in tables.recorded
        why = "its bench recordings gave no figures" if there else "the study has no bench recordings"
        return f"No sensor was characterised: {why}."
    return "Sensors were characterised from cycles, steps and holds of the bench's reference."


def _methods_of(rows: pd.DataFrame) -> str:
    return ", or ".join(rows["interval_method"].dropna().drop_duplicates().sort_values())


def _validate(tables: StudyTables) -> str:
    said = []
    for spec, words in _INTERVALS.items():
        rows = tables(spec)
        rows = rows[~rows["interval_method"].astype(str).str.startswith("none")]
        pooled = rows["recording_id"] == "pooled" if "recording_id" in rows else pd.Series(True, index=rows.index)
        whole = words if pooled.all() else f"{words}, pooled"
        parts = [(whole, rows[pooled]), (f"{words} of one recording", rows[~pooled])]
        said += [f"{what} ({_methods_of(own)})" for what, own in parts if own["interval_method"].notna().any()]
    how = f" Intervals of {', of '.join(said)}." if said else ""
    matched = "Nothing was labelled, so that nothing was compared with labels."
    if len(tables(AGREEMENT)):
        matched = "Detections were matched to labels one to one."
    limits = " Limits of gait measures are over the strides of one recording." if len(tables(GAIT)) else ""
    if len(tables(EVIDENCE["classifier"])):
        limits += " Those of the classifier's scores are over participants."
    return f"{matched}{how}{limits}"


METHODS: Final[Mapping[str, Sentence]] = {
    "ingest": "Raw files were brought to a uniform grid; gaps, repeated and backward time stamps, clipped samples and "
    "disconnected channels were counted, and recordings graded good, degraded or rejected.",
    "calibrate": _calibrate,
    "condition": _condition,
    "gait": _of_knees(
        f"In this order were looked for: {', '.join(GAIT_STEPS.values())}; nothing in units of the signal decided.",
        "no gait was looked for",
    ),
    "bends": _of_knees(
        "Knee bends and holds were looked for where a knee stood out of its own rest, was bent and brought back within "
        "the recording, and did so for longer than a step takes; those within a walk were left out. Their angle is the "
        "median of the plateau where the knee's angle is known.",
        "no bend was looked for",
    ),
    "swallow": _swallow,
    "bench": _bench,
    "health": _health,
    "features": _of_knees(
        "Features were taken from windows of a few strides, in groups kept apart: timing, shape, calibrated amplitude.",
        "there are no features of gait",
    ),
    "classify": _classify,
    "verdict": _verdict,
    "validate": _validate,
    "share": "What a person wrote leaves the lab only in columns that the settings name.",
}
"""A sentence of method for each section of the settings, or what makes it from the result tables."""


def _value(value: Any) -> str:
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, tuple | list):
        return ", ".join(_value(v) for v in value)
    return f"{value:g}" if isinstance(value, float) else str(value)


def methods_blocks(settings: Mapping[str, Any], tables: StudyTables) -> tuple[Block, ...]:
    """Give, for each section of the settings, a sentence of method and its settings with sources.

    Parameters
    ----------
    settings : mapping of str to parameters
        Parameter objects the study ran with, by section.
    tables : StudyTables
        What came of it.

    Returns
    -------
    tuple of Block

    Raises
    ------
    ValueError
        For a section that `METHODS` has no sentence for.
    """
    blocks: list[Block] = []
    for section, parameters in settings.items():
        if section not in METHODS:
            raise ValueError(f"the settings section {section} has no sentence of method: add one to METHODS")
        sentence = METHODS[section]
        blocks.append(Text(sentence if isinstance(sentence, str) else sentence(tables)))
        rows = tuple(
            (entry["words"], _value(entry["value"]), entry["unit"] or "", entry["source"])
            for entry in describe(parameters)
        )
        if rows:
            blocks.append(
                Table(
                    f"Settings of {section}",
                    ("setting", "value", "unit", "source"),
                    rows,
                    ("text", "short", "short", "text"),
                    folded=True,
                )
            )
    return tuple(blocks)
