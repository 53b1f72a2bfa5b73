"""What is scored of gait: seconds of each state, and the side of limps.

In: `state_time.StateSeconds` of each recording. Out: the sums that `learn.scores` makes rows of
``validation/classifier.tsv`` from. A state counts by its time: recall of normal gait is the share of the time labelled
normal gait that was called normal gait, whatever else it was called. Balanced accuracy is the mean of the recalls of
normal and limping gait, over all time labelled so and over the part that was found to be either (what is lost between
the two was called rest or other by gait detection). Time in turns, labelled or detected, and time without a state label
are not scored.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from ..learn.scores import PER_CLASS, Scheme, confusion_sums, ratio
from ..vocabulary import GAIT_STATES, STATES
from .state_time import COLUMN_STATES, StateSeconds

__all__ = ["SCHEME", "SUMS", "state_sums"]

FloatArray = NDArray[np.float64]

SCORED_STATES = ("rest", *GAIT_STATES)
SUMS = PER_CLASS * len(SCORED_STATES) + 4
"""Number of sums that `state_sums` gives."""


def state_sums(part: StateSeconds) -> FloatArray:
    """Add up what scores are made of, from the seconds of one recording.

    Parameters
    ----------
    part : StateSeconds
        From `state_time.state_seconds`.

    Returns
    -------
    array, shape (3 * 3 + 4,)
        `confusion_sums` of rest, normal and limping gait; then seconds of limping labelled with a side, and those of
        them called limping on that side; then seconds labelled normal and labelled limping that were called one of the
        two.
    """
    # A turn is neither normal nor limping, whoever says so.
    table, turn = part.seconds.copy(), STATES.index("turn")
    table[turn] = 0.0
    table[[STATES.index(state) for state in GAIT_STATES], COLUMN_STATES.index("turn")] = 0.0
    sided, right, turned = part.side
    columns = [COLUMN_STATES.index(state) for state in GAIT_STATES]
    either = [table[STATES.index(state), columns].sum() for state in GAIT_STATES]
    sums = confusion_sums(table, STATES, COLUMN_STATES, SCORED_STATES)
    return np.concatenate([sums, [sided - turned, right], either])


def _within_gait(s: FloatArray) -> FloatArray:
    both = [PER_CLASS * SCORED_STATES.index(state) + 2 for state in GAIT_STATES]
    return np.asarray(np.stack([ratio(s[:, k], s[:, SUMS - 2 + i]) for i, k in enumerate(both)]).mean(axis=0))


SCHEME = Scheme(
    classes=SCORED_STATES,
    labelled="labelled_time",
    balanced=GAIT_STATES,
    more={
        "balanced_accuracy_within_gait": _within_gait,
        "side_accuracy": lambda s: ratio(s[:, SUMS - 3], s[:, SUMS - 4]),
    },
)
