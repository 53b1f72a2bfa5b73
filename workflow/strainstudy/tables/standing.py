"""Columns of norms, change, retest and groups: where people stand, in words for the reader of a paper."""

from __future__ import annotations

from typing import Final

from .families import BETWEEN, MEASURED, METHOD, PEOPLE, READING, RECORDINGS, limits_of_agreement
from .spec import TableSpec, count, flag, interval, number, text

__all__ = ["CHANGE", "GROUPS", "NORMS", "RETEST"]

WALKWAY: Final = text(
    "walkway",
    "walkway",
    "overground or treadmill, as the study's recordings say; n/a where they do not, and for measures of no gait. Walks "
    "that differ in it are not put together.",
)

NORMS = TableSpec(
    path="validation/norms.tsv",
    title="Position among published values",
    description="Each person's measures beside published values for their age and sex, one row for each source. Good "
    "sources differ, because event definitions, sensors and walk lengths differ: this is an orientation, never a pass "
    "or fail, and not a diagnosis.",
    columns=(
        text("participant_id", "participant", "The person."),
        text("session_id", "session", "The session."),
        *MEASURED,
        number("value", "value", "Mean over the person's recordings of the session, in the row's unit."),
        RECORDINGS,
        number("published_mean", "published mean", "Mean of the source, in the row's unit."),
        number("published_sd", "published SD", "Standard deviation between people of the source."),
        number("published_low", "published range, lower end", "In the row's unit; n/a where none is given."),
        number("published_high", "published range, upper end", "In the row's unit; n/a where none is given."),
        text("range_kind", "kind of range", "What the range is made of."),
        number("z", "z", "(value - mean) / SD; n/a where the source has no SD.", "1"),
        text(
            "position",
            "position",
            "below, within or above the published range; n/a without a range, and where the source does not count.",
        ),
        flag(
            "counts",
            "counts",
            "Whether the source places people: one of patients does not, and one from memory gives way where a source "
            "for this measure was read.",
        ),
        text("all_sources", "all sources", "Of the ranges that count for this measure, how many lie where."),
        text(
            "sources_disagree",
            "sources that disagree",
            "Sources of healthy people whose ranges have no value in common, or of which one's mean lies outside the "
            "other's range, each with what it says, in the row's unit; n/a where none do.",
        ),
        WALKWAY,
        text("population", "population", "Whom the source measured, and how."),
        text("population_walkway", "walkway of the source", "overground or treadmill; n/a where it does not say."),
        count("population_n", "people in the source", "How many people the source measured."),
        text("source", "source", "Citation."),
        text(
            "source_read",
            "how known",
            "yes = read in the source; quoted = read in a text that quotes it; computed = from the open data of the "
            "source; from memory (NN %) = recalled, not read, and how sure.",
        ),
        text("verdict", "read again", "What came of looking the number up once more; n/a where nobody did."),
        text("note", "note", "What to know before comparing."),
        READING,
    ),
    key=("participant_id", "session_id", "trial_type", "measure", "walkway", "source", "population"),
)

CHANGE = TableSpec(
    path="tables/change.tsv",
    title="Change between sessions",
    description="Later minus earlier session of each person, its standard error, and the minimal detectable change: "
    "what the named error alone produces in 95 of 100 cases. A change that does not exceed it may still be real. Count "
    "changes by the rows marked as lead: the others of a family say the same once more.",
    columns=(
        text("participant_id", "participant", "The person."),
        *MEASURED,
        *BETWEEN,
        count("n_recordings", "recordings, earlier", "Recordings of the earlier session."),
        count("later_n_recordings", "recordings, later", "Recordings of the later session."),
        number("value", "value, earlier", "Mean over recordings, in the row's unit."),
        number("later_value", "value, later", "Mean over recordings, in the row's unit."),
        *interval("change", "change", "Later minus earlier value, in the row's unit."),
        number("standard_error", "standard error", "Standard error of the change, in the row's unit."),
        number(
            "minimal_detectable_change",
            "minimal detectable change",
            "Standard error of the change times Student's t at error_freedom (times 1.96 without), in the row's unit "
            "(Weir 2005).",
        ),
        number(
            "others_detectable_change",
            "limit by the other people's sessions",
            "SD of the changes of the other people between the same two sessions times Student's t, in the row's unit; "
            "n/a with fewer than 5 of them. It is near the minimal detectable change of validation/retest.tsv. Where "
            "it is smaller than minimal_detectable_change, the limits of the two values are the wider: they count the "
            "error of landmarks anew in each session.",
        ),
        flag("exceeds", "exceeds it", "Whether the change, without its sign, is larger than that."),
        text(
            "error_basis",
            "error taken from",
            "'repeat recordings within a session' (pooled over the study; without the error of another day), 'sessions "
            "of the other people' (SD of their changes; holds day and sensor, and true change counts as error) or "
            "'spread within the recordings' (limits of the two values; leaves out day and sensor).",
        ),
        text(
            "error_kind",
            "what it is",
            "'error of measurement' (repeats); 'difference between sessions of other people, not an error of "
            "measurement': the row then says how unusual a change is among them, not that it is beyond error; 'part of "
            "the error of measurement' (without day and sensor).",
        ),
        text("family", "family", "Measures that are made of the same thing and change together."),
        flag(
            "lead",
            "stands for its family",
            "The one measure of a family (of a person, state and pair of sessions) that is counted.",
        ),
        count(
            "error_freedom", "degrees of freedom", "Of the repeats or of the other people; n/a for the spread within."
        ),
        number(
            "published_detectable_low",
            "published detectable change, smallest",
            "Smallest minimal detectable change that others published for the measure, in the row's unit; it decides "
            "nothing here.",
        ),
        number("published_detectable_high", "published detectable change, largest", "The largest, in the row's unit."),
        text("published_detectable_source", "published by", "Whose it is, of whom, and how it is known."),
        WALKWAY,
        READING,
    ),
    key=("participant_id", "measure", "trial_type", "walkway", "session_id", "later_session_id"),
)

