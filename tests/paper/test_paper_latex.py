"""Tables in LaTeX, checked without a compiler."""

import re

import pandas as pd
from hypothesis import given
from hypothesis import strategies as st
from strainstudy.paper.latex import DASH, escaped, latex_table

COMMANDS = re.compile(r"\\(textbackslash|textasciitilde|textasciicircum|textless|textgreater|textbar)\{\}|\\[{}&%$#_]")
"""What the ten special letters of LaTeX and four that fonts lack are written as (LaTeX 2e for authors; from memory)."""


@given(st.text(st.characters(max_codepoint=126, min_codepoint=32)))
def test_no_letter_is_left_that_latex_would_run(text):
    assert re.search(r"[\\{}&%$#_~^<>|\"]", COMMANDS.sub("", escaped(text))) is None


@given(st.text(st.characters(categories=("L", "N"))))
def test_letters_and_digits_stay_as_they_are(text):
    ours = set("\u00b2\u03a9\u0394\u03ba")
    kept = "".join(letter for letter in text if letter not in ours)
    assert escaped(kept) == kept


def test_signs_become_mathematics():
    assert escaped("\u22125 \u00b1 1 \u00b0 R\u00b2") == r"$-$5 $\pm$ 1 $^{\circ}$ R$^{2}$"


def test_a_table_has_its_rows_dashes_for_what_is_missing_and_numbers_flush_right():
    frame = pd.DataFrame({"a_b": ["x & y", "n/a", None], "n": ["3", "\u22124.5", "n/a"], "c": ["1 (2)", "3", ""]})
    text = latex_table(frame, ["a_b", "n", "50 %"], "Both & all", "tab:one")
    lines = text.splitlines()
    assert lines[0] == r"\begin{table}"
    assert lines[-1] == r"\end{table}"
    assert r"\caption{Both \& all}" in lines
    assert r"\begin{tabular}{lrl}" in lines
    assert lines[lines.index(r"\toprule") + 1] == r"a\_b & n & 50 \% \\"
    assert lines[lines.index(r"\midrule") + 1 : lines.index(r"\bottomrule")] == [
        r"x \& y & 3 & 1 (2) \\",
        rf"{DASH} & $-$4.5 & 3 \\",
        rf"{DASH} & {DASH} & {DASH} \\",
    ]


def test_a_table_of_many_columns_spans_the_page():
    wide = latex_table(pd.DataFrame([list("abcdefgh")]), list("abcdefgh"), "Wide", "tab:wide")
    assert wide.startswith("\\begin{table*}")
    assert wide.endswith("\\end{table*}\n")


def test_a_table_longer_than_the_page_breaks_within_columns_that_fit_it_and_hold_their_longest_word():
    row = {f"c{k}": "0.919 (0.767 to 1.00)" for k in range(12)} | {"n": "4"}
    headers = [*(f"limping side right, left out {k}" for k in range(12)), "n"]
    text = latex_table(pd.DataFrame([row]), headers, "Long", "tab:long")
    widths = [float(w) for w in re.findall(r"p\{([\d.]+)\\textwidth\}", text)]
    assert len(widths) == 13
    # 13 gaps of 6 pt are 27 mm of 174
    assert sum(widths) + 13 * 6 * 0.3515 / 174 < 1.01
    assert widths[-1] < widths[0]
    assert min(widths[:-1]) * 125 >= len("limping")
    assert text.startswith("\\begin{table*}")
    assert text.count(r"\raggedleft") == 1


def test_a_table_that_fits_the_page_breaks_nowhere():
    assert "textwidth" not in latex_table(pd.DataFrame([list("abcdefgh")]), list("abcdefgh"), "Wide", "tab:wide")
