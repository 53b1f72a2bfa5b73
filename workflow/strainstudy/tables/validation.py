"""Columns of the tables that compare the pipeline with labels, in words for the reader of a paper."""

from __future__ import annotations

from ..vocabulary import EVENT_TYPES
from .families import MEASURE, METHOD, PEOPLE, READING, RECORDINGS, STATE, UNIT, limits_of_agreement, reworded
from .spec import TableSpec, count, interval, number, text

__all__ = ["CONFOUNDERS", "CONFUSION", "EVENTS", "PAIRS", "PARAMETERS", "RATERS", "SHAPES", "STATES"]

_RATER = text("rater", "rater", "The rater whose labels are taken as the truth here.")
_SCORED = (
    text("recording_id", "recording", "The recording, or 'pooled' for all labelled recordings together."),
    text("participant_id", "participant", "Who it comes from; n/a where pooled."),
    _RATER,
)
_LABELLED_S = number("labelled_seconds", "labelled time", "Labelled time that the row rests on.", "s")

_TYPE = (
    text("trial_type", "event type", f"What was looked for: {', '.join(EVENT_TYPES)}."),
    text("side", "side", "left, right, or 'all' for both sides together (or where labels have no side)."),
    text(
        "criterion",
        "criterion",
        "When a detected event counts as the labelled one: 'time' = no further apart than the tolerance; 'overlap' = "
        "overlap divided by union reaches the tolerance; 'centre' = centres no further apart than the tolerance. Each "
        "event is used once; of all possible pairings the one with most pairs, then least distance, is taken.",
    ),
    number("tolerance", "tolerance", "Seconds for 'time' and 'centre'; a share between 0 and 1 for 'overlap'."),
)
_COUNTS = (
    count("n_labelled", "labelled", "Labelled events inside the scored time."),
    count("n_detected", "detected", "Detected events inside the scored time."),
    count("true_positive", "found", "Labelled events that were detected."),
    count("false_positive", "false alarms", "Detected events that nobody labelled."),
    count("false_negative", "missed", "Labelled events that were not detected."),
)
_RATES = (
    *interval("precision", "precision", "Share of detected events that were labelled: TP / (TP + FP).", "1"),
    *interval("recall", "recall", "Share of labelled events that were detected: TP / (TP + FN).", "1"),
    *interval("f1", "F1", "Harmonic mean of precision and recall: 2 TP / (2 TP + FP + FN).", "1"),
    METHOD,
)
_TIMING = (
    *interval(
        "bias",
        "timing bias",
        "Mean of detected minus labelled time of found events (intervals: of their centres); positive = detected late.",
        "s",
    ),
    number("median", "median timing error", "Median of detected minus labelled time.", "s"),
    number("sd", "timing SD", "Standard deviation of detected minus labelled time.", "s"),
    *limits_of_agreement(
        "s",
        " Pooled rows count several events of a person as repeated measures (Bland & Altman 2007), so that the limits "
        "hold for one event of a person not yet seen.",
    ),
)

_DURATION = (
    number(
        "duration_bias",
        "duration bias",
        "Mean of detected minus labelled duration of found intervals; n/a for instants.",
        "s",
    ),
    number("duration_sd", "duration SD", "Standard deviation of the same.", "s"),
)
_AGREEMENT = (*_TYPE, RECORDINGS, PEOPLE, *_COUNTS, *_RATES, *_TIMING, *_DURATION, READING)

EVENTS = TableSpec(
    path="validation/events.tsv",
    title="Detected events against labels",
    description="How many of the labelled events were found, how many found events were not labelled, and how far "
    "apart in time the two were. Only event types, sides and time that the rater labelled are scored. Limits of a "
    "single recording take its events as independent; those of pooled rows are over participants.",
    columns=(
        *_SCORED,
        *_AGREEMENT,
    ),
    key=("trial_type", "criterion", "tolerance", "side", "recording_id"),
)

SHAPES = TableSpec(
    path="validation/throat_shapes.tsv",
    title="Swallows against labels, by the shape that the sensor gives them",
    description="The pooled rows of events.tsv for swallows, split by response_shape of tables/swallow_summary.tsv; "
    "intervals are over participants.",
    columns=(
        text("response_shape", "response shape", "one_hump, two_phase, ringing; 'unknown' = nothing was found."),
        _RATER,
        *_AGREEMENT,
    ),
    key=("criterion", "tolerance", "response_shape"),
)

