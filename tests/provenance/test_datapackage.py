"""Tables for others: Frictionless by its own library, Parquet by pyarrow."""

import json

import pandas as pd
import pyarrow.parquet as pq
import pytest
from frictionless import Package
from strainstudy.provenance.codebook import codebook_page
from strainstudy.provenance.datapackage import data_package, twin_of, write_twin
from strainstudy.tables import TableSpec, read_described, write_table
from strainstudy.tables.spec import count, flag, number, text

SPEC = TableSpec(
    "tables/walks.tsv",
    "Walks",
    "One row per <walk>.",
    (
        text("recording_id", "Recording", "Id."),
        number("cadence", "Cadence", "Steps per minute.", "steps/min"),
        count("n_strides", "Strides", "Number of strides."),
        flag("sure", "Sure", "Whether it is sure."),
    ),
    ("recording_id",),
)


@pytest.fixture
def results(tmp_path):
    frame = pd.DataFrame(
        {
            "recording_id": ['said "so"', "=1+1", "a\tb"],
            "cadence": [101.25, float("nan"), 1e-7],
            "n_strides": pd.array([3, None, 5], dtype="Int64"),
            "sure": pd.array([True, None, False], dtype="boolean"),
        }
    )
    write_table(frame, SPEC, tmp_path)
    return tmp_path


def packed(results):
    content = data_package(results, ["tables/walks.tsv", "tables/gone.tsv", "report.html"], name="A b", version="1.0")
    (results / "datapackage.json").write_text(json.dumps(content))
    return content


def test_the_package_and_its_tables_are_valid_by_the_standards_own_library(results):
    packed(results)
    found = Package(str(results / "datapackage.json")).validate()
    assert found.flatten(["type", "message"]) == []
    assert found.stats["tasks"] == 1


def test_the_librarys_rows_are_ours_with_their_types(results):
    packed(results)
    rows = Package(str(results / "datapackage.json")).resources[0].read_rows()
    assert [row["sure"] for row in rows] == [None, False, True]
    assert [row["n_strides"] for row in rows] == [None, 5, 3]


@pytest.mark.parametrize(("old", "new"), [("101.25", "fast"), ("101.25", "101.26"), ("cadence", "pace")])
def test_a_changed_cell_or_header_is_no_longer_valid(results, old, new):
    packed(results)
    table = results / "tables/walks.tsv"
    table.write_text(table.read_text().replace(old, new))
    assert not Package(str(results / "datapackage.json")).validate().valid


def test_a_twin_has_the_same_cells_and_units_in_its_schema(results):
    write_twin(results, SPEC.path)
    path = results / twin_of(SPEC.path)
    schema = pq.read_schema(path)
    assert schema.field("cadence").metadata[b"unit"] == b"steps/min"
    assert schema.metadata[b"title"] == b"Walks"
    twin = pq.read_table(path).to_pandas().astype({"sure": "boolean"})
    pd.testing.assert_frame_equal(twin, read_described(results / SPEC.path), check_dtype=False)
    first = path.read_bytes()
    write_twin(results, SPEC.path)
    assert path.read_bytes() == first


def test_the_codebook_says_what_each_column_means_and_escapes_it(results):
    write_twin(results, SPEC.path)
    page = codebook_page(results, [SPEC.path, twin_of(SPEC.path), "tables/gone.tsv"], name="A & b")
    assert "One row per &lt;walk&gt;." in page
    assert "tables/walks.tsv, and as tables/walks.parquet" in page
    for word in ("cadence", "Steps per minute.", "steps/min", "whole number", "true or false", "A &amp; b"):
        assert word in page
    assert "gone" not in page
