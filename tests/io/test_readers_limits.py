"""Sizes are bounded before a file is read, and what a damaged file makes a library stumble over is a reason."""

from __future__ import annotations

import datetime as dt
import gzip
import tracemalloc
from pathlib import Path

import edfio
import numpy as np
import pyarrow as pa
import pyarrow.parquet as pq
import pytest
from nptdms import ChannelObject, RootObject, TdmsWriter
from strainstudy.io.readers import ReadError, parquet, peek, read_raw
from strainstudy.io.readers.model import plain
from strainstudy.io.readers.room import Room, available_bytes

LEFT = np.round(np.sin(np.arange(400) / 30), 4)
LARGE = r"unpacked the file has .*, more than the .* that the setting largest_unpacked_gb allows; split the recording"


def test_a_small_gzip_file_that_unpacks_to_much_is_refused_before_it_is_unpacked(tmp_path):
    path = tmp_path / "a.csv.gz"
    with gzip.open(path, "wb") as file:
        file.write(b"t,left\n")
        for _ in range(50):
            file.write(b"0.01,0.5\n" * 100_000)
    # a second part: the trailer at the end of the file tells the size of the last part alone
    path.write_bytes(path.read_bytes() + gzip.compress(b"0.01,0.5\n"))
    assert path.stat().st_size < 500_000
    tracemalloc.start()
    with pytest.raises(ReadError, match=LARGE):
        read_raw(path, ["left"], largest_bytes=2_000_000)
    assert tracemalloc.get_traced_memory()[1] < 12_000_000
    tracemalloc.stop()
    assert peek(path).names == ("t", "left")


def test_a_parquet_column_needs_three_times_its_size_while_it_is_read(tmp_path):
    """100,000 numbers of 8 bytes: 2.4 MB of memory."""
    path = tmp_path / "a.parquet"
    pq.write_table(pa.table({"left": np.arange(100_000.0)}), path)
    with pytest.raises(ReadError, match=r"unpacked the file has 0.8 MB and needs 2.4 MB of memory while it is read"):
        parquet.read(path, ["left"], Room(10**9, 2_300_000))
    found = parquet.read(path, ["left"], Room(10**9, 2_500_000)).channels["left"].values
    np.testing.assert_array_equal(found, np.arange(100_000.0))


def test_a_small_parquet_file_of_equal_values_is_refused_before_it_is_read(tmp_path):
    path = tmp_path / "a.parquet"
    pq.write_table(pa.table({"left": np.zeros(3_000_000), "right": np.zeros(3_000_000)}), path)
    assert path.stat().st_size < 100_000
    with pytest.raises(ReadError, match=r"unpacked the file has 48 MB.*" + LARGE[22:]):
        read_raw(path, largest_bytes=30_000_000)
    # only the columns that are wanted count
    assert len(read_raw(path, ["left"], largest_bytes=30_000_000).channels["left"].values) == 3_000_000


def test_one_long_word_for_every_row_is_not_written_out(tmp_path):
    path = tmp_path / "a.parquet"
    pq.write_table(pa.table({"note": ["x" * 100_000] * 50_000, "left": np.zeros(50_000)}), path)
    assert path.stat().st_size < 500_000
    before = pa.total_allocated_bytes()
    with pytest.raises(ReadError, match="column 'note' holds text, not numbers"):
        read_raw(path, ["note"])
    assert pa.total_allocated_bytes() - before < 50_000_000


def test_plain_files_are_held_to_the_same_limit(tmp_path):
    (tmp_path / "a.csv").write_text("t,left\n" + "0.01,0.5\n" * 20_000, encoding="utf-8")
    edfio.Edf([edfio.EdfSignal(np.tile(LEFT, 100), 100, label="left", physical_range=(-1, 1))]).write(
        tmp_path / "a.edf"
    )
    with TdmsWriter(tmp_path / "a.tdms") as writer:
        writer.write_segment([RootObject(), ChannelObject("k", "left", np.tile(LEFT, 100))])
    for name in ("a.csv", "a.edf", "a.tdms"):
        with pytest.raises(ReadError, match=LARGE):
            read_raw(tmp_path / name, largest_bytes=60_000)
        assert read_raw(tmp_path / name, ["left"], largest_bytes=2_000_000).channels["left"].values.size