CONFOUNDERS = TableSpec(
    path="validation/confounders.tsv",
    title="What was taken for a swallow",
    description="Speech, coughs, head movements and artefacts that the rater labelled in the throat signal, and how "
    "often the pipeline reported a swallow in them; and all false swallows beside all time without swallows. Pooled "
    "limits are the wider of those from the count (Wilson; exact Poisson) and from resampling participants; "
    "interval_method says which.",
    columns=(
        *_SCORED,
        text(
            "confounder",
            "confounder",
            "What the rater labelled; 'all' = speech, coughs and head "
            "movements together; 'other' = labelled time in which none of these and no swallow was labelled; "
            "'no_swallow' = all labelled time without labelled swallows, and all false swallows.",
        ),
        PEOPLE,
        count("n_labelled", "labelled", "Labelled stretches of it; 'other' and 'no_swallow' have none."),
        count("n_taken", "taken for a swallow", "Stretches with one false swallow or more in them."),
        *interval("share_taken", "share taken for a swallow", "n_taken / n_labelled.", "1"),
        count("n_false_swallows", "false swallows", "False swallows whose centre lies in it."),
        number("minutes", "labelled time", "Minutes of it that were labelled.", "min"),
        *interval("false_per_minute", "false swallows per minute", "False swallows per minute of it.", "1/min"),
        METHOD,
        READING,
    ),
    key=("confounder", "recording_id"),
)

STATES = TableSpec(
    path="validation/states.tsv",
    title="Detected states against labels, by time",
    description="Rest, normal gait, limping gait and turns: how much of the labelled time was given the right state. "
    "Limits only where pooled, over participants: the seconds of one recording are not independent.",
    columns=(
        *_SCORED,
        text(
            "trial_type",
            "state",
            "The state; 'all' = rest, normal and limping gait together; 'normal_against_limping' = time labelled as "
            "either gait.",
        ),
        text(
            "measure",
            "measure",
            "recall = share of the labelled time that was detected as this state; precision = share of the detected "
            "time that was labelled so; f1 = their harmonic mean; balanced_accuracy = mean recall of the labelled "
            "states; kappa = agreement beyond chance (Cohen 1960), 1 = perfect, 0 = chance; side_right = share of the "
            "time labelled as limping with a side that was detected as limping on that side, what was called a "
            "turn counting as missed.",
        ),
        PEOPLE,
        _LABELLED_S,
        *interval("value", "value", "Value of the measure; share or kappa, 1 is best.", "1"),
        METHOD,
        READING,
    ),
    key=("trial_type", "measure", "recording_id"),
)

CONFUSION = TableSpec(
    path="validation/confusion.tsv",
    title="Seconds of each labelled state by detected state",
    description="What was detected during the time that the rater gave a state. Pairs without any time are left out.",
    columns=(
        *_SCORED,
        text("labelled", "labelled state", "State that the rater gave."),
        text("detected", "detected state", "State detected then; 'none' = no bout, 'other' = another word."),
        number("seconds", "time", "Time with this pair of states.", "s"),
        number("share", "share", "Part of the time with this label.", "1"),
    ),
    key=("recording_id", "labelled", "detected"),
)

RATERS = TableSpec(
    path="validation/raters.tsv",
    title="A second rater and the pipeline, against the reference rater",
    description="On the recordings, event types and time that two raters labelled: the second rater scored against the "
    "reference rater, the pipeline scored against the same, and the difference. Whether the pipeline is as good as a "
    "second rater is read from 'standing'. States have a row of their own with kappa instead of F1.",
    columns=(
        text("reference_rater", "reference rater", "Rater taken as the truth."),
        text("other_rater", "other rater", "Rater compared with the reference rater."),
        *_TYPE,
        RECORDINGS,
        PEOPLE,
        _LABELLED_S,
        *reworded(_COUNTS, "Other rater in place of detection:"),
        *reworded(_RATES, "Other rater against reference rater."),
        *reworded(_TIMING, "Other rater minus reference rater."),
        *interval("kappa", "kappa, other rater", "Agreement of the two raters on states beyond chance.", "1"),
        *interval("pipeline_f1", "F1, pipeline", "F1 of the pipeline against the reference rater.", "1"),
        *interval(
            "pipeline_minus_rater_f1",
            "F1, pipeline minus rater",
            "Pipeline's F1 minus the other rater's; above 0 the pipeline agrees better with the reference rater.",
            "1",
        ),
        *interval("pipeline_kappa", "kappa, pipeline", "Kappa of the pipeline with the reference rater, states.", "1"),
        *interval(
            "pipeline_minus_rater_kappa",
            "kappa, pipeline minus rater",
            "Pipeline's kappa minus the other rater's; above 0 the pipeline agrees better.",
            "1",
        ),
        text(
            "standing",
            "standing",
            "What the limits of 'pipeline minus rater' say; the resampling over participants is paired.",
        ),
        READING,
    ),
    key=("reference_rater", "other_rater", "trial_type", "criterion", "tolerance", "side"),
)

