"""What classification of gait gives back, as frames and bytes for the stage to write."""

from __future__ import annotations

from dataclasses import dataclass, fields
from typing import Any

import pandas as pd

from ..learn.decide import Outcome

__all__ = ["PREDICTION_COLUMNS", "Evidence", "StateResult", "TrainedModel"]

PREDICTION_COLUMNS = (
    "recording_id", "participant_id", "onset", "duration", "time", "knees", "strides", "label", "label_side",
    "probability_normal", "probability_limping", "probability_left", "fold", "prediction", "caution",
)  # fmt: skip


@dataclass(frozen=True)
class Evidence:
    """What stands behind a trained classifier; the tables of ``tables/classifier.py`` say what each column means.

    Parameters
    ----------
    classifier : DataFrame
        Classifier and baselines, pooled and per fold.
    reliability : DataFrame
        Predicted probability against observed share.
    permutation, learning_curve, ablation, importance : DataFrame
        From `evidence`.
    choices : DataFrame
        Candidates of each fold and which was chosen.
    mistakes : DataFrame
        Worst out-of-fold mistakes.
    """

    classifier: pd.DataFrame
    reliability: pd.DataFrame
    permutation: pd.DataFrame
    learning_curve: pd.DataFrame
    ablation: pd.DataFrame
    importance: pd.DataFrame
    choices: pd.DataFrame
    mistakes: pd.DataFrame

    def frames(self) -> dict[str, pd.DataFrame]:
        """Give the frames by name, in the order of the table specifications."""
        return {f.name: getattr(self, f.name) for f in fields(self)}


@dataclass(frozen=True)
class TrainedModel:
    """The model of all labelled people.

    Parameters
    ----------
    content : bytes
        The model file.
    card : dict
        For ``card.json`` and ``card.md``.
    history_entry : dict
        For `history.extend`.
    participant_log_loss : dict of str to float
        Out-of-fold log loss of each participant, for the comparison with the next model.
    """

    content: bytes
    card: dict[str, Any]
    history_entry: dict[str, Any]
    participant_log_loss: dict[str, float]


@dataclass(frozen=True)
class StateResult(Outcome):
    """All that classification of gait gives.

    Parameters
    ----------
    bouts : DataFrame
        `state_bouts.BOUT_COLUMNS`, all recordings.
    predictions : DataFrame
        `PREDICTION_COLUMNS`, one row per window; ``probability_left`` is that of a limp being left.
    label_next : DataFrame
        `attention.LABEL_NEXT_COLUMNS`.
    evidence : Evidence or None
        None where nothing was trained.
    model : TrainedModel or None
        None where nothing was trained.
    rule_bouts : DataFrame or None
        Bouts by the published rule alone, where a model decided that no label of the study taught; ``bouts``,
        ``predictions`` and ``label_next`` then have ``trained`` and `elsewhere.rule_beside` as further columns.
    given_sha256 : str or None
        Hash of the file of that model, as its card has it.
    """

    bouts: pd.DataFrame
    predictions: pd.DataFrame
    label_next: pd.DataFrame
    evidence: Evidence | None = None
    model: TrainedModel | None = None
    rule_bouts: pd.DataFrame | None = None
    given_sha256: str | None = None
