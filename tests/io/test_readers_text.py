"""Delimited text as recorders, spreadsheets and analysis programs write it."""

from __future__ import annotations

import gzip
import io
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from strainstudy.io.readers import ReadError, read_raw

TIME = np.arange(40) / 20
LEFT = np.round(np.sin(TIME) - 0.25, 4)
RIGHT = np.round(np.cos(TIME), 4)


def table(
    separator: str = ",", decimal: str = ".", header: bool = True, names: tuple[str, ...] = ("t", "left", "right")
) -> str:
    lines = [separator.join(names)] if header else []
    for row in zip(TIME, LEFT, RIGHT, strict=True):
        lines.append(separator.join(f"{v:.4f}".replace(".", decimal) for v in row))
    return "\n".join(lines) + "\n"


def write(folder: Path, content: str | bytes, name: str = "walk.csv") -> Path:
    path = folder / name
    path.write_bytes(content if isinstance(content, bytes) else content.encode())
    return path


@pytest.mark.parametrize(
    ("separator", "decimal", "words"),
    [
        (",", ".", "text: comma, decimal point"),
        (";", ".", "text: semicolon, decimal point"),
        (";", ",", "text: semicolon, decimal comma"),
        ("\t", ".", "text: tab, decimal point"),
        ("\t", ",", "text: tab, decimal comma"),
    ],
)
def test_separator_and_decimal_sign_are_found(tmp_path, separator, decimal, words):
    raw = read_raw(write(tmp_path, table(separator, decimal)))
    assert raw.layout == words
    assert raw.names == ("t", "left", "right")
    np.testing.assert_array_equal(raw.channels["left"].values, LEFT)
    np.testing.assert_array_equal(raw.channels["t"].values, TIME)
    assert raw.faults == ()


@pytest.mark.parametrize(("separator", "decimal"), [(",", "."), (";", ","), ("\t", ".")])
def test_numbers_agree_with_pandas(tmp_path, separator, decimal):
    """Pandas is the outside reference: a second, independent parser of delimited text."""
    text = table(separator, decimal)
    frame = pd.read_csv(io.StringIO(text), sep=separator, decimal=decimal)
    raw = read_raw(write(tmp_path, text))
    for name in frame.columns:
        np.testing.assert_array_equal(raw.channels[name].values, frame[name].to_numpy())


def test_quoted_decimal_commas_between_commas(tmp_path):
    rows = "\n".join(f'"{i / 10:.1f}","{v:.4f}"'.replace(".", ",") for i, v in enumerate(LEFT))
    raw = read_raw(write(tmp_path, f'"t","left"\n{rows}\n'))
    np.testing.assert_array_equal(raw.channels["left"].values, LEFT)


@pytest.mark.parametrize(
    "preamble",
    [
        "Recorder 7\nSerial;0042\nRate;20\nGain;5\n\n",
        "# subject 3\n# rate 20 Hz\n",
        "Comment: patient tired; sat down; stood up\nStarted;2024-05-03 10:00\n",
    ],
)
def test_lines_before_the_table_are_passed_over(tmp_path, preamble):
    raw = read_raw(write(tmp_path, preamble + table(";")))
    assert raw.names == ("t", "left", "right")
    np.testing.assert_array_equal(raw.channels["right"].values, RIGHT)


@pytest.mark.parametrize("units", ["s,V,V", "[s],[V],[V]", "(s),(mV),(°)", "sec,volts,volts", "ms,µV,"])
def test_a_row_of_units_below_the_names_is_not_data(tmp_path, units):
    head, rest = table().split("\n", 1)
    raw = read_raw(write(tmp_path, f"{head}\n{units}\n{rest}"))
    assert raw.names == ("t", "left", "right")
    assert len(raw.channels["left"].values) == len(LEFT)
    assert raw.channels["t"].units == units.split(",")[0].strip("[]()")


def test_the_line_with_the_wanted_names_is_the_header(tmp_path):
    head, rest = table(names=("s", "V", "A")).split("\n", 1)
    raw = read_raw(write(tmp_path, f"{head}\nfirst,second,third\n{rest}"), ["V"])
    assert raw.names == ("s", "V", "A")


