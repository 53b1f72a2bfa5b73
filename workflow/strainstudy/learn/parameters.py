"""What a user may set about classification, each default with its source."""

from __future__ import annotations

from dataclasses import dataclass

from ..settings import setting

__all__ = ["ClassifyParameters"]


@dataclass(frozen=True)
class ClassifyParameters:
    """Settings of training, smoothing and of the evidence that goes with a classifier."""

    families: tuple[str, ...] = setting(
        ("logistic_regression", "random_forest", "gradient_boosting"),
        "Model families to choose from, simplest first; a later one must beat an earlier one clearly",
        source="Breiman et al. 1984, Classification and Regression Trees: the simplest model within one standard "
        "error of the best (from memory)",
        choices=("logistic_regression", "random_forest", "extra_trees", "gradient_boosting"),
    )
    swallow_families: tuple[str, ...] = setting(
        ("extra_trees",),
        "Model families to choose from for candidates of swallows, simplest first",
        source="ours: speech, coughs and turning heads lie on different sides of swallows, which no plane separates; "
        "of these families this one called the fewest of them swallows on simulated throats",
        choices=("logistic_regression", "random_forest", "extra_trees", "gradient_boosting"),
    )
    swallow_probability_min: float = setting(
        0.7,
        "Probability from which a candidate is called a swallow; higher: fewer false, more missed",
        source="ours: on five simulated cohorts of twelve people 0.23 false swallows a minute of speech, coughs and "
        "head movements at F1 0.965; 0.5 gives 0.61 at F1 0.969 (docs/throat-shapes.md)",
        minimum=0.05,
        maximum=0.99,
    )
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
    coordination_limit_percent: float = setting(
        9.62,
        "Rule without labels: phase coordination index above which gait is called limping",
        source="Zadik et al. 2022, Gait Posture 96:87-92: 5.68 (SD 2.01) in healthy people from 75 years on; "
        "mean + 1.96 SD, which 1 in 40 of them exceed if the index is spread normally",
        unit="%",
        minimum=0.0,
        maximum=100.0,
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
