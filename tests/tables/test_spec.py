import json

import numpy as np
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st
from strainstudy.errors import StudyError
from strainstudy.tables import Column, TableSpec, read_table, read_typed, write_table, write_typed

SPEC = TableSpec(
    path="tables/example.tsv",
    title="Example",
    description="An example.",
    columns=(
        Column("name", "string", "Name", "A name."),
        Column("onset", "number", "Onset", "When.", "s", decimals=3),
        Column("value", "number", "Value", "How much.", "deg"),
        Column("n", "integer", "n", "How many."),
        Column("steady", "boolean", "Steady", "Whether steady."),
    ),
    key=("name", "onset"),
)


def frame(rows):
    return pd.DataFrame(rows, columns=list(SPEC.names))


def test_rows_are_sorted_and_missing_values_are_written_as_bids_has_them(tmp_path):
    """BIDS 1.10, tabular files: missing values are coded `n/a`."""
    rows = [("b", 2.0, np.nan, None, True), ("a", 1.23456, 1 / 3, 3, None)]
    path = write_table(frame(rows), SPEC, tmp_path)
    assert path.read_text() == ("name\tonset\tvalue\tn\tsteady\na\t1.235\t0.333333\t3\tn/a\nb\t2.000\tn/a\tn/a\ttrue\n")


def test_sidecar_is_a_frictionless_table_schema(tmp_path):
    """Data Package 2.0, Table Schema: `fields` with unique `name`s is required; `missingValues` overrides `[""]`."""
    path = write_table(frame([]), SPEC, tmp_path)
    sidecar = json.loads(path.with_suffix(".json").read_text())
    assert [field["name"] for field in sidecar["fields"]] == list(SPEC.names)
    assert sidecar["missingValues"] == ["n/a", ""]
    assert sidecar["fields"][2]["unit"] == "deg"


def test_an_undescribed_column_does_not_leave(tmp_path):
    with pytest.raises(KeyError, match="surprise"):
        write_table(frame([]).assign(surprise=1), SPEC, tmp_path)


def test_minus_zero_is_written_as_zero(tmp_path):
    path = write_table(frame([("a", -0.0001, -0.0, 0, False)]), SPEC, tmp_path)
    assert path.read_text().splitlines()[1] == "a\t0.000\t0\t0\tfalse"


@given(
    st.lists(
        st.tuples(
            st.text(st.characters(codec="utf-8", exclude_categories=["C", "Z"]), min_size=1).filter(
                lambda s: s != "n/a"
            ),
            st.floats(-1e6, 1e6).map(lambda x: round(x, 3)),
            st.one_of(st.just(np.nan), st.integers(-99999, 99999).map(float)),
            st.integers(0, 10**9),
            st.booleans(),
        )
    )
)
def test_what_is_written_is_read_back(tmp_path_factory, rows):
    folder = tmp_path_factory.mktemp("round")
    write_table(frame(rows), SPEC, folder)
    back = read_table(folder, SPEC)
    expected = frame(rows).sort_values(["name", "onset"], kind="stable")
    assert back["name"].tolist() == expected["name"].tolist()
    np.testing.assert_allclose(back["onset"], expected["onset"].astype(float), atol=5e-4)
    np.testing.assert_array_equal(back["value"], expected["value"].astype(float))
    assert back["n"].tolist() == expected["n"].tolist()
    assert back["steady"].tolist() == expected["steady"].tolist()


ROW = ("a", 1.23456, 1 / 3, 3, True)
ADDED = Column("group", "string", "Group", "Added by a later stage.")
CARRIED = Column("shoe_size", "number", "Shoe size", "As the sheet has it.")


def test_a_renamed_column_is_named_with_its_table(tmp_path):
    path = write_table(frame([ROW]), SPEC, tmp_path)
    path.write_text(path.read_text().replace("onset", "start"))
    with pytest.raises(StudyError, match=r"tables/example.tsv.*no column 'onset'"):
        read_table(tmp_path, SPEC)


def test_a_column_that_was_added_is_asked_for_like_those_of_the_table(tmp_path):
    write_table(frame([ROW]).assign(group="g"), SPEC, tmp_path, [ADDED])
    assert read_table(tmp_path, SPEC, [ADDED])["group"].tolist() == ["g"]
    write_table(frame([ROW]), SPEC, tmp_path)
    with pytest.raises(StudyError, match="no column 'group'"):
        read_table(tmp_path, SPEC, [ADDED])