def test_a_commented_header_names_the_columns(tmp_path):
    raw = read_raw(write(tmp_path, "# " + table()))
    assert raw.names == ("t", "left", "right")


@pytest.mark.parametrize("marker", ["", "n/a", "NaN", "NA", "null", "-"])
def test_missing_markers_become_nan(tmp_path, marker):
    text = table().split("\n")
    cells = text[6].split(",")
    text[6] = f"{cells[0]},{marker},{cells[2]}"
    raw = read_raw(write(tmp_path, "\n".join(text)))
    assert np.isnan(raw.channels["left"].values[5])
    assert np.isnan(raw.channels["left"].values).sum() == 1
    assert raw.faults == ()


def test_byte_order_mark_windows_line_ends_and_utf16_are_read(tmp_path):
    for content in (
        b"\xef\xbb\xbf" + table().replace("\n", "\r\n").encode(),
        table().encode("utf-16"),
        table().replace("\n", "\r").encode(),
    ):
        raw = read_raw(write(tmp_path, content))
        np.testing.assert_array_equal(raw.channels["left"].values, LEFT)
        assert raw.names == ("t", "left", "right")


def test_names_in_an_old_code_page_are_read(tmp_path):
    raw = read_raw(write(tmp_path, table(names=("t", "knie_°", "rechts")).encode("cp1252")))
    assert raw.names[1] == "knie_°"


def test_trailing_separators_are_no_column(tmp_path):
    raw = read_raw(write(tmp_path, table().replace("\n", ",\n")))
    assert raw.names == ("t", "left", "right")
    np.testing.assert_array_equal(raw.channels["right"].values, RIGHT)


def test_one_column_with_decimal_commas_is_one_column(tmp_path):
    rows = "\n".join(f"{v:.4f}".replace(".", ",") for v in LEFT)
    raw = read_raw(write(tmp_path, f"left\n{rows}\n"), ["left"])
    assert raw.names == ("left",)
    np.testing.assert_array_equal(raw.channels["left"].values, LEFT)


def test_a_table_of_whole_numbers_with_commas_has_as_many_columns_as_names(tmp_path):
    raw = read_raw(write(tmp_path, "t,left\n" + "".join(f"{i},{2 * i}\n" for i in range(30))))
    np.testing.assert_array_equal(raw.channels["left"].values, 2.0 * np.arange(30))


@pytest.mark.parametrize("empty", [slice(0, 25), slice(15, 40), slice(3, 40)])
def test_a_column_that_is_empty_for_long_does_not_hide_the_header(tmp_path, empty):
    lines = table().splitlines()
    for i in range(1, 41)[empty]:
        lines[i] = lines[i].rsplit(",", 1)[0] + ","
    raw = read_raw(write(tmp_path, "\n".join(lines)))
    assert raw.names == ("t", "left", "right")
    assert np.isnan(raw.channels["right"].values).sum() == len(range(40)[empty])


def test_an_unnamed_column_of_row_numbers_is_passed_over(tmp_path):
    lines = table().splitlines()
    text = "\n".join(["," + lines[0], *(f"{i},{line}" for i, line in enumerate(lines[1:]))])
    raw = read_raw(write(tmp_path, text))
    assert raw.names == ("t", "left", "right")
    np.testing.assert_array_equal(raw.channels["left"].values, LEFT)


def test_blanks_around_cells_are_not_part_of_them(tmp_path):
    raw = read_raw(write(tmp_path, table().replace(",", " , ")))
    assert raw.names == ("t", "left", "right")
    np.testing.assert_array_equal(raw.channels["right"].values, RIGHT)


def test_gzip_reads_as_the_plain_file(tmp_path):
    raw = read_raw(write(tmp_path, gzip.compress(table().encode()), "walk.csv.gz"))
    assert raw.layout == "gzip text: comma, decimal point"
    np.testing.assert_array_equal(raw.channels["left"].values, LEFT)


