"""One bad recording never raises; what is wrong with it stands in words in its row of the table."""

from __future__ import annotations

import gzip
from pathlib import Path

import edfio
import numpy as np
import pyarrow as pa
import pyarrow.parquet as pq
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from nptdms import ChannelObject, RootObject, TdmsWriter
from strainstudy.ingest.parameters import IngestParameters
from strainstudy.ingest.recording import Ingested, ingest_recording, trace_names
from strainstudy.records import Channel, Recording
from strainstudy.tables.recordings import RECORDINGS

FS = 100.0
N = 3000
T = np.arange(N) / FS
P = IngestParameters()


def gait(seed: int, shift: float = 0.0) -> np.ndarray:
    noise = np.random.Generator(np.random.PCG64(seed)).normal(0, 0.002, N)
    phase = 2 * np.pi * (T / 1.1 + shift)
    return np.round(1.0 + 0.3 * (1 - np.cos(phase)) + 0.1 * (1 - np.cos(2 * phase)) + noise, 4)


LEFT, RIGHT = gait(1), gait(2, 0.5)
KNEES = (Channel("left_v", "left_knee", "V", "S1"), Channel("right_v", "right_knee", "V", "S2"))


def write_csv(path: Path, columns: dict[str, np.ndarray], digits: int = 4) -> Path:
    rows = zip(*columns.values(), strict=True)
    lines = [",".join(columns), *(",".join("" if np.isnan(v) else f"{v:.{digits}f}" for v in row) for row in rows)]
    path.write_text("\n".join(lines) + "\n", encoding="utf-8")
    return path


def ingest(path: Path, channels=KNEES, time_column: str | None = "time_s", rate: float | None = FS) -> Ingested:
    recording = Recording(
        "walk-01", "walk", path, path.name, "sub-01", "ses-1", None, rate, time_column, None, tuple(channels)
    )
    ingested = ingest_recording(recording, P)
    assert tuple(ingested.quality) == RECORDINGS.names
    assert (ingested.quality["status"] == "rejected") == (not ingested.traces)
    assert (ingested.quality["status"] == "good") == (ingested.quality["status_description"] is None)
    return ingested


@pytest.fixture
def path(tmp_path):
    return write_csv(tmp_path / "walk.csv", {"time_s": T, "left_v": LEFT, "right_v": RIGHT})


def test_a_good_recording_comes_through_unchanged(path):
    ingested = ingest(path)
    left, right = ingested.traces
    assert (left.tracked_point, left.units, left.sampling_frequency, left.clipped_s) == ("left_knee", "V", FS, ())
    np.testing.assert_array_equal(left["raw"], LEFT)
    np.testing.assert_array_equal(right["raw"], RIGHT)
    quality = ingested.quality
    assert quality["status"] == "good"
    assert quality["duration"] == pytest.approx(30.0)
    assert (quality["missing_fraction"], quality["gap_count"], quality["clipped_fraction"]) == (0.0, 0, 0.0)
    assert quality["channels"] == "left_knee, right_knee"
    assert quality["time_source"] == "column time_s (stamps in seconds)"


def test_every_format_gives_the_same_traces(tmp_path, path):
    pq.write_table(pa.table({"time_s": T, "left_v": LEFT, "right_v": RIGHT}), tmp_path / "a.parquet")
    (tmp_path / "a.csv.gz").write_bytes(gzip.compress(path.read_bytes()))
    text = path.read_text(encoding="utf-8").replace(",", ";").replace(".", ",")
    (tmp_path / "a.txt").write_text("Recorder 7\n\n" + text, encoding="utf-8")
    for name in ("a.parquet", "a.csv.gz", "a.txt"):
        traces = ingest(tmp_path / name).traces
        np.testing.assert_array_equal(traces[0]["raw"], LEFT)
        np.testing.assert_array_equal(traces[1]["raw"], RIGHT)
    with TdmsWriter(tmp_path / "a.tdms") as writer:
        waveform = {"wf_increment": 0.01}
        writer.write_segment(
            [RootObject(), ChannelObject("k", "left_v", LEFT, waveform), ChannelObject("k", "right_v", RIGHT, waveform)]
        )
    edfio.Edf(
        [edfio.EdfSignal(v, FS, label=n, physical_range=(0, 3)) for n, v in (("left_v", LEFT), ("right_v", RIGHT))]
    ).write(tmp_path / "a.edf")
    for name, error in (("a.tdms", 0.0), ("a.edf", 3 / 2**16)):
        ingested = ingest(tmp_path / name, time_column=None, rate=None)
        assert ingested.quality["status"] == "good"
        assert ingested.quality["time_source"] == "file"
        np.testing.assert_allclose(ingested.traces[0]["raw"], LEFT, atol=error)


