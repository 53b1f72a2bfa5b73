"""Published norms."""

import math
from pathlib import Path

import pandas as pd
import pytest
from strainstudy.errors import StudyError
from strainstudy.tables.gait import GAIT
from strainstudy.tables.spec import write_table
from strainstudy.tables.standing import NORMS
from strainstudy.validate.measurements import COLUMNS, GAIT_MEASURES, SIZE, SWALLOW_MEASURES, on_walkways, per_person
from strainstudy.validate.norms import NORM_COLUMNS, position, published_range, read_norms

SHIPPED = Path(__file__).resolve().parents[2] / "config" / "norms.tsv"
GOOD = {
    "measure": "stride_time_mean", "unit": "s", "population": "adults", "n": "30", "age_low": "n/a", "age_high": "n/a",
    "sex": "n/a", "mean": "1.1", "sd": "0.1", "low": "n/a", "high": "n/a", "statistic": "mean and sd",
    "source": "A source", "source_read": "yes", "note": "n/a",
}  # fmt: skip


def table(tmp_path, *changes, names=NORM_COLUMNS):
    lines = ["\t".join(names)]
    lines += ["\t".join({**GOOD, **change}.get(name, "x") for name in names) for change in changes]
    path = tmp_path / "norms.tsv"
    path.write_text("\n".join(lines) + "\n", encoding="utf-8")
    return path


def people(*rows):
    columns = ["participant_id", "session_id", "trial_type", "measure", "unit", "n_recordings", "value"]
    return pd.DataFrame(rows, columns=columns)


ONE = people(("sub-01", "ses-01", "normal_gait", "stride_time_mean", "s", 2, 1.35))


def place(path, age=70.0, sex="male", who=ONE):
    return position(who, read_norms(path), {"sub-01": age}, {"sub-01": sex})


def test_the_shipped_norms_are_without_fault_and_every_source_says_how_it_is_known():
    norms = read_norms(SHIPPED)
    assert len(norms) >= 90
    assert norms.source_read.str.startswith(("yes", "quoted", "computed", "from memory (")).all()
    assert norms.source.notna().all()


@pytest.mark.parametrize("measure", [*GAIT_MEASURES, *SWALLOW_MEASURES])
def test_a_norm_can_be_of_every_measure_that_is_followed_and_is_then_used(tmp_path, measure):
    unit = (GAIT_MEASURES | SWALLOW_MEASURES)[measure]
    who = people(("sub-01", None, None, measure, unit, 1, 1.0))
    for name in (measure, measure.removesuffix("_left").removesuffix("_right").removesuffix(SIZE)):
        assert len(place(table(tmp_path, {"measure": name, "unit": unit}), who=who)) == 1


def test_units_of_norms_are_those_of_the_gait_table():
    units = {column.name: column.unit for column in GAIT.columns}
    for measure, unit in GAIT_MEASURES.items():
        assert unit == (units[measure.removesuffix(SIZE)] or "deg")


def test_cadence_and_stride_time_limits_of_one_source_belong_together():
    """Cadence = 120 / stride time: Whittle's limits for women of 18 to 49, 98-138 a minute and 0.87-1.22 s."""
    norms = read_norms(SHIPPED)
    own = norms[norms.source.str.startswith("Whittle")]
    pairs = own.pivot_table(index=["sex", "age_low"], columns="measure", values=["low", "high"])
    assert len(pairs) == 6
    assert (120 / pairs["high"]["stride_time_mean"]).to_list() == pytest.approx(
        pairs["low"]["cadence"].to_list(), rel=0.01
    )
    assert (120 / pairs["low"]["stride_time_mean"]).to_list() == pytest.approx(
        pairs["high"]["cadence"].to_list(), rel=0.01
    )


def test_z_and_position_worked_by_hand(tmp_path):
    """(1.35 - 1.1) / 0.1 = 2.5; the range 1.1 -/+ 1.96 x 0.1 ends at 1.296."""
    row = place(table(tmp_path, {})).iloc[0]
    assert row.z == pytest.approx(2.5)
    assert (row.published_low, row.published_high) == (pytest.approx(0.904), pytest.approx(1.296))
    assert row.position == "above"
    assert row.range_kind == "mean -/+ 1.96 SD"
    assert row.population_n == 30


def test_several_sources_stand_in_rows_of_their_own_and_their_spread_in_words(tmp_path):
    wide = {"statistic": "95 % limits", "mean": "n/a", "sd": "n/a", "low": "0.9", "high": "1.5", "source": "B source"}
    mean = {"statistic": "mean", "sd": "n/a", "source": "C source", "source_read": "from memory (80 %)"}
    found = place(table(tmp_path, {}, wide, mean))
    assert found.position.tolist()[:2] == ["above", "within"]
    assert pd.isna(found.position.iloc[2])
    assert set(found.all_sources) == {"within 1, above 1 of 2 published ranges"}
    assert found.source_read.tolist() == ["yes", "yes", "from memory (80 %)"]


def test_no_row_says_pass_or_fail(tmp_path):
    words = set(place(table(tmp_path, {})).position)
    assert words <= {"below", "within", "above", None}


