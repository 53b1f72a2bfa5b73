"""The tables of a paper: result tables cut down and put into words, one row a line in print.

A table is a row of `PUBLISHED`: its caption and the function that makes its columns and rows from the result tables and
the study. All cells are texts as they are to be printed; a missing one is ``n/a``, in LaTeX a dash.
"""

from __future__ import annotations

import re
import statistics
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Final

import pandas as pd

from ..report.content import number_text
from ..report.results import StudyTables, usable_minutes
from ..tables.angles import ANGLES
from ..tables.classifier import EVIDENCE
from ..tables.sensors import SENSOR_HEALTH, SENSORS
from ..tables.spec import TableSpec, text
from ..tables.standing import GROUPS
from ..tables.validation import PARAMETERS, RATERS
from ..validate.measurements import MINIMUM_PEOPLE
from ..validate.unvalidated import unvalidated_words
from ..vocabulary import BENCH_TASKS
from .facts import Facts
from .frames import NO_GROUP, event_frame, paired_sides, reliability_frame, side_summary
from .names import table_file
from .words import TWO_LIMITS, event_words, interval, measure_words, sd_text, state_words, with_unit

__all__ = ["PUBLISHED", "Published", "headers_of", "spec_of", "table_caption", "table_of"]

Rows = list[dict[str, str]]
_NONE: Final = "n/a"


@dataclass(frozen=True)
class Published:
    """One table: its caption, and what makes its rows (header to cell)."""

    caption: str
    rows: Callable[[StudyTables, Facts], Rows]


def _span(values: Sequence[float], digits: int = 3) -> str:
    low, high = number_text(min(values), digits), number_text(max(values), digits)
    return low if low == high else f"{low} to {high}"


def _spread(values: Sequence[float]) -> str:
    if not values:
        return _NONE
    return sd_text(statistics.fmean(values), statistics.stdev(values) if len(values) > 1 else None)


def _counts(words: Sequence[str | None]) -> str:
    known = [word or "not given" for word in words]
    return ", ".join(f"{known.count(word)} {word}" for word in sorted(set(known)))


def _carried(people: Sequence[Any]) -> dict[str, str]:
    """Columns of the lab's own that hold numbers."""
    found = {}
    for name in sorted({name for person in people for name in person.extra}):
        cells = [person.extra[name] for person in people if person.extra.get(name, _NONE) != _NONE]
        if cells and all(re.fullmatch(r"[-+]?\d+(\.\d+)?", cell) for cell in cells):
            values = [float(cell) for cell in cells]
            found[f"{name.replace('_', ' ')}, mean (SD)"] = f"{_spread(values)}, n = {len(values)}"
    return found


def _participants(tables: StudyTables, facts: Facts) -> Rows:
    people = list(facts.participants.values())
    recordings = tables.recordings
    rows = []
    carried = dict.fromkeys(name for group in {p.group for p in people}
                            for name in _carried([p for p in people if p.group == group]))  # fmt: skip
    for group in sorted({person.group or NO_GROUP for person in people}):
        own = [person for person in people if (person.group or NO_GROUP) == group]
        ids = {person.participant_id for person in own}
        used = recordings[recordings["participant_id"].isin(ids) & (recordings["status"] != "rejected")]
        ages = [person.age for person in own if person.age is not None]
        rows.append(
            {
                "group": group,
                "n": str(len(own)),
                "age (years), mean (SD)": _spread(ages),
                "age, range": _span(ages) if ages else _NONE,
                "sex": _counts([person.sex for person in own]),
                "affected side": _counts([person.affected_side for person in own]),
                "sessions": str(len(used[["participant_id", "session_id"]].drop_duplicates())),
                "recordings used": str(len(used)),
                "minutes used": number_text(usable_minutes(used)),
                **{**carried, **_carried(own)},
            }
        )
    return [{name: cell or _NONE for name, cell in row.items()} for row in rows]


def _flow(tables: StudyTables, facts: Facts) -> Rows:
    rows = []
    for task, own in tables.recordings.groupby("task", sort=True):
        status = own["status"]
        labelled = sum(bool(facts.recordings[r].labels) for r in own["recording_id"] if r in facts.recordings)
        reasons = own.loc[status == "rejected", "status_description"].dropna().astype(str)
        rows.append(
            {
                "task": str(task),
                "recorded": str(len(own)),
                "rejected": str(int((status == "rejected").sum())),
                "degraded, used": str(int((status == "degraded").sum())),
                "good": str(int((status == "good").sum())),
                "minutes used": number_text(usable_minutes(own)),
                "with labels": _NONE if task in BENCH_TASKS else str(labelled),
                "why rejected": "; ".join(reasons) or _NONE,
            }
        )
    return rows