def test_an_unplugged_channel_is_left_out_and_the_other_kept(tmp_path):
    noise = np.random.Generator(np.random.PCG64(5)).normal(0, 0.001, N)
    for dead, words in (
        (np.zeros(N), "has one value throughout: the sensor was not connected"),
        (noise, "holds noise or hum and no signal: the sensor was not connected, or nothing moved"),
        (np.full(N, np.nan), "has no values: look at the plug and the export"),
        (np.where(T < 20, 3.3, RIGHT), "was unplugged or stuck for 67% of the recording"),
        (np.where(T > 8, np.nan, RIGHT), "has no value for 73% of the recording"),
    ):
        ingested = ingest(write_csv(tmp_path / "a.csv", {"time_s": T, "left_v": LEFT, "right_v": dead}))
        assert [trace.tracked_point for trace in ingested.traces] == ["left_knee"]
        assert ingested.quality["status"] == "degraded"
        assert ingested.quality["channels_left_out"] == "right_v"
        assert ingested.quality["status_description"] == f"column 'right_v' (right knee) {words}; it was left out"


def test_without_any_channel_the_recording_is_rejected(tmp_path):
    quality = ingest(write_csv(tmp_path / "a.csv", {"time_s": T, "left_v": T * 0, "right_v": T * 0 + 1})).quality
    assert quality["status"] == "rejected"
    assert quality["status_description"] == (
        "column 'left_v' (left knee) has one value throughout: the sensor was not connected; "
        "column 'right_v' (right knee) has one value throughout: the sensor was not connected"
    )


def test_a_saturated_channel_degrades_the_recording_and_keeps_its_samples(tmp_path):
    cut = np.minimum(LEFT, 1.5)
    ingested = ingest(write_csv(tmp_path / "a.csv", {"time_s": T, "left_v": cut, "right_v": RIGHT}))
    share = np.mean(cut == 1.5)
    assert ingested.quality["status"] == "degraded"
    assert ingested.quality["clipped_fraction"] == pytest.approx(share, abs=0.02)
    assert ingested.quality["status_description"].startswith("'left_v' is saturated for ")
    told = ingested.traces[0].clipped_s
    assert sum(stop - start for start, stop in told) / T[-1] == pytest.approx(share, abs=0.02)
    np.testing.assert_array_equal(ingested.traces[0]["raw"], cut)


def test_a_stretch_unplugged_is_missing(tmp_path):
    pulled = np.where((T >= 12) & (T < 15), 3.3, LEFT)
    ingested = ingest(write_csv(tmp_path / "a.csv", {"time_s": T, "left_v": pulled, "right_v": RIGHT}))
    assert np.isnan(ingested.traces[0]["raw"][1200:1500]).all()
    assert not np.isnan(ingested.traces[1]["raw"]).any()
    quality = ingested.quality
    assert quality["missing_fraction"] == pytest.approx(0.05)
    assert (quality["gap_count"], quality["longest_gap"]) == (1, 3.0)
    assert quality["status_description"] == (
        "'left_v' gives no signal once, 12.0 to 15.0 s (10.0% of the time): unplugged or stuck, and taken as missing"
    )


