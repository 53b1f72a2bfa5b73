"""The first screen and what stands behind it: who limps on which side, what to mend, what to believe."""

import pandas as pd
import pytest
from strainstudy.gait.verdict import NO_ASYMMETRY, VERDICT_COLUMNS
from strainstudy.report.content import Note, Picture
from strainstudy.report.mending import mendings
from strainstudy.report.overview_sections import flow, limping_of, people, summary
from strainstudy.report.people_sections import standing
from strainstudy.report.results import StudyTables
from strainstudy.report.sections import shortfalls
from strainstudy.report.spoken import measured
from strainstudy.report.strips import MOST_DOTS, draw_strips, outliers, strips_of
from strainstudy.report.style import drawing, panels
from strainstudy.report.trust import step_time_sizes, trust_lines
from strainstudy.tables import write_table
from strainstudy.tables.angles import ANGLES
from strainstudy.tables.classifier import BOUTS
from strainstudy.tables.families import PREDICTION
from strainstudy.tables.faults import FAULTS
from strainstudy.tables.gait import ANSWERS, GAIT
from strainstudy.tables.recordings import ADDED, RECORDINGS
from strainstudy.tables.swallows import SWALLOW_SUMMARY
from strainstudy.tables.validation import CONFUSION, PARAMETERS, STATES
from strainstudy.validate.unvalidated import CANNOT


def put(root, rows, spec, extra=()):
    columns = [*spec.names, *(column.name for column in extra)]
    write_table(pd.DataFrame(rows).reindex(columns=columns), spec, root, extra)


@pytest.fixture
def tables(tmp_path):
    base = {"task": "walk", "duration": 60.0, "missing_fraction": 0.0, "status": "good"}
    visits = [("sub-01", "ses-01"), ("sub-01", "ses-02"), ("sub-02", "ses-01")]
    recordings = [{**base, "recording_id": f"{p}_{s}", "participant_id": p, "session_id": s} for p, s in visits]
    recordings[2] |= {
        "status": "degraded",
        "status_description": "'right_knee_V' is saturated for 2.75% of it: x",
    }
    recordings.append({"recording_id": "w", "participant_id": "sub-02", "session_id": "ses-01", "task": "swallow",
                       "status": "rejected", "status_description": "the file ends early; copy it again"})  # fmt: skip
    put(tmp_path, recordings, RECORDINGS, ADDED)
    bouts = [
        {"recording_id": "sub-01_ses-01", "onset": 0, "duration": 50.0, "trial_type": "normal_gait"},
        {"recording_id": "sub-01_ses-02", "onset": 0, "duration": 25.0, "trial_type": "normal_gait"},
        {"recording_id": "sub-01_ses-02", "onset": 25, "duration": 25.0, "trial_type": "limping_gait",
         "limping_side": "left"},
        {"recording_id": "sub-02_ses-01", "onset": 0, "duration": 50.0, "trial_type": "limping_gait",
         "limping_side": "right"},
    ]  # fmt: skip
    put(tmp_path, bouts, BOUTS)
    return StudyTables(tmp_path)


def words_of(section) -> str:
    return " ".join(
        f"{item.what} {item.words}"
        for card in section.blocks[0].cards
        for block in card.blocks
        for item in getattr(block, "items", ())
    )


def test_one_remedy_for_two_rows_of_a_sheet_is_said_once(tables):
    base = {"participant_id": "sub-01", "session_id": "ses-02", "sensor_id": "K", "fault": "wired in reverse"}
    start = "set polarity -1 for sensor K as sub-01 wore it in session ses-02: in channels.tsv, column polarity, row of"
    told = [
        base | {"recording_id": name, "description": "falls", "remedy": f"{start} {name} and left_knee_V"}
        for name in ("bend", "walk")
    ]
    put(tables.results, told, FAULTS)
    (found,) = mendings(StudyTables(tables.results))
    assert found.what == "Sensor K was wired the wrong way round in 2 recordings of sub-01 ses-02"
    assert found.remedy == f"S{start[1:]} bend and left_knee_V, walk and left_knee_V."