def test_the_memory_of_the_machine_bounds_as_the_setting_does():
    needs = (
        r"unpacked the file has 4 GB and needs 12 GB of memory while it is read, and this machine has 6 GB available"
    )
    with pytest.raises(ReadError, match=needs):
        Room(8_000_000_000, 6_000_000_000).refuse(4e9, 3.0)
    Room(8_000_000_000, 6_000_000_000).refuse(1.9e9, 3.0)
    total = 1024 * int(Path("/proc/meminfo").read_text(encoding="ascii").split()[1])
    assert 0 < available_bytes() <= total


def test_parquet_stamps_of_a_clock_that_was_set_late_are_read(tmp_path):
    path = tmp_path / "a.parquet"
    stamps = np.arange(400) * 10_000_000
    stamps[100:] += np.int64(1_714_730_000) * 10**9
    for unit in ("ns", "us", "ms"):
        counts = stamps // {"ns": 1, "us": 10**3, "ms": 10**6}[unit]
        pq.write_table(pa.table({"stamp": counts.astype(f"datetime64[{unit}]"), "left": LEFT}), path)
        seconds = read_raw(path).channels["stamp"].values
        np.testing.assert_allclose(np.diff(seconds[:100]), 0.01, atol=1e-9)
        assert seconds[100] - seconds[99] == pytest.approx(1_714_730_000.01)