def _rest_resistance(tables: StudyTables, facts: Facts) -> dict[str, str]:
    """Resistance at rest of each sensor in ohm: followed over the study, else from the sheet."""
    health = tables(SENSOR_HEALTH)
    own = health[(health["measure"] == "rest_resistance") & health["value"].notna()]
    found = {name: number_text(s.rest_ohm) for name, s in facts.sensors.items() if s.rest_ohm is not None}
    found |= {str(name): number_text(values.median()) for name, values in own.groupby("sensor_id")["value"]}
    return found


def _sensors(tables: StudyTables, facts: Facts) -> Rows:
    rest = _rest_resistance(tables, facts)
    rows = []
    for row in tables(SENSORS).to_dict("records"):
        sensor = str(row["sensor_id"])
        known = facts.sensors.get(sensor)
        length = known.gauge_length_mm if known is not None else None
        seconds = {f"response_time{end}": 1000.0 * row[f"response_time{end}"] for end in ("", "_low", "_high")}
        rows.append(
            {
                "sensor": sensor,
                "gauge length (mm)": number_text(length),
                "resistance at rest (ohm)": rest.get(sensor, _NONE),
                "cycles": number_text(row["n_cycles"]),
                "strain range (%)": number_text(row["strain_full_scale"]),
                "gauge factor": interval(row, "gauge_factor"),
                "non-linearity (% FS)": interval(row, "linearity", 2),
                "hysteresis (% FS)": interval(row, "hysteresis", 2),
                "repeatability (% FS)": interval(row, "repeatability", 2),
                "creep (% of step)": interval(row, "creep", 2),
                "response time (ms)": interval(seconds, "response_time", 2),
                "noise floor (1)": interval(row, "noise_floor", 2),
                "detection limit (% strain)": interval(row, "detection_limit", 2),
            }
        )
    return rows


def _outcomes(tables: StudyTables, _facts: Facts) -> Rows:
    rows = tables(GROUPS)
    first = rows["session_id"].dropna().min()
    rows = rows[rows["session_id"].isna() | (rows["session_id"] == first)]
    return [
        {
            "measure": with_unit(row["measure"], row["unit"]),
            "state": state_words(row["trial_type"]) or _NONE,
            "group": _NONE if pd.isna(row["group"]) else str(row["group"]),
            "n": number_text(row["n"]),
            "mean (SD)": sd_text(row["mean"], row["sd"]),
            "other group": _NONE if pd.isna(row["other_group"]) else str(row["other_group"]),
            "n, other": number_text(row["other_n"]),
            "mean (SD), other": sd_text(row["other_mean"], row["other_sd"]),
            "difference (95 % interval)": interval(row, "difference"),
            "Hedges g (95 % interval)": interval(row, "hedges_g", 2),
        }
        for row in rows.to_dict("records")
    ]


def _sides(tables: StudyTables, _facts: Facts) -> Rows:
    return [
        {
            "measure": with_unit(row["measure"], row["unit"]),
            "state": state_words(row["trial_type"]),
            "n": str(row["n"]),
            "paretic, mean (SD)": sd_text(row["affected_mean"], row["affected_sd"]),
            "non-paretic, mean (SD)": sd_text(row["other_mean"], row["other_sd"]),
            "difference (95 % interval)": interval(row, "difference"),
        }
        for row in side_summary(paired_sides(tables)).to_dict("records")
    ]


def _limits(row: Mapping[Any, Any], digits: int = 3) -> str:
    low, high = number_text(row["loa_lower"], digits), number_text(row["loa_upper"], digits)
    return _NONE if _NONE in (low, high) else f"{low} to {high}"


def _events(tables: StudyTables, _facts: Facts) -> Rows:
    rows = []
    for row in event_frame(tables).to_dict("records"):
        late = {name: 1000.0 * row[name] for name in ("bias", "bias_low", "bias_high", "loa_lower", "loa_upper")}
        unit = "" if row["criterion"] == "overlap" else " s"
        rows.append(
            {
                "event": event_words(row["trial_type"]),
                "counts if": f"{row['criterion']} {'≥' if not unit else '≤'} {row['tolerance']:g}{unit}",
                "people": number_text(row["n_participants"]),
                "labelled": number_text(row["n_labelled"]),
                "detected": number_text(row["n_detected"]),
                "precision": interval(row, "precision"),
                "recall": interval(row, "recall"),
                "F1": interval(row, "f1"),
                "timing bias (ms)": interval(late, "bias"),
                "limits of agreement (ms)": _limits(late),
            }
        )
    return rows


