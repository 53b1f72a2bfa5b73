"""Thousands marks, decimal signs and marks of over-range: a column is read in one way or refused, never in two."""

from __future__ import annotations

import io
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from strainstudy.io.readers import ReadError, read_raw

SIGNS = {",": ".", ".": ","}


def write(folder: Path, text: str, name: str = "a.csv") -> Path:
    path = folder / name
    path.write_text(text, encoding="utf-8")
    return path


def grouped(value: int, mark: str) -> str:
    return f"{value:,}".replace(",", mark)


def columns(separator: str, **cells: list[str]) -> str:
    rows = zip(*cells.values(), strict=True)
    return "\n".join([separator.join(cells), *(separator.join(row) for row in rows)]) + "\n"


@pytest.mark.parametrize("separator", [";", "\t"])
@pytest.mark.parametrize("mark", [",", "."])
@pytest.mark.parametrize("start", [0, 985, 9990])
def test_whole_numbers_with_marks_beside_some_without_are_never_mixed(tmp_path, separator, mark, start):
    """997 beside 1,023: thousands if the time shows that the other sign is decimal, else refused."""
    counts = [start + i for i in range(30)]
    cells = [grouped(v, mark) for v in counts]
    times = [f"{i / 20:.2f}".replace(".", SIGNS[mark]) for i in range(30)]
    raw = read_raw(write(tmp_path, columns(separator, t=times, left=cells)))
    np.testing.assert_array_equal(raw.channels["left"].values, counts)
    np.testing.assert_allclose(raw.channels["t"].values, np.arange(30) / 20)
    if start:
        assert raw.layout.endswith(f"thousands {'comma' if mark == ',' else 'point'}")
    alone = write(tmp_path, columns(separator, t=[str(i) for i in range(30)], left=cells))
    if start == 0:
        np.testing.assert_array_equal(read_raw(alone).channels["left"].values, counts)
    elif start == 985:
        with pytest.raises(ReadError, match=r"column 'left' holds 1.000 beside 985, and nothing tells whether the"):
            read_raw(alone)


def test_numbers_with_marks_agree_with_pandas(tmp_path):
    """Pandas, told of the marks, is the outside reference."""
    text = columns(";", t=["0,0", "0,1", "0,2", "0,3"], left=["997", "1.023", "12.034.567", "1.234,5"])
    frame = pd.read_csv(io.StringIO(text), sep=";", decimal=",", thousands=".")
    raw = read_raw(write(tmp_path, text))
    for name in frame.columns:
        np.testing.assert_array_equal(raw.channels[name].values, frame[name].to_numpy(dtype=float))


@pytest.mark.parametrize(
    ("cells", "reason"),
    [
        (["1,023", "0,5", "1,234,567", "997"], "its commas and points are decimal signs in some cells and thousands"),
        (["1.5", "2,5", "1,023", "4.5"], "its commas and points are decimal signs in some cells and thousands"),
        (["1,023", "1023", "1.5", "2.5"], "only some of its thousands have a mark"),
        (["1,023", "1,517", "2,004", "3,111"], "nothing tells whether the comma is a decimal sign"),
    ],
)
def test_cells_that_can_be_read_in_two_ways_are_refused(tmp_path, cells, reason):
    text = columns(";", n=[str(i) for i in range(20)], left=5 * cells)
    with pytest.raises(ReadError, match=reason):
        read_raw(write(tmp_path, text))


@pytest.mark.parametrize("separator", [";", "\t"])
@pytest.mark.parametrize("decimal", [",", "."])
def test_three_decimals_are_decimals_where_the_time_shows_the_sign(tmp_path, separator, decimal):
    values = 1 + np.arange(30) / 1000
    cells = [f"{v:.3f}".replace(".", decimal) for v in values]
    times = [f"{i / 20:.2f}".replace(".", decimal) for i in range(30)]
    raw = read_raw(write(tmp_path, columns(separator, t=times, left=cells)))
    np.testing.assert_array_equal(raw.channels["left"].values, [float(f"{v:.3f}") for v in values])


def test_blanks_between_thousands_are_left_out(tmp_path):
    for blank in (" ", "\N{NO-BREAK SPACE}", "\N{NARROW NO-BREAK SPACE}", "'"):
        cells = [grouped(990 + i, blank) for i in range(30)]
        raw = read_raw(write(tmp_path, columns(";", t=[f"0.{i:02d}" for i in range(30)], left=cells)))
        np.testing.assert_array_equal(raw.channels["left"].values, 990.0 + np.arange(30))


def test_quoted_thousands_between_commas_are_thousands(tmp_path):
    rows = "".join(f'{i / 20:.2f},"{990 + i:,}"\n' for i in range(30))
    raw = read_raw(write(tmp_path, f"t,left\n{rows}"))
    np.testing.assert_array_equal(raw.channels["left"].values, 990.0 + np.arange(30))