def test_gaps_repeats_and_backward_stamps_are_counted(tmp_path):
    keep = (T < 10) | (T >= 12)
    t = T[keep].copy()
    t[200] = t[199]
    t[[400, 401]] = t[[401, 400]]
    ingested = ingest(write_csv(tmp_path / "a.csv", {"time_s": t, "left_v": LEFT[keep], "right_v": RIGHT[keep]}))
    quality = ingested.quality
    assert (quality["repeated_stamps"], quality["backward_stamps"]) == (1, 1)
    assert quality["longest_gap"] == pytest.approx(2.0)
    assert quality["gap_count"] == 3
    assert quality["status_description"] == (
        "1 sample with the time stamp of the one before left out; "
        "time stamps of 'time_s' run backwards at 1 place (1 sample left out); "
        "6.7% of the samples are missing, in 3 gaps"
    )


def test_stamps_win_over_the_sheet_and_the_disagreement_is_said(path):
    quality = ingest(path, rate=110.0).quality
    assert quality["sampling_frequency"] == FS
    assert quality["status"] == "degraded"
    assert quality["status_description"] == (
        "time stamps of 'time_s' give 100 Hz, the sheet says 110 Hz: the stamps were followed"
    )


def test_stamps_that_cannot_be_right_reject_the_recording(path):
    quality = ingest(path, rate=1000.0).quality
    assert quality["status"] == "rejected"
    assert quality["status_description"] == (
        "time stamps of 'time_s' (stamps in seconds) give 100 Hz, the sheet says 1000 Hz; name the unit in the"
        " column's name (time_ms) or correct sampling_frequency"
    )


def test_stamps_win_over_the_file(tmp_path):
    with TdmsWriter(tmp_path / "a.tdms") as writer:
        waveform = {"wf_increment": 0.02}
        writer.write_segment(
            [RootObject(), ChannelObject("k", "time_s", T), ChannelObject("k", "left_v", LEFT, waveform)]
        )
    ingested = ingest(tmp_path / "a.tdms", KNEES[:1], rate=None)
    assert ingested.quality["status_description"] == (
        "time stamps of 'time_s' give 100 Hz, the file says 50 Hz: the stamps were followed"
    )
    np.testing.assert_array_equal(ingested.traces[0]["raw"], LEFT)


def test_the_file_wins_over_the_sheet(tmp_path):
    edfio.Edf([edfio.EdfSignal(LEFT, FS, label="left_v", physical_range=(0, 3))]).write(tmp_path / "a.edf")
    quality = ingest(tmp_path / "a.edf", KNEES[:1], time_column=None, rate=50.0).quality
    assert quality["sampling_frequency"] == FS
    assert quality["status_description"] == "the file says 100 Hz, the sheet says 50 Hz: the file was followed"


def test_milliseconds_and_clock_times_give_the_same_traces(tmp_path):
    counts = [f"{1000 * t:.0f}" for t in T]
    clock = [f"2024-05-03 23:59:{50 + t:06.3f}" if t < 10 else f"2024-05-04 00:00:{t - 10:06.3f}" for t in T]
    for name, stamps, source in (
        ("time_ms", counts, "column time_ms (stamps in milliseconds)"),
        ("stamp", counts, "column stamp (stamps in milliseconds, as the sheet's rate tells)"),
        ("clock", clock, "column clock (clock times)"),
    ):
        rows = "\n".join(f"{s};{v:.4f}" for s, v in zip(stamps, LEFT, strict=True))
        (tmp_path / "a.csv").write_text(f"{name};left_v\n{rows}\n", encoding="utf-8")
        ingested = ingest(tmp_path / "a.csv", KNEES[:1], time_column=name)
        np.testing.assert_array_equal(ingested.traces[0]["raw"], LEFT)
        assert ingested.quality["time_source"] == source
    assert ingested.quality["started"] == "2024-05-03T23:59:50"


def test_a_column_that_is_not_in_the_file_is_named_with_those_that_are(path):
    one = ingest(path, (KNEES[0], Channel("throat", "throat", "V", "S3"))).quality
    assert one["status"] == "degraded"
    assert one["status_description"] == (
        "column 'throat' of channels.tsv is not in the file: the file has time_s, left_v, right_v"
    )
    assert one["channels_left_out"] == "throat"
    none = ingest(path, (Channel("left_V", "left_knee", "V", "S1"),)).quality
    assert none["status"] == "rejected"
    assert none["status_description"] == "column 'left_V' of channels.tsv is not in the file: is it 'left_v'?"