def test_only_the_columns_asked_for_are_read_and_all_are_named(tmp_path):
    raw = read_raw(write(tmp_path, table()), ["right", "nowhere"])
    assert set(raw.channels) == {"right"}
    assert raw.names == ("t", "left", "right")


def test_a_column_of_words_beside_the_numbers_does_no_harm(tmp_path):
    lines = table().splitlines()
    text = "\n".join([lines[0] + ",marker", *(line + ",walk" for line in lines[1:])])
    raw = read_raw(write(tmp_path, text), ["t", "left"])
    np.testing.assert_array_equal(raw.channels["left"].values, LEFT)
    with pytest.raises(ReadError, match=r"column 'marker' holds text, not numbers \(first: 'walk', line 2\)"):
        read_raw(write(tmp_path, text), ["marker"])


def test_a_stray_word_counts_as_missing_and_is_named_with_its_line(tmp_path):
    lines = table().splitlines()
    lines[10] = lines[10].rsplit(",", 1)[0] + ",ERROR 7"
    raw = read_raw(write(tmp_path, "\n".join(lines)))
    assert np.isnan(raw.channels["right"].values[9])
    assert raw.faults == ("1 cell of column 'right' is not a number and counts as missing (first: 'ERROR 7', line 11)",)
    np.testing.assert_array_equal(raw.channels["left"].values, LEFT)


def test_a_row_that_breaks_off_is_left_out_and_named_with_its_line(tmp_path):
    text = table()[:-14]
    raw = read_raw(write(tmp_path, text))
    assert len(raw.channels["left"].values) == len(LEFT) - 1
    assert raw.faults == ("the file ends early: its last row (line 41) is cut off",)
    raw = read_raw(write(tmp_path, text + "\n"))
    assert raw.faults == ("1 row has the wrong number of cells and was left out (first: line 41)",)


@pytest.mark.parametrize("broken", ['"-0.1', '-0.1"', 'a"b', '"'])
@pytest.mark.parametrize("quoted", [False, True])
def test_a_quotation_mark_that_is_not_closed_takes_in_no_rows(tmp_path, broken, quoted):
    lines = table().splitlines()
    if quoted:
        lines = [",".join(f'"{cell}"' for cell in line.split(",")) for line in lines]
    lines[20] = f"{lines[20].split(',')[0]},{broken},0.5"
    raw = read_raw(write(tmp_path, "\n".join(lines)))
    if quoted:  # the other quotation marks of the row then are no longer that either
        assert raw.faults[0].startswith("1 cell of column 't' is not a number and counts as missing (first: ")
    assert np.isnan(raw.channels["left"].values[19])
    kept = np.delete(np.arange(40), 19)
    np.testing.assert_array_equal(raw.channels["left"].values[kept], LEFT[kept])
    np.testing.assert_array_equal(raw.channels["right"].values[kept], RIGHT[kept])


def test_minutes_and_seconds_beyond_sixty_are_no_time(tmp_path):
    rows = "".join(f"10:{m:02d}:{s:02d},1\n" for m, s in ((0, 1), (0, 2), (0, 3), (0, 75), (71, 0), (0, 6)))
    seconds = read_raw(write(tmp_path, f"clock,left\n{rows}"), ["clock"]).channels["clock"].values
    np.testing.assert_array_equal(seconds, [0, 1, 2, np.nan, np.nan, 5])


def test_comments_among_the_rows_are_no_fault(tmp_path):
    lines = table().splitlines()
    lines.insert(20, "# paused")
    raw = read_raw(write(tmp_path, "\n".join(lines)))
    assert raw.faults == ()
    assert len(raw.channels["left"].values) == len(LEFT)