def test_swallows_unasked_and_in_a_task_are_rates_of_two_kinds_and_recordings_of_one_fault_are_counted(tables):
    """A swallow on command is no sign of how often somebody swallows; 3 in 60 s of free time are 3 a minute."""
    base = {"duration": 60.0, "missing_fraction": 0.0, "participant_id": "sub-03", "session_id": "ses-01"}
    rows = [
        base | {"recording_id": "f", "task": "free", "status": "good"},
        base | {"recording_id": "a", "task": "swallow", "status": "degraded", "status_description": "x"},
        base | {"recording_id": "b", "task": "swallow", "status": "degraded", "status_description": "y"},
    ]
    put(tables.results, rows, RECORDINGS, ADDED)
    counts = [("f", 3), ("a", 10), ("b", 12)]
    put(tables.results, [{"recording_id": name, "swallow_count": n, "observed_time": 60.0} for name, n in counts],
        SWALLOW_SUMMARY)  # fmt: skip
    (table,) = people(StudyTables(tables.results)).blocks
    cells = dict(zip(table.header, table.rows[0], strict=True))
    assert cells["swallows per minute, unasked"] == "3.0"
    assert cells["swallows per minute, task"] == "11"
    assert cells["wrong in the recordings"] == "swallow degraded (2 recordings)"


def test_who_limps_on_which_side_stands_on_the_first_screen_and_in_the_table_of_people(tables):
    assert "ses-01: sub-02 right; ses-02: sub-01 left." in words_of(summary(tables, [], []))
    (table,) = people(tables).blocks
    walking = table.header.index("walking")
    assert [row[walking] for row in table.rows] == ["no limp", "limping left, 50 % of walking", "limping right"]
    assert limping_of(tables)["limping"].tolist() == [0.0, 25.0, 50.0]


def test_a_state_of_gait_that_came_is_told_beside_the_changes(tables):
    picture = Picture("change", "Change", "", "", b"")
    (section,) = standing(tables, {"change": picture})
    note = next(block.words for block in section.blocks if isinstance(block, Note))
    assert note.endswith("tells: sub-01, limping gait was 0 % of the walking in ses-01 and 50 % in ses-02.")


@pytest.mark.parametrize(
    ("measure", "words"),
    [
        ("step_time_symmetry_index", "step-time asymmetry, right minus left"),
        ("step_time_symmetry_index_affected", "step-time asymmetry, affected minus other side"),
        ("step_time_log_ratio_size", "step-time asymmetry, log ratio, without sign"),
        ("range_of_motion_mean_other", "knee's range in a stride, other side"),
    ],
)
def test_one_name_is_one_quantity(measure, words):
    assert measured(measure) == words


def test_a_share_is_written_as_in_the_reason_beside_it(tables):
    """1891 of 20,000 samples: '9.46%' in the reason, which a table of four decimals or two digits turns into 9.4."""
    share = 1891 / 20_000
    reason = f"'throat_V' is saturated for {share:.2%} of the time"
    odd = {"recording_id": "x", "participant_id": "sub-01", "session_id": "ses-01", "task": "swallow", "duration": 60.0,
           "missing_fraction": 0.031, "clipped_fraction": share, "status": "degraded",
           "status_description": reason}  # fmt: skip
    put(tables.results, [odd], RECORDINGS, ADDED)
    (row,) = next(table for table in flow(StudyTables(tables.results)).blocks if "Degraded" in table.caption).rows
    assert (row[2], row[3]) == ("3.1", "9.46")
    assert f"{row[3]}%" in row[4]


def test_faults_come_with_a_remedy_and_the_wrong_wiring_first(tables):
    names = ("recording_id", "participant_id", "session_id", "sensor_id", "fault", "description", "remedy")
    told = [
        ("a", "sub-02", "ses-01", "M", "saturated", "'x' is saturated for 2.75% of the time", "lower the gain"),
        ("b", "sub-01", "ses-01", "M", "saturated", "'x' is saturated for 11% of the time", "lower the gain"),
        ("c", "sub-01", "ses-02", "K", "wired in reverse", "falls", "set polarity -1 for sensor K in session ses-02"),
        ("d", "sub-02", "ses-01", None, "unreadable", "the file ends early", "copy it again"),
        (None, "sub-02", "ses-01", "L", "sensor changed", "rest resistance 9 % off", "look at it"),
    ]
    put(tables.results, [dict(zip(names, row, strict=True)) for row in told], FAULTS)
    found = mendings(StudyTables(tables.results))
    assert [fault.what for fault in found] == [
        "Sensor K was wired the wrong way round in 1 recording of sub-01 ses-02",
        "1 recording could not be used",
        "Sensor L is not what it was",
        "The signal reaches the limit of its amplifier",
    ]
    assert found[0].where == "(sub-01 ses-02: falls)."
    assert found[0].remedy == "Set polarity -1 for sensor K in session ses-02."
    assert found[3].where == "(b 11%, a 2.75%)."