def test_a_row_for_every_recording_may_name_a_column_this_file_lacks(path):
    shared = (*KNEES, Channel("throat_v", "throat", "V", "S3", shared=True))
    assert ingest(path, shared).quality["status"] == "good"
    nothing = ingest(path, (Channel("throat_v", "throat", "V", "S3", shared=True),)).quality
    assert nothing["status_description"] == (
        "none of the columns of channels.tsv (throat_v) is in the file, which has time_s, left_v, right_v;"
        " correct the names"
    )


def test_two_columns_for_one_knee_are_not_chosen_between(path):
    both = (
        Channel("left_v", "left_knee", "V", "S1", shared=True),
        Channel("right_v", "left_knee", "V", "S1", shared=True),
    )
    quality = ingest(path, both).quality
    assert quality["status"] == "rejected"
    assert quality["status_description"] == (
        "columns 'left_v' and 'right_v' are both left_knee; name the one to use in channels.tsv in a row for this"
        " recording"
    )


def test_a_channel_marked_bad_is_left_out_and_said(path):
    quality = ingest(path, (KNEES[0], Channel("right_v", "right_knee", "V", "S2", "bad"))).quality
    assert quality["status"] == "degraded"
    assert quality["status_description"] == "column 'right_v' is marked bad in channels.tsv and was left out"
    assert quality["channels"] == "left_knee"


def test_a_missing_time_column_falls_back_on_the_sheets_rate_and_says_so(path):
    quality = ingest(path, time_column="t").quality
    assert (quality["status"], quality["time_source"]) == ("degraded", "sheet")
    assert quality["status_description"] == (
        "the time column 't' is not in the file: the sampling rate of the sheet was used instead"
    )
    rejected = ingest(path, time_column="t", rate=None).quality
    assert rejected["status_description"] == (
        "the time column 't' is not in the file, which has time_s, left_v, right_v; correct time_column, or give"
        " sampling_frequency"
    )


def test_channels_of_different_rates_come_to_the_fastest(tmp_path):
    slow = np.sin(2 * np.pi * 0.5 * np.arange(600) / 20)
    edfio.Edf(
        [
            edfio.EdfSignal(LEFT, FS, label="left_v", physical_range=(0, 3)),
            edfio.EdfSignal(slow, 20, label="throat_v", physical_range=(-1, 1)),
        ]
    ).write(tmp_path / "a.edf")
    channels = (KNEES[0], Channel("throat_v", "throat", "V", "S3"))
    left, throat = ingest(tmp_path / "a.edf", channels, None, None).traces
    assert left.sampling_frequency == throat.sampling_frequency == FS
    inside = slice(0, 2995)
    # linear interpolation of a sine errs by at most (2 pi f h)^2 / 8, plus 16-bit rounding
    truth = np.sin(2 * np.pi * 0.5 * T)
    np.testing.assert_allclose(throat["raw"][inside], truth[inside], atol=(np.pi / 20) ** 2 / 8 + 1e-4)


def test_channels_that_start_later_are_aligned_by_absolute_time(tmp_path):
    """TDMS keeps a start time for each channel; those of one file may differ by any amount."""
    start = np.datetime64("2024-05-03T10:11:12.000000", "us")
    with TdmsWriter(tmp_path / "a.tdms") as writer:
        writer.write_segment(
            [
                RootObject(),
                ChannelObject("k", "left_v", LEFT, {"wf_increment": 0.01, "wf_start_time": start}),
                ChannelObject(
                    "k",
                    "right_v",
                    RIGHT[250:],
                    {"wf_increment": 0.01, "wf_start_time": start + np.timedelta64(2500, "ms")},
                ),
            ]
        )
    left, right = ingest(tmp_path / "a.tdms", time_column=None, rate=None).traces
    assert left.n == right.n == N
    assert np.isnan(right["raw"][:250]).all()
    np.testing.assert_array_equal(right["raw"][250:], RIGHT[250:])


