"""Whatever one recording raises rejects that recording, names it and its file, and leaves its story in the log."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pyarrow as pa
import pyarrow.parquet as pq
import pytest
from nptdms import ChannelObject, RootObject, TdmsWriter
from strainstudy.ingest import recording as module
from strainstudy.ingest.parameters import IngestParameters
from strainstudy.ingest.recording import ingest_recording
from strainstudy.io import readers
from strainstudy.jobs import job
from strainstudy.records import Channel, Recording
from strainstudy.stages import ingest

FS = 100.0
N = 3000
T = np.arange(N) / FS
LEFT = np.round(1.0 + 0.3 * (1 - np.cos(2 * np.pi * T / 1.1)) + 0.1 * np.cos(4 * np.pi * T / 1.1), 4)


def recording(
    path: Path, time_column: str | None = "stamp", rate: float | None = FS, name: str = "walk-01"
) -> Recording:
    channels = (Channel("left_v", "left_knee", "V", "S1"),)
    return Recording(name, "walk", path, path.name, "sub-01", "ses-1", None, rate, time_column, None, channels)


def csv(path: Path) -> Path:
    path.write_text(
        "stamp,left_v\n" + "".join(f"{t:.2f},{v}\n" for t, v in zip(T, LEFT, strict=True)), encoding="utf-8"
    )
    return path


@pytest.mark.parametrize(
    "error", [ZeroDivisionError("by nought"), MemoryError(), RecursionError("deep"), KeyError("x")]
)
@pytest.mark.parametrize("place", ["make_grid", "assess_channel", "read_raw"])
def test_any_exception_rejects_one_recording_and_keeps_its_story(tmp_path, monkeypatch, error, place):
    def fails(*_: object, **__: object) -> None:
        raise error

    monkeypatch.setattr(module, place, fails)
    ingested = ingest_recording(recording(csv(tmp_path / "a.csv")), IngestParameters())
    assert ingested.traces == ()
    assert ingested.quality["status"] == "rejected"
    assert ingested.quality["status_description"].startswith("the file 'a.csv' could not be brought to uniform samples")
    assert type(error).__name__ in ingested.quality["status_description"]
    assert "Traceback" in ingested.story


def run(recordings: list[Recording], folder: Path, *, strict: bool) -> list[dict[str, object]]:
    with job(str(folder / "a.log"), "ingest people-0") as progress:
        ingest.run(
            recordings,
            parameters=IngestParameters(),
            strict=strict,
            traces=folder / "a.parquet",
            quality=folder / "a.json",
            progress=progress,
        )
    return json.loads((folder / "a.json").read_text(encoding="utf-8"))


def test_the_others_of_the_batch_go_on_and_the_terminal_has_no_trace(tmp_path, monkeypatch, capsys):
    good = csv(tmp_path / "a.csv")
    bad = tmp_path / "bad.parquet"
    pq.write_table(pa.table({"stamp": T, "left_v": LEFT}), bad)

    def stumbles(*_: object) -> None:
        raise ArithmeticError("within a library")

    monkeypatch.setattr("strainstudy.io.readers.parquet.read", stumbles)
    recordings = [recording(bad, name="walk-bad"), recording(good, name="walk-good")]
    rows = run(recordings, tmp_path, strict=False)
    assert [row["status"] for row in rows] == ["rejected", "good"]
    assert capsys.readouterr().err == ""
    log = (tmp_path / "a.log").read_text(encoding="utf-8")
    assert "walk-bad rejected (bad.parquet): the file cannot be read (ArithmeticError: within a library)" in log
    assert "walk-bad (bad.parquet):\nTraceback" in log
    with pytest.raises(SystemExit):
        run(recordings, tmp_path, strict=True)
    said = capsys.readouterr().err
    assert "recording walk-bad: bad.parquet: the file cannot be read" in said
    assert "(the setting strict stops here)" in said
    assert "Traceback" not in said


def test_a_file_that_takes_all_memory_is_rejected_in_words(tmp_path, monkeypatch):
    def takes_all(*_: object) -> None:
        raise MemoryError

    monkeypatch.setattr("strainstudy.io.readers.text.read", takes_all)
    ingested = ingest_recording(recording(csv(tmp_path / "a.csv")), IngestParameters())
    assert ingested.quality["status_description"] == (
        "the file does not fit into the memory of this machine; split the recording"
    )
    assert readers.peek(tmp_path / "a.csv").names == ("stamp", "left_v")


def test_a_file_larger_than_the_setting_is_rejected(tmp_path):
    path = tmp_path / "a.csv"
    path.write_bytes(csv(tmp_path / "b.csv").read_bytes() + b"30.00,1.0\n" * 100_000)
    quality = ingest_recording(recording(path), IngestParameters(largest_unpacked_gb=0.001)).quality
    assert quality["status"] == "rejected"
    assert quality["status_description"].startswith(
        "unpacked the file has 1.04 MB, more than the 1 MB that the setting"
    )


@pytest.mark.parametrize("kind", ["parquet", "iso", "german"])
def test_a_clock_that_is_set_during_the_recording_is_read_and_the_jump_said(tmp_path, kind):
    start = np.datetime64("2024-05-03T10:11:12", "ns")
    stamps = np.datetime64("1970-01-01T00:00:05", "ns") + (1000 * np.rint(1e6 * T)).astype("timedelta64[ns]")
    stamps[1000:] += start - stamps[0]
    if kind == "parquet":
        path = tmp_path / "a.parquet"
        pq.write_table(pa.table({"stamp": stamps, "left_v": LEFT}), path)
    else:
        path = tmp_path / "a.csv"
        texts = [str(s)[:23] for s in stamps]
        if kind == "german":
            texts = [f"{s[8:10]}.{s[5:7]}.{s[:4]} {s[11:]}" for s in texts]
        rows = "".join(f"{s},{v}\n" for s, v in zip(texts, LEFT, strict=True))
        path.write_text(f"stamp,left_v\n{rows}", encoding="utf-8")
    ingested = ingest_recording(recording(path), IngestParameters())
    assert ingested.quality["status"] == "degraded"
    assert ingested.quality["status_description"] == (
        "the clock of 'stamp' jumps by 1.985e+04 days after 9.99 s, as when it is set during a recording: what follows"
        " was taken to go on without a pause"
    )
    np.testing.assert_array_equal(ingested.traces[0]["raw"], LEFT)


@pytest.mark.parametrize("unit", ["ns", "us", "ms"])
@pytest.mark.parametrize("name", ["stamp", "time_{unit}"])
@pytest.mark.parametrize("rate", [FS, None])
@pytest.mark.parametrize("kind", ["parquet", "csv"])
def test_counts_since_1970_give_the_samples_unchanged(tmp_path, unit, name, rate, kind):
    name = name.format(unit=unit)
    per = {"ns": 10**9, "us": 10**6, "ms": 10**3}[unit]
    counts = 1_714_731_072 * per + np.arange(N) * (per // 100)
    path = tmp_path / f"a.{kind}"
    if kind == "parquet":
        pq.write_table(pa.table({name: counts, "left_v": LEFT}), path)
    else:
        rows = "".join(f"{c},{v}\n" for c, v in zip(counts, LEFT, strict=True))
        path.write_text(f"{name},left_v\n{rows}", encoding="utf-8")
    ingested = ingest_recording(recording(path, name, rate), IngestParameters())
    assert ingested.quality["status"] == "good"
    assert ingested.quality["sampling_frequency"] == FS
    assert ingested.quality["started"] == "2024-05-03T10:11:12.000000"
    np.testing.assert_array_equal(ingested.traces[0]["raw"], LEFT)


def test_nanoseconds_keep_a_fast_rate_apart(tmp_path):
    """At 100 kHz the steps are 10 us; float nanoseconds since 1970 would move each by up to 128 ns."""
    counts = 1_714_731_072 * 10**9 + np.arange(300_000) * 10_001
    left = np.resize(LEFT, 300_000)
    pq.write_table(pa.table({"stamp": counts, "left_v": left}), tmp_path / "a.parquet")
    quality = ingest_recording(recording(tmp_path / "a.parquet", rate=None), IngestParameters()).quality
    assert quality["stamped_frequency"] == pytest.approx(1e9 / 10_001, rel=1e-12)
    assert quality["stamp_jitter"] < 1e-15


def test_whole_seconds_since_1970_come_in_packets(tmp_path):
    counts = 1_714_731_072 + np.arange(N) // 100
    pq.write_table(pa.table({"stamp": counts, "left_v": LEFT}), tmp_path / "a.parquet")
    for rate in (FS, None):
        quality = ingest_recording(recording(tmp_path / "a.parquet", rate=rate), IngestParameters()).quality
        assert quality["time_source"] == "column stamp (stamps in seconds since 1970)"
        assert quality["sampling_frequency"] == pytest.approx(FS)


def test_starts_and_rates_out_of_range_do_not_make_an_endless_grid(tmp_path):
    start = np.datetime64("2024-05-03T10:11:12.000000", "us")
    for late, increment in ((np.timedelta64(3000, "D"), 0.01), (np.timedelta64(0, "s"), 1e-12)):
        with TdmsWriter(tmp_path / "a.tdms") as writer:
            writer.write_segment(
                [
                    RootObject(),
                    ChannelObject("k", "left_v", LEFT, {"wf_increment": 0.01, "wf_start_time": start}),
                    ChannelObject("k", "right_v", LEFT, {"wf_increment": increment, "wf_start_time": start + late}),
                ]
            )
        both = recording(tmp_path / "a.tdms", None, None)
        channels = (*both.channels, Channel("right_v", "right_knee", "V", "S2"))
        made = Recording("w", "walk", both.path, both.file, "sub-01", "ses-1", None, None, None, None, channels)
        quality = ingest_recording(made, IngestParameters()).quality
        assert quality["status"] == "rejected"
        assert "with samples for" in quality["status_description"]


def test_a_status_text_has_no_control_characters(tmp_path):
    path = tmp_path / "a.csv"
    lines = csv(path).read_text(encoding="utf-8").splitlines()
    lines[2000] = "19.99," + "\0" * 5000
    path.write_text("\n".join(lines), encoding="utf-8")
    words = ingest_recording(recording(path), IngestParameters()).quality["status_description"]
    assert words.isprintable()
    assert len(words) < 300
