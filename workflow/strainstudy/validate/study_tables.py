"""All validation tables of a study from its result tables: frames in, frames out.

In: `StudyResults`, what the stages before have written, and the labels. Out: each table of ``validation/`` (without the
classifier's own) and ``tables/change.tsv``, with its description.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

import pandas as pd

from ..swallow.parameters import SwallowParameters
from ..tables.spec import TableSpec
from ..tables.standing import CHANGE, GROUPS, NORMS, RETEST
from ..tables.validation import CONFOUNDERS, CONFUSION, EVENTS, PAIRS, PARAMETERS, RATERS, SHAPES, STATES
from .change import changes, retest
from .events import score_confounders, score_events, score_shapes
from .groups import by_affected_side, compare_groups
from .measurements import (
    gait_measurements,
    join,
    on_walkways,
    per_person,
    swallow_measurements,
)
from .norms import position
from .parameter_agreement import UNITS, Drink, bend_angles, compare_parameters, label_timing, labelled_against_detected
from .parameters import ValidateParameters
from .published_change import beside_published
from .raters import compare_raters
from .row_frames import LabelsByRater, reference_labels, text_or_none
from .states import score_states

__all__ = ["StudyResults", "validate_study"]


@dataclass(frozen=True)
class StudyResults:
    """What is validated.

    Parameters
    ----------
    recordings : DataFrame
        ``tables/recordings.tsv``: recording_id, participant_id, session_id, task, duration, status.
    events, bouts, gait, swallow_summary : DataFrame
        The tables of these names.
    labels : mapping of recording_id to (mapping of rater to DataFrame)
        All hand labels.
    norms : DataFrame
        From `norms.read_norms`.
    ages, sexes, groups, affected : mapping of participant_id
        From the participants sheet (``affected``: the affected side); None where missing.
    walkways : mapping of recording_id
        overground, treadmill, or None where the recordings sheet does not say.
    calibrating : frozenset of recording_id
        Those whose reference made an angle map.
    clearing_pause_s : float
        The setting of swallows, so that drinking in labels ends by the same rule.
    """

    recordings: pd.DataFrame
    events: pd.DataFrame
    bouts: pd.DataFrame
    gait: pd.DataFrame
    swallow_summary: pd.DataFrame
    labels: LabelsByRater
    norms: pd.DataFrame
    ages: Mapping[str, float | None] = field(default_factory=dict)
    sexes: Mapping[str, str | None] = field(default_factory=dict)
    groups: Mapping[str, str | None] = field(default_factory=dict)
    walkways: Mapping[str, str | None] = field(default_factory=dict)
    affected: Mapping[str, str | None] = field(default_factory=dict)
    calibrating: frozenset[str] = frozenset()
    clearing_pause_s: float = SwallowParameters().clearing_pause_s


def _by_recording(table: pd.DataFrame, recordings: list[str]) -> dict[str, pd.DataFrame]:
    """Split a table by recording; recordings without a row get an empty frame."""
    parts = {str(name): part for name, part in table.groupby("recording_id", sort=True)}
    return {name: parts.get(name, table.iloc[:0]) for name in recordings}


def validate_study(results: StudyResults, parameters: ValidateParameters) -> list[tuple[TableSpec, pd.DataFrame]]:
    """Make every validation table.

    Parameters
    ----------
    results : StudyResults
        Rejected recordings are left out of the scoring.
    parameters : ValidateParameters
        Settings.

    Returns
    -------
    list of (TableSpec, DataFrame)
        In the order they are read; each valid, with its header alone where there is nothing to say.
    """
    table = results.recordings
    used = [str(name) for name in table.loc[table["status"] != "rejected", "recording_id"]]
    heads = {str(row["recording_id"]): row for row in table.to_dict("records")}
    who = {name: text_or_none(heads[name]["participant_id"]) for name in used}
    events, bouts = _by_recording(results.events, used), _by_recording(results.bouts, used)
    rater, truth = reference_labels(results.labels, parameters.reference_rater)

    joined = join(
        gait_measurements(results.gait, table),
        swallow_measurements(results.swallow_summary, table),
    )
    measurements = on_walkways(joined, results.walkways)
    people = per_person(measurements)
    states, confusion = score_states(truth, bouts, who, parameters, rater=rater)
    durations = {name: float(heads[name]["duration"]) for name in used}
    calibrating = {name for name in used if heads[name]["task"] == "bend" or name in results.calibrating}
    known = results.swallow_summary.dropna(subset=["response_shape"])
    shapes = dict(zip(known["recording_id"].astype(str), known["response_shape"].astype(str), strict=True))
    drunk = results.swallow_summary.dropna(subset=["volume"])
    drinks = {
        str(name): Drink(float(volume), results.clearing_pause_s)
        for name, volume in zip(drunk["recording_id"], drunk["volume"], strict=True)
    }
    pairs = [
        labelled_against_detected(truth, events, who, durations, parameters, reported=measurements, drinks=drinks),
        bend_angles(truth, events, who, parameters, calibrating=calibrating),
    ]
    filled = pd.concat([part for part in pairs if len(part)] or pairs[:1], ignore_index=True)
    raters = compare_raters(results.labels, events, bouts, who, parameters)
    compared = compare_parameters(filled, parameters, label_timing(raters))
    return [
        (EVENTS, score_events(truth, events, who, parameters, rater=rater)),
        (CONFOUNDERS, score_confounders(truth, events, who, parameters, rater=rater, durations=durations)),
        (SHAPES, score_shapes(truth, events, who, shapes, parameters, rater=rater)),
        (STATES, states),
        (CONFUSION, confusion),
        (RATERS, raters),
        (PARAMETERS, compared),
        (PAIRS, filled.assign(unit=filled["measure"].map(UNITS))),
        (NORMS, position(people, results.norms, results.ages, results.sexes)),
        (CHANGE, beside_published(changes(measurements))),
        (RETEST, retest(measurements, parameters)),
        (GROUPS, compare_groups(by_affected_side(people, results.affected), results.groups)),
    ]
