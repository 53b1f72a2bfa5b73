"""What the head of a raw file tells is what reading it whole tells, at a small part of the cost."""

from __future__ import annotations

import gzip
import time
from pathlib import Path

import edfio
import numpy as np
import pyarrow as pa
import pyarrow.parquet as pq
import pytest
from nptdms import ChannelObject, RootObject, TdmsWriter
from strainstudy.io.readers import Peek, ReadError, peek, read_raw

N = 30_000
T = np.arange(N) / 100
LEFT = np.round(np.sin(T), 4)


def text(n: int = N, separator: str = ",") -> str:
    return f"time_s{separator}left\n" + "".join(
        f"{t:.2f}{separator}{v:.4f}\n" for t, v in zip(T[:n], LEFT, strict=False)
    )


def write_all(folder: Path) -> dict[str, Path]:
    (folder / "a.csv").write_text(text(), encoding="utf-8")
    (folder / "short.csv").write_text("time;left knee °\ns;V\n" + text(90, ";").split("\n", 1)[1], encoding="cp1252")
    (folder / "a.csv.gz").write_bytes(gzip.compress(text().encode()))
    (folder / "wide.txt").write_text("Recorder 7\n\n" + text(), encoding="utf-16")
    pq.write_table(
        pa.table({"stamp": (T * 1e9).astype("datetime64[ns]"), "left": LEFT, "note": ["x"] * N}), folder / "a.parquet"
    )
    signals = [
        edfio.EdfSignal(LEFT, 100, label="left", physical_dimension="V", physical_range=(-1, 1)),
        edfio.EdfSignal(LEFT[:6000], 20, label="throat", physical_range=(-1, 1)),
    ]
    edfio.Edf(signals, annotations=[edfio.EdfAnnotation(0, None, "on")]).write(folder / "a.edf")
    edfio.Bdf([edfio.BdfSignal(LEFT, 100, label="left", physical_range=(-1, 1))]).write(folder / "a.bdf")
    with TdmsWriter(folder / "a.tdms") as writer:
        waveform = {"wf_increment": 0.01, "unit_string": "V"}
        writer.write_segment(
            [RootObject(), ChannelObject("k", "left", LEFT, waveform), ChannelObject("k", "time_s", T)]
        )
    return {path.name: path for path in sorted(folder.iterdir())}


EXPECTED = {
    "a.csv": Peek(("time_s", "left"), None, None, {}, ("time_s",)),
    "short.csv": Peek(("time", "left knee °"), None, 90, {"time": "s", "left knee °": "V"}, ("time",)),
    "a.csv.gz": Peek(("time_s", "left"), None, None, {}, ("time_s",)),
    "wide.txt": Peek(("time_s", "left"), None, None, {}, ("time_s",)),
    "a.parquet": Peek(("stamp", "left", "note"), None, N, {}, ("stamp",)),
    "a.edf": Peek(("left", "throat"), 100.0, N, {"left": "V"}, ()),
    "a.bdf": Peek(("left",), 100.0, N, {}, ()),
    "a.tdms": Peek(("left", "time_s", "k/left", "k/time_s"), 100.0, N, {"left": "V", "k/left": "V"}, ("time_s",)),
}


@pytest.mark.parametrize("name", EXPECTED)
def test_the_head_tells_columns_rate_length_and_units(tmp_path, name):
    path = write_all(tmp_path)[name]
    seen = peek(path)
    assert seen == EXPECTED[name]
    raw = read_raw(path, [n for n in seen.names if n != "note"])
    assert set(raw.names) <= set(seen.names)
    if seen.samples is not None:
        assert max(len(channel.values) for channel in raw.channels.values()) == seen.samples
    if seen.rate is not None:
        assert max(channel.sampling_frequency or 0.0 for channel in raw.channels.values()) == seen.rate


def test_a_thousand_files_take_seconds(tmp_path):
    """At most 5 ms a file once its reader is loaded; the best of some, since others use the machine."""
    for path in write_all(tmp_path).values():
        peek(path)
        took = []
        for _ in range(15):
            start = time.perf_counter()
            peek(path)
            took.append(time.perf_counter() - start)
        assert min(took) < 0.005, path.name


def test_only_the_head_of_a_text_is_read(tmp_path):
    path = tmp_path / "a.csv.gz"
    path.write_bytes(gzip.compress(text().encode())[:-2000])
    assert peek(path).names == ("time_s", "left")
    with pytest.raises(ReadError, match="the gzip file ends early"):
        read_raw(path)


def test_the_line_with_the_wanted_names_is_the_header(tmp_path):
    path = tmp_path / "a.csv"
    path.write_text("s,V\nfirst,second\n" + text().split("\n", 1)[1], encoding="utf-8")
    assert peek(path, ["V"]).names == ("s", "V")


@pytest.mark.parametrize("name", ["a.csv", "a.csv.gz", "a.parquet", "a.edf", "a.bdf", "a.tdms"])
@pytest.mark.parametrize("content", [b"", b"garbage " * 200, b"\0" * 1000])
def test_a_damaged_head_is_refused_as_reading_does(tmp_path, name, content):
    path = tmp_path / name
    path.write_bytes(content)
    with pytest.raises(ReadError) as seen:
        peek(path)
    with pytest.raises(ReadError) as read:
        read_raw(path)
    assert seen.value.reason.split("(")[0] == read.value.reason.split("(")[0]


def test_paths_that_lead_nowhere_give_reasons(tmp_path):
    loop = tmp_path / "loop.csv"
    loop.symlink_to(loop)
    folder = tmp_path / "folder.csv"
    folder.mkdir()
    for path, reason in (
        (loop, "the file cannot be reached (too many levels of symbolic links)"),
        (tmp_path / ("x" * 300 + ".csv"), "the file cannot be reached (file name too long)"),
        (tmp_path / "a\0b.csv", "the file cannot be reached (embedded null byte)"),
        (folder, "not an ordinary file"),
        (tmp_path / "short.csv" / "a.csv", "the file is not there"),
        (tmp_path / "no.csv", "the file is not there"),
    ):
        for opens in (peek, read_raw):
            with pytest.raises(ReadError) as caught:
                opens(path)
            assert caught.value.reason.startswith(reason)
