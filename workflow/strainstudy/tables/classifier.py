"""Columns of everything the classifier gives: bouts, predictions, its model's history, and the evidence for it."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Final

from .families import DURATION, FOLD, ONSET, PARTICIPANT, PEOPLE_BEHIND, PREDICTION, RECORDING, hits, probability_scores
from .spec import TableSpec, count, flag, interval, number, text

__all__ = [
    "BESIDE",
    "BOUTS",
    "EVIDENCE",
    "FEATURES",
    "HISTORY",
    "LABEL_NEXT",
    "PREDICTIONS",
    "RULE_SHARE",
    "RULE_SIDE",
    "RULE_STATE",
    "TRAINED",
    "WINDOW",
]

TRAINED: Final = text(
    "trained",
    "Trained",
    "Where the model that decided was trained, and on whom; n/a where the rule decided.",
)
RULE_STATE: Final = text(
    "rule_trial_type", "State by the rule", "normal_gait or limping_gait by published limits alone, of the larger part."
)
RULE_SHARE: Final = number(
    "rule_limping_share",
    "Limping by the rule",
    "Part that published limits alone call limping, of what they call normal or limping gait.",
    "1",
    3,
)
RULE_SIDE: Final = text("rule_limping_side", "Limping side by the rule", "left or right, of limping gait by the rule.")
BESIDE: Final = (TRAINED, RULE_STATE, RULE_SHARE)
"""Added to tables where a model decided that no label of the study taught: whose it is, and the rule beside it."""

BOUTS: Final = TableSpec(
    path="tables/bouts.tsv",
    title="Bouts",
    description="Rest, turns, normal and limping gait over time; the rows of a recording do not overlap.",
    columns=(
        RECORDING,
        ONSET,
        DURATION,
        text(
            "trial_type",
            "State",
            "rest, normal_gait, limping_gait, turn, other (none of these), gait (too little of it to classify).",
        ),
        number(
            "probability",
            "Probability",
            "Calibrated probability of the gait state, mean over the bout; n/a where a rule decided.",
            "1",
            3,
        ),
        text("limping_side", "Limping side", "left or right, of limping_gait."),
        number(
            "side_probability",
            "Probability of the side",
            "Probability that the limp is on that side, given that there is one.",
            "1",
            3,
        ),
        PREDICTION,
        text("caution", "Caution", "Why the row should be doubted."),
        flag(
            "turns_known",
            "Turns known",
            "Of walks: whether every turn would show in this walk; if not (one knee alone, few or uneven steps), turns "
            "that do not show are part of the gait.",
        ),
    ),
    key=("recording_id", "onset"),
)

WINDOW: Final = (
    RECORDING,
    PARTICIPANT,
    ONSET,
    DURATION,
    number("time", "Centre", "Middle of the window.", "s", 3),
    text("knees", "Knees", "both, left or right."),
    count("strides", "Strides", "Strides of the knee with more strides."),
    text("label", "Label", "What the reference rater says of at least most of the window."),
    text("label_side", "Labelled side", "Limping side the rater gave."),
)
"""What tables of windows of gait begin with."""

PREDICTIONS: Final = TableSpec(
    path="model/predictions.tsv",
    title="Predictions of gait windows",
    description="One row per window of a few strides, before bouts are made of them. Participants with labels were "
    "predicted by a model that never saw them.",
    columns=(
        *WINDOW,
        number("probability_normal", "P(normal)", "Calibrated probability of normal gait.", "1", 4),
        number("probability_limping", "P(limping)", "Calibrated probability of limping gait.", "1", 4),
        number("probability_left", "P(left)", "Probability that a limp is on the left.", "1", 4),
        FOLD,
        PREDICTION,
        text("caution", "Caution", "Features missing or outside the training range."),
    ),
    key=("recording_id", "time"),
)

LABEL_NEXT: Final = TableSpec(
    path="tables/label_next.tsv",
    title="What to label next",
    description="Spans whose labels would teach the classifier most: it is not sure of them, they are unlike what is "
    "labelled, and nobody labelled them yet.",
    columns=(
        count("rank", "Rank", "1 teaches most."),
        RECORDING,
        PARTICIPANT,
        ONSET,
        DURATION,
        text("predicted", "Predicted", "State as the classifier has it."),
        number("probability", "Probability", "Of the predicted state.", "1", 3),
        number("uncertainty", "Uncertainty", "1 - |2 P(limping) - 1|: 1 is a coin toss.", "1", 3),
        number(
            "novelty",
            "Novelty",
            "Distance to the nearest labelled window of somebody else; 0.5 is usual between labelled people.",
            "1",
            3,
        ),
        text(
            "labelled",
            "Labelled",
            "no; in part (or as several states); agrees (with the prediction); disputed; unpredicted.",
        ),
        number("worth", "Worth", "Uncertainty x novelty x need of a label, halved for each better span.", "1", 3),
        text("reason", "Reason", "In words."),
    ),
    key=("rank",),
)

HISTORY: Final = TableSpec(
    path="model/history.tsv",
    title="History of models",
    description="One row per trained model; each is compared with the one before on the participants of both.",
    columns=(
        count("number", "Number", "1 is the first model."),
        text("model_id", "Model", "From labels, settings and features."),
        text("label_hash", "Labels", "SHA-256 of the gait labels, shortened."),
        text(
            "settings_hash", "Settings", "SHA-256 of the settings of training and of the stages before it, shortened."
        ),
        text("feature_hash", "Features", "SHA-256 of names, units and formulas, shortened."),
        text("family", "Family", "Model family chosen for the stored model."),
        text("setting", "Setting", "Its setting."),
        PEOPLE_BEHIND,
        number("labelled_time", "Labelled time", "Seconds with a state label.", "s", 1),
        *interval("balanced_accuracy", "Balanced accuracy", "Normal against limping, by time.", "1"),
        *interval("log_loss", "Log loss", "Of the windows, participants weighted alike.", "nat"),
        number(
            "side_accuracy",
            "Side right, turns left out",
            "Share of the time labelled as limping on a side, less what was called a turn, that is called so.",
            "1",
        ),
        text("participant_log_loss", "Log loss by participant", "For the comparison with the next model."),
        text("compared_with", "Compared with", "Model before."),
        count("n_compared", "Participants compared", "Tested by both models."),
        *interval(
            "difference", "Difference of log loss", "New minus old, mean over participants; below 0 is better.", "nat"
        ),
        text("verdict", "Verdict", "better, worse, or not distinguishable."),
    ),
    key=("number",),
)

FEATURES: Final = TableSpec(
    path="tables/features.tsv",
    title="Feature dictionary",
    description="What each feature of the gait windows and of the throat movements is.",
    columns=(
        text("name", "Name", "Column of the feature rows."),
        text(
            "group",
            "Group",
            "timing, shape, amplitude: of gait; context is never learnt from; swallow: of throat movements.",
        ),
        text("unit", "Unit", "Unit of the values."),
        text("formula", "Formula", "How it is worked out."),
        text("source", "Source", "What the formula follows."),
        number("low", "Lowest", "Least value a person can show."),
        number("high", "Highest", "Greatest value a person can show."),
        text("mirror", "Mirrored", "odd: changes sign when left and right are swapped; even: does not."),
        text("knees", "Knees", "both: needs both; one: from either; alone: used where one was recorded."),
    ),
    key=("group", "name"),
)

_CLASSIFIER: Final = TableSpec(
    path="validation/classifier.tsv",
    title="Classifier and baselines",
    description="Scores on participants that the scoring model never saw, pooled and per participant, with the "
    "commonest state, an amplitude threshold and the published asymmetry rule beside it. One that compares "
    "the knees has no score of a person with one knee, who is not among its pooled ones. Recall and precision count "
    "seconds.",
    columns=(
        text(
            "predictor",
            "Predictor",
            "classifier; majority: the commonest state of the study; amplitude_ratio: larger over "
            "smaller range of the response, threshold from the training participants; published_asymmetry: published "
            "limits of timing.",
        ),
        text("scope", "Scope", "pooled, or fold (one participant)."),
        PARTICIPANT,
        FOLD,
        text("trial_type", "State", "The state scored, or all."),
        PEOPLE_BEHIND,
        number("labelled_time", "Labelled time", "Seconds labelled so.", "s", 1),
        *hits("time", "is"),
        *interval("balanced_accuracy", "Balanced accuracy", "Mean recall of normal and limping gait.", "1"),
        *interval(
            "balanced_accuracy_within_gait",
            "Balanced accuracy within gait",
            "The same over the time that was found to be normal or limping gait, not rest or other.",
            "1",
        ),
        *interval(
            "side_accuracy",
            "Side right, turns left out",
            "Share of the time labelled as limping on a side, less what was called a turn, that is called so; "
            "side_right of validation/states.tsv counts what was called a turn as missed.",
            "1",
        ),
        *probability_scores(
            "Mean -ln of the probability of the labelled state.", "Mean squared error of the probability of limping."
        ),
        *interval(
            "calibration_error",
            "Calibration error",
            "Mean distance of observed share from predicted probability, in ten bins.",
            "1",
        ),
    ),
    key=("predictor", "scope", "participant_id", "trial_type"),
)

_RELIABILITY: Final = TableSpec(
    path="validation/reliability.tsv",
    title="Reliability of the probabilities",
    description="Of windows given a probability of limping, the share that is labelled limping; participants weighted "
    "alike, interval over participants.",
    columns=(
        number("low", "Bin from", "Least probability of the bin.", "1", 2),
        number("high", "Bin to", "Greatest.", "1", 2),
        number("predicted", "Predicted", "Mean predicted probability of limping.", "1", 4),
        *interval("observed", "Observed", "Share labelled limping.", "1"),
        number("windows_share", "Windows", "Share of all windows.", "1", 4),
        PEOPLE_BEHIND,
    ),
    key=("low",),
)

_PERMUTATION: Final = TableSpec(
    path="validation/permutation.tsv",
    title="Permutation test",
    description="Score of a quick classifier (logistic regression with a fixed setting) with the true labels and with "
    "labels exchanged between labelled bouts of a person, or between persons of one state.",
    columns=(
        text("statistic", "Statistic", "What is compared."),
        number("value", "Value", "With the true labels.", "1"),
        count("permutations", "Permutations", "How many shuffles."),
        number("null_mean", "Mean by chance", "Over the shuffles.", "1"),
        number("null_low", "Chance from", "2.5 % of the shuffles are below.", "1"),
        number("null_high", "Chance to", "2.5 % are above.", "1"),
        number("p_value", "p", "(shuffles at least as good + 1) / (shuffles + 1).", "1", 4),
        PEOPLE_BEHIND,
        count("n_units", "Bouts", "Labelled bouts whose labels were exchanged."),
    ),
    key=("statistic",),
)

_LEARNING_CURVE: Final = TableSpec(
    path="validation/learning_curve.tsv",
    title="Learning curve",
    description="Score of the quick classifier on the other participants when trained on few or many.",
    columns=(
        count("n_participants", "Trained on", "Number of participants."),
        count("draws", "Draws", "Random choices of them."),
        number("balanced_accuracy", "Balanced accuracy", "Mean over the draws, by window.", "1"),
        number("low", "Lowest", "Of the draws.", "1"),
        number("high", "Highest", "Of the draws.", "1"),
        number("log_loss", "Log loss", "Mean over the draws, uncalibrated.", "nat"),
    ),
    key=("n_participants",),
)

_ABLATION: Final = TableSpec(
    path="validation/ablation.tsv",
    title="Ablation by feature group",
    description="Score of the quick classifier, every participant left out in turn, with some groups of features.",
    columns=(
        text("features", "Features", "Which groups were used."),
        count("n_features", "Number", "How many features that are."),
        PEOPLE_BEHIND,
        number("balanced_accuracy", "Balanced accuracy", "By window, participants weighted alike.", "1"),
        number("log_loss", "Log loss", "Uncalibrated.", "nat"),
    ),
    key=("features",),
)

_IMPORTANCE: Final = TableSpec(
    path="validation/importance.tsv",
    title="Permutation importance",
    description="How much the out-of-fold log loss rises when a feature, or a whole group, is taken from somebody "
    "else's window.",
    columns=(
        text("feature", "Feature", "Name, or all of a group."),
        text("group", "Group", "timing, shape or amplitude."),
        number("log_loss_increase", "Increase", "Mean over the draws.", "nat"),
        number("low", "Lowest", "Of the draws.", "nat"),
        number("high", "Highest", "Of the draws.", "nat"),
    ),
    key=("group", "feature"),
)

_CHOICES: Final = TableSpec(
    path="validation/choices.tsv",
    title="Choice of models",
    description="Inner log loss of every candidate in every fold; the simplest within one standard error of the best "
    "was taken.",
    columns=(
        count("fold", "Fold", "Fold of participants left out."),
        count("features", "Features", "Number of features of the model."),
        text("family", "Family", "Model family."),
        text("setting", "Setting", "Hyper-parameters."),
        number("log_loss", "Log loss", "On the inner folds, mean over participants.", "nat"),
        number("standard_error", "Standard error", "Of the distance from the best.", "nat"),
        flag("chosen", "Chosen", "Whether it was taken."),
    ),
    key=("fold", "features", "family", "setting"),
)

_MISTAKES: Final = TableSpec(
    path="validation/mistakes.tsv",
    title="Worst mistakes",
    description="Spans where out-of-fold prediction and label disagree most, worst first.",
    columns=(
        count("rank", "Rank", "1 is worst."),
        RECORDING,
        PARTICIPANT,
        ONSET,
        DURATION,
        text("label", "Label", "What the reference rater said."),
        text("predicted", "Predicted", "What the classifier said."),
        number("probability", "Probability", "Of what it said.", "1", 3),
        number("log_loss", "Log loss", "Summed over the windows of the span.", "nat"),
    ),
    key=("rank",),
)

EVIDENCE: Final[Mapping[str, TableSpec]] = {
    "classifier": _CLASSIFIER,
    "reliability": _RELIABILITY,
    "permutation": _PERMUTATION,
    "learning_curve": _LEARNING_CURVE,
    "ablation": _ABLATION,
    "importance": _IMPORTANCE,
    "choices": _CHOICES,
    "mistakes": _MISTAKES,
}
"""Tables of a trained classifier, by the name of the frame in `gait.result.Evidence`."""
