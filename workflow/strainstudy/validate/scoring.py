"""Detected events of one recording against the labels of one rater.

In: label and event frames (onset, duration, trial_type, side). Out: one `Tally` for each event type, side and
criterion. Pairs are one-to-one (`stats.matching`). Only what the rater labelled is scored:

- types: a type the rater used in this recording; swallows also where the rater labelled what may be taken for one;
- knee bends: a hold labelled with 0 degrees tells the calibration where the straight leg is, and is no bend;
- sides: a side the rater used for this type; where any of its labels has no side, sides are not looked at;
- time: inside the ``labelled`` spans, where there are any, borders included. Time means the instant, or the centre of
  an interval. At a border: labels outside a span may still claim a detected event (it is then not counted at
  all), and a label inside may be matched by an event just outside.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from ..stats.matching import match_centres, match_instants, match_overlaps
from ..stats.spans import spans_of, within
from ..vocabulary import CONFOUNDERS, EVENT_TYPES, INSTANTS, SIDES
from .parameters import ValidateParameters

__all__ = [
    "ALL_SIDES",
    "SCORED_TYPES",
    "Criterion",
    "Tally",
    "criteria",
    "scored_types",
    "tally",
    "without_straight_legs",
]

Floats = NDArray[np.float64]

SCORED_TYPES: Final = tuple(EVENT_TYPES)
ALL_SIDES: Final = "all"


@dataclass(frozen=True)
class Criterion:
    """When a detected event counts as a labelled one.

    Parameters
    ----------
    name : str
        ``time`` (instants), ``overlap`` (overlap over union) or ``centre`` (distance of centres).
    tolerance : float
        Seconds; for ``overlap`` the smallest share.
    """

    name: str
    tolerance: float


@dataclass(frozen=True)
class Tally:
    """Matches, misses and false alarms of one recording, type, side and criterion.

    Parameters
    ----------
    recording_id, participant_id : str
        Where it comes from.
    trial_type, side : str
        Event type; ``left``, ``right`` or ``all``.
    criterion : Criterion
        What counted as the same.
    true_positive, false_positive, false_negative : int
        Counts.
    timing, duration : ndarray, shape (true_positive,)
        Detected minus labelled, seconds: of the instant or the centre, and of the duration; no durations where an
        interval was labelled as an instant.
    """

    recording_id: str
    participant_id: str
    trial_type: str
    side: str
    criterion: Criterion
    true_positive: int
    false_positive: int
    false_negative: int
    timing: Floats
    duration: Floats


def without_straight_legs(labels: pd.DataFrame) -> pd.DataFrame:
    """Leave out the labels of a straight leg held for calibration: ``knee_bend`` with the value 0."""
    if "value" not in labels:
        return labels
    kept = (labels["trial_type"].to_numpy(dtype=object) != "knee_bend") | (labels["value"].to_numpy() != 0)
    return labels if kept.all() else labels[kept]


def scored_types(labels: pd.DataFrame) -> tuple[str, ...]:
    """Event types that this rater's labels of this recording can judge."""
    used = set(without_straight_legs(labels)["trial_type"])
    if used & set(CONFOUNDERS):
        used.add("swallow")
    return tuple(name for name in SCORED_TYPES if name in used)


def criteria(trial_type: str, parameters: ValidateParameters) -> tuple[Criterion, ...]:
    """List the criteria that an event type is scored by."""
    if trial_type in INSTANTS:
        return tuple(Criterion("time", t) for t in parameters.contact_tolerances_s)
    return (
        *(Criterion("overlap", t) for t in parameters.overlap_thresholds),
        *(Criterion("centre", t) for t in parameters.centre_tolerances_s),
    )


