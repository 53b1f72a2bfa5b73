"""What is said of gait where a model decided that no label of the study taught.

In: bouts with the columns that such a study has beside the usual ones. Out: words, or nothing.
"""

from __future__ import annotations

from typing import NamedTuple

from ..tables.classifier import BOUTS
from ..vocabulary import GAIT_STATES
from .results import StudyTables

__all__ = ["Elsewhere", "elsewhere_of"]


class Elsewhere(NamedTuple):
    """Where the model was trained, how many bouts it decided, and how many of these the rule disputes or skips."""

    told: str
    bouts: int
    disputed: int
    unruled: int

    @property
    def beside(self) -> str:
        """How the published rule stands to it."""
        words = f"the published rule calls {self.disputed} of its {self.bouts} bouts otherwise"
        return words + (f" and says nothing of {self.unruled}" if self.unruled else "")


def elsewhere_of(tables: StudyTables) -> Elsewhere | None:
    """Say what such a model decided; None where there was none."""
    bouts = tables(BOUTS)
    if "trained" not in bouts:
        return None
    own = bouts[bouts["trained"].notna() & bouts["trial_type"].isin(GAIT_STATES)]
    if own.empty:
        return None
    ruled = own["rule_trial_type"]
    apart = ruled.notna() & (ruled != own["trial_type"])
    return Elsewhere(str(own["trained"].iloc[0]), len(own), int(apart.sum()), int(ruled.isna().sum()))