@pytest.mark.parametrize(
    ("low", "high", "verdict"),
    [
        (0.80, 0.99, "Yes"),
        (0.75, 0.99, "Yes"),
        (0.60, 0.99, "With care"),
        (0.50, 0.99, "With care"),
        (0.49, 0.74, "No"),
        (0.49, 0.99, "Not shown: too few people"),
        (None, None, "Not shown: too few people"),
    ],
)
def test_an_amount_is_believed_by_the_limits_of_its_icc(tables, low, high, verdict):
    """Koo & Li 2016, J Chiropr Med 15:155-163: below 0.5 poor, to 0.75 moderate, above good, by the 95 % interval.

    An interval that reaches from poor to good shows neither.
    """
    row = {"measure": "cadence", "trial_type": "normal_gait", "detected_from": "result tables", "unit": "1/min",
           "n_pairs": 20, "n_participants": 8, "bias": 0.1, "loa_lower": -1.0, "loa_upper": 1.2, "icc": 0.9,
           "icc_low": low, "icc_high": high}  # fmt: skip
    put(tables.results, [row], PARAMETERS)
    (line,) = trust_lines(StudyTables(tables.results), promised=0.9)
    assert (line.outcome, line.verdict) == ("Cadence", verdict)
    assert line.evidence == "off by −1.0 to 1.2 steps per minute"


def test_an_amount_whose_labels_are_too_coarse_is_neither_right_nor_wrong(tables):
    """What is said on the first screen and among what fell short is what the row's own validity says."""
    row = {"measure": "stride_time_cv", "trial_type": "normal_gait", "detected_from": "result tables",
           "unit": "percent", "n_pairs": 22, "n_participants": 8, "labelled_mean": 4.2, "detected_mean": 2.4,
           "bias": -1.75, "loa_lower": -3.0, "loa_upper": -0.48, "icc": 0.07, "icc_low": 0.02, "icc_high": 0.25,
           "rater_timing_sd": 0.0424, "from_rater_timing": 3.8, "validity": CANNOT}  # fmt: skip
    put(tables.results, [row], PARAMETERS)
    found = StudyTables(tables.results)
    (line,) = trust_lines(found, promised=0.9)
    assert line.verdict == "Cannot be validated with these labels"
    assert line.evidence.endswith("raters' timing alone makes 3.8 %")
    notes = [block.words for block in shortfalls(found).blocks]
    assert not [words for words in notes if "not agree" in words]
    assert (
        "Stride-time variability (CV), normal gait cannot be validated with these labels: two raters' contacts differ "
        "by 42 ms (SD), which alone makes 3.8 %; the pipeline gives 2.4 %, labels 4.2 %."
    ) in notes


@pytest.mark.parametrize(
    ("coverage", "low", "verdict"),
    [
        (0.91, 0.90, "Yes, within its interval"),
        (0.92, 0.77, "With care: within its interval here, but too few people to be sure"),
        (0.92, None, "With care: within its interval here, but too few people to be sure"),
        (0.85, 0.80, "Its interval is too narrow"),
    ],
)
def test_the_interval_of_the_angle_is_believed_if_it_holds_what_it_promises(tables, coverage, low, verdict):
    put(tables.results, [{"recording_id": "pooled", "phase": "all", "n_participants": 4, "rmse": 2.9,
                          "coverage": coverage, "coverage_low": low}], ANGLES)  # fmt: skip
    (line,) = trust_lines(StudyTables(tables.results), promised=0.9)
    assert line.verdict == verdict