def _parameters(tables: StudyTables, _facts: Facts) -> Rows:
    return [
        {
            "measure": with_unit(row["measure"], row["unit"]),
            "state": state_words(row["trial_type"]) or _NONE,
            "pipeline's value from": str(row["detected_from"]),
            "people": number_text(row["n_participants"]),
            "pairs": number_text(row["n_pairs"]),
            "without a value": number_text(row["n_not_detected"]),
            "mean, labels": number_text(row["labelled_mean"]),
            "bias (95 % interval)": interval(row, "bias"),
            "limits of agreement": _limits(row),
            "ICC(2,1)": interval(row, "icc"),
            "CCC": interval(row, "ccc"),
        }
        for row in tables(PARAMETERS).to_dict("records")
    ]


def _raters(tables: StudyTables, _facts: Facts) -> Rows:
    rows = tables(RATERS)
    rows = rows[(rows["side"] == "all") | rows["side"].isna()]
    found = []
    for row in rows.to_dict("records"):
        seen = pd.notna(row["kappa"])
        unit = "" if row["criterion"] == "overlap" else " s"
        rule = f"{row['criterion']} {'≥' if not unit else '≤'} {row['tolerance']:g}{unit}"
        found.append(
            {
                "labelled": event_words(row["trial_type"]),
                "raters": f"{row['reference_rater']}, {row['other_rater']}",
                "counts if": _NONE if seen or pd.isna(row["criterion"]) else rule,
                "people": number_text(row["n_participants"]),
                "statistic": "kappa" if seen else "F1",
                "other rater": interval(row, "kappa" if seen else "f1"),
                "pipeline": interval(row, "pipeline_kappa" if seen else "pipeline_f1"),
                "pipeline minus rater": interval(
                    row, "pipeline_minus_rater_kappa" if seen else "pipeline_minus_rater_f1"
                ),
            }
        )
    return found


def _angles(tables: StudyTables, _facts: Facts) -> Rows:
    rows = tables(ANGLES)
    rows = rows[(rows["recording_id"] == "pooled") & rows["participant_id"].isna()]
    found = []
    for row in rows.to_dict("records"):
        low, high = number_text(row["angle_from"]), number_text(row["angle_to"])
        place = "all" if low == high == _NONE else f"{'below' if low == _NONE else low + ' to'} {high}"
        place = f"from {low}" if high == _NONE != low else place
        limits = number_text(row["limit_low"]), number_text(row["limit_high"])
        found.append(
            {
                "phase": str(row["phase"]),
                "reference angle (°)": place,
                "people": number_text(row["n_participants"]),
                "time (s)": number_text(row["seconds"]),
                "RMSE (°)": interval(row, "rmse"),
                "bias (°)": interval(row, "bias"),
                "limits of agreement (°)": _NONE if _NONE in limits else " to ".join(limits),
                "R²": number_text(row["r2"], 2),
                "coverage of the interval": interval(row, "coverage", 2),
                "coverage claimed": number_text(row["coverage_nominal"], 2),
            }
        )
    return found


def _reliability(tables: StudyTables, _facts: Facts) -> Rows:
    return [
        {
            "measure": with_unit(row["measure"], row["unit"]),
            "state": state_words(row["trial_type"]) or _NONE,
            "sessions": f"{row['session_id']}, {row['later_session_id']}",
            "people": number_text(row["n_participants"]),
            "mean": number_text(row["mean"]),
            "later minus earlier": interval(row, "bias"),
            "limits of agreement": _limits(row),
            "ICC(2,1)": interval(row, "icc_agreement"),
            "ICC(3,1)": interval(row, "icc_consistency"),
            "SEM": number_text(row["standard_error_of_measurement"]),
            "MDC": number_text(row["minimal_detectable_change"]),
        }
        for row in reliability_frame(tables, main=False).to_dict("records")
    ]


