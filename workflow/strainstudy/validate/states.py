"""Agreement on states over time: rest, normal gait, limping gait, turns.

In: labelled intervals and detected bouts of each recording. Out: seconds of each labelled state by detected
state, and from their sums recall, precision, balanced accuracy and kappa. Seconds of one recording are not
independent, so that only pooled values have intervals (bootstrap over participants).

At any time the shortest interval that covers it tells the state, so that a turn inside a gait bout is a turn.
Time that the rater gave no state is not scored. Turns are scored on a row of their own: they are not a class
of the overall values, which compare rest, normal and limping gait.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any, Final

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from ..stats.intervals import Interval, cluster_bootstrap, no_interval
from ..stats.kappa import kappa_of_tables
from ..tables.validation import CONFUSION, STATES
from ..vocabulary import SIDES
from ..vocabulary import STATES as STATE_WORDS
from .events import POOLED
from .frames import rows_frame
from .parameters import ValidateParameters
from .rates import f1_of, named_interval, precision_of, recall_of
from .scoring import labelled_spans, within
from .wording import state_words

__all__ = ["CLASSES", "COLUMN_STATES", "StateSeconds", "kappa_sums", "score_states", "state_seconds"]

Floats = NDArray[np.float64]

CLASSES: Final = ("rest", "normal_gait", "limping_gait")
COLUMN_STATES: Final = (*STATE_WORDS, "other", "none")
"""Detected states; ``other`` is any word that raters do not label, ``none`` is time without a bout."""


@dataclass(frozen=True)
class StateSeconds:
    """Seconds of one recording.

    Parameters
    ----------
    recording_id, participant_id : str
        Where they come from.
    seconds : ndarray, shape (len(STATE_WORDS), len(COLUMN_STATES))
        Labelled state by detected state.
    side : ndarray, shape (2,)
        Seconds labelled limping with a side, and those of them detected as limping on that side.
    """

    recording_id: str
    participant_id: str
    seconds: Floats
    side: Floats


def _paint(frame: pd.DataFrame, words: tuple[str, ...], edges: Floats, side: str) -> tuple[NDArray[np.intp], list[str]]:
    """State (index into ``words``, -1 for none) and side of each piece between ``edges``."""
    state = np.full(len(edges) - 1, -1, dtype=np.intp)
    sides = [""] * len(state)
    order = np.argsort(-frame["duration"].to_numpy(dtype=np.float64), kind="stable")
    values = zip(
        frame["onset"].to_numpy(dtype=np.float64)[order],
        frame["duration"].to_numpy(dtype=np.float64)[order],
        frame["trial_type"].to_numpy(dtype=object)[order],
        frame[side].to_numpy(dtype=object)[order] if side in frame else [None] * len(order),
        strict=True,
    )
    for onset, duration, word, where in values:
        low, high = np.searchsorted(edges, [onset, onset + duration], side="left")
        state[low:high] = words.index(word) if word in words else words.index("other")
        for piece in range(low, high):
            sides[piece] = where if where in SIDES else ""
    return state, sides


def state_seconds(
    recording_id: str,
    participant_id: str,
    labels: pd.DataFrame,
    bouts: pd.DataFrame,
    *,
    spans: Floats | None = None,
) -> StateSeconds:
    """Seconds of each labelled state by detected state.

    Parameters
    ----------
    recording_id, participant_id : str
        Carried along.
    labels : DataFrame
        One rater's labels; only its states count.
    bouts : DataFrame
        Detected states (onset, duration, trial_type, and ``limping_side`` or ``side``), or another rater's
        labels.
    spans : ndarray, shape (n, 2), optional
        Time to score, merged; all labelled time without it.

    Returns
    -------
    StateSeconds
    """
    truth = labels[labels["trial_type"].isin(STATE_WORDS)]
    side_column = "limping_side" if "limping_side" in bouts else "side"
    corners = [
        frame["onset"].to_numpy(dtype=np.float64) + extra
        for frame in (truth, bouts)
        for extra in (0.0, frame["duration"].to_numpy(dtype=np.float64))
    ]
    edges = np.unique(np.concatenate([*corners, np.empty(0) if spans is None else spans.ravel()]))
    table = np.zeros((len(STATE_WORDS), len(COLUMN_STATES)))
    side = np.zeros(2)
    if len(edges) < 2:
        return StateSeconds(recording_id, participant_id, table, side)
    labelled, labelled_side = _paint(truth, STATE_WORDS, edges, "side")
    detected, detected_side = _paint(bouts, COLUMN_STATES, edges, side_column)
    detected[detected < 0] = COLUMN_STATES.index("none")
    length = np.diff(edges)
    scored = (labelled >= 0) & within((edges[:-1] + edges[1:]) / 2, spans)
    np.add.at(table, (labelled[scored], detected[scored]), length[scored])
    limping = STATE_WORDS.index("limping_gait")
    for piece in np.flatnonzero(scored & (labelled == limping)):
        if labelled_side[piece]:
            right = detected[piece] == limping and detected_side[piece] == labelled_side[piece]
            side += (length[piece], length[piece] * right)
    return StateSeconds(recording_id, participant_id, table, side)


def _by_person(parts: list[StateSeconds]) -> tuple[list[str], Floats, Floats]:
    people = sorted({p.participant_id for p in parts})
    tables = np.zeros((len(people), len(STATE_WORDS), len(COLUMN_STATES)))
    sides = np.zeros((len(people), 2))
    for part in parts:
        place = people.index(part.participant_id)
        tables[place] += part.seconds
        sides[place] += part.side
    return people, tables, sides


def kappa_sums(tables: Floats) -> Floats:
    """Kappa of stacks of state tables, over the classes and all else as one more category.

    Parameters
    ----------
    tables : ndarray, shape (m, len(STATE_WORDS), len(COLUMN_STATES))
        Seconds; only rows of the classes count.

    Returns
    -------
    ndarray, shape (m,)
    """
    rows = [STATE_WORDS.index(name) for name in CLASSES]
    columns = [COLUMN_STATES.index(name) for name in CLASSES]
    square = np.zeros((len(tables), len(CLASSES) + 1, len(CLASSES) + 1))
    chosen = tables[:, rows, :]
    square[:, :-1, :-1] = chosen[:, :, columns]
    square[:, :-1, -1] = chosen.sum(axis=2) - square[:, :-1, :-1].sum(axis=2)
    return kappa_of_tables(square)


def _recalls(tables: Floats, names: tuple[str, ...]) -> Floats:
    """Recall of each class, NaN where it was not labelled; shape (m, classes)."""
    with np.errstate(divide="ignore", invalid="ignore"):
        value: Floats = np.stack(
            [
                tables[:, STATE_WORDS.index(n), COLUMN_STATES.index(n)] / tables[:, STATE_WORDS.index(n)].sum(axis=1)
                for n in names
            ],
            axis=1,
        )
    return value


def _statistics(total: Floats) -> dict[tuple[str, str], Callable[[Floats], Floats]]:
    """Statistics (of stacked, flattened tables) that the labelled states allow, by row and measure."""
    shape = (-1, len(STATE_WORDS), len(COLUMN_STATES))
    labelled = tuple(name for name in CLASSES if total[STATE_WORDS.index(name)].sum() > 0)
    present = tuple(name for name in STATE_WORDS if total[STATE_WORDS.index(name)].sum() > 0)
    found: dict[tuple[str, str], Callable[[Floats], Floats]] = {}

    def of_state(name: str, rate: Callable[[Floats], Floats]) -> Callable[[Floats], Floats]:
        row, column = STATE_WORDS.index(name), COLUMN_STATES.index(name)

        def statistic(sums: Floats) -> Floats:
            tables = sums.reshape(shape)
            hit = tables[:, row, column]
            counts = np.stack([hit, tables[:, :, column].sum(axis=1) - hit, tables[:, row].sum(axis=1) - hit], axis=1)
            return rate(counts)

        return statistic

    def balanced(names: tuple[str, ...]) -> Callable[[Floats], Floats]:
        return lambda sums: _recalls(sums.reshape(shape), names).mean(axis=1)

    for name in present:
        found |= {
            (name, "recall"): of_state(name, recall_of),
            (name, "precision"): of_state(name, precision_of),
            (name, "f1"): of_state(name, f1_of),
        }
    if len(labelled) > 1:
        found["all", "balanced_accuracy"] = balanced(labelled)
        found["all", "kappa"] = lambda sums: kappa_sums(sums.reshape(shape))
    if {"normal_gait", "limping_gait"} <= set(labelled):
        found["normal_against_limping", "balanced_accuracy"] = balanced(("normal_gait", "limping_gait"))
    return found


def score_states(
    labels_by_recording: Mapping[str, pd.DataFrame],
    bouts_by_recording: Mapping[str, pd.DataFrame],
    participants: Mapping[str, str | None],
    parameters: ValidateParameters,
    *,
    rater: str | None = None,
) -> tuple[pd.DataFrame, pd.DataFrame]:
    """Score detected states against one rater's labels, by time.

    Parameters
    ----------
    labels_by_recording, participants, parameters, rater
        As for `events.score_events`.
    bouts_by_recording : mapping of recording_id to DataFrame
        Detected states: onset, duration, trial_type, limping_side.

    Returns
    -------
    states, confusion : DataFrame
        ``validation/states.tsv`` and ``validation/confusion.tsv``, for each recording and ``pooled``.
    """
    parts = []
    for recording in sorted(set(labels_by_recording) & set(bouts_by_recording)):
        labels = labels_by_recording[recording]
        part = state_seconds(
            recording,
            participants.get(recording) or recording,
            labels,
            bouts_by_recording[recording],
            spans=labelled_spans(labels),
        )
        if part.seconds.sum() > 0:
            parts.append(part)
    scopes = [(part.recording_id, part.participant_id, [part]) for part in parts]
    if parts:
        scopes.append((POOLED, "", parts))
    rows: list[dict[str, Any]] = []
    confusion: list[dict[str, Any]] = []
    alone = no_interval("the seconds of one recording are not independent")
    for recording, person, group in scopes:
        people, tables, sides = _by_person(group)
        flat = tables.reshape(len(people), -1)
        total = tables.sum(axis=0)
        head = {"recording_id": recording, "participant_id": person or None, "rater": rater}

        def estimate(sums: Floats, statistic: Callable[[Floats], Floats], pooled: bool) -> tuple[float, Interval]:
            value = float(statistic(sums.sum(axis=0)[None, :])[0])
            if not pooled:
                return value, alone
            return value, cluster_bootstrap(sums, statistic, draws=parameters.bootstrap_draws, seed=parameters.seed)

        pooled = recording == POOLED
        values = {key: estimate(flat, statistic, pooled) for key, statistic in _statistics(total).items()}
        if sides[:, 0].sum() > 0:
            values["limping_gait", "side_right"] = estimate(sides, lambda s: s[:, 1] / s[:, 0], pooled)
        for (state, measure), (value, interval) in values.items():
            own = total if state not in STATE_WORDS else total[STATE_WORDS.index(state)]
            if state == "normal_against_limping":
                own = total[[STATE_WORDS.index("normal_gait"), STATE_WORDS.index("limping_gait")]]
            elif state == "all":
                own = total[[STATE_WORDS.index(name) for name in CLASSES]]
            rows.append(
                {
                    **head,
                    "trial_type": state,
                    "measure": measure,
                    "n_participants": len(people),
                    "labelled_seconds": float(sides[:, 0].sum() if measure == "side_right" else own.sum()),
                    **named_interval("value", value, interval),
                    "interval_method": interval.method,
                }
            )
        for i, state in enumerate(STATE_WORDS):
            whole = float(total[i].sum())
            confusion += [
                {
                    **head,
                    "labelled": state,
                    "detected": COLUMN_STATES[j],
                    "seconds": float(total[i, j]),
                    "share": float(total[i, j]) / whole if whole > 0 else math.nan,
                }
                for j in range(len(COLUMN_STATES))
                if whole > 0 and total[i, j] > 0
            ]
    return rows_frame(rows, STATES, state_words), rows_frame(confusion, CONFUSION)