@pytest.mark.parametrize(
    ("value", "low", "verdict"),
    [
        (0.95, 0.90, "Yes"),
        (0.95, 0.80, "With care"),
        (0.95, None, "Not shown: too few people"),
        (0.85, 0.80, "No: their edges are off"),
    ],
)
def test_turns_are_believed_by_the_lower_limit_of_their_f1_as_events_are(tables, value, low, verdict):
    cell = {"recording_id": "pooled", "labelled": "turn", "detected": "turn", "share": 1.0, "seconds": 60.0}
    put(tables.results, [cell], CONFUSION)
    row = {"recording_id": "pooled", "trial_type": "turn", "measure": "f1", "value": value, "value_low": low}
    put(tables.results, [row], STATES)
    (line,) = trust_lines(StudyTables(tables.results), promised=0.9)
    assert (line.outcome, line.verdict) == ("Turns", verdict)


def test_one_sentence_says_what_each_size_of_step_time_asymmetry_is_for(tables):
    assert step_time_sizes(StudyTables(tables.results), 8.0) == ""
    gait = [{"recording_id": name, "trial_type": "normal_gait", "verdict": NO_ASYMMETRY, "step_time_settled_from": size}
            for name, size in (("a", 21.6), ("b", 26.2))]  # fmt: skip
    put(tables.results, gait, GAIT, (*ANSWERS, PREDICTION, *VERDICT_COLUMNS))
    sentence = step_time_sizes(StudyTables(tables.results), 8.0)
    assert "up to 8 % is what healthy people may have" in sentence
    assert "from 22 to 26 % on, by walk," in sentence
    assert "labels" not in sentence
    row = {"measure": "step_time_symmetry_index", "trial_type": "limping_gait", "detected_from": "result tables",
           "unit": "percent", "bias": -1.3, "loa_lower": -11.0, "loa_upper": 8.3, "icc": 0.99,
           "icc_low": 0.95}  # fmt: skip
    put(tables.results, [row], PARAMETERS)
    read = StudyTables(tables.results)
    said = step_time_sizes(read, 8.0)
    assert "within 11 % lie the differences of single values from this study's labels, within 18 % with what" in said
    (line,) = trust_lines(read, promised=0.9)
    # 11 by labels and 1.96 x 7 by force plates (docs/method-gait.md), independent, are 17.6
    assert "below 18 % it may be error" in line.verdict
    assert "of that 11 % are what labels show" in line.more
    assert "see Gait" in line.more


def test_agreement_of_what_is_often_not_given_says_of_how_many_it_is(tables):
    row = {"measure": "swallowing_speed", "detected_from": "result tables", "unit": "ml/s", "bias": -0.2,
           "loa_lower": -0.85, "loa_upper": 0.39, "icc": 0.99, "icc_low": 0.98, "n_pairs": 8}  # fmt: skip
    for missing, words in ((3, ", in the 8 of 11 that have a value"), (0, "ml/s")):
        put(tables.results, [row | {"n_not_detected": missing}], PARAMETERS)
        (line,) = trust_lines(StudyTables(tables.results), promised=0.9)
        assert line.evidence.endswith(words)


def test_the_step_time_asymmetry_is_believed_by_the_icc_of_its_sizes(tables):
    """The sign tells left from right, which alone would make an ICC near 1."""
    row = {"measure": "step_time_symmetry_index", "trial_type": "normal_gait", "detected_from": "result tables",
           "unit": "percent", "bias": -0.2, "loa_lower": -6.0, "loa_upper": 6.0}  # fmt: skip
    size = row | {"measure": "step_time_log_ratio_size", "icc": 0.54, "icc_low": 0.2, "icc_high": 0.7}
    put(tables.results, [row, size], PARAMETERS)
    (line,) = trust_lines(StudyTables(tables.results), promised=0.9)
    assert line.verdict.startswith("No")
    assert "ICC(2,1) of sizes 0.54 (0.20 to 0.70)" in line.more


def test_a_person_in_whom_no_asymmetry_was_found_is_told_what_would_have_been(tables):
    walked = {"recording_id": "sub-01_ses-01", "trial_type": "normal_gait", "verdict": NO_ASYMMETRY,
              "step_time_settled_from": 25.4, "amplitude_settled_from": 28.2}  # fmt: skip
    put(tables.results, [walked], GAIT, (*ANSWERS, PREDICTION, *VERDICT_COLUMNS))
    (table,) = people(StudyTables(tables.results)).blocks
    told = [row[table.header.index("is it sensor or gait?")] for row in table.rows]
    assert "none found; detectable from 25 % of step time or 28 % of the knee's range on" in told
    assert NO_ASYMMETRY not in told


