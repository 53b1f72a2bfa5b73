"""Published norms."""

import math
from pathlib import Path

import pandas as pd
import pytest
from strainstudy.errors import StudyError
from strainstudy.tables.gait import GAIT
from strainstudy.tables.spec import write_table
from strainstudy.tables.standing import NORMS
from strainstudy.validate.measurements import GAIT_MEASURES, SIZE, SWALLOW_MEASURES
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
    assert len(norms) >= 45
    assert norms.source_read.str.startswith(("yes", "quoted", "from memory (")).all()
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
    """Larger over smaller swing time up to 1.06 (Patterson et al. 2010, from memory): 100 ln 1.06 = 5.83 either way."""
    who = people(("sub-01", None, None, "swing_time_log_ratio_size", "percent", 1, 6.0))
    assert place(SHIPPED, who=who).position.tolist() == ["above"]


@pytest.mark.parametrize(
    ("statistic", "expected"),
    [("upper limit", (math.nan, 6.0)), ("cut-off", (10.0, math.nan)), ("mean", (math.nan, math.nan)),
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
        ([{"source_read": "maybe"}], r"source_read, value 'maybe': unknown word; use yes, quoted, or from memory"),
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