def test_columns_in_another_order_are_refused(tmp_path):
    path = write_table(frame([ROW]), SPEC, tmp_path)
    path.write_text(path.read_text().replace("onset\tvalue", "value\tonset"))
    with pytest.raises(StudyError, match="another order"):
        read_table(tmp_path, SPEC)


def test_a_carried_column_has_the_type_of_the_sidecar_and_needs_one(tmp_path):
    path = write_table(frame([ROW]).assign(shoe_size=43), SPEC, tmp_path, [CARRIED])
    assert read_table(tmp_path, SPEC)["shoe_size"].tolist() == [43.0]
    path.with_suffix(".json").unlink()
    with pytest.raises(StudyError, match="nothing describes: 'shoe_size'"):
        read_table(tmp_path, SPEC)


def test_without_carried_columns_the_specification_alone_gives_the_types(tmp_path):
    path = write_table(frame([ROW, ("b", 2.0, np.nan, None, None)]), SPEC, tmp_path)
    path.with_suffix(".json").unlink()
    pd.testing.assert_series_equal(read_table(tmp_path, SPEC).dtypes, SPEC.empty().dtypes)


def test_typed_rows_are_those_of_the_text_and_not_rounded(tmp_path):
    rows = frame([("b", 2.0, np.inf, None, None), ROW, ("n/a", 0.0, 1.0, 0, False)])
    write_table(rows, SPEC, tmp_path)
    write_typed(rows, SPEC, tmp_path / "example.parquet")
    text, typed = read_table(tmp_path, SPEC), read_typed(tmp_path / "example.parquet", SPEC)
    pd.testing.assert_frame_equal(text, typed.fillna({"name": np.nan}), rtol=1e-3)
    assert typed["value"][0] == 1 / 3 != text["value"][0]
    assert typed["onset"][0] == 1.23456 != text["onset"][0]
    with pytest.raises(StudyError, match="no column 'group'"):
        read_typed(tmp_path / "example.parquet", SPEC, [ADDED])


def test_a_frame_that_lacks_a_column_makes_no_table_and_one_without_rows_an_empty_one():
    rows = frame([ROW]).assign(more=1)
    assert list(SPEC.of(rows).columns) == list(SPEC.names)
    with pytest.raises(KeyError, match="onset"):
        SPEC.of(rows.rename(columns={"onset": "start"}))
    pd.testing.assert_frame_equal(SPEC.of(pd.DataFrame()), SPEC.empty())


@given(st.lists(st.floats(allow_nan=False, allow_infinity=False, width=64), min_size=1, max_size=30))
def test_numbers_are_read_to_the_digit_as_pandas_makes_them_of_texts(tmp_path_factory, values):
    path = tmp_path_factory.mktemp("digits")
    texts = [repr(value) for value in values]
    lines = ["\t".join(SPEC.names), *(f"a\t{text}\t{text[:9]}\t1\ttrue" for text in texts)]
    (path / "tables").mkdir()
    try:
        expected = [pd.to_numeric(pd.Series(cells)).tolist() for cells in (texts, [text[:9] for text in texts])]
    except ValueError:  # a number cut off behind its "e" is none
        return
    (path / SPEC.path).write_text("\n".join(lines) + "\n", encoding="utf-8")
    read = read_table(path, SPEC)
    assert [read["onset"].tolist(), read["value"].tolist()] == expected


@pytest.mark.parametrize("name", ["=first", '-"quoted"', "@x", "''=two"])
def test_a_guarded_text_is_read_back_wherever_it_stands(tmp_path, name):
    write_table(frame([("plain", 1.0, 2.0, 3, True), (name, 1.0, 2.0, 3, True)]), SPEC, tmp_path)
    assert name in read_table(tmp_path, SPEC)["name"].tolist()


def test_a_column_of_texts_without_any_is_one_of_missing_numbers(tmp_path):
    write_table(frame([(None, 1.0, 2.0, 3, True)]), SPEC, tmp_path)
    assert read_table(tmp_path, SPEC)["name"].dtype == float
    write_table(frame([]), SPEC, tmp_path)
    assert read_table(tmp_path, SPEC)["name"].dtype == object