def test_a_range_in_which_the_angles_interval_holds_too_seldom_fell_short_whatever_the_knee_did(tables):
    """Ranges of all movements in one list, then the worst movement; people and spread once; the table of the rest."""
    whole = {"recording_id": "pooled", "n_participants": 4, "seconds": 300.0, "coverage_nominal": 0.9, "coverage": 0.95,
             "coverage_low": 0.8, "coverage_high": 1.0, "phase": "all",
             "coverage_claim": "as it claims, within its own limits"}  # fmt: skip
    part = whole | {"angle_from": 30.0, "angle_to": 45.0, "seconds": 91.0, "coverage": 0.86, "coverage_low": 0.54}
    low = whole | {"angle_to": 15.0, "coverage": 0.88, "coverage_low": 0.7, "coverage_high": 0.89}
    still = part | {"phase": "still", "seconds": 1.2, "coverage": 0.65, "coverage_low": 0.0}
    flexing = part | {"phase": "flexing", "seconds": 42.0, "coverage": 0.89}

    def told(rows):
        put(tables.results, rows, ANGLES)
        notes = [block.words for block in shortfalls(StudyTables(tables.results)).blocks]
        return [words for words in notes if "of the knee angle holds" in words]

    start = "The 90 % interval of the knee angle holds the reference less often than it claims: "
    end = " Every movement and range: validation/angles.tsv."
    assert told([whole]) == []
    assert told([whole, part, still, flexing]) == [
        f"{start}over all movements from 30 to 45 degrees 86 % of 91 s; worst of the movements, still, from 30 to 45 "
        f"degrees 65 % of 1.2 s. In 4 people; by the spread between them 0 to 100 %, which does not settle it.{end}"
    ]
    assert told([whole, part, low]) == [
        f"{start}over all movements up to 15 degrees 88 % of 300 s; from 30 to 45 degrees 86 % of 91 s. In 4 people; "
        f"by the spread between them 54 to 100 %, which shows it of 1 of these 2.{end}"
    ]
    few = still | {"n_participants": 1, "coverage_low": None, "coverage_high": None}
    assert told([whole, few]) == [
        f"{start}worst of the movements, still, from 30 to 45 degrees 65 % of 1.2 s. In 1 person, too few to tell "
        f"more.{end}"
    ]


@pytest.mark.parametrize(
    ("value", "low", "words"),
    [
        (0.97, 0.95, None),
        (0.95, 0.85, "its lower limit is below 0.9"),
        (0.73, 0.65, "F1 by time of turn is"),
        (0.95, None, "too few people for limits"),
    ],
)
def test_a_state_falls_short_by_the_lower_limit_of_its_f1(tables, value, low, words):
    row = {"recording_id": "pooled", "trial_type": "turn", "measure": "f1", "value": value, "value_low": low}
    put(tables.results, [row], STATES)
    notes = [block.words for block in shortfalls(StudyTables(tables.results)).blocks if "F1 by time" in block.words]
    assert len(notes) == (words is not None)
    assert all(words in note for note in notes)


@pytest.mark.parametrize("n", [MOST_DOTS, MOST_DOTS + 1, 1000])
def test_a_row_of_any_number_of_people_is_drawn_and_its_outlier_named(n):
    """Iglewicz & Hoaglin 1993: an outlier has a modified z score above 3.5 in size."""
    frame = pd.DataFrame({"value": [float(k % 10) for k in range(n - 1)] + [1000.0],
                          "name": [f"sub-{k:04d} ses-01" for k in range(n)]})  # fmt: skip
    with drawing():
        figure, axes = panels()
        odd = draw_strips(axes[0, 0], strips_of([("all", "#000000", "o", frame)], "value", "name"))
    assert odd == [f"sub-{n - 1:04d} ses-01"]
    points = sum(len(line.get_xdata()) for line in figure.axes[0].lines)
    assert points < MOST_DOTS + 4


def test_the_modified_z_score_is_that_of_its_source():
    """Iglewicz & Hoaglin 1993: 0.6745 (x - median) / MAD; here median 5, MAD 2."""
    values = pd.Series([1.0, 3.0, 3.0, 5.0, 5.0, 5.0, 7.0, 7.0, 30.0]).to_numpy()
    assert outliers(values)[-1] == pytest.approx(0.6745 * 25.0 / 2.0, rel=1e-3)