@pytest.mark.parametrize(
    ("norm", "age", "sex", "rows"),
    [
        ({"age_low": "60", "age_high": "80"}, 70.0, "male", 1),
        ({"age_low": "60", "age_high": "80"}, 59.0, "male", 0),
        ({"age_low": "60"}, None, "male", 0),
        ({"age_low": "60"}, math.nan, "male", 0),
        ({"age_low": "60"}, 99.0, "male", 1),
        ({"sex": "female"}, 70.0, "male", 0),
        ({"sex": "female"}, 70.0, "female", 1),
        ({"sex": "female"}, 70.0, None, 0),
        ({}, None, None, 1),
    ],
)
def test_a_norm_is_used_where_age_and_sex_fit(tmp_path, norm, age, sex, rows):
    assert len(place(table(tmp_path, norm), age, sex)) == rows


def test_a_norm_of_both_sides_is_used_for_left_and_right(tmp_path):
    norm = {"measure": "stance_fraction_mean", "unit": "1", "mean": "0.63", "sd": "0.01"}
    who = people(
        ("sub-01", None, None, "stance_fraction_mean_left", "1", 1, 0.60),
        ("sub-01", None, None, "stance_fraction_mean_right", "1", 1, 0.63),
    )
    assert place(table(tmp_path, norm), who=who).position.tolist() == ["below", "within"]


def test_a_norm_of_a_signed_measure_is_one_of_its_size():
    """Of 16 healthy people of an open data set 16.12 is the largest; the limit from memory (1.06: 5.83) gives way."""
    who = people(("sub-01", None, None, "swing_time_log_ratio_size", "percent", 1, 6.0))
    found = place(SHIPPED, who=who).set_index("source_read").position
    assert found["computed"] == "within"
    assert pd.isna(found["from memory (85 %)"])


MEMORY = {"source": "M source", "source_read": "from memory (80 %)", "mean": "1.2", "population": "recalled"}


def test_what_is_from_memory_gives_way_where_a_source_was_read_and_counts_where_none_was(tmp_path):
    both = place(table(tmp_path, {}, MEMORY)).set_index("source")
    assert both.counts.to_dict() == {"A source": True, "M source": False}
    assert pd.isna(both.position["M source"])
    assert pd.isna(both.z["M source"])
    assert both.all_sources["M source"] == "above 1 of 1 published range"
    assert "gives way to sources that were read: no position" in both.reading["M source"]
    only_a_mean = {"statistic": "mean", "sd": "n/a"}
    assert not place(table(tmp_path, only_a_mean, MEMORY)).set_index("source").counts["M source"]
    alone = place(table(tmp_path, MEMORY)).iloc[0]
    assert alone.counts
    assert alone.position == "within"


def test_one_read_for_people_of_another_age_does_not_make_memory_give_way(tmp_path):
    young = {"age_low": "18", "age_high": "40"}
    assert place(table(tmp_path, young, MEMORY)).counts.tolist() == [True]


def test_sources_that_contradict_each_other_are_both_named_with_what_they_say(tmp_path):
    """1.1 (SD 0.1) is 0.904 to 1.296, 1.5 (SD 0.05) is 1.402 to 1.598: no value in common; 1.2 lies in the first."""
    apart = {"source": "Apart A 2001", "mean": "1.5", "sd": "0.05"}
    close = {"source": "Close C 2002", "mean": "1.2", "sd": "n/a", "statistic": "mean"}
    found = place(table(tmp_path, {}, apart, close))
    assert set(found.sources_disagree) == {"A source: 0.904 to 1.3; Apart 2001: 1.4 to 1.6; Close 2002: mean 1.2"}
    assert place(table(tmp_path, {}, close)).sources_disagree.isna().all()


def test_patients_place_nobody_and_contradict_nothing(tmp_path):
    names = (*NORM_COLUMNS, "people")
    healthy = {"people": "healthy"}
    patients = {"source": "B source", "mean": "2.0", "people": "patients"}
    found = place(table(tmp_path, healthy, patients, names=names)).set_index("source")
    assert pd.isna(found.position["B source"])
    assert pd.isna(found.sources_disagree["B source"])
    assert "which are patients: no position" in found.reading["B source"]


@pytest.mark.parametrize(
    ("of_source", "of_recording", "rows"),
    [
        ("treadmill", "treadmill", 1), ("treadmill", "overground", 0), ("treadmill", None, 0),
        ("overground", "treadmill", 0), ("overground", "overground", 1), ("overground", None, 1),
        ("n/a", "treadmill", 1), ("n/a", None, 1),
    ],
)  # fmt: skip
def test_treadmill_and_overground_walking_are_kept_apart(tmp_path, of_source, of_recording, rows):
    path = table(tmp_path, {"walkway": of_source}, names=(*NORM_COLUMNS, "walkway"))
    found = place(path, who=ONE.assign(walkway=of_recording))
    assert len(found) == rows
    assert found.walkway.dropna().tolist() == [of_recording] * (rows if of_recording else 0)