@pytest.mark.parametrize(
    ("stamps", "started"),
    [
        (
            ["2024-05-03T23:59:59.50", "2024-05-03T23:59:59.75", "2024-05-04T00:00:00.00", "2024-05-04T00:00:01.25"],
            "2024-05-03T23:59:59.500000",
        ),
        (
            ["31.05.2024 23:59:59,50", "31.05.2024 23:59:59,75", "01.06.2024 00:00:00,00", "01.06.2024 00:00:01,25"],
            "2024-05-31T23:59:59.500000",
        ),
        (
            ["05/31/2024 23:59:59.50", "05/31/2024 23:59:59.75", "06/01/2024 00:00:00.00", "06/01/2024 00:00:01.25"],
            "2024-05-31T23:59:59.500000",
        ),
        (["23:59:59.50", "23:59:59.75", "00:00:00.00", "00:00:01.25"], "23:59:59.500000"),
        (
            ["2024-05-03 10:11:12.5Z", "2024-05-03 10:11:12.75Z", "2024-05-03 10:11:13Z", "2024-05-03 10:11:14.25Z"],
            "2024-05-03T10:11:12.500000",
        ),
    ],
)
def test_clock_times_count_from_the_first_and_pass_midnight(tmp_path, stamps, started):
    rows = "\n".join(f"{stamp};{i}" for i, stamp in enumerate(stamps))
    raw = read_raw(write(tmp_path, f"clock;left\n{rows}\n"), ["clock", "left"])
    np.testing.assert_allclose(raw.channels["clock"].values, [0.0, 0.25, 0.5, 1.75], atol=1e-9)
    assert raw.channels["clock"].clock
    assert raw.started == started


@pytest.mark.parametrize(
    ("content", "name", "reason"),
    [
        (b"", "a.csv", "the file is empty"),
        (b" \n \n", "a.csv", "the file is empty"),
        (gzip.compress(table().encode())[:-20], "a.csv.gz", "the gzip file ends early; copy it again"),
        (table().encode(), "a.csv.gz", "not a whole gzip file"),
        (gzip.compress(table().encode()), "a.csv", "a gzip file without the suffix .gz; rename it"),
        (b"PAR1\0\0\0\0PAR1", "a.csv", "not a text file; export it as text, or name it by its format"),
        (b"Dear colleague,\nhere is the file.\n", "a.txt", "no rows of numbers separated by tab"),
        (table(header=False).encode(), "a.csv", "no column names above the numbers; put"),
        (
            b"t,left\n" + b"0,01,1,5\n0,02,1,6\n0,03,1,7\n",
            "a.csv",
            "rows of 4 cells (from line 2) under 2 column names",
        ),
        (table(names=("t", "left", "left")).encode(), "a.csv", "column 'left' is there twice; give"),
        (table().encode(), "a.xlsx", "there is no reader for 'a.xlsx'; export it as one of: .csv"),
    ],
)
def test_a_file_that_cannot_be_read_says_why(tmp_path, content, name, reason):
    with pytest.raises(ReadError) as caught:
        read_raw(write(tmp_path, content, name))
    assert caught.value.reason.startswith(reason)


def test_a_file_that_is_not_there_says_so(tmp_path):
    with pytest.raises(ReadError, match="the file is not there"):
        read_raw(tmp_path / "no.csv")


@settings(max_examples=40, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(
    rows=st.lists(
        st.tuples(st.floats(-1e6, 1e6, allow_nan=False), st.floats(-1e3, 1e3, allow_nan=False)), min_size=4, max_size=30
    ),
    separator=st.sampled_from([",", ";", "\t"]),
)
def test_whatever_is_written_comes_back(tmp_path, rows, separator):
    text = f"one{separator}two\n" + "".join(f"{a!r}{separator}{b!r}\n" for a, b in rows)
    raw = read_raw(write(tmp_path, text))
    np.testing.assert_array_equal(raw.channels["one"].values, [a for a, _ in rows])
    np.testing.assert_array_equal(raw.channels["two"].values, [b for _, b in rows])


@settings(max_examples=60, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(content=st.binary(max_size=300) | st.text(alphabet='0123456789.,;\t\n"abc-#', max_size=200).map(str.encode))
def test_rubbish_is_read_or_refused_in_words(tmp_path, content):
    path = write(tmp_path, content)
    try:
        raw = read_raw(path)
    except ReadError as error:
        assert error.reason
    else:
        assert all(channel.values.dtype == np.float64 for channel in raw.channels.values())