@pytest.mark.parametrize(
    "kind", [pa.duration("ns"), pa.duration("ms"), pa.time64("us"), pa.time32("ms"), pa.timestamp("us", "UTC")]
)
def test_parquet_times_of_any_kind_become_seconds(tmp_path, kind):
    per = {"ms": 10**3, "us": 10**6, "ns": 10**9}[kind.unit]
    counts = pa.array(5 * per + np.arange(400) * per // 100)
    stamps = counts.cast(pa.int32()).cast(kind) if pa.types.is_time32(kind) else counts.cast(kind)
    pq.write_table(pa.table({"stamp": stamps, "left": LEFT}), tmp_path / "a.parquet")
    channel = read_raw(tmp_path / "a.parquet", ["stamp"]).channels["stamp"]
    np.testing.assert_allclose(channel.values, np.arange(400) / 100)
    assert channel.clock
    assert peek(tmp_path / "a.parquet").time_like == ("stamp",)


def test_a_parquet_column_of_words_without_rows_is_refused(tmp_path):
    pq.write_table(pa.table({"stamp": pa.array([], pa.string())}), tmp_path / "a.parquet")
    with pytest.raises(ReadError, match="column 'stamp' holds text, not numbers"):
        read_raw(tmp_path / "a.parquet", ["stamp"])


@pytest.mark.parametrize(
    ("table", "columns", "reason"),
    [
        (
            pa.table({"stamp": pa.array([-(2**63) + 1, 0, 2**63 - 1], pa.timestamp("ns"))}),
            ["stamp"],
            "the time stamps of column 'stamp' are out of all range",
        ),
        (pa.Table.from_arrays([pa.array([1.0])] * 2, ["left", "left"]), ["left"], "column 'left' is there twice; give"),
        (pa.table({"left": [[1.0]]}), ["left"], "column 'left' holds list<"),
        (pa.table({"left": [b"abc"]}), ["left"], "column 'left' holds binary, not numbers"),
    ],
)
def test_parquet_columns_that_cannot_be_read_say_why(tmp_path, table, columns, reason):
    pq.write_table(table, tmp_path / "a.parquet")
    with pytest.raises(ReadError) as caught:
        read_raw(tmp_path / "a.parquet", columns)
    assert caught.value.reason.startswith(reason)


def test_parquet_names_that_are_not_utf8_say_so(tmp_path):
    path = tmp_path / "a.parquet"
    pq.write_table(pa.table({"leftknee": LEFT}), path, store_schema=False)
    path.write_bytes(path.read_bytes().replace(b"leftknee", b"left\xff\xfee\xff"))
    for opens in (peek, read_raw):
        with pytest.raises(ReadError, match="a column name is not UTF-8 text; name the columns anew"):
            opens(path)


@pytest.mark.parametrize("unit", ["ns", "us", "ms", "s"])
def test_whole_numbers_since_1970_keep_their_resolution(tmp_path, unit):
    """Float64 has 53 bits: nanoseconds since 1970 would be rounded to 256 (IEEE 754)."""
    per = {"ns": 10**9, "us": 10**6, "ms": 10**3, "s": 1}[unit]
    counts = 1_714_730_000 * per + np.arange(400) * max(per // 997, 1)
    pq.write_table(pa.table({"stamp": counts, "left": LEFT}), tmp_path / "a.parquet")
    rows = "".join(f"{c},{v}\n" for c, v in zip(counts, LEFT, strict=True))
    (tmp_path / "a.csv").write_text(f"stamp,left\n{rows}", encoding="utf-8")
    with TdmsWriter(tmp_path / "a.tdms") as writer:
        writer.write_segment([RootObject(), ChannelObject("k", "stamp", counts), ChannelObject("k", "left", LEFT)])
    for name in ("a.parquet", "a.csv", "a.tdms"):
        channel = read_raw(tmp_path / name, ["stamp"]).channels["stamp"]
        assert [int(v) + channel.origin for v in channel.values] == counts.tolist()


def test_whole_numbers_with_holes_keep_their_resolution(tmp_path):
    counts = [1_714_730_000_000_000_001, None, 1_714_730_000_000_000_003]
    pq.write_table(pa.table({"stamp": pa.array(counts, pa.int64())}), tmp_path / "a.parquet")
    (tmp_path / "a.csv").write_text(f"stamp,v\n{counts[0]},1\n,2\n{counts[2]},3\n", encoding="utf-8")
    for name in ("a.parquet", "a.csv"):
        channel = read_raw(tmp_path / name, ["stamp"]).channels["stamp"]
        np.testing.assert_array_equal(channel.values, [0.0, np.nan, 2.0])
        assert channel.origin == counts[0]


def test_a_bare_carriage_return_in_a_quoted_preamble_is_passed_over(tmp_path):
    rows = "".join(f"{i / 20},{v}\n" for i, v in enumerate(LEFT))
    for name, text in (("a", f'"Note\rtired"\nt,left\n{rows}'), ("b", f'"Note\r\n"\r\nt,left\n{rows}')):
        path = tmp_path / f"{name}.csv"
        path.write_bytes(text.encode())
        np.testing.assert_array_equal(read_raw(path).channels["left"].values, LEFT)


def edf(path: Path, **fields: str) -> Path:
    """Write two signals at two rates; ``fields`` overwrites parts of the header (EDF, Kemp et al. 1992: widths)."""
    signals = [
        edfio.EdfSignal(LEFT, 100, label="left", physical_dimension="V", physical_range=(-1, 1)),
        edfio.EdfSignal(LEFT[:80], 20, label="throat", physical_range=(-1, 1)),
    ]
    edfio.Edf(signals, starttime=dt.time(10, 11, 12), data_record_duration=1).write(path)
    content = bytearray(path.read_bytes())
    places = {"records": 236, "physical_min": 256 + 208, "physical_max": 256 + 224, "digital_max": 256 + 256}
    for field, text in fields.items():
        content[places[field] : places[field] + 8] = text.encode().ljust(8)
    path.write_bytes(content)
    return path


def test_an_edf_header_that_says_too_few_records_is_said_to(tmp_path):
    raw = read_raw(edf(tmp_path / "a.edf", records="2"))
    assert raw.faults == (
        "the file is longer than its header says: it has 4 data records and its header says 2; all were read",
    )
    assert len(raw.channels["left"].values) == 400
    assert read_raw(edf(tmp_path / "a.edf", records="-1")).faults == ()
    assert read_raw(edf(tmp_path / "a.edf", records="5")).faults == (
        "the file ends early: fewer data records than its header says",
    )
    path = edf(tmp_path / "a.edf")
    path.write_bytes(path.read_bytes() + b"\0" * 100)
    assert read_raw(path).faults == ("100 bytes after the last data record were left out",)


@pytest.mark.parametrize(
    ("fields", "what"),
    [
        ({"physical_max": "-1"}, "physical"),
        ({"physical_max": "inf"}, "physical"),
        ({"physical_max": "1e999"}, "physical"),
        ({"physical_min": "nan"}, "physical"),
        ({"digital_max": "-32768"}, "digital"),
        ({"physical_min": "x"}, "physical"),
    ],
)
def test_edf_counts_without_limits_are_not_given_as_units(tmp_path, fields, what):
    path = edf(tmp_path / "a.edf", **fields)
    with pytest.raises(ReadError, match=f"the {what} limits of channel 'left' are .* so its counts cannot be brought"):
        read_raw(path)
    assert read_raw(path, ["throat"]).channels["throat"].values.size == 80


def test_an_edf_file_of_two_rates_and_no_records_has_no_samples(tmp_path):
    path = edf(tmp_path / "a.edf", records="0")
    path.write_bytes(path.read_bytes()[: 256 * 3])
    with pytest.raises(ReadError, match="there is no whole data record after the header"):
        read_raw(path)


def test_bdf_and_edf_under_the_others_name_are_told(tmp_path):
    edfio.Bdf([edfio.BdfSignal(LEFT, 100, label="left", physical_range=(-1, 1))]).write(tmp_path / "a.bdf")
    (tmp_path / "b.edf").write_bytes((tmp_path / "a.bdf").read_bytes())
    (tmp_path / "b.bdf").write_bytes(edf(tmp_path / "a.edf").read_bytes())
    with pytest.raises(ReadError, match=r"it begins as a BDF file\); name it \.bdf"):
        read_raw(tmp_path / "b.edf")
    with pytest.raises(ReadError, match=r"it begins as a EDF file\); name it \.edf"):
        read_raw(tmp_path / "b.bdf")


def test_tdms_starts_that_no_clock_can_have_are_left_out_and_said(tmp_path):
    waveform = {"wf_increment": 0.01, "wf_start_time": np.datetime64("2024-05-03T10:11:12", "us")}
    absurd = {**waveform, "wf_start_time": np.datetime64("20000-01-01T00:00:00", "us")}
    with TdmsWriter(tmp_path / "a.tdms") as writer:
        writer.write_segment(
            [RootObject(), ChannelObject("k", "left", LEFT, waveform), ChannelObject("k", "right", LEFT, absurd)]
        )
    raw = read_raw(tmp_path / "a.tdms")
    assert raw.faults == ("the start of channel 'right' is out of all range and was left out",)
    assert raw.channels["right"].start_s == 0.0
    assert raw.started == "2024-05-03T10:11:12.000000"


def test_reasons_are_one_line_without_control_characters(tmp_path):
    path = tmp_path / "a.csv"
    rows = [f"{i / 20},{v}" for i, v in enumerate(LEFT)]
    rows[300] = "15.0," + "\0" * 100_000
    path.write_text("t,left\n" + "\n".join(rows) + "\n", encoding="utf-8")
    (fault,) = read_raw(path).faults
    assert fault.startswith("1 cell of column 'left' is not a number and counts as missing (first: ")
    assert fault.isprintable()
    assert len(fault) < 400
    assert plain("a\0\0\x1b[31m\nb\u202e") == "a\N{WHITE SQUARE}[31m b\N{WHITE SQUARE}"
    assert len(plain("x" * 10**6)) < 3000
    assert ReadError("a\0b").reason == "a\N{WHITE SQUARE}b"