def _tally_side(
    labelled: Floats, detected: Floats, criterion: Criterion, spans: Floats | None
) -> tuple[int, int, int, Floats, Floats]:
    match criterion.name:
        case "time":
            pairs = match_instants(labelled[:, 0], detected[:, 0], criterion.tolerance)
        case "overlap":
            pairs = match_overlaps(labelled, detected, criterion.tolerance)
        case _:
            pairs = match_centres(labelled, detected, criterion.tolerance)
    label_in = within(labelled.mean(axis=1), spans)
    detected_in = within(detected.mean(axis=1), spans)
    kept = label_in[pairs.reference]
    reference, estimate = pairs.reference[kept], pairs.estimate[kept]
    detected_in[pairs.estimate] = False
    change = detected[estimate] - labelled[reference]
    return (
        len(reference),
        int(detected_in.sum()),
        int(label_in.sum()) - len(reference),
        change.mean(axis=1),
        change[:, 1] - change[:, 0],
    )


@dataclass(frozen=True)
class _Marks:
    """Labels or events as arrays, to be cut by type and side many times; ``lasts`` is whether each has a length."""

    kind: NDArray[np.object_]
    side: NDArray[np.object_]
    spans: Floats
    lasts: NDArray[np.bool_]

    @classmethod
    def of(cls, rows: pd.DataFrame) -> _Marks:
        """Take the columns of a frame."""
        kind, side = (rows[name].to_numpy(dtype=object) for name in ("trial_type", "side"))
        length = rows["duration"].to_numpy(dtype=np.float64, na_value=np.nan)
        return cls(kind, side, spans_of(rows), np.nan_to_num(length, nan=0.0) > 0)


def tally(
    recording_id: str,
    participant_id: str,
    labels: pd.DataFrame,
    events: pd.DataFrame,
    parameters: ValidateParameters,
    *,
    spans: Floats | None = None,
    types: Sequence[str] | None = None,
) -> list[Tally]:
    """Score one recording.

    Parameters
    ----------
    recording_id, participant_id : str
        Carried into the tallies.
    labels : DataFrame
        One rater's labels: onset, duration, trial_type, side, and the ``value`` of bends where there is one.
    events : DataFrame
        Detected events (or another rater's labels, without straight legs), the same columns.
    parameters : ValidateParameters
        Tolerances.
    spans : ndarray, shape (n, 2), optional
        Time to score, merged; the whole recording without it.
    types : sequence of str, optional
        Event types to score; those the labels can judge without it.

    Returns
    -------
    list of Tally
        For each type and criterion: each side the rater used, and ``all``.
    """
    labels = without_straight_legs(labels)
    truth, found = _Marks.of(labels), _Marks.of(events)
    tallies: list[Tally] = []
    for trial_type in scored_types(labels) if types is None else types:
        mine, theirs = truth.kind == trial_type, found.kind == trial_type
        of_side = {side: mine & (truth.side == side) for side in SIDES}
        sided = bool(mine.any()) and not (mine & ~np.logical_or.reduce([*of_side.values()])).any()
        groups = (
            [
                (side, truth.spans[own], found.spans[theirs & (found.side == side)])
                for side, own in of_side.items()
                if own.any()
            ]
            if sided
            else [(ALL_SIDES, truth.spans[mine], found.spans[theirs])]
        )
        # An instant has no length to overlap with or to compare.
        instants = trial_type not in INSTANTS and bool(mine.any()) and not truth.lasts[mine].any()
        for criterion in criteria(trial_type, parameters):
            if instants and criterion.name == "overlap":
                continue
            scores = [_tally_side(label, event, criterion, spans) for _, label, event in groups]
            names = [name for name, _, _ in groups]
            if sided:
                names.append(ALL_SIDES)
                scores.append(
                    (
                        sum(s[0] for s in scores),
                        sum(s[1] for s in scores),
                        sum(s[2] for s in scores),
                        np.concatenate([s[3] for s in scores]),
                        np.concatenate([s[4] for s in scores]),
                    )
                )
            for name, (hit, false, missed, timing, duration) in zip(names, scores, strict=True):
                duration = np.empty(0) if instants else duration
                tallies.append(
                    Tally(
                        recording_id, participant_id, trial_type, name, criterion, hit, false, missed, timing, duration
                    )
                )
    return tallies