PARAMETERS = TableSpec(
    path="validation/parameters.tsv",
    title="Gait and swallow parameters: pipeline against labels",
    description="Each parameter computed from the labels and from the pipeline for the same recordings. Bias and "
    "limits of agreement take several recordings of a person as repeated measures (Bland & Altman 2007).",
    columns=(
        MEASURE,
        STATE,
        text(
            "detected_from",
            "detected from",
            "'events' = detected events over exactly the labelled time; 'result tables' = what the result tables "
            "report for the whole recording.",
        ),
        UNIT,
        count("n_pairs", "pairs", "Recordings (knee bends: bends) with a value from both."),
        count("n_not_detected", "without a value", "Labelled values that the pipeline has no value for."),
        PEOPLE,
        number(
            "labelled_mean",
            "mean, labels",
            "Mean of the values from labels, in the row's unit; n/a where "
            "left and right are signs that cancel, as are ICC and CCC: see step_time_log_ratio_size.",
        ),
        number("detected_mean", "mean, pipeline", "Mean of the pipeline's values, in the row's unit."),
        *interval("bias", "bias", "Mean of pipeline minus labels, in the row's unit."),
        number("sd", "SD of differences", "Of one difference of a person not yet seen, in the row's unit."),
        number("sd_within", "SD within people", "Part of it within a person; n/a with one pair per person."),
        number("sd_between", "SD between people", "Part of it between people; n/a with one pair per person."),
        *limits_of_agreement(),
        *interval(
            "icc",
            "ICC(2,1)",
            "Intraclass correlation, absolute agreement, single values (Shrout & Fleiss 1979), over all pairs.",
            "1",
        ),
        *interval("ccc", "CCC", "Concordance correlation (Lin 1989, variances with 1/n), over all pairs.", "1"),
        number(
            "rater_timing_sd",
            "two raters' timing",
            "Standard deviation of the time between two raters' marks of the same contact; for stride-time CV.",
            "s",
            4,
        ),
        number(
            "from_rater_timing",
            "from rater timing alone",
            "Labelled value of a walk without any variability, by that timing: SD / stride time. In the row's unit.",
        ),
        number(
            "labelled_expected",
            "labels expected",
            "Mean of what labels of that timing would give if the pipeline's values were true: root of the sum of "
            "squares of both. In the row's unit.",
        ),
        number(
            "icc_at_best",
            "ICC at best",
            "ICC(2,1) that a pipeline without error would have with labels of that timing: of the pipeline's values "
            "with the labels expected.",
            "1",
        ),
        text(
            "validity",
            "validity",
            "'cannot be validated with these labels' where rater timing alone makes more than half of the labelled "
            "variance, or where the ICC at best is below 0.75; n/a elsewhere and where contacts were labelled once.",
        ),
        METHOD,
        READING,
    ),
    key=("measure", "trial_type", "detected_from"),
)

PAIRS = TableSpec(
    path="validation/pairs.tsv",
    title="Pairs behind the agreement of parameters",
    description="Each value from the labels beside the pipeline's for the same recording and gait state: what "
    "validation/parameters.tsv sums up, and plots of limits of agreement are drawn from.",
    columns=(
        text("recording_id", "recording", "The recording."),
        text("participant_id", "participant", "Who it comes from; the recording where nobody is named."),
        MEASURE,
        STATE,
        text("detected_from", "detected from", "'events' or 'result tables', as in validation/parameters.tsv."),
        UNIT,
        number("labelled", "labels", "Value from the labels, in the row's unit."),
        number("detected", "pipeline", "Value of the pipeline, in the row's unit; n/a where it has none."),
    ),
    key=("measure", "trial_type", "detected_from", "recording_id"),
)
