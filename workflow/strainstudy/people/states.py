"""Which state of gait came or went between a person's sessions.

Measures are compared within one state only: a limp that is gone, or new, is a change that none of them tells of.
"""

from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise
from typing import Final

__all__ = ["MAINLY", "Walked", "came_or_went"]

MAINLY: Final = 0.9
"""Share of the walking time from which on somebody is said to walk in one state (ours)."""
Walked = tuple[str, float, float]
"""Session, seconds of normal and of limping gait."""


def came_or_went(sessions: Sequence[Walked]) -> list[str]:
    """Say between which sessions a state of gait came or went.

    Parameters
    ----------
    sessions : sequence of (session, seconds of normal gait, seconds of limping gait)
        In their order; those without either are passed over.

    Returns
    -------
    list of str
        One for each state and pair of neighbouring sessions in which its share crosses 1 - `MAINLY`.
    """
    walked = [(name, normal, limping) for name, normal, limping in sessions if normal + limping > 0]
    said = []
    for (before, *earlier), (after, *later) in pairwise(walked):
        for state, one, other in zip(("normal", "limping"), earlier, later, strict=True):
            shares = [one / sum(earlier), other / sum(later)]
            if min(shares) <= 1.0 - MAINLY < max(shares):
                said.append(
                    f"{state} gait was {100 * shares[0]:.0f} % of the walking in {before} and {100 * shares[1]:.0f} % "
                    f"in {after}"
                )
    return said
