"""Columns of everything the classifier gives: bouts, predictions, its model's history, and the evidence for it."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Final

from .spec import Column, TableSpec, interval_columns

__all__ = ["BOUTS", "EVIDENCE", "FEATURES", "FOLD", "HISTORY", "LABEL_NEXT", "MADE_BY", "PEOPLE", "PREDICTIONS"]

_RECORDING: Final = Column("recording_id", "string", "Recording", "Recording the row belongs to.")
_PARTICIPANT: Final = Column("participant_id", "string", "Participant", "Whose recording it is.")
_ONSET: Final = Column("onset", "number", "Onset", "Start, from the first stored sample.", "s", 3)
_DURATION: Final = Column("duration", "number", "Duration", "Length.", "s", 3)
MADE_BY: Final = (
    "out_of_fold: by a model that never saw this participant; final: by the stored model, for participants without "
    "labels; rule: by published limits, or by the rules of gait detection."
)
PEOPLE: Final = Column("n_participants", "integer", "Participants", "Number of participants behind the row.")

FOLD: Final = Column("fold", "integer", "Fold", "Fold the participant was left out in; -1 for none.")

BOUTS: Final = TableSpec(
    path="tables/bouts.tsv",
    title="Bouts",
    description="Rest, turns, normal and limping gait over time; the rows of a recording do not overlap.",
    columns=(
        _RECORDING,
        _ONSET,
        _DURATION,
        Column(
            "trial_type",
            "string",
            "State",
            "rest, normal_gait, limping_gait, turn, other (none of these), gait (too little of it to classify).",
        ),
        Column(
            "probability",
            "number",
            "Probability",
            "Calibrated probability of the gait state, mean over the bout; n/a where a rule decided.",
            "1",
            3,
        ),
        Column("limping_side", "string", "Limping side", "left or right, of limping_gait."),
        Column(
            "side_probability",
            "number",
            "Probability of the side",
            "Probability that the limp is on that side, given that there is one.",
            "1",
            3,
        ),
        Column("prediction", "string", "Predicted by", MADE_BY),
        Column("caution", "string", "Caution", "Why the row should be doubted."),
    ),
    key=("recording_id", "onset"),
)

PREDICTIONS: Final = TableSpec(
    path="model/predictions.tsv",
    title="Predictions of gait windows",
    description="One row per window of a few strides, before bouts are made of them. Participants with labels were "
    "predicted by a model that never saw them.",
    columns=(
        _RECORDING,
        _PARTICIPANT,
        _ONSET,
        _DURATION,
        Column("time", "number", "Centre", "Middle of the window.", "s", 3),
        Column("knees", "string", "Knees", "both, left or right."),
        Column("strides", "integer", "Strides", "Strides of the knee with more strides."),
        Column("label", "string", "Label", "What the reference rater says of at least most of the window."),
        Column("label_side", "string", "Labelled side", "Limping side the rater gave."),
        Column("probability_normal", "number", "P(normal)", "Calibrated probability of normal gait.", "1", 4),
        Column("probability_limping", "number", "P(limping)", "Calibrated probability of limping gait.", "1", 4),
        Column("probability_left", "number", "P(left)", "Probability that a limp is on the left.", "1", 4),
        FOLD,
        Column("prediction", "string", "Predicted by", MADE_BY),
        Column("caution", "string", "Caution", "Features missing or outside the training range."),
    ),
    key=("recording_id", "time"),
)

LABEL_NEXT: Final = TableSpec(
    path="tables/label_next.tsv",
    title="What to label next",
    description="Spans whose labels would teach the classifier most: it is not sure of them, they are unlike what is "
    "labelled, and nobody labelled them yet.",
    columns=(
        Column("rank", "integer", "Rank", "1 teaches most."),
        _RECORDING,
        _PARTICIPANT,
        _ONSET,
        _DURATION,
        Column("predicted", "string", "Predicted", "State as the classifier has it."),
        Column("probability", "number", "Probability", "Of the predicted state.", "1", 3),
        Column("uncertainty", "number", "Uncertainty", "1 - |2 P(limping) - 1|: 1 is a coin toss.", "1", 3),
        Column(
            "novelty",
            "number",
            "Novelty",
            "Distance to the nearest labelled window of somebody else; 0.5 is usual between labelled people.",
            "1",
            3,
        ),
        Column("labelled", "string", "Labelled", "no; agrees (with the prediction); disputed."),
        Column(
            "worth", "number", "Worth", "Uncertainty x novelty x need of a label, halved for each better span.", "1", 3
        ),
        Column("reason", "string", "Reason", "In words."),
    ),
    key=("rank",),
)

HISTORY: Final = TableSpec(
    path="model/history.tsv",
    title="History of models",
    description="One row per trained model; each is compared with the one before on the participants of both.",
    columns=(
        Column("number", "integer", "Number", "1 is the first model."),
        Column("model_id", "string", "Model", "From labels, settings and features."),
        Column("label_hash", "string", "Labels", "SHA-256 of the gait labels, shortened."),
        Column(
            "settings_hash",
            "string",
            "Settings",
            "SHA-256 of the settings of training and of the stages before it, shortened.",
        ),
        Column("feature_hash", "string", "Features", "SHA-256 of names, units and formulas, shortened."),
        Column("family", "string", "Family", "Model family chosen for the stored model."),
        Column("setting", "string", "Setting", "Its setting."),
        PEOPLE,
        Column("labelled_time", "number", "Labelled time", "Seconds with a state label.", "s", 1),
        *interval_columns("balanced_accuracy", "Balanced accuracy", "Normal against limping, by time.", "1"),
        *interval_columns("log_loss", "Log loss", "Of the windows, participants weighted alike.", "nat"),
        Column("side_accuracy", "number", "Side right", "Share of labelled limping time on the right side.", "1"),
        Column("participant_log_loss", "string", "Log loss by participant", "For the comparison with the next model."),
        Column("compared_with", "string", "Compared with", "Model before."),
        Column("n_compared", "integer", "Participants compared", "Tested by both models."),
        *interval_columns(
            "difference", "Difference of log loss", "New minus old, mean over participants; below 0 is better.", "nat"
        ),
        Column("verdict", "string", "Verdict", "better, worse, or not distinguishable."),
    ),
    key=("number",),
)

FEATURES: Final = TableSpec(
    path="tables/features.tsv",
    title="Feature dictionary",
    description="What each feature of the gait windows and of the throat movements is.",
    columns=(
        Column("name", "string", "Name", "Column of the feature rows."),
        Column(
            "group",
            "string",
            "Group",
            "timing, shape, amplitude: of gait; context is never learnt from; swallow: of throat movements.",
        ),
        Column("unit", "string", "Unit", "Unit of the values."),
        Column("formula", "string", "Formula", "How it is worked out."),
        Column("source", "string", "Source", "What the formula follows."),
        Column("low", "number", "Lowest", "Least value a person can show."),
        Column("high", "number", "Highest", "Greatest value a person can show."),
        Column("mirror", "string", "Mirrored", "odd: changes sign when left and right are swapped; even: does not."),
        Column("knees", "string", "Knees", "both: needs both; one: from either; alone: used where one was recorded."),
    ),
    key=("group", "name"),
)

_CLASSIFIER: Final = TableSpec(
    path="validation/classifier.tsv",
    title="Classifier and baselines",
    description="Scores on participants that the scoring model never saw, pooled and per participant, with the "
    "commonest state, an amplitude threshold and the published asymmetry rule beside it. Recall and precision count "
    "seconds.",
    columns=(
        Column(
            "predictor",
            "string",
            "Predictor",
            "classifier; majority: the commonest state of the study; amplitude_ratio: larger over "
            "smaller range of the response, threshold from the training participants; published_asymmetry: published "
            "limits of timing.",
        ),
        Column("scope", "string", "Scope", "pooled, or fold (one participant)."),
        _PARTICIPANT,
        FOLD,
        Column("trial_type", "string", "State", "The state scored, or all."),
        PEOPLE,
        Column("labelled_time", "number", "Labelled time", "Seconds labelled so.", "s", 1),
        *interval_columns("precision", "Precision", "Share of time called so that is labelled so.", "1"),
        *interval_columns("recall", "Recall", "Share of time labelled so that is called so.", "1"),
        *interval_columns("f1", "F1", "Harmonic mean of precision and recall.", "1"),
        *interval_columns("balanced_accuracy", "Balanced accuracy", "Mean recall of normal and limping gait.", "1"),
        *interval_columns(
            "balanced_accuracy_within_gait",
            "Balanced accuracy within gait",
            "The same over the time that was found to be normal or limping gait, not a turn or rest.",
            "1",
        ),
        *interval_columns(
            "side_accuracy", "Side right", "Share of limping time labelled with a side that is called so.", "1"
        ),
        *interval_columns("log_loss", "Log loss", "Mean -ln of the probability of the labelled state.", "nat"),
        *interval_columns("brier", "Brier score", "Mean squared error of the probability of limping.", "1"),
        *interval_columns(
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
        Column("low", "number", "Bin from", "Least probability of the bin.", "1", 2),
        Column("high", "number", "Bin to", "Greatest.", "1", 2),
        Column("predicted", "number", "Predicted", "Mean predicted probability of limping.", "1", 4),
        *interval_columns("observed", "Observed", "Share labelled limping.", "1"),
        Column("windows_share", "number", "Windows", "Share of all windows.", "1", 4),
        PEOPLE,
    ),
    key=("low",),
)

_PERMUTATION: Final = TableSpec(
    path="validation/permutation.tsv",
    title="Permutation test",
    description="Score of a quick classifier (logistic regression with a fixed setting) with the true labels and with "
    "labels exchanged between labelled bouts of a person, or between persons of one state.",
    columns=(
        Column("statistic", "string", "Statistic", "What is compared."),
        Column("value", "number", "Value", "With the true labels.", "1"),
        Column("permutations", "integer", "Permutations", "How many shuffles."),
        Column("null_mean", "number", "Mean by chance", "Over the shuffles.", "1"),
        Column("null_low", "number", "Chance from", "2.5 % of the shuffles are below.", "1"),
        Column("null_high", "number", "Chance to", "2.5 % are above.", "1"),
        Column("p_value", "number", "p", "(shuffles at least as good + 1) / (shuffles + 1).", "1", 4),
        PEOPLE,
        Column("n_units", "integer", "Bouts", "Labelled bouts whose labels were exchanged."),
    ),
    key=("statistic",),
)

_LEARNING_CURVE: Final = TableSpec(
    path="validation/learning_curve.tsv",
    title="Learning curve",
    description="Score of the quick classifier on the other participants when trained on few or many.",
    columns=(
        Column("n_participants", "integer", "Trained on", "Number of participants."),
        Column("draws", "integer", "Draws", "Random choices of them."),
        Column("balanced_accuracy", "number", "Balanced accuracy", "Mean over the draws, by window.", "1"),
        Column("low", "number", "Lowest", "Of the draws.", "1"),
        Column("high", "number", "Highest", "Of the draws.", "1"),
        Column("log_loss", "number", "Log loss", "Mean over the draws, uncalibrated.", "nat"),
    ),
    key=("n_participants",),
)

_ABLATION: Final = TableSpec(
    path="validation/ablation.tsv",
    title="Ablation by feature group",
    description="Score of the quick classifier, every participant left out in turn, with some groups of features.",
    columns=(
        Column("features", "string", "Features", "Which groups were used."),
        Column("n_features", "integer", "Number", "How many features that are."),
        PEOPLE,
        Column("balanced_accuracy", "number", "Balanced accuracy", "By window, participants weighted alike.", "1"),
        Column("log_loss", "number", "Log loss", "Uncalibrated.", "nat"),
    ),
    key=("features",),
)

_IMPORTANCE: Final = TableSpec(
    path="validation/importance.tsv",
    title="Permutation importance",
    description="How much the out-of-fold log loss rises when a feature, or a whole group, is taken from somebody "
    "else's window.",
    columns=(
        Column("feature", "string", "Feature", "Name, or all of a group."),
        Column("group", "string", "Group", "timing, shape or amplitude."),
        Column("log_loss_increase", "number", "Increase", "Mean over the draws.", "nat"),
        Column("low", "number", "Lowest", "Of the draws.", "nat"),
        Column("high", "number", "Highest", "Of the draws.", "nat"),
    ),
    key=("group", "feature"),
)

_CHOICES: Final = TableSpec(
    path="validation/choices.tsv",
    title="Choice of models",
    description="Inner log loss of every candidate in every fold; the simplest within one standard error of the best "
    "was taken.",
    columns=(
        Column("fold", "integer", "Fold", "Fold of participants left out."),
        Column("features", "integer", "Features", "Number of features of the model."),
        Column("family", "string", "Family", "Model family."),
        Column("setting", "string", "Setting", "Hyper-parameters."),
        Column("log_loss", "number", "Log loss", "On the inner folds, mean over participants.", "nat"),
        Column("standard_error", "number", "Standard error", "Of the distance from the best.", "nat"),
        Column("chosen", "boolean", "Chosen", "Whether it was taken."),
    ),
    key=("fold", "features", "family", "setting"),
)

_MISTAKES: Final = TableSpec(
    path="validation/mistakes.tsv",
    title="Worst mistakes",
    description="Spans where out-of-fold prediction and label disagree most, worst first.",
    columns=(
        Column("rank", "integer", "Rank", "1 is worst."),
        _RECORDING,
        _PARTICIPANT,
        _ONSET,
        _DURATION,
        Column("label", "string", "Label", "What the reference rater said."),
        Column("predicted", "string", "Predicted", "What the classifier said."),
        Column("probability", "number", "Probability", "Of what it said.", "1", 3),
        Column("log_loss", "number", "Log loss", "Summed over the windows of the span.", "nat"),
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
