"""Parquet, EDF+/BDF+ and TDMS: each file is written by the format's own library, or byte by byte from the standard."""

from __future__ import annotations

import datetime as dt
from pathlib import Path

import edfio
import numpy as np
import pyarrow as pa
import pyarrow.parquet as pq
import pytest
from nptdms import ChannelObject, RootObject, TdmsWriter
from strainstudy.io.readers import ReadError, read_raw

LEFT = np.round(np.sin(np.arange(400) / 30), 4)


def test_parquet_columns_come_back_as_floats(tmp_path):
    path = tmp_path / "a.parquet"
    pq.write_table(
        pa.table({"t": np.arange(400) / 100, "left": LEFT.astype(np.float32), "count": np.arange(400)}), path
    )
    raw = read_raw(path, ["left", "count"])
    assert raw.names == ("t", "left", "count")
    np.testing.assert_array_equal(raw.channels["left"].values, LEFT.astype(np.float32))
    assert raw.channels["count"].values.dtype == np.float64


def test_parquet_time_stamps_become_seconds_and_keep_their_start(tmp_path):
    path = tmp_path / "a.parquet"
    start = np.datetime64("2024-05-03T10:11:12.000000", "us")
    stamps = start + (np.arange(400) * 1250).astype("timedelta64[us]")
    pq.write_table(pa.table({"stamp": stamps, "left": LEFT}), path)
    raw = read_raw(path)
    np.testing.assert_allclose(raw.channels["stamp"].values, np.arange(400) * 0.00125, rtol=0, atol=1e-12)
    assert raw.started is not None
    assert raw.started.startswith("2024-05-03T10:11:12")


def test_parquet_gaps_are_nan_and_words_are_refused(tmp_path):
    path = tmp_path / "a.parquet"
    pq.write_table(pa.table({"left": pa.array([1.0, None, 3.0]), "note": ["a", "b", "c"]}), path)
    assert np.isnan(read_raw(path, ["left"]).channels["left"].values[1])
    with pytest.raises(ReadError, match="column 'note' holds text, not numbers"):
        read_raw(path, ["note"])


@pytest.mark.parametrize("name", ["a.parquet", "a.edf", "a.bdf", "a.tdms"])
@pytest.mark.parametrize("content", [b"garbage " * 200, b"\0" * 1000])
def test_a_damaged_file_says_what_it_is_not(tmp_path, name, content):
    path = tmp_path / name
    path.write_bytes(content)
    kind = {"parquet": "Parquet", "edf": "EDF", "bdf": "BDF", "tdms": "TDMS"}[name[2:]]
    with pytest.raises(ReadError, match=f"not a whole {kind} file .*; export or copy it again"):
        read_raw(path)


def test_a_truncated_parquet_file_is_refused(tmp_path):
    path = tmp_path / "a.parquet"
    pq.write_table(pa.table({"left": LEFT}), path)
    path.write_bytes(path.read_bytes()[:-30])
    with pytest.raises(ReadError, match="not a whole Parquet file"):
        read_raw(path)


@pytest.mark.parametrize(
    ("suffix", "kind", "file", "error"),
    [("edf", edfio.EdfSignal, edfio.Edf, 4e-5), ("bdf", edfio.BdfSignal, edfio.Bdf, 2e-7)],
)
def test_edf_and_bdf_give_physical_values_at_each_signals_rate(tmp_path, suffix, kind, file, error):
    """Quantisation to 16 and 24 bits is the formats' own (EDF: Kemp et al. 1992; BDF: 24-bit variant)."""
    path = tmp_path / f"a.{suffix}"
    signals = [
        kind(LEFT, 100, label="left", physical_dimension="V", physical_range=(-1, 1)),
        kind(LEFT[:80], 20, label="throat", physical_dimension="mV", physical_range=(-1, 1)),
    ]
    file(signals, starttime=dt.time(10, 11, 12)).write(path)
    raw = read_raw(path)
    assert raw.names == ("left", "throat")
    assert raw.channels["left"].sampling_frequency == 100
    assert raw.channels["throat"].sampling_frequency == 20
    assert raw.channels["throat"].units == "mV"
    np.testing.assert_allclose(raw.channels["left"].values, LEFT, atol=error)


def _field(value: object, width: int) -> bytes:
    return str(value).encode("ascii").ljust(width)