@settings(max_examples=60, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(
    values=st.lists(st.integers(-3_000_000, 3_000_000), min_size=4, max_size=20),
    separator=st.sampled_from([";", "\t"]),
    mark=st.sampled_from([",", "."]),
    timed=st.booleans(),
)
def test_grouped_whole_numbers_come_back_or_are_refused(tmp_path, values, separator, mark, timed):
    times = [f"0{SIGNS[mark]}{i:03d}" if timed else str(i) for i in range(len(values))]
    text = columns(separator, t=times, left=[grouped(v, mark) for v in values])
    try:
        raw = read_raw(write(tmp_path, text))
    except ReadError as error:
        assert not timed, error.reason
    else:
        if any(abs(v) >= 1000 for v in values) and not timed and all(abs(v) >= 1000 for v in values) and mark == ".":
            return  # 1.023 in every cell, and nothing else: three decimals, as most files mean
        np.testing.assert_array_equal(raw.channels["left"].values, values)


@settings(max_examples=60, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(
    values=st.lists(st.integers(-999_999, 999_999).map(lambda v: v / 1000), min_size=4, max_size=20),
    separator=st.sampled_from([";", "\t"]),
    decimal=st.sampled_from([",", "."]),
    short=st.booleans(),
)
def test_decimals_come_back_or_are_refused(tmp_path, values, separator, decimal, short):
    """With three decimals or as short as they can be, beside a time of the same sign."""
    times = [f"0{decimal}{i:03d}" for i in range(len(values))]
    cells = [(f"{v:g}" if short else f"{v:.3f}").replace(".", decimal) for v in values]
    raw = read_raw(write(tmp_path, columns(separator, t=times, left=cells)))
    expected = [float(cell.replace(",", ".")) for cell in cells]
    np.testing.assert_array_equal(raw.channels["left"].values, expected)


OVER = ["OVER", "OL", "OVLD", "OVERFLOW", "+OVER", "-OL", "---", "Inf", "-inf", "over range"]


@pytest.mark.parametrize("mark", OVER)
@pytest.mark.parametrize("rows", [[0], [0, 1, 2, 3, 4], [1], [0, 2], [17], list(range(12, 29))])
@pytest.mark.parametrize("separator", [",", ";"])
def test_marks_of_over_range_are_counted_and_lose_no_row(tmp_path, mark, rows, separator):
    cells = [mark if i in rows else f"{i / 7:.4f}" for i in range(30)]
    raw = read_raw(write(tmp_path, columns(separator, t=[f"{i / 20:.2f}" for i in range(30)], left=cells)))
    assert raw.names == ("t", "left")
    np.testing.assert_allclose(raw.channels["t"].values, np.arange(30) / 20)
    np.testing.assert_array_equal(np.flatnonzero(np.isnan(raw.channels["left"].values)), rows)
    one = len(rows) == 1
    assert raw.faults == (
        f"{len(rows)} {'sample' if one else 'samples'} of column 'left' {'is' if one else 'are'} over range and"
        f" count{'s' if one else ''} as missing (first: sample {rows[0] + 1})",
    )


@pytest.mark.parametrize("mark", ["OVER", "NaN", "---", "n/a", "OL", "ERR"])
@pytest.mark.parametrize("count", [1, 2, 6])
@pytest.mark.parametrize("units", ["", "s,V\n"])
def test_first_rows_that_hold_a_word_are_rows_and_no_header(tmp_path, mark, count, units):
    lines = [f"{i / 20:.2f},{mark if i < count else f'{i / 7:.4f}'}" for i in range(30)]
    raw = read_raw(write(tmp_path, f"Recorder 7\nt,left\n{units}" + "\n".join(lines)))
    assert raw.names == ("t", "left")
    assert len(raw.channels["left"].values) == 30
    assert np.isnan(raw.channels["left"].values).sum() == count
    assert raw.channels["left"].units == ("V" if units else None)


@pytest.mark.parametrize("mark", ["OVER", "NaN", "---"])
@pytest.mark.parametrize("count", [1, 5])
def test_first_rows_of_nothing_but_marks_are_kept(tmp_path, mark, count):
    lines = [f"{mark},{mark}" if i < count else f"{i / 7:.4f},{i / 9:.4f}" for i in range(30)]
    raw = read_raw(write(tmp_path, "left,right\n" + "\n".join(lines)))
    assert raw.names == ("left", "right")
    assert len(raw.channels["left"].values) == 30


def test_names_that_are_numbers_are_names_where_they_are_looked_for(tmp_path):
    rows = "".join(f"{i / 20:.2f},{i / 7:.4f},{i / 9:.4f}\n" for i in range(30))
    raw = read_raw(write(tmp_path, f"first,second,third\nt,1,2\n{rows}"), ["1"])
    assert raw.names == ("t", "1", "2")
    assert read_raw(write(tmp_path, f"t,1,2\n{rows}")).names == ("t", "1", "2")


@pytest.mark.parametrize("mark", ["9.9E37", "-9.9E37", "9.91E37", "1e308"])
def test_numbers_that_instruments_write_for_infinity_are_over_range(tmp_path, mark):
    """SCPI-1999 (from memory): 9.9E37 stands for infinity, 9.91E37 for no number."""
    raw = read_raw(write(tmp_path, f"t,left\n0.0,0.1\n0.1,{mark}\n0.2,0.3\n"))
    np.testing.assert_array_equal(raw.channels["left"].values, [0.1, np.nan, 0.3])
    assert raw.faults == ("1 sample of column 'left' is over range and counts as missing (first: sample 2)",)


def test_infinite_numbers_of_any_format_are_over_range(tmp_path):
    left = np.array([0.1, np.inf, -np.inf, 0.4])
    frame = pd.DataFrame({"left": left})
    frame.to_parquet(tmp_path / "a.parquet")
    raw = read_raw(tmp_path / "a.parquet")
    np.testing.assert_array_equal(raw.channels["left"].values, [0.1, np.nan, np.nan, 0.4])
    assert raw.faults == ("2 samples of column 'left' are over range and count as missing (first: sample 2)",)
