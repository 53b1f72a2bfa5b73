"""A text as a cell and back: nothing that a sheet may hold is lost, and no spreadsheet runs any of it."""

import csv
import io

import pandas as pd
import pyarrow.csv as pcsv
import pytest
from hypothesis import example, given
from hypothesis import strategies as st
from strainstudy.intake.rules import PARTICIPANTS
from strainstudy.io.sheets import read_sheet
from strainstudy.tables import Column, TableSpec, read_described, write_table
from strainstudy.tables.cells import bare, quoted, written

SPEC = TableSpec("tables/own.tsv", "Own", "Columns of a lab.", (Column("n", "integer", "n", "Number."),), ("n",))
RUNS = "=+-@\t\r＝＋－＠"
TEXTS = st.text(st.characters(codec="utf-8"), min_size=1, max_size=12)
AWKWARD = st.lists(
    st.sampled_from(['"', "'", "=", "+", "-", "@", ",", ";", "n/a", "\ufeff", "\u2028", "𝛼", "a"]), min_size=1
)
CELLS = TEXTS | AWKWARD.map("".join)


def carried(folder, texts, name="note"):
    """Write texts as a column that a lab carries along."""
    own = Column(name, "string", "Own", "As the sheet has it.")
    return write_table(pd.DataFrame({"n": range(len(texts)), name: texts}), SPEC, folder, [own])


@given(st.lists(CELLS, min_size=1, max_size=6))
@example(['"18', "18", "19"])
@example(['"', '""', "'", "''=", "'=1", "=1", "＝1"])
def test_what_a_sheet_may_hold_is_read_back_from_a_table(tmp_path_factory, texts):
    folder = tmp_path_factory.mktemp("carried")
    rows = "".join(f"sub-{i}\t{text}\n" for i, text in enumerate(texts))
    (folder / "participants.tsv").write_bytes(f"participant_id\tnote\n{rows}".encode())
    sheet, problems = read_sheet(folder / "participants.tsv", "participants.tsv", PARTICIPANTS.required)
    if sheet is None or problems:
        return
    held = list(sheet.frame["note"])
    back = read_described(carried(folder, held))
    assert len(back) == len(held)
    assert [None if pd.isna(text) else text for text in back["note"]] == held


@given(st.lists(CELLS.map(written), min_size=1, max_size=6))
def test_other_readers_see_the_same_cells(tmp_path_factory, texts):
    """RFC 4180 as Python's csv module and Apache Arrow read it."""
    path = carried(tmp_path_factory.mktemp("others"), texts)
    content = path.read_bytes()
    ours = [written(text) for text in texts]
    rows = list(csv.reader(io.StringIO(content.decode("utf-8"), newline=""), delimiter="\t"))
    assert [row[1] for row in rows[1:]] == ours
    arrow = pcsv.read_csv(
        io.BytesIO(content),
        parse_options=pcsv.ParseOptions(delimiter="\t"),
        convert_options=pcsv.ConvertOptions(column_types={"note": "string"}),
    )
    assert arrow["note"].to_pylist() == ours


@given(CELLS)
def test_no_cell_begins_with_what_a_spreadsheet_runs(text):
    """OWASP, "CSV Injection" (from memory): = + - @, tab and carriage return at the start, full-width forms too."""
    cell = written(text)
    assert cell[0] not in RUNS
    assert not set(cell) & {"\t", "\r", "\n", "\0"}


@given(CELLS)
def test_the_apostrophe_is_taken_away_again(text):
    clean = written(f"x{text}")[1:]
    assert bare(written(clean)) == clean


@pytest.mark.parametrize("text", ["left_V is saturated", "'left_V' is saturated", "3.1", "n=4", "it's"])
def test_ordinary_texts_stay_as_they_are(text):
    assert written(text) == text == bare(text) == quoted(text)


def test_a_header_that_a_spreadsheet_would_run_is_guarded_and_read_back(tmp_path):
    path = carried(tmp_path, ["a"], name='=HYPERLINK("x")')
    assert path.read_text(encoding="utf-8").splitlines()[0] == 'n\t"\'=HYPERLINK(""x"")"'
    assert list(read_described(path).columns) == ["n", '=HYPERLINK("x")']


def test_what_is_no_character_does_not_stop_a_table(tmp_path):
    back = read_described(carried(tmp_path, ["caf\udce9", "a\0b"]))
    assert list(back["note"]) == ["caf\ufffd", "a b"]