def test_a_walk_on_a_treadmill_is_no_repeat_of_one_overground():
    rows = [("r1", 1.0), ("r2", 1.4), ("r3", 1.2)]
    long = pd.DataFrame(
        [(name, "sub-01", "ses-01", "walk", "normal_gait", "cadence", "1/min", v, math.nan) for name, v in rows],
        columns=list(COLUMNS),
    )
    found = per_person(on_walkways(long, {"r1": "treadmill", "r2": "overground", "r3": "treadmill"}))
    assert found.set_index("walkway").value.to_dict() == {"overground": 1.4, "treadmill": pytest.approx(1.1)}
    assert per_person(on_walkways(long, {})).value.tolist() == [pytest.approx(1.2)]


def test_shipped_norms_of_a_coordination_index_show_that_two_studies_disagree():
    """3.16 (SD 1.11) in people of 40 to 75 (Zadik et al. 2022) beside a mean of 6.2 (J NeuroEng Rehabil 2011 8:23)."""
    who = people(("sub-01", None, "normal_gait", "coordination_index", "percent", 1, 5.9))
    words = place(SHIPPED, who=who).sources_disagree.iloc[0]
    assert "Zadik 2022: 0.984 to 5.34" in words
    assert "mean 6.2" in words


@pytest.mark.parametrize(
    ("statistic", "expected"),
    [("upper limit", (math.nan, 6.0)), ("cut-off", (10.0, math.nan)), ("mean", (math.nan, math.nan)),
     ("smallest to largest person", (10.0, 6.0)),
     ("interval of mean", (math.nan, math.nan)), ("mean and sd", (3.04, 6.96))],
)  # fmt: skip
def test_the_range_follows_from_what_was_published(statistic, expected):
    """An interval of the mean says how well a mean is known, not where people lie: it is no range for a person."""
    norm = {"statistic": statistic, "mean": 5.0, "sd": 1.0, "low": 10.0, "high": 6.0}
    if statistic == "upper limit":
        norm["low"] = math.nan
    if statistic == "cut-off":
        norm["high"] = math.nan
    assert published_range(norm) == pytest.approx(expected, nan_ok=True)


@pytest.mark.parametrize(
    ("changes", "message"),
    [
        (
            [{}, {"measure": "stride_times"}],
            r"row 3, column measure, value 'stride_times': no table has this measure; use one of: cadence, coord",
        ),
        ([{"unit": "ms"}], r"row 2, column unit, value 'ms': stride_time_mean has another unit; give the numbers in s"),
        ([{"mean": "one"}], r"row 2, column mean, value 'one': not a number; give a number or n/a\."),
        ([{"mean": "1_0"}], r"row 2, column mean, value '1_0': not a number; give a number or n/a\."),
        ([{"sd": "n/a"}], r"row 2, column sd: needed for 'mean and sd'; give the number\."),
        ([{"sd": "0"}], r"column sd, value '0': not above 0"),
        ([{"statistic": "average"}], r"column statistic, value 'average': unknown word; use one of: mean and sd"),
        (
            [{"source_read": "maybe"}],
            r"source_read, value 'maybe': unknown word; use yes, quoted, computed, or from memory",
        ),
        ([{"source": "n/a"}], r"column source: empty cell; give the source"),
        ([{"sex": "F"}], r"column sex, value 'F': unknown word; use male, female or n/a"),
        ([{"age_low": "80", "age_high": "60"}], r"column age_low, value '80': larger than age_high; swap the two"),
        ([{}, {"low": "x", "n": "y"}], r"2 problems found.*row 3, column n.*row 3, column low"),
        (
            [{"mean": "0.43"}, {"measure": "cadence", "unit": "1/min", "mean": "113.84"}],
            r"row 3, column mean, value '113.84': contradicts the stride time of the same source",
        ),
    ],
)
def test_faults_of_a_norm_table_are_named_with_row_column_and_remedy(tmp_path, changes, message):
    """The last case is printed in a published abstract: a cadence of 113.84 with a stride time of 0.43 s."""
    with pytest.raises(StudyError, match=f"(?s){message}"):
        read_norms(table(tmp_path, *changes), "norms.tsv")


def test_a_missing_column_a_short_row_and_a_missing_file_are_named(tmp_path):
    with pytest.raises(StudyError, match="column sd: column is missing; add it to the header"):
        read_norms(table(tmp_path, {}, names=[name for name in NORM_COLUMNS if name != "sd"]))
    path = table(tmp_path, {})
    path.write_text(path.read_text() + "stride_time_mean\ts\n")
    with pytest.raises(StudyError, match="row 3: wrong number of cells"):
        read_norms(path)
    with pytest.raises(StudyError, match="cannot be read"):
        read_norms(tmp_path / "none.tsv")
    path.write_bytes(b"\xff\xfe\x00")
    with pytest.raises(StudyError, match="not UTF-8 text"):
        read_norms(path)


def test_people_without_norms_give_an_empty_table(tmp_path):
    found = position(people(), read_norms(SHIPPED), {}, {})
    assert write_table(found, NORMS, tmp_path).read_text() == "\t".join(NORMS.names) + "\n"
