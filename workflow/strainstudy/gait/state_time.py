"""Seconds of each labelled state by detected state: what every score and agreement of states is made of.

In: labelled intervals and detected bouts of one recording. Out: `StateSeconds`. At any time the shortest interval that
covers it tells the state, so that a turn inside a gait bout is a turn. Time that the rater gave no state is not
scored, nor is time outside what the rater looked at.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from ..stats.spans import labelled_spans, within
from ..vocabulary import SIDES
from ..vocabulary import STATES as STATE_WORDS

__all__ = ["COLUMN_STATES", "StateSeconds", "state_seconds"]

Floats = NDArray[np.float64]

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
    side : ndarray, shape (3,)
        Seconds labelled limping with a side, those of them detected as limping on that side, and those detected as
        a turn.
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
    tiled: bool = False,
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
        Time to score, merged, where it is not that which the rater's own rows ``labelled`` leave.
    tiled : bool
        The bouts cover all that was observed, so that time without one counts nowhere.

    Returns
    -------
    StateSeconds
    """
    spans = labelled_spans(labels) if spans is None else spans
    truth = labels[labels["trial_type"].isin(STATE_WORDS)]
    side_column = "limping_side" if "limping_side" in bouts else "side"
    corners = [
        frame["onset"].to_numpy(dtype=np.float64) + extra
        for frame in (truth, bouts)
        for extra in (0.0, frame["duration"].to_numpy(dtype=np.float64))
    ]
    edges = np.unique(np.concatenate([*corners, np.empty(0) if spans is None else spans.ravel()]))
    table = np.zeros((len(STATE_WORDS), len(COLUMN_STATES)))
    side = np.zeros(3)
    if len(edges) < 2:
        return StateSeconds(recording_id, participant_id, table, side)
    labelled, labelled_side = _paint(truth, STATE_WORDS, edges, "side")
    detected, detected_side = _paint(bouts, COLUMN_STATES, edges, side_column)
    detected[detected < 0] = COLUMN_STATES.index("none")
    length = np.diff(edges)
    scored = (labelled >= 0) & within((edges[:-1] + edges[1:]) / 2, spans)
    if tiled and len(bouts):
        scored &= detected != COLUMN_STATES.index("none")
    np.add.at(table, (labelled[scored], detected[scored]), length[scored])
    limping, turn = STATE_WORDS.index("limping_gait"), STATE_WORDS.index("turn")
    for piece in np.flatnonzero(scored & (labelled == limping)):
        if labelled_side[piece]:
            right = detected[piece] == limping and detected_side[piece] == labelled_side[piece]
            side += length[piece] * np.array([1, right, detected[piece] == turn])
    return StateSeconds(recording_id, participant_id, table, side)
