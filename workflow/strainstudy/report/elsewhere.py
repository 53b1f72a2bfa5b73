"""What is said of gait where a model decided that no label of the study taught.

In: bouts with the columns that such a study has beside the usual ones. Out: words, or nothing.
"""

from __future__ import annotations

from typing import Any, NamedTuple

from ..tables.classifier import BOUTS
from ..tables.validation import STATES
from ..vocabulary import GAIT_STATES
from .results import StudyTables, records

__all__ = ["Elsewhere", "elsewhere_of", "tested_here"]


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


def tested_here(tables: StudyTables) -> dict[str, Any] | None:
    """Give how such a model agrees with the labels of this study; None where they do not hold both gaits."""
    states = tables(STATES)
    at = (states["recording_id"] == "pooled") & (states["trial_type"] == "normal_against_limping")
    found = records(states[at & (states["measure"] == "balanced_accuracy") & states["value"].notna()])
    return found[0] if found else None