def _classifier(tables: StudyTables, _facts: Facts) -> Rows:
    scores = tables(EVIDENCE["classifier"])
    scores = scores[scores["scope"] == "pooled"]
    return [
        {
            "predictor": str(row["predictor"]).replace("_", " "),
            "state": state_words(row["trial_type"]),
            "people": number_text(row["n_participants"]),
            "labelled (s)": number_text(row["labelled_time"]),
            "precision": interval(row, "precision"),
            "recall": interval(row, "recall"),
            "F1": interval(row, "f1"),
            "balanced accuracy": interval(row, "balanced_accuracy"),
            "the same within gait": interval(row, "balanced_accuracy_within_gait"),
            "limping side right, turns left out": interval(row, "side_accuracy"),
            "log loss (nat)": interval(row, "log_loss"),
            "Brier score": interval(row, "brier"),
            "calibration error": interval(row, "calibration_error"),
        }
        for row in scores.to_dict("records")
    ]


PUBLISHED: Final[Mapping[str, Published]] = {
    "participants": Published("Participants by group, with the sessions and recordings that were used.", _participants),
    "flow": Published(
        "What became of every recording: recorded, rejected and why, used although degraded. Minutes used: those with "
        "a value, gaps left out; with labels: of all that were recorded.",
        _flow,
    ),
    "sensors": Published(
        "Sensors on the bench, with 95 % intervals over cycles, steps or taps; FS: full scale, the range of the "
        "largest settled cycles; non-linearity is terminal-based; creep is negative where the response fades.",
        _sensors,
    ),
    "outcomes": Published(
        "Measures by group in the first session; one value for each participant. Difference: first minus other group, "
        "Welch's interval. Sides are the affected and the other one; of a participant without an affected side the "
        "mean of both stands for either. Volume and time per swallow and speed: water tests of which no swallow seems "
        "to have been missed. Described, not tested: nothing is adjusted for age, sex or the number of comparisons.",
        _outcomes,
    ),
    "sides": Published(
        "Paretic and non-paretic side of participants with one affected side, first session; difference: paretic minus "
        f"non-paretic, Student's t interval over participants, from {MINIMUM_PEOPLE} participants on.",
        _sides,
    ),
    "event_agreement": Published(
        "Detected events against the reference rater's labels, pooled; intervals by resampling participants; limits of "
        "agreement for one event of a participant not yet seen.",
        _events,
    ),
    "parameter_agreement": Published(
        "Measures of the pipeline against the same measures from labels (pipeline minus labels); limits of agreement "
        "take several recordings of a participant as repeated measures.",
        _parameters,
    ),
    "raters": Published("Agreement of a second rater, and of the pipeline, with the reference rater.", _raters),
    "angles": Published("Calibrated knee angle against the reference angle, pooled over participants.", _angles),
    "reliability": Published(
        "Reliability between two sessions; SEM: standard error of measurement, MDC: minimal detectable change, both in "
        f"the unit of the measure. {TWO_LIMITS} True change between the sessions counts as error.",
        _reliability,
    ),
    "classifier": Published(
        "Scores of the classifier on participants left out, and of simple rules; intervals by resampling participants.",
        _classifier,
    ),
}


_OF_MEASURES: Final = ("outcomes", "parameter_agreement", "reliability")
"""Tables whose rows are measures, some of which labels may be too coarse to validate."""


def table_caption(name: str, tables: StudyTables) -> str:
    """Write the caption of a table, with the measures that the labels are too coarse for."""
    coarse = unvalidated_words(tables(PARAMETERS), measure_words) if name in _OF_MEASURES else ""
    return f"{PUBLISHED[name].caption} {coarse}".rstrip()


def table_of(name: str, tables: StudyTables, facts: Facts) -> pd.DataFrame:
    """Make the rows of a table, headers as its columns; no rows where the study has none."""
    return pd.DataFrame(PUBLISHED[name].rows(tables, facts), dtype=object)


def _column(header: str) -> str:
    return re.sub(r"\W+", "_", header.lower().replace("%", "percent").replace("°", "deg").replace("²", "2")).strip("_")


def headers_of(frame: pd.DataFrame) -> list[str]:
    """Headers in print."""
    return [str(header) for header in frame.columns]


def spec_of(name: str, frame: pd.DataFrame, caption: str) -> TableSpec:
    """Describe a table as it is written: one column of text for each header, in their order, rows as they come."""
    columns = tuple(text(_column(h), h, f"{h}, as printed.") for h in headers_of(frame))
    return TableSpec(table_file(name), f"Table {name.replace('_', ' ')}", caption, columns, ())
