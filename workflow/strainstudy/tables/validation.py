"""Columns of the tables that compare the pipeline with labels, in words for the reader of a paper."""

from __future__ import annotations

from ..vocabulary import EVENT_TYPES
from .spec import Column, TableSpec, interval_columns

__all__ = [
    "CONFOUNDERS",
    "CONFUSION",
    "EVENTS",
    "MEASURE",
    "METHOD",
    "PARAMETERS",
    "PEOPLE",
    "RATERS",
    "READING",
    "RECORDINGS",
    "SHAPES",
    "STATE",
    "STATES",
    "UNIT",
]

_RECORDING = Column(
    "recording_id", "string", "recording", "The recording, or 'pooled' for all labelled recordings together."
)
_PERSON_OF = Column("participant_id", "string", "participant", "Who it comes from; n/a where pooled.")
_RATER = Column("rater", "string", "rater", "The rater whose labels are taken as the truth here.")
STATE = Column("trial_type", "string", "gait state", "Gait state that the measure was taken in; n/a where it has none.")
MEASURE = Column("measure", "string", "measure", "Name of the measure, as in the result tables.")
UNIT = Column("unit", "string", "unit", "Unit of this row's values; 'signal' = the unit of the recording's own signal.")
METHOD = Column(
    "interval_method",
    "string",
    "interval method",
    "How the 95 % limits were found, or 'none:' and the reason why there are none.",
)
PEOPLE = Column("n_participants", "integer", "participants", "How many people the row rests on.")
RECORDINGS = Column("n_recordings", "integer", "recordings", "How many recordings the row rests on.")
_LABELLED_S = Column("labelled_seconds", "number", "labelled time", "Labelled time that the row rests on.", "s")

READING = Column("reading", "string", "in words", "What the numbers of this row say, with their limits.")

_TYPE = (
    Column("trial_type", "string", "event type", f"What was looked for: {', '.join(EVENT_TYPES)}."),
    Column("side", "string", "side", "left, right, or 'all' for both sides together (or where labels have no side)."),
    Column(
        "criterion",
        "string",
        "criterion",
        "When a detected event counts as the labelled one: 'time' = no further apart than the tolerance; 'overlap' = "
        "overlap divided by union reaches the tolerance; 'centre' = centres no further apart than the tolerance. Each "
        "event is used once; of all possible pairings the one with most pairs, then least distance, is taken.",
    ),
    Column(
        "tolerance", "number", "tolerance", "Seconds for 'time' and 'centre'; a share between 0 and 1 for 'overlap'."
    ),
)
_COUNTS = (
    Column("n_labelled", "integer", "labelled", "Labelled events inside the scored time."),
    Column("n_detected", "integer", "detected", "Detected events inside the scored time."),
    Column("true_positive", "integer", "found", "Labelled events that were detected."),
    Column("false_positive", "integer", "false alarms", "Detected events that nobody labelled."),
    Column("false_negative", "integer", "missed", "Labelled events that were not detected."),
)
_RATES = (
    *interval_columns("precision", "precision", "Share of detected events that were labelled: TP / (TP + FP).", "1"),
    *interval_columns("recall", "recall", "Share of labelled events that were detected: TP / (TP + FN).", "1"),
    *interval_columns("f1", "F1", "Harmonic mean of precision and recall: 2 TP / (2 TP + FP + FN).", "1"),
    METHOD,
)
_LIMITS_WORDS = (
    "Pooled rows count several events of a person as repeated measures (Bland & Altman 2007), so that the limits "
    "hold for one event of a person not yet seen."
)
_TIMING = (
    *interval_columns(
        "bias",
        "timing bias",
        "Mean of detected minus labelled time of found events (intervals: of their centres); positive = detected late.",
        "s",
    ),
    Column("median", "number", "median timing error", "Median of detected minus labelled time.", "s"),
    Column("sd", "number", "timing SD", "Standard deviation of detected minus labelled time.", "s"),
    *interval_columns(
        "loa_lower", "lower limit of agreement", f"Bias - 1.96 SD (multiplier in the settings). {_LIMITS_WORDS}", "s"
    ),
    *interval_columns(
        "loa_upper", "upper limit of agreement", f"Bias + 1.96 SD (multiplier in the settings). {_LIMITS_WORDS}", "s"
    ),
)

_DURATION = (
    Column(
        "duration_bias",
        "number",
        "duration bias",
        "Mean of detected minus labelled duration of found intervals; n/a for instants.",
        "s",
    ),
    Column("duration_sd", "number", "duration SD", "Standard deviation of the same.", "s"),
)

EVENTS = TableSpec(
    path="validation/events.tsv",
    title="Detected events against labels",
    description="How many of the labelled events were found, how many found events were not labelled, and how far "
    "apart in time the two were. Only event types, sides and time that the rater labelled are scored. Limits of a "
    "single recording take its events as independent; those of pooled rows are over participants.",
    columns=(
        _RECORDING,
        _PERSON_OF,
        _RATER,
        *_TYPE,
        RECORDINGS,
        PEOPLE,
        *_COUNTS,
        *_RATES,
        *_TIMING,
        *_DURATION,
        READING,
    ),
    key=("trial_type", "criterion", "tolerance", "side", "recording_id"),
)

SHAPES = TableSpec(
    path="validation/throat_shapes.tsv",
    title="Swallows against labels, by the shape that the sensor gives them",
    description="The pooled rows of events.tsv for swallows, split by response_shape of tables/swallow_summary.tsv; "
    "intervals are over participants.",
    columns=(
        Column(
            "response_shape", "string", "response shape", "one_hump, two_phase, ringing; 'unknown' = nothing was found."
        ),
        _RATER,
        *_TYPE,
        RECORDINGS,
        PEOPLE,
        *_COUNTS,
        *_RATES,
        *_TIMING,
        *_DURATION,
        READING,
    ),
    key=("criterion", "tolerance", "response_shape"),
)

