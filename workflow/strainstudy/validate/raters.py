"""Is the pipeline as good as a second rater? Rater beside pipeline, both against the reference rater.

In: labels of all raters, detected events and bouts. Out: ``validation/raters.tsv``. Each other rater, and the
pipeline, are scored against the reference rater on the recordings, event types and spans that both raters
labelled; the difference of their F1 (for states: of kappa) is resampled over participants in pairs.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from ..gait.state_time import COLUMN_STATES, StateSeconds, state_seconds
from ..stats.intervals import NOBODY_DIFFERS, Interval, cluster_bootstrap
from ..stats.spans import intersect, labelled_spans
from ..tables.validation import RATERS
from ..vocabulary import STATES as STATE_WORDS
from .events import grouped
from .parameters import ValidateParameters
from .rates import f1_of, named_interval, person_counts, rates, timing_columns
from .row_frames import LabelsByRater, reference_labels, rows_frame
from .scoring import Tally, scored_types, tally, without_straight_legs
from .states import kappa_sums
from .wording import rater_words

__all__ = ["compare_raters", "standing"]

Floats = NDArray[np.float64]


def standing(difference: float, interval: Interval) -> str:
    """Say in words what pipeline minus rater and its interval mean."""
    if interval.method.endswith(NOBODY_DIFFERS) and difference == 0:
        return "pipeline and the other rater score exactly the same"
    if not np.isfinite([interval.low, interval.high]).all():
        return "too few participants to tell"
    if interval.low > 0:
        return "pipeline agrees better with the reference rater than the other rater does"
    if interval.high < 0:
        return "pipeline agrees less with the reference rater than the other rater does"
    return "pipeline not distinguishable from the other rater"


def _difference(
    pipeline: Floats, other: Floats, statistic: Callable[[Floats], Floats], parameters: ValidateParameters
) -> tuple[float, Interval]:
    """Pipeline minus other rater, both as sums by person, resampled together."""
    width = pipeline.shape[1]
    joint = np.hstack([pipeline, other])

    def gap(sums: Floats) -> Floats:
        return statistic(sums[:, :width]) - statistic(sums[:, width:])

    value = float(gap(joint.sum(axis=0)[None, :])[0])
    return value, cluster_bootstrap(joint, gap, draws=parameters.bootstrap_draws, seed=parameters.seed)


def _event_rows(
    raters: tuple[str, str],
    other: list[Tally],
    pipeline: list[Tally],
    parameters: ValidateParameters,
) -> list[dict[str, Any]]:
    rows = []
    detected = grouped(pipeline)
    for key, group in grouped(other).items():
        trial_type, side, criterion, tolerance = key
        mine = detected[key]
        scores = rates(mine, parameters, pooled=True)
        gap, interval = _difference(person_counts(mine)[1], person_counts(group)[1], f1_of, parameters)
        rows.append(
            {
                "reference_rater": raters[0],
                "other_rater": raters[1],
                "trial_type": trial_type,
                "side": side,
                "criterion": criterion,
                "tolerance": tolerance,
                **rates(group, parameters, pooled=True),
                **{
                    name: value
                    for name, value in timing_columns(group, parameters, pooled=True).items()
                    if not name.startswith("duration")
                },
                **named_interval("pipeline_f1", scores["f1"], Interval(scores["f1_low"], scores["f1_high"], "")),
                **named_interval("pipeline_minus_rater_f1", gap, interval),
                "standing": standing(gap, interval),
            }
        )
    return rows


def _state_row(
    raters: tuple[str, str],
    other: list[StateSeconds],
    pipeline: list[StateSeconds],
    parameters: ValidateParameters,
) -> dict[str, Any]:
    people = sorted({part.participant_id for part in other})
    shape = (-1, len(STATE_WORDS), len(COLUMN_STATES))

    def sums(parts: list[StateSeconds]) -> Floats:
        return np.stack([sum(p.seconds.ravel() for p in parts if p.participant_id == who) for who in people])

    def kappa(flat: Floats) -> Floats:
        return kappa_sums(flat.reshape(shape))

    columns: dict[str, Any] = {}
    tables = {"kappa": sums(other), "pipeline_kappa": sums(pipeline)}
    method = ""
    for name, table in tables.items():
        interval = cluster_bootstrap(table, kappa, draws=parameters.bootstrap_draws, seed=parameters.seed)
        columns |= named_interval(name, float(kappa(table.sum(axis=0)[None, :])[0]), interval)
        method = interval.method
    gap, interval = _difference(tables["pipeline_kappa"], tables["kappa"], kappa, parameters)
    return {
        "reference_rater": raters[0],
        "other_rater": raters[1],
        "trial_type": "states",
        "side": "all",
        "criterion": "time share",
        "n_recordings": len(other),
        "n_participants": len(people),
        "labelled_seconds": float(tables["kappa"].sum()),
        "interval_method": method,
        **columns,
        **named_interval("pipeline_minus_rater_kappa", gap, interval),
        "standing": standing(gap, interval),
    }


def compare_raters(
    labels: LabelsByRater,
    events_by_recording: Mapping[str, pd.DataFrame],
    bouts_by_recording: Mapping[str, pd.DataFrame],
    participants: Mapping[str, str | None],
    parameters: ValidateParameters,
) -> pd.DataFrame:
    """Compare every other rater, and the pipeline beside, with the reference rater.

    Parameters
    ----------
    labels : mapping of recording_id to (mapping of rater to DataFrame)
        All labels.
    events_by_recording, bouts_by_recording : mapping of recording_id to DataFrame
        What the pipeline found; only recordings that are in both count.
    participants : mapping of recording_id to participant_id
        Who each recording comes from.
    parameters : ValidateParameters
        Reference rater, tolerances, resamples.

    Returns
    -------
    DataFrame
        Columns of ``validation/raters.tsv``; empty where no recording has two raters.
    """
    reference, mine = reference_labels(labels, parameters.reference_rater)
    others = sorted({rater for raters in labels.values() for rater in raters} - {reference})
    rows: list[dict[str, Any]] = []
    for other in others:
        if reference is None:
            continue
        other_tallies: list[Tally] = []
        tallies: list[Tally] = []
        other_states: list[StateSeconds] = []
        states: list[StateSeconds] = []
        for recording in sorted(mine):
            theirs = labels[recording].get(other)
            if theirs is None or recording not in events_by_recording or recording not in bouts_by_recording:
                continue
            truth = mine[recording]
            person = participants.get(recording) or recording
            spans = intersect(labelled_spans(truth), labelled_spans(theirs))
            judged = scored_types(theirs)
            common = [name for name in scored_types(truth) if name in judged]
            events = events_by_recording[recording]
            other_tallies += tally(
                recording, person, truth, without_straight_legs(theirs), parameters, spans=spans, types=common
            )
            tallies += tally(recording, person, truth, events, parameters, spans=spans, types=common)
            their_states = theirs[theirs["trial_type"].isin(STATE_WORDS)]
            if len(their_states) == 0:
                continue
            part = state_seconds(recording, person, truth, their_states, spans=spans)
            if part.seconds.sum() > 0:
                other_states.append(part)
                bouts = bouts_by_recording[recording]
                states.append(state_seconds(recording, person, truth, bouts, spans=spans, tiled=True))
        rows += _event_rows((reference, other), other_tallies, tallies, parameters)
        if other_states:
            rows.append(_state_row((reference, other), other_states, states, parameters))
    return rows_frame(rows, RATERS, rater_words)