def interrupted_edf(onsets: list[float], samples: np.ndarray, tail: bytes = b"") -> bytes:
    """Write an EDF+D file by hand: one signal of 10 samples a record of 1 s, and its annotations.

    Header fields and the time-keeping annotation are those of the EDF+ specification (Kemp and Olivan 2003, section 2:
    reserved field ``EDF+D``; every data record starts with an annotation ``+onset`` 0x14 0x14 0x00).
    """
    head = b"".join(
        _field(value, width)
        for value, width in (
            ("0", 8), ("X X X X", 80), ("Startdate 03-MAY-2024 X X X", 80), ("03.05.24", 8), ("10.11.12", 8),
            (768, 8), ("EDF+D", 44), (len(onsets), 8), (1, 8), (2, 4),
        )
    )  # fmt: skip
    columns = (
        (("left", "EDF Annotations"), 16), (("", ""), 80), (("V", ""), 8), ((-32768, -1), 8), ((32767, 1), 8),
        ((-32768, -32768), 8), ((32767, 32767), 8), (("", ""), 80), ((10, 15), 8), (("", ""), 32),
    )  # fmt: skip
    head += b"".join(_field(value, width) for values, width in columns for value in values)
    body = b"".join(
        np.asarray(samples[10 * i : 10 * i + 10], dtype="<i2").tobytes()
        + f"+{onset:g}\x14\x14\x00".encode().ljust(30, b"\0")
        for i, onset in enumerate(onsets)
    )
    return head + body + tail


def test_interrupted_edf_has_its_gaps(tmp_path):
    path = tmp_path / "a.edf"
    samples = np.arange(30)
    path.write_bytes(interrupted_edf([0.0, 1.0, 4.5], samples))
    raw = read_raw(path)
    values = raw.channels["left"].values
    assert raw.layout == "edf+D"
    assert len(values) == 55
    np.testing.assert_array_equal(values[:20], samples[:20])
    assert np.isnan(values[20:45]).all()
    np.testing.assert_array_equal(values[45:], samples[20:])


def test_edf_records_that_overlap_are_refused(tmp_path):
    path = tmp_path / "a.edf"
    path.write_bytes(interrupted_edf([0.0, 0.4, 3.0], np.arange(30)))
    with pytest.raises(ReadError, match="data records overlap in time; export the file again"):
        read_raw(path)


def test_an_edf_file_that_ends_early_is_read_as_far_as_it_goes(tmp_path):
    path = tmp_path / "a.edf"
    path.write_bytes(interrupted_edf([0.0, 1.0, 2.0], np.arange(30))[:-20])
    raw = read_raw(path)
    assert len(raw.channels["left"].values) == 20
    assert raw.faults == ("the file ends early: fewer data records than its header says",)


def write_tdms(path: Path, channels: list[ChannelObject]) -> Path:
    with TdmsWriter(path) as writer:
        writer.write_segment([RootObject(), *channels])
    return path


def test_tdms_waveforms_have_rate_units_and_their_own_start(tmp_path):
    start = np.datetime64("2024-05-03T10:11:12.000000", "us")
    waveform = {"wf_increment": 0.01, "wf_start_offset": 0.0, "unit_string": "V"}
    path = write_tdms(
        tmp_path / "a.tdms",
        [
            ChannelObject("knee", "left", LEFT, {**waveform, "wf_start_time": start}),
            ChannelObject("knee", "right", LEFT, {**waveform, "wf_start_time": start + np.timedelta64(250, "ms")}),
        ],
    )
    raw = read_raw(path)
    assert raw.names == ("left", "right")
    assert raw.channels["left"].sampling_frequency == pytest.approx(100)
    assert raw.channels["left"].units == "V"
    assert raw.channels["left"].start_s == 0.0
    assert raw.channels["right"].start_s == pytest.approx(0.25)
    assert raw.started == "2024-05-03T10:11:12.000000"
    np.testing.assert_array_equal(raw.channels["left"].values, LEFT)


def test_tdms_channels_of_one_name_are_told_apart_by_their_group(tmp_path):
    path = write_tdms(
        tmp_path / "a.tdms", [ChannelObject("left", "volts", LEFT), ChannelObject("right", "volts", -LEFT)]
    )
    raw = read_raw(path, ["right/volts"])
    assert raw.names == ("left/volts", "right/volts")
    np.testing.assert_array_equal(raw.channels["right/volts"].values, -LEFT)
    assert raw.channels["right/volts"].sampling_frequency is None


def test_tdms_channel_may_be_named_with_its_group(tmp_path):
    path = write_tdms(tmp_path / "a.tdms", [ChannelObject("knee", "left", LEFT)])
    np.testing.assert_array_equal(read_raw(path, ["knee/left"]).channels["knee/left"].values, LEFT)


def test_a_tdms_file_cut_short_is_read_as_far_as_it_goes_or_refused(tmp_path):
    path = write_tdms(tmp_path / "a.tdms", [ChannelObject("knee", "left", LEFT)])
    path.write_bytes(path.read_bytes()[:-800])
    try:
        raw = read_raw(path)
    except ReadError as error:
        assert error.reason.startswith("not a whole TDMS file")
    else:
        assert raw.faults == ("the file ends early: its last segment is incomplete",)
