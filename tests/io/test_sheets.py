"""Whatever bytes a sheet holds, it is read or refused in words, and what was written comes back."""

from __future__ import annotations

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from strainstudy.io.sheets import Rule, Sheet, check_sheets, number, read_sheet, to_number

CELLS = st.text(
    alphabet=st.characters(codec="utf-8", exclude_categories=["Cc"], exclude_characters='"\ufeff\u2028\u2029'),
    min_size=1,
)


@settings(max_examples=60, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(content=st.binary(max_size=200) | st.text(alphabet='ab\t\n\r,;"1 ', max_size=80).map(str.encode))
def test_any_bytes_give_a_sheet_or_problems(tmp_path, content):
    path = tmp_path / "a.tsv"
    path.write_bytes(content)
    sheet, problems = read_sheet(path, "a.tsv", ["id"])
    assert sheet is not None or problems
    assert all(str(problem).startswith("a.tsv") for problem in problems)


@settings(max_examples=60, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(rows=st.lists(st.tuples(CELLS, CELLS), max_size=10), end=st.sampled_from(["\n", "\r\n", "\r"]))
def test_cells_come_back_without_the_blanks_around_them(tmp_path, rows, end):
    path = tmp_path / "a.tsv"
    lines = ["id\tvalue", *(f"{a}\t{b}" for a, b in rows)]
    path.write_bytes(end.join(lines).encode())
    sheet, problems = read_sheet(path, "a.tsv", ["id"])
    kept = [(i, a.strip(), b.strip()) for i, (a, b) in enumerate(rows, start=2) if f"{a}\t{b}".strip()]
    assert problems == []
    assert sheet is not None
    assert list(sheet.frame.index) == [i for i, _, _ in kept]
    for row, (_, *cells) in zip(sheet.frame.itertuples(index=False), kept, strict=True):
        assert list(row) == [None if cell in ("", "n/a") else cell for cell in cells]


@given(value=st.floats(allow_nan=False, allow_infinity=False))
def test_numbers_are_read_as_python_writes_them(value):
    assert to_number(repr(value)) == value


def test_words_that_python_takes_for_numbers_are_none():
    assert [to_number(text) for text in ("nan", "inf", "1_000", "", None, "1,5")] == [None] * 6


def test_a_cell_has_one_problem_even_if_it_breaks_two_rules(tmp_path):
    path = tmp_path / "a.tsv"
    path.write_text("id\tage\nx\t-1\nx\t1,5\n", encoding="utf-8")
    sheet, _ = read_sheet(path, "a.tsv", ["id"])
    assert isinstance(sheet, Sheet)
    rules = (Rule("id", filled=True, unique=True), Rule("age", number(lambda v: v > 0, "a number above 0", "years")))
    assert [str(p) for p in check_sheets([sheet], rules, extra_allowed=True)] == [
        "a.tsv, row 2, column age, value '-1': out of range; give a number above 0 in years.",
        "a.tsv, row 3, column id, value 'x': there twice; give every row its own.",
        "a.tsv, row 3, column age, value '1,5': a decimal comma; write the number with a decimal point.",
    ]


@pytest.mark.parametrize(
    ("cell", "read"),
    [('"18', '"18'), ('18"', '18"'), ('"a" and "b"', '"a" and "b"'), ('"a ""b"""', 'a "b"'), ('"', '"'), ('""', None)],
)
def test_only_a_cell_quoted_as_a_whole_loses_its_quotation_marks(tmp_path, cell, read):
    path = tmp_path / "a.tsv"
    path.write_text(f"id\tnote\nx\t{cell}\n", encoding="utf-8")
    sheet, problems = read_sheet(path, "a.tsv", ["id"])
    assert problems == []
    assert sheet.frame["note"].tolist() == [read]


def test_a_control_character_is_refused_by_its_row(tmp_path):
    path = tmp_path / "a.tsv"
    path.write_bytes("id\tnote\r\nx\ta\x1bb\r\ny\tc\u0085\r\n".encode())
    _, problems = read_sheet(path, "a.tsv", ["id"])
    assert [str(problem) for problem in problems] == [
        "a.tsv, row 2: a control character (U+001B); delete it, or type the cell again.",
        "a.tsv, row 3: a control character (U+0085); delete it, or type the cell again.",
    ]
