"""Agreement of detected events with hand labels, recording by recording and pooled over people.

In: frames of labels and events by recording. Out: the frames of ``validation/events.tsv`` and
``validation/confounders.tsv``.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from ..stats.intervals import MINIMUM_CLUSTERS, cluster_bootstrap, rate_interval, wilson
from ..stats.matching import match_centres
from ..stats.spans import labelled_spans, merged, total_length, within
from ..tables.validation import CONFOUNDERS, EVENTS, SHAPES
from ..vocabulary import CONFOUNDERS as CONFOUNDER_TYPES
from .parameters import ValidateParameters
from .rates import named_interval, rates, timing_columns
from .row_frames import rows_frame
from .scoring import Tally, scored_types, tally
from .wording import confounder_words, event_words

__all__ = ["POOLED", "grouped", "score_confounders", "score_events", "score_shapes"]

Floats = NDArray[np.float64]
POOLED = "pooled"
_TOGETHER = "all"
_UNKNOWN = "unknown"
_MISTAKABLE = (*CONFOUNDER_TYPES, "artefact")


def grouped(tallies: Sequence[Tally]) -> dict[tuple[str, str, str, float], list[Tally]]:
    """Group tallies by type, side, criterion and tolerance, in sorted order."""
    groups: dict[tuple[str, str, str, float], list[Tally]] = {}
    for t in tallies:
        groups.setdefault((t.trial_type, t.side, t.criterion.name, t.criterion.tolerance), []).append(t)
    return dict(sorted(groups.items()))


def _row(
    recording_id: str, rater: str | None, key: tuple[str, str, str, float], group: Sequence[Tally],
    parameters: ValidateParameters,
) -> dict[str, Any]:  # fmt: skip
    pooled = recording_id == POOLED
    trial_type, side, criterion, tolerance = key
    return {
        "recording_id": recording_id,
        "participant_id": None if pooled else group[0].participant_id,
        "rater": rater,
        "trial_type": trial_type,
        "side": side,
        "criterion": criterion,
        "tolerance": tolerance,
        **rates(group, parameters, pooled=pooled),
        **timing_columns(group, parameters, pooled=pooled),
    }


def score_events(
    labels_by_recording: Mapping[str, pd.DataFrame],
    events_by_recording: Mapping[str, pd.DataFrame],
    participants: Mapping[str, str | None],
    parameters: ValidateParameters,
    *,
    rater: str | None = None,
) -> pd.DataFrame:
    """Score detected events against one rater's labels.

    Parameters
    ----------
    labels_by_recording : mapping of recording_id to DataFrame
        One rater's labels: onset, duration, trial_type, side.
    events_by_recording : mapping of recording_id to DataFrame
        Detected events, the same columns. A recording that is not in here is not scored; an empty frame means
        that everything labelled was missed.
    participants : mapping of recording_id to participant_id
        Who each recording comes from; a recording without a person counts as a person of its own.
    parameters : ValidateParameters
        Tolerances and resamples.
    rater : str, optional
        Named in the table.

    Returns
    -------
    DataFrame
        Columns of ``validation/events.tsv``; rows for each recording and ``pooled``, by type, side, criterion
        and tolerance. Empty without labels.
    """
    tallies: list[Tally] = []
    for recording in sorted(set(labels_by_recording) & set(events_by_recording)):
        labels = labels_by_recording[recording]
        tallies += tally(
            recording,
            participants.get(recording) or recording,
            labels,
            events_by_recording[recording],
            parameters,
            spans=labelled_spans(labels),
        )
    rows = [_row(t.recording_id, rater, *group, parameters) for t in tallies for group in grouped([t]).items()]
    rows += [_row(POOLED, rater, key, group, parameters) for key, group in grouped(tallies).items()]
    return rows_frame(rows, EVENTS, event_words)


def score_shapes(
    labels_by_recording: Mapping[str, pd.DataFrame],
    events_by_recording: Mapping[str, pd.DataFrame],
    participants: Mapping[str, str | None],
    shapes: Mapping[str, str],
    parameters: ValidateParameters,
    *,
    rater: str | None = None,
) -> pd.DataFrame:
    """Score swallows apart for each shape that sensors give them.

    Parameters
    ----------
    labels_by_recording, events_by_recording, participants, parameters, rater
        As for `score_events`.
    shapes : mapping of recording_id to str
        Response shape; a recording that is not in here counts as ``unknown``.

    Returns
    -------
    DataFrame
        Columns of ``validation/throat_shapes.tsv``.
    """
    rows: list[dict[str, Any]] = []
    scored = sorted(set(labels_by_recording) & set(events_by_recording))
    for shape in sorted({shapes.get(recording, _UNKNOWN) for recording in scored}):
        tallies: list[Tally] = []
        for recording in scored:
            labels = labels_by_recording[recording]
            if shapes.get(recording, _UNKNOWN) == shape and "swallow" in scored_types(labels):
                events = events_by_recording[recording]
                person = participants.get(recording) or recording
                spans = labelled_spans(labels)
                tallies += tally(recording, person, labels, events, parameters, spans=spans, types=["swallow"])
        for key, group in grouped(tallies).items():
            row = _row(POOLED, rater, key, group, parameters)
            if row["n_labelled"] or row["n_detected"]:
                rows.append({"response_shape": shape, **row})
    return rows_frame(rows, SHAPES, event_words)


def _false_swallows(labels: pd.DataFrame, events: pd.DataFrame, tolerance: float, spans: Floats | None) -> Floats:
    """Centres of detected swallows inside the scored time that belong to no labelled swallow, sorted."""

    def bounds(frame: pd.DataFrame) -> Floats:
        rows = frame[frame["trial_type"] == "swallow"]
        onset = rows["onset"].to_numpy(dtype=np.float64)
        return np.column_stack([onset, onset + rows["duration"].to_numpy(dtype=np.float64)])

    truth, found = bounds(labels), bounds(events)
    lonely = np.ones(len(found), dtype=bool)
    lonely[match_centres(truth, found, tolerance).estimate] = False
    centres = found.mean(axis=1)
    return np.sort(centres[lonely & within(centres, spans)])


def _confounder_counts(
    labels: pd.DataFrame, events: pd.DataFrame, tolerance: float
) -> list[tuple[str, int, int, int, float]]:
    """For each confounder type: labelled, labelled with a false swallow in it, false swallows, seconds."""
    spans = labelled_spans(labels)
    false = _false_swallows(labels, events, tolerance, spans)
    counts = []
    for name, kinds in (*((name, (name,)) for name in _MISTAKABLE), (_TOGETHER, CONFOUNDER_TYPES)):
        rows = labels[labels["trial_type"].isin(kinds)]
        onset = rows["onset"].to_numpy(dtype=np.float64)
        bounds = np.column_stack([onset, onset + rows["duration"].to_numpy(dtype=np.float64)])
        bounds = bounds[within(bounds.mean(axis=1), spans)]
        if len(bounds) == 0:
            continue
        holds = np.searchsorted(false, bounds[:, 1], side="right") - np.searchsorted(false, bounds[:, 0], side="left")
        whole = merged(bounds)
        counts.append((name, len(bounds), int((holds > 0).sum()), int(within(false, whole).sum()), total_length(whole)))
    return counts


def score_confounders(
    labels_by_recording: Mapping[str, pd.DataFrame],
    events_by_recording: Mapping[str, pd.DataFrame],
    participants: Mapping[str, str | None],
    parameters: ValidateParameters,
    *,
    rater: str | None = None,
) -> pd.DataFrame:
    """Count how often speech, coughs, head movements and artefacts were taken for swallows.

    A false swallow is a detected one that no labelled swallow claims (centres within the largest of
    ``centre_tolerances_s``); it is counted for the confounder that its centre lies in.

    Parameters
    ----------
    labels_by_recording, events_by_recording, participants, parameters, rater
        As for `score_events`.

    Returns
    -------
    DataFrame
        Columns of ``validation/confounders.tsv``, for each recording and ``pooled``.
    """
    tolerance = max(parameters.centre_tolerances_s)
    found: list[tuple[str, str, tuple[str, int, int, int, float]]] = []
    for recording in sorted(set(labels_by_recording) & set(events_by_recording)):
        person = participants.get(recording) or recording
        counts = _confounder_counts(labels_by_recording[recording], events_by_recording[recording], tolerance)
        found += [(recording, person, count) for count in counts]
    rows: list[dict[str, Any]] = []
    for recording, person, (name, labelled, taken, false, seconds) in found:
        share, rate = wilson(taken, labelled), rate_interval(false, seconds / 60)
        rows.append(
            {
                "recording_id": recording,
                "participant_id": person,
                "rater": rater,
                "confounder": name,
                "n_participants": 1,
                "n_labelled": labelled,
                "n_taken": taken,
                **named_interval("share_taken", taken / labelled, share),
                "n_false_swallows": false,
                "minutes": seconds / 60,
                **named_interval("false_per_minute", false / (seconds / 60) if seconds else math.nan, rate),
                "interval_method": f"{share.method}; {rate.method}",
            }
        )
    for name in sorted({count[0] for _, _, count in found}):
        mine = [(person, count) for _, person, count in found if count[0] == name]
        people = sorted({person for person, _ in mine})
        sums = np.array(
            [np.sum([count[1:] for who, count in mine if who == person], axis=0) for person in people],
            dtype=np.float64,
        )
        labelled_sum, taken_sum, false_sum, second_sum = (float(x) for x in sums.sum(axis=0))
        draws, seed = parameters.bootstrap_draws, parameters.seed
        if len(people) < MINIMUM_CLUSTERS or false_sum > 0:
            share = cluster_bootstrap(sums, lambda s: s[:, 1] / s[:, 0], draws=draws, seed=seed)
            rate = cluster_bootstrap(sums, lambda s: 60 * s[:, 2] / s[:, 3], draws=draws, seed=seed)
        else:
            share, rate = wilson(0, labelled_sum), rate_interval(0, second_sum / 60)
        rows.append(
            {
                "recording_id": POOLED,
                "participant_id": None,
                "rater": rater,
                "confounder": name,
                "n_participants": len(people),
                "n_labelled": int(labelled_sum),
                "n_taken": int(taken_sum),
                **named_interval("share_taken", taken_sum / labelled_sum, share),
                "n_false_swallows": int(false_sum),
                "minutes": second_sum / 60,
                **named_interval("false_per_minute", 60 * false_sum / second_sum if second_sum else math.nan, rate),
                "interval_method": share.method if share.method == rate.method else f"{share.method}; {rate.method}",
            }
        )
    return rows_frame(rows, CONFOUNDERS, confounder_words)
