"""What a user may set about telling normal from limping gait, each default with its source."""

from __future__ import annotations

from dataclasses import dataclass

from ..learn.parameters import LearnParameters
from ..settings import setting

__all__ = ["StateParameters"]


@dataclass(frozen=True)
class StateParameters(LearnParameters):
    """Settings of training on gait windows, of smoothing, and of the rule that needs no labels."""

    families: tuple[str, ...] = setting(
        ("logistic_regression", "random_forest", "gradient_boosting"),
        "Model families to choose from, simplest first; a later one must beat an earlier one clearly",
        source="Breiman et al. 1984, Classification and Regression Trees: the simplest model within one standard "
        "error of the best (from memory)",
        choices=("logistic_regression", "random_forest", "extra_trees", "gradient_boosting"),
    )
    bout_min_s: float = setting(
        5.0,
        "Shortest bout of normal or limping gait within a walk",
        source="ours: four strides at a comfortable pace, about one window of features",
        unit="s",
        minimum=0.0,
        maximum=60.0,
    )
    probability_min: float = setting(
        0.65,
        "Probability below which a bout carries the caution that the classifier is not sure",
        source="ours: two to one",
        minimum=0.5,
        maximum=1.0,
    )
    label_overlap_min: float = setting(
        0.8,
        "Share of a window that one label must cover for the window to be learnt from",
        source="ours: a window across a change shows neither state",
        minimum=0.5,
        maximum=1.0,
    )
    swing_ratio_limit: float = setting(
        1.175,
        "Rule without labels: longer over shorter swing time above which gait is called limping",
        source="largest of 16 healthy people of an open data set (PhysioNet Gait in Neurodegenerative Disease "
        "Database; config/norms.tsv), which another healthy person exceeds one time in 17; 4 of these 16 exceed "
        "the limit of 1.06 of Patterson et al. 2010 (from memory)",
        minimum=1.0,
        maximum=3.0,
    )
    prevalence: float | None = setting(
        None,
        "Share of the walking that is expected to be limping, 0 to 1, to which probabilities are brought; null leaves "
        "them as they are for the mix of states in training",
        source="ours: nobody but the user knows it; the formula is that of Saerens et al. 2002, Neural Computation "
        "14(1):21-41 (from memory)",
        minimum=0.001,
        maximum=0.999,
    )
    coordination_limit_percent: float = setting(
        9.62,
        "Rule without labels: phase coordination index above which gait is called limping",
        source="Zadik et al. 2022, Gait Posture 96:87-92: 5.68 (SD 2.01) in healthy people from 75 years on; "
        "mean + 1.96 SD, which 1 in 40 of them exceed if the index is spread normally",
        unit="%",
        minimum=0.0,
        maximum=100.0,
    )
