"""All validation tables of a study from its result tables: frames in, frames out.

In: `StudyResults`, what the stages before have written, and the labels. Out: each table of ``validation/`` (without the
classifier's own) and ``tables/change.tsv``, with its description.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Final, Self

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

__all__ = ["PARTS", "StudyResults", "compare_study", "place_study", "score_study"]

Tables = list[tuple[TableSpec, pd.DataFrame]]


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


@dataclass(frozen=True)
class _Used:
    """What was detected in the recordings that are scored, whose they are and how long, and the labels of reference."""

    who: dict[str, str | None]
    durations: dict[str, float]
    calibrating: set[str]
    events: dict[str, pd.DataFrame]
    bouts: dict[str, pd.DataFrame]
    rater: str | None
    truth: dict[str, pd.DataFrame]

    @classmethod
    def of(cls, results: StudyResults, parameters: ValidateParameters) -> Self:
        """Leave out rejected recordings."""
        table = results.recordings
        used = [str(name) for name in table.loc[table["status"] != "rejected", "recording_id"]]
        heads = {str(row["recording_id"]): row for row in table.to_dict("records")}
        rater, truth = reference_labels(results.labels, parameters.reference_rater)
        return cls(
            who={name: text_or_none(heads[name]["participant_id"]) for name in used},
            durations={name: float(heads[name]["duration"]) for name in used},
            calibrating={name for name in used if heads[name]["task"] == "bend" or name in results.calibrating},
            events=_by_recording(results.events, used),
            bouts=_by_recording(results.bouts, used),
            rater=rater,
            truth=truth,
        )


def _measurements(results: StudyResults) -> pd.DataFrame:
    joined = join(
        gait_measurements(results.gait, results.recordings),
        swallow_measurements(results.swallow_summary, results.recordings),
    )
    return on_walkways(joined, results.walkways)


def score_study(results: StudyResults, parameters: ValidateParameters) -> Tables:
    """Make the tables of detected events and states against the labels of the reference rater."""
    used = _Used.of(results, parameters)
    truth, events, who, rater = used.truth, used.events, used.who, used.rater
    states, confusion = score_states(truth, used.bouts, who, parameters, rater=rater)
    known = results.swallow_summary.dropna(subset=["response_shape"])
    shapes = dict(zip(known["recording_id"].astype(str), known["response_shape"].astype(str), strict=True))
    return [
        (EVENTS, score_events(truth, events, who, parameters, rater=rater)),
        (CONFOUNDERS, score_confounders(truth, events, who, parameters, rater=rater, durations=used.durations)),
        (SHAPES, score_shapes(truth, events, who, shapes, parameters, rater=rater)),
        (STATES, states),
        (CONFUSION, confusion),
    ]


def compare_study(results: StudyResults, parameters: ValidateParameters) -> Tables:
    """Make the tables of raters, and of parameters from labels beside those from events."""
    used = _Used.of(results, parameters)
    truth, events, who = used.truth, used.events, used.who
    drunk = results.swallow_summary.dropna(subset=["volume"])
    drinks = {
        str(name): Drink(float(volume), results.clearing_pause_s)
        for name, volume in zip(drunk["recording_id"], drunk["volume"], strict=True)
    }
    reported = _measurements(results)
    pairs = [
        labelled_against_detected(truth, events, who, used.durations, parameters, reported=reported, drinks=drinks),
        bend_angles(truth, events, who, parameters, calibrating=used.calibrating),
    ]
    filled = pd.concat([part for part in pairs if len(part)] or pairs[:1], ignore_index=True)
    raters = compare_raters(results.labels, events, used.bouts, who, parameters)
    return [
        (RATERS, raters),
        (PARAMETERS, compare_parameters(filled, parameters, label_timing(raters))),
        (PAIRS, filled.assign(unit=filled["measure"].map(UNITS))),
    ]


def place_study(results: StudyResults, parameters: ValidateParameters) -> Tables:
    """Make the tables of people beside norms, between sessions and between groups."""
    measurements = _measurements(results)
    people = per_person(measurements)
    return [
        (NORMS, position(people, results.norms, results.ages, results.sexes)),
        (CHANGE, beside_published(changes(measurements))),
        (RETEST, retest(measurements, parameters)),
        (GROUPS, compare_groups(by_affected_side(people, results.affected), results.groups)),
    ]


PARTS: Final = (score_study, compare_study, place_study)
"""Each makes some of the tables, in the order they are read, and needs nothing of another; every table is valid, with
its header alone where there is nothing to say."""