CONFOUNDERS = TableSpec(
    path="validation/confounders.tsv",
    title="What was taken for a swallow",
    description="Speech, coughs, head movements and artefacts that the rater labelled in the throat signal, and how "
    "often the pipeline reported a swallow in them.",
    columns=(
        _RECORDING,
        _PERSON_OF,
        _RATER,
        Column(
            "confounder",
            "string",
            "confounder",
            "What the rater labelled; 'all' = speech, coughs and head movements together.",
        ),
        PEOPLE,
        Column("n_labelled", "integer", "labelled", "Labelled stretches of it."),
        Column("n_taken", "integer", "taken for a swallow", "Stretches with one false swallow or more in them."),
        *interval_columns("share_taken", "share taken for a swallow", "n_taken / n_labelled.", "1"),
        Column("n_false_swallows", "integer", "false swallows", "False swallows whose centre lies in it."),
        Column("minutes", "number", "labelled time", "Minutes of it that were labelled.", "min"),
        *interval_columns("false_per_minute", "false swallows per minute", "False swallows per minute of it.", "1/min"),
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
        _RECORDING,
        _PERSON_OF,
        _RATER,
        Column(
            "trial_type",
            "string",
            "state",
            "The state; 'all' = rest, normal and limping gait together; 'normal_against_limping' = time labelled as "
            "either gait.",
        ),
        Column(
            "measure",
            "string",
            "measure",
            "recall = share of the labelled time that was detected as this state; precision = share of the detected "
            "time that was labelled so; f1 = their harmonic mean; balanced_accuracy = mean recall of the labelled "
            "states; kappa = agreement beyond chance (Cohen 1960), 1 = perfect, 0 = chance; side_right = share of the "
            "time labelled as limping with a side that was detected as limping on that side.",
        ),
        PEOPLE,
        _LABELLED_S,
        *interval_columns("value", "value", "Value of the measure; share or kappa, 1 is best.", "1"),
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
        _RECORDING,
        _PERSON_OF,
        _RATER,
        Column("labelled", "string", "labelled state", "State that the rater gave."),
        Column(
            "detected", "string", "detected state", "State detected then; 'none' = no bout, 'other' = another word."
        ),
        Column("seconds", "number", "time", "Time with this pair of states.", "s"),
        Column("share", "number", "share", "Part of the time with this label.", "1"),
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
        Column("reference_rater", "string", "reference rater", "Rater taken as the truth."),
        Column("other_rater", "string", "other rater", "Rater compared with the reference rater."),
        *_TYPE,
        RECORDINGS,
        PEOPLE,
        _LABELLED_S,
        *(
            Column(c.name, c.kind, c.title, f"Other rater in place of detection: {c.description}", c.unit)
            for c in _COUNTS
        ),
        *(
            Column(c.name, c.kind, c.title, f"Other rater against reference rater. {c.description}", c.unit)
            for c in _RATES
        ),
        *(
            Column(c.name, c.kind, c.title, f"Other rater minus reference rater. {c.description}", c.unit)
            for c in _TIMING
        ),
        *interval_columns("kappa", "kappa, other rater", "Agreement of the two raters on states beyond chance.", "1"),
        *interval_columns("pipeline_f1", "F1, pipeline", "F1 of the pipeline against the reference rater.", "1"),
        *interval_columns(
            "pipeline_minus_rater_f1",
            "F1, pipeline minus rater",
            "Pipeline's F1 minus the other rater's; above 0 the pipeline agrees better with the reference rater.",
            "1",
        ),
        *interval_columns(
            "pipeline_kappa", "kappa, pipeline", "Kappa of the pipeline with the reference rater, states.", "1"
        ),
        *interval_columns(
            "pipeline_minus_rater_kappa",
            "kappa, pipeline minus rater",
            "Pipeline's kappa minus the other rater's; above 0 the pipeline agrees better.",
            "1",
        ),
        Column(
            "standing",
            "string",
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
        Column(
            "detected_from",
            "string",
            "detected from",
            "'events' = detected events over exactly the labelled time; 'result tables' = what the result tables "
            "report for the whole recording.",
        ),
        UNIT,
        Column("n_pairs", "integer", "pairs", "Recordings (knee bends: bends) with a value from both."),
        Column("n_not_detected", "integer", "without a value", "Labelled values that the pipeline has no value for."),
        PEOPLE,
        Column("labelled_mean", "number", "mean, labels", "Mean of the values from labels, in the row's unit."),
        Column("detected_mean", "number", "mean, pipeline", "Mean of the pipeline's values, in the row's unit."),
        *interval_columns("bias", "bias", "Mean of pipeline minus labels, in the row's unit."),
        Column("sd", "number", "SD of differences", "Of one difference of a person not yet seen, in the row's unit."),
        Column("sd_within", "number", "SD within people", "Part of it within a person; n/a with one pair per person."),
        Column("sd_between", "number", "SD between people", "Part of it between people; n/a with one pair per person."),
        *interval_columns("loa_lower", "lower limit of agreement", "Bias - 1.96 SD (multiplier in the settings)."),
        *interval_columns("loa_upper", "upper limit of agreement", "Bias + 1.96 SD (multiplier in the settings)."),
        *interval_columns(
            "icc",
            "ICC(2,1)",
            "Intraclass correlation, absolute agreement, single values (Shrout & Fleiss 1979), over all pairs.",
            "1",
        ),
        *interval_columns("ccc", "CCC", "Concordance correlation (Lin 1989, variances with 1/n), over all pairs.", "1"),
        METHOD,
        READING,
    ),
    key=("measure", "trial_type", "detected_from"),
)