def test_a_goniometer_beside_a_strain_channel_is_the_reference():
    channels = [
        Channel("left_v", "left_knee", "V"),
        Channel("left_deg", "left_knee", "deg"),
        Channel("right_deg", "right_knee", "deg"),
    ]
    assert trace_names(channels) == {
        "left_v": "left_knee",
        "left_deg": "left_knee:reference",
        "right_deg": "right_knee",
    }


@pytest.mark.parametrize(
    ("content", "reason"),
    [
        ("", "the file is empty"),
        ("time_s,left_v,right_v\n", "no rows of numbers"),
        ("time_s,left_v,right_v\n0,1,2\n0.01,2,3\n", "time column 'time_s': there are fewer than three time stamps"),
        ("time_s,left_v,right_v\n" + "5,1,2\n" * 40, "time column 'time_s': all time stamps are equal"),
        ("time_s,left_v,right_v\n" + "".join(f"{i / 100},{i % 7},{i % 5}\n" for i in range(90)), "only 0.90 s long"),
        (
            "time_s,left_v,right_v\n" + "".join(f"{i % 200 / 100},{i % 7},{i % 5}\n" for i in range(900)),
            "time stamps of 'time_s' run backwards at 4 places",
        ),
    ],
)
def test_a_recording_without_time_or_numbers_is_rejected(tmp_path, content, reason):
    (tmp_path / "a.csv").write_text(content, encoding="utf-8")
    quality = ingest(tmp_path / "a.csv").quality
    assert quality["status"] == "rejected"
    assert quality["status_description"].startswith(reason)


def test_a_file_that_is_gone_since_the_check_is_rejected(tmp_path):
    assert ingest(tmp_path / "gone.csv").quality["status_description"] == "the file is not there"


def test_a_mark_of_over_range_degrades_the_recording(path):
    lines = path.read_text(encoding="utf-8").splitlines()
    lines[500] = lines[500].rsplit(",", 1)[0] + ",OL"
    path.write_text("\n".join(lines), encoding="utf-8")
    ingested = ingest(path)
    assert ingested.quality["status_description"] == (
        "1 sample of column 'right_v' is over range and counts as missing (first: sample 500)"
    )
    assert np.isnan(ingested.traces[1]["raw"][499])


@settings(max_examples=30, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(cut=st.integers(0, 4000), noise=st.binary(max_size=40))
def test_a_file_cut_or_scribbled_on_anywhere_never_raises(path, cut, noise):
    content = path.read_bytes()[:12000]
    path.with_name("b.csv").write_bytes(content[:cut] + noise + content[cut + len(noise) :])
    ingest(path.with_name("b.csv"))


def test_units_of_the_file_that_are_not_the_sheets_are_said(tmp_path):
    edfio.Edf([edfio.EdfSignal(LEFT, FS, label="left_v", physical_dimension="mV", physical_range=(0, 3))]).write(
        tmp_path / "a.edf"
    )
    quality = ingest(tmp_path / "a.edf", KNEES[:1], None, None).quality
    assert quality["status_description"] == (
        "the file gives 'left_v' in mV, channels.tsv in V: channels.tsv was followed"
    )


def test_a_bench_stage_that_stands_still_between_jumps_is_not_stuck(tmp_path):
    rng = np.random.Generator(np.random.PCG64(9))
    strain = np.where(T % 8 < 4, 0.0, 5.0) + np.where(T % 8 < 4, 0.0, 0.0001 * np.round(100 * np.sin(40 * T)))
    volts = 1 + 0.1 * strain + rng.normal(0, 0.002, N)
    channels = (
        Channel("volts", "sensor", "V", "S1"),
        Channel("percent", "reference_strain", "percent", "S1"),
    )
    write_csv(tmp_path / "a.csv", {"time_s": T, "volts": volts, "percent": strain})
    ingested = ingest(tmp_path / "a.csv", channels)
    assert ingested.quality["status"] == "good"
    np.testing.assert_allclose(ingested.traces[1]["raw"], strain, atol=1e-4)