RETEST = TableSpec(
    path="validation/retest.tsv",
    title="Test-retest reliability between sessions",
    description="How well two sessions of the same people agree on each measure. True change between the sessions "
    "counts as error here, so that after treatment reliability is understated. Its minimal detectable change says how "
    "much sessions of these people differ; tables/change.tsv judges a person by the larger of such a limit and of the "
    "limits of the two values, which count the error of landmarks anew in each session. Of a measure that is signed by "
    "side, step_time_symmetry_index, there is neither mean, bias nor ICC, since left and right cancel or pass for "
    "agreement: see step_time_log_ratio_size.",
    columns=(
        *MEASURED,
        *BETWEEN,
        PEOPLE,
        number("mean", "mean", "Mean of both sessions over people, in the row's unit."),
        *interval("bias", "bias", "Mean of later minus earlier session, in the row's unit."),
        number("sd", "SD of differences", "Of later minus earlier session, in the row's unit."),
        *limits_of_agreement(),
        *interval("icc_agreement", "ICC(2,1)", "Absolute agreement of single sessions (Shrout & Fleiss 1979).", "1"),
        *interval(
            "icc_consistency",
            "ICC(3,1)",
            "Consistency of single sessions, a common shift aside (Shrout & Fleiss 1979).",
            "1",
        ),
        number(
            "standard_error_of_measurement",
            "standard error of measurement",
            "Square root of the error mean square, a common shift aside (Weir 2005), in the row's unit.",
        ),
        number(
            "minimal_detectable_change",
            "minimal detectable change",
            "Student's t at error_freedom x sqrt(2) x standard error of measurement, in the row's unit.",
        ),
        count("error_freedom", "degrees of freedom", "Of the standard error of measurement: people less one."),
        WALKWAY,
        READING,
    ),
    key=("measure", "trial_type", "walkway", "session_id", "later_session_id"),
)

GROUPS = TableSpec(
    path="validation/groups.tsv",
    title="Groups of participants",
    description="Each measure by group, one value per person and session, and the difference of two groups. Described, "
    "not tested: nothing is adjusted for age, sex or the number of comparisons. Measures of one side are given as of "
    "the affected and of the other side (affected_side of the participants sheet; of people without one, the mean of "
    "both sides); signed differences between the sides as affected minus other, of people with an affected side only. "
    "Of fewer than 3 people no limits are given.",
    columns=(
        text("session_id", "session", "The session."),
        *MEASURED,
        text("group", "group", "First group."),
        count("n", "people", "People of the group with a value."),
        *interval("mean", "mean", "Mean over people, with Student's t limits, in the row's unit."),
        number("sd", "SD", "Standard deviation between people, in the row's unit."),
        number("median", "median", "Median over people, in the row's unit."),
        number("minimum", "minimum", "Smallest value of a person, in the row's unit."),
        number("maximum", "maximum", "Largest value of a person, in the row's unit."),
        text("other_group", "other group", "Group it is compared with; n/a where there is only one."),
        count("other_n", "people, other group", "People of the other group with a value."),
        *interval("other_mean", "mean, other group", "Mean over people of the other group."),
        number("other_sd", "SD, other group", "Standard deviation between people of the other group."),
        *interval(
            "difference",
            "difference",
            "First minus other group, in the row's unit (Welch): positive where the first is larger.",
        ),
        *interval(
            "hedges_g",
            "Hedges' g",
            "Difference in pooled standard deviations, corrected for small groups (Hedges 1981); positive where the "
            "first group is larger.",
            "1",
        ),
        METHOD,
        WALKWAY,
        READING,
    ),
    key=("measure", "trial_type", "walkway", "session_id", "group", "other_group"),
)
