"""Columns of the validation tables and of ``tables/change.tsv``, in words for the reader of a paper."""

from __future__ import annotations

from .spec import Column, TableSpec, interval_columns

__all__ = [
    "CHANGE",
    "CONFOUNDERS",
    "CONFUSION",
    "EVENTS",
    "GROUPS",
    "NORMS",
    "PARAMETERS",
    "RATERS",
    "RETEST",
    "STATES",
]

_RECORDING = Column(
    "recording_id", "string", "recording", "The recording, or 'pooled' for all labelled recordings together."
)
_PERSON_OF = Column("participant_id", "string", "participant", "Who it comes from; n/a where pooled.")
_RATER = Column("rater", "string", "rater", "The rater whose labels are taken as the truth here.")
_STATE = Column(
    "trial_type", "string", "gait state", "Gait state that the measure was taken in; n/a where it has none."
)
_MEASURE = Column("measure", "string", "measure", "Name of the measure, as in the result tables.")
_UNIT = Column(
    "unit", "string", "unit", "Unit of this row's values; 'signal' = the unit of the recording's own signal."
)
_METHOD = Column(
    "interval_method",
    "string",
    "interval method",
    "How the 95 % limits were found, or 'none:' and the reason why there are none.",
)
_PEOPLE = Column("n_participants", "integer", "participants", "How many people the row rests on.")
_RECORDINGS = Column("n_recordings", "integer", "recordings", "How many recordings the row rests on.")
_LABELLED_S = Column("labelled_seconds", "number", "labelled time", "Labelled time that the row rests on.", "s")

_READING = Column("reading", "string", "in words", "What the numbers of this row say, with their limits.")

_TYPE = (
    Column("trial_type", "string", "event type", "What was looked for: initial_contact, toe_off, swallow, knee_bend."),
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
    _METHOD,
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
        _RECORDINGS,
        _PEOPLE,
        *_COUNTS,
        *_RATES,
        *_TIMING,
        Column(
            "duration_bias",
            "number",
            "duration bias",
            "Mean of detected minus labelled duration of found intervals; n/a for instants.",
            "s",
        ),
        Column("duration_sd", "number", "duration SD", "Standard deviation of the same.", "s"),
        _READING,
    ),
    key=("trial_type", "criterion", "tolerance", "side", "recording_id"),
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
        Column("confounder", "string", "confounder", "What the rater labelled."),
        _PEOPLE,
        Column("n_labelled", "integer", "labelled", "Labelled stretches of it."),
        Column("n_taken", "integer", "taken for a swallow", "Stretches with one false swallow or more in them."),
        *interval_columns("share_taken", "share taken for a swallow", "n_taken / n_labelled.", "1"),
        Column("n_false_swallows", "integer", "false swallows", "False swallows whose centre lies in it."),
        Column("minutes", "number", "labelled time", "Minutes of it that were labelled.", "min"),
        *interval_columns("false_per_minute", "false swallows per minute", "False swallows per minute of it.", "1/min"),
        _METHOD,
        _READING,
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
        _PEOPLE,
        _LABELLED_S,
        *interval_columns("value", "value", "Value of the measure; share or kappa, 1 is best.", "1"),
        _METHOD,
        _READING,
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
        _RECORDINGS,
        _PEOPLE,
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
        _READING,
    ),
    key=("reference_rater", "other_rater", "trial_type", "criterion", "tolerance", "side"),
)

PARAMETERS = TableSpec(
    path="validation/parameters.tsv",
    title="Gait and swallow parameters: pipeline against labels",
    description="Each parameter computed from the labels and from the pipeline for the same recordings. Bias and "
    "limits of agreement take several recordings of a person as repeated measures (Bland & Altman 2007).",
    columns=(
        _MEASURE,
        _STATE,
        Column(
            "detected_from",
            "string",
            "detected from",
            "'events' = detected events over exactly the labelled time; 'result tables' = what the result tables "
            "report for the whole recording.",
        ),
        _UNIT,
        Column("n_pairs", "integer", "pairs", "Recordings (knee bends: bends) with a value from both."),
        Column("n_not_detected", "integer", "without a value", "Labelled values that the pipeline has no value for."),
        _PEOPLE,
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
        _METHOD,
        _READING,
    ),
    key=("measure", "trial_type", "detected_from"),
)

NORMS = TableSpec(
    path="validation/norms.tsv",
    title="Position among published values",
    description="Each person's measures beside published values for their age and sex, one row for each source. Good "
    "sources differ, because event definitions, sensors and walk lengths differ: this is an orientation, never a pass "
    "or fail, and not a diagnosis.",
    columns=(
        Column("participant_id", "string", "participant", "The person."),
        Column("session_id", "string", "session", "The session."),
        _STATE,
        _MEASURE,
        _UNIT,
        Column("value", "number", "value", "Mean over the person's recordings of the session, in the row's unit."),
        _RECORDINGS,
        Column("published_mean", "number", "published mean", "Mean of the source, in the row's unit."),
        Column("published_sd", "number", "published SD", "Standard deviation between people of the source."),
        Column("published_low", "number", "published range, lower end", "In the row's unit; n/a where none is given."),
        Column("published_high", "number", "published range, upper end", "In the row's unit; n/a where none is given."),
        Column("range_kind", "string", "kind of range", "What the range is made of."),
        Column("z", "number", "z", "(value - mean) / SD; n/a where the source has no SD.", "1"),
        Column("position", "string", "position", "below, within or above the published range; n/a without a range."),
        Column(
            "all_sources", "string", "all sources", "How many of the ranges for this measure lie where: their spread."
        ),
        Column("population", "string", "population", "Whom the source measured, and how."),
        Column("population_n", "integer", "people in the source", "How many people the source measured."),
        Column("source", "string", "source", "Citation."),
        Column(
            "source_read",
            "string",
            "how known",
            "yes = read in the source; quoted = read in a text that quotes it; from memory (NN %) = recalled, not "
            "read, and how sure.",
        ),
        Column("note", "string", "note", "What to know before comparing."),
        _READING,
    ),
    key=("participant_id", "session_id", "trial_type", "measure", "source", "population"),
)

