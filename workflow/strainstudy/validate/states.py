"""Agreement on states over time: rest, normal gait, limping gait, turns.

In: labelled intervals and detected bouts of each recording. Out: seconds of each labelled state by detected
state, and from their sums recall, precision, balanced accuracy and kappa. Seconds of one recording are not
independent, so that only pooled values have intervals (bootstrap over participants).

Turns are scored on a row of their own: they are not a class
of the overall values, which compare rest, normal and limping gait.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from typing import Any, Final

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from ..gait.state_time import COLUMN_STATES, StateSeconds, state_seconds
from ..stats.intervals import Interval, cluster_bootstrap, no_interval
from ..stats.kappa import kappa_of_tables
from ..tables.validation import CONFUSION, STATES
from ..vocabulary import GAIT_STATES
from ..vocabulary import STATES as STATE_WORDS
from .events import POOLED
from .parameters import ValidateParameters
from .rates import f1_of, named_interval, precision_of, recall_of
from .row_frames import rows_frame
from .wording import state_words

__all__ = ["CLASSES", "kappa_sums", "score_states"]

Floats = NDArray[np.float64]

CLASSES: Final = ("rest", "normal_gait", "limping_gait")
_CRUMB_S: Final = 1e-6
"""Less time than this is what rounding leaves where one state ends and the next begins."""


def _by_person(parts: list[StateSeconds]) -> tuple[list[str], Floats, Floats]:
    people = sorted({p.participant_id for p in parts})
    tables = np.zeros((len(people), len(STATE_WORDS), len(COLUMN_STATES)))
    sides = np.zeros((len(people), 3))
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
            tiled=True,
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
            named = {"all": CLASSES, "normal_against_limping": GAIT_STATES}.get(state, (state,))
            of_each = tables[:, [STATE_WORDS.index(name) for name in named]].sum(axis=(1, 2))
            rows.append(
                {
                    **head,
                    "trial_type": state,
                    "measure": measure,
                    "n_participants": int(np.count_nonzero(sides[:, 0] if measure == "side_right" else of_each > 0)),
                    "labelled_seconds": float(sides[:, 0].sum() if measure == "side_right" else of_each.sum()),
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
                if whole > 0 and total[i, j] > _CRUMB_S
            ]
    return rows_frame(rows, STATES, state_words), rows_frame(confusion, CONFUSION)
