"""Agreement of detected events with hand labels, recording by recording and pooled over people.

In: frames of labels and events by recording. Out: the frames of ``validation/events.tsv`` and
``validation/confounders.tsv``.
"""

from __future__ import annotations

import math
from collections.abc import Collection, Mapping, Sequence
from typing import Any, Final, NamedTuple

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from ..stats.intervals import (
    MINIMUM_CLUSTERS,
    Interval,
    cluster_bootstrap,
    no_interval,
    rate_interval,
    wider,
    wilson,
)
from ..stats.matching import match_centres
from ..stats.spans import labelled_spans, merged, spans_of, total_length, within, without
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
_NO_SWALLOW: Final = "no_swallow"
_NOT_NAMED: Final = "other"
_NO_STRETCHES: Final = "time that is not labelled in stretches"


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
        own = frame["trial_type"].to_numpy(dtype=object) == "swallow"
        onset, duration = (frame[name].to_numpy(dtype=np.float64)[own] for name in ("onset", "duration"))
        return np.column_stack([onset, onset + duration])

    truth, found = bounds(labels), bounds(events)
    lonely = np.ones(len(found), dtype=bool)
    lonely[match_centres(truth, found, tolerance).estimate] = False
    centres = found.mean(axis=1)
    return np.sort(centres[lonely & within(centres, spans)])


class _Count(NamedTuple):
    """Labelled stretches, those with a false swallow in them, false swallows, seconds; None: no stretches."""

    name: str
    labelled: int | None
    taken: int | None
    false: int
    seconds: float


def _confounder_counts(
    labels: pd.DataFrame, events: pd.DataFrame, tolerance: float, duration: float | None
) -> list[_Count]:
    """Count for each confounder type, and for all time without swallows where its length is known."""
    spans = labelled_spans(labels)
    false = _false_swallows(labels, events, tolerance, spans)
    words, of_words = labels["trial_type"].tolist(), spans_of(labels)

    def spans_with(kinds: Collection[str]) -> Floats:
        return of_words[[word in kinds for word in words]]

    counts = []
    for name, kinds in (*((name, (name,)) for name in _MISTAKABLE), (_TOGETHER, CONFOUNDER_TYPES)):
        bounds = spans_with(kinds)
        bounds = bounds[within(bounds.mean(axis=1), spans)]
        if len(bounds) == 0:
            continue
        holds = np.searchsorted(false, bounds[:, 1], side="right") - np.searchsorted(false, bounds[:, 0], side="left")
        whole = merged(bounds)
        taken, seconds = int((holds > 0).sum()), total_length(whole)
        counts.append(_Count(name, len(bounds), taken, int(within(false, whole).sum()), seconds))
    scored = np.array([[0.0, duration]]) if spans is None and duration is not None else spans
    if scored is None or "swallow" not in scored_types(labels):
        return counts
    free = without(scored, merged(spans_with(("swallow",))))
    counts.append(_Count(_NO_SWALLOW, None, None, len(false), total_length(free)))
    named = merged(spans_with(_MISTAKABLE))
    apart = int((~within(false, named)).sum())
    counts.append(_Count(_NOT_NAMED, None, None, apart, total_length(without(free, named))))
    return counts


def score_confounders(
    labels_by_recording: Mapping[str, pd.DataFrame],
    events_by_recording: Mapping[str, pd.DataFrame],
    participants: Mapping[str, str | None],
    parameters: ValidateParameters,
    *,
    rater: str | None = None,
    durations: Mapping[str, float] | None = None,
) -> pd.DataFrame:
    """Count how often speech, coughs, head movements and artefacts were taken for swallows.

    A false swallow is a detected one that no labelled swallow claims (centres within the largest of
    ``centre_tolerances_s``); it is counted for the confounder that its centre lies in. All of them stand beside all
    scored time without labelled swallows (``no_swallow``), those in nothing that was labelled beside that time
    (``other``). Pooled limits are the wider of those from the count (Poisson, Wilson) and from resampling people.

    Parameters
    ----------
    labels_by_recording, events_by_recording, participants, parameters, rater
        As for `score_events`.
    durations : mapping of recording_id to float, optional
        Seconds of each recording, which is all scored where the rater set no limits; without them such a recording
        has no rows for time without swallows.

    Returns
    -------
    DataFrame
        Columns of ``validation/confounders.tsv``, for each recording and ``pooled``.
    """
    tolerance = max(parameters.centre_tolerances_s)
    found: list[tuple[str, str, _Count]] = []
    for recording in sorted(set(labels_by_recording) & set(events_by_recording)):
        person = participants.get(recording) or recording
        length = (durations or {}).get(recording)
        labels, events = labels_by_recording[recording], events_by_recording[recording]
        found += [(recording, person, count) for count in _confounder_counts(labels, events, tolerance, length)]
    rows: list[dict[str, Any]] = []
    for recording, person, count in found:
        share = wilson(count.taken or 0, count.labelled) if count.labelled else no_interval(_NO_STRETCHES)
        rate = rate_interval(count.false, count.seconds / 60)
        rows.append(_confounder_row((recording, person), rater, 1, count, share, rate))
    for name in sorted({count.name for _, _, count in found}):
        mine = [(person, count) for _, person, count in found if count.name == name]
        people = sorted({person for person, _ in mine})
        numbers = [(person, [x or 0 for x in count[1:]]) for person, count in mine]
        sums = np.array(
            [np.sum([own for who, own in numbers if who == person], axis=0) for person in people], dtype=np.float64
        )
        labelled, taken, false, seconds = (float(x) for x in sums.sum(axis=0))
        whole = mine[0][1].labelled is not None
        draws, seed = parameters.bootstrap_draws, parameters.seed
        if len(people) < MINIMUM_CLUSTERS:
            share = rate = no_interval(f"fewer than {MINIMUM_CLUSTERS} participants")
        else:
            share = wilson(taken, labelled) if whole else no_interval(_NO_STRETCHES)
            rate = rate_interval(int(false), seconds / 60)
            if whole and taken:
                spread = cluster_bootstrap(sums, lambda s: s[:, 1] / s[:, 0], draws=draws, seed=seed)
                share = wider(share, spread)
            if false and seconds:
                spread = cluster_bootstrap(sums, lambda s: 60 * s[:, 2] / s[:, 3], draws=draws, seed=seed)
                rate = wider(rate, spread)
        count = _Count(name, int(labelled) if whole else None, int(taken) if whole else None, int(false), seconds)
        rows.append(_confounder_row((POOLED, None), rater, len(people), count, share, rate))
    return rows_frame(rows, CONFOUNDERS, confounder_words)


def _confounder_row(
    of: tuple[str, str | None], rater: str | None, people: int, count: _Count, share: Interval, rate: Interval
) -> dict[str, Any]:
    methods = [interval.method for interval in ([share] if count.labelled else []) + [rate]]
    minutes = count.seconds / 60
    return {
        "recording_id": of[0],
        "participant_id": of[1],
        "rater": rater,
        "confounder": count.name,
        "n_participants": people,
        "n_labelled": count.labelled,
        "n_taken": count.taken,
        **named_interval("share_taken", (count.taken or 0) / count.labelled if count.labelled else math.nan, share),
        "n_false_swallows": count.false,
        "minutes": minutes,
        **named_interval("false_per_minute", count.false / minutes if minutes else math.nan, rate),
        "interval_method": "; ".join(dict.fromkeys(methods)),
    }