CHANGE = TableSpec(
    path="tables/change.tsv",
    title="Change between sessions",
    description="Later minus earlier session of each person, its standard error, and the minimal detectable change: "
    "what repeats alone produce in 95 of 100 cases. A change that does not exceed it may still be real.",
    columns=(
        Column("participant_id", "string", "participant", "The person."),
        _STATE,
        _MEASURE,
        _UNIT,
        Column("session_id", "string", "earlier session", "First by name."),
        Column("later_session_id", "string", "later session", "Second by name."),
        Column("n_recordings", "integer", "recordings, earlier", "Recordings of the earlier session."),
        Column("later_n_recordings", "integer", "recordings, later", "Recordings of the later session."),
        Column("value", "number", "value, earlier", "Mean over recordings, in the row's unit."),
        Column("later_value", "number", "value, later", "Mean over recordings, in the row's unit."),
        *interval_columns("change", "change", "Later minus earlier value, in the row's unit."),
        Column("standard_error", "number", "standard error", "Standard error of the change, in the row's unit."),
        Column(
            "minimal_detectable_change",
            "number",
            "minimal detectable change",
            "1.96 x standard error of the change, in the row's unit (Weir 2005).",
        ),
        Column("exceeds", "boolean", "exceeds it", "Whether the change, without its sign, is larger than that."),
        Column(
            "error_basis",
            "string",
            "error taken from",
            "'repeat recordings within a session' (pooled over the study) or 'spread within the recordings' (strides "
            "or swallows; leaves out putting the sensor on again); neither holds the error of another day.",
        ),
        Column(
            "error_freedom", "integer", "degrees of freedom", "Of the pooled repeats; n/a where they were not used."
        ),
        _READING,
    ),
    key=("participant_id", "measure", "trial_type", "session_id", "later_session_id"),
)

RETEST = TableSpec(
    path="validation/retest.tsv",
    title="Test-retest reliability between sessions",
    description="How well two sessions of the same people agree on each measure. True change between the sessions "
    "counts as error here, so that after treatment reliability is understated.",
    columns=(
        _STATE,
        _MEASURE,
        _UNIT,
        Column("session_id", "string", "earlier session", "First by name."),
        Column("later_session_id", "string", "later session", "Second by name."),
        _PEOPLE,
        Column("mean", "number", "mean", "Mean of both sessions over people, in the row's unit."),
        *interval_columns("bias", "bias", "Mean of later minus earlier session, in the row's unit."),
        Column("sd", "number", "SD of differences", "Of later minus earlier session, in the row's unit."),
        *interval_columns("loa_lower", "lower limit of agreement", "Bias - 1.96 SD (multiplier in the settings)."),
        *interval_columns("loa_upper", "upper limit of agreement", "Bias + 1.96 SD (multiplier in the settings)."),
        *interval_columns(
            "icc_agreement", "ICC(2,1)", "Absolute agreement of single sessions (Shrout & Fleiss 1979).", "1"
        ),
        *interval_columns(
            "icc_consistency",
            "ICC(3,1)",
            "Consistency of single sessions, a common shift aside (Shrout & Fleiss 1979).",
            "1",
        ),
        Column(
            "standard_error_of_measurement",
            "number",
            "standard error of measurement",
            "Square root of the error mean square, a common shift aside (Weir 2005), in the row's unit.",
        ),
        Column(
            "minimal_detectable_change",
            "number",
            "minimal detectable change",
            "1.96 x sqrt(2) x standard error of measurement, in the row's unit.",
        ),
        _READING,
    ),
    key=("measure", "trial_type", "session_id", "later_session_id"),
)

GROUPS = TableSpec(
    path="validation/groups.tsv",
    title="Groups of participants",
    description="Each measure by group, one value per person and session, and the difference of two groups. Described, "
    "not tested: nothing is adjusted for age, sex or the number of comparisons.",
    columns=(
        Column("session_id", "string", "session", "The session."),
        _STATE,
        _MEASURE,
        _UNIT,
        Column("group", "string", "group", "First group."),
        Column("n", "integer", "people", "People of the group with a value."),
        *interval_columns("mean", "mean", "Mean over people, with Student's t limits, in the row's unit."),
        Column("sd", "number", "SD", "Standard deviation between people, in the row's unit."),
        Column("median", "number", "median", "Median over people, in the row's unit."),
        Column("minimum", "number", "minimum", "Smallest value of a person, in the row's unit."),
        Column("maximum", "number", "maximum", "Largest value of a person, in the row's unit."),
        Column("other_group", "string", "other group", "Group it is compared with; n/a where there is only one."),
        Column("other_n", "integer", "people, other group", "People of the other group with a value."),
        *interval_columns("other_mean", "mean, other group", "Mean over people of the other group."),
        Column("other_sd", "number", "SD, other group", "Standard deviation between people of the other group."),
        *interval_columns("difference", "difference", "First minus other group, in the row's unit (Welch)."),
        *interval_columns(
            "hedges_g",
            "Hedges' g",
            "Difference in pooled standard deviations, corrected for small groups (Hedges 1981).",
            "1",
        ),
        _METHOD,
        _READING,
    ),
    key=("measure", "trial_type", "session_id", "group", "other_group"),
)
