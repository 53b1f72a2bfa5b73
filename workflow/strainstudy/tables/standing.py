"""Columns of norms, change, retest and groups: where people stand, in words for the reader of a paper."""

from __future__ import annotations

from .spec import Column, TableSpec, interval_columns
from .validation import MEASURE, METHOD, PEOPLE, READING, RECORDINGS, STATE, UNIT

__all__ = ["CHANGE", "GROUPS", "NORMS", "RETEST"]

NORMS = TableSpec(
    path="validation/norms.tsv",
    title="Position among published values",
    description="Each person's measures beside published values for their age and sex, one row for each source. Good "
    "sources differ, because event definitions, sensors and walk lengths differ: this is an orientation, never a pass "
    "or fail, and not a diagnosis.",
    columns=(
        Column("participant_id", "string", "participant", "The person."),
        Column("session_id", "string", "session", "The session."),
        STATE,
        MEASURE,
        UNIT,
        Column("value", "number", "value", "Mean over the person's recordings of the session, in the row's unit."),
        RECORDINGS,
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
        READING,
    ),
    key=("participant_id", "session_id", "trial_type", "measure", "source", "population"),
)

CHANGE = TableSpec(
    path="tables/change.tsv",
    title="Change between sessions",
    description="Later minus earlier session of each person, its standard error, and the minimal detectable change: "
    "what the named error alone produces in 95 of 100 cases. A change that does not exceed it may still be real.",
    columns=(
        Column("participant_id", "string", "participant", "The person."),
        STATE,
        MEASURE,
        UNIT,
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
            "'repeat recordings within a session' (pooled over the study; without the error of another day), 'sessions "
            "of the other people' (SD of their changes; holds day and sensor, and true change counts as error) or "
            "'spread within the recordings' (strides or swallows; leaves out day and sensor: much too small).",
        ),
        Column(
            "error_freedom",
            "integer",
            "degrees of freedom",
            "Of the repeats or of the other people; n/a for the spread within.",
        ),
        READING,
    ),
    key=("participant_id", "measure", "trial_type", "session_id", "later_session_id"),
)

RETEST = TableSpec(
    path="validation/retest.tsv",
    title="Test-retest reliability between sessions",
    description="How well two sessions of the same people agree on each measure. True change between the sessions "
    "counts as error here, so that after treatment reliability is understated.",
    columns=(
        STATE,
        MEASURE,
        UNIT,
        Column("session_id", "string", "earlier session", "First by name."),
        Column("later_session_id", "string", "later session", "Second by name."),
        PEOPLE,
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
        READING,
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
        STATE,
        MEASURE,
        UNIT,
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
        METHOD,
        READING,
    ),
    key=("measure", "trial_type", "session_id", "group", "other_group"),
)
