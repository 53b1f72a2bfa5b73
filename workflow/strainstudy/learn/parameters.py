"""What a user may set about learning, whatever is learnt; each default with its source."""

from __future__ import annotations

from dataclasses import dataclass

from ..settings import setting

__all__ = ["LearnParameters"]


@dataclass(frozen=True)
class LearnParameters:
    """Settings of folds, of the evidence that goes with a classifier, and of what to label next."""

    leave_one_out_up_to: int = setting(
        20,
        "Participants up to which each is left out in turn; larger cohorts are split into folds of participants",
        source="ours: leaving one out is the least waste and is affordable up to here",
        minimum=2,
        maximum=200,
    )
    folds: int = setting(
        10,
        "Folds of participants in a larger cohort",
        source="common practice, no source",
        minimum=2,
        maximum=50,
    )
    inner_folds: int = setting(
        3,
        "Folds of the training participants for choosing the model and calibrating its probabilities",
        source="common practice, no source",
        minimum=2,
        maximum=10,
    )
    permutations: int = setting(
        199,
        "Shuffles of the labels in the permutation test; 0 leaves it out",
        source="Phipson & Smyth 2010, Stat Appl Genet Mol Biol 9:39: p = (b + 1) / (m + 1) (from memory)",
        minimum=0,
        maximum=10000,
    )
    bootstrap_resamples: int = setting(
        2000,
        "Resamples of participants for the intervals of scores",
        source="Efron & Tibshirani 1993, An Introduction to the Bootstrap, ch. 13 (from memory)",
        minimum=200,
        maximum=20000,
    )
    label_next_rows: int = setting(
        20,
        "Spans listed as the next to label",
        source="ours: an afternoon's work",
        minimum=0,
        maximum=1000,
    )
    seed: int = setting(
        6,
        "Seed of everything random in training; the same seed gives the same model",
        source="ours: any whole number will do",
        minimum=0,
    )
