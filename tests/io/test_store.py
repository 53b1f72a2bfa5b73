import numpy as np
import pyarrow.dataset as ds
import pytest
from strainstudy.io.store import Kept, Trace, TraceReader, TraceWriter, iter_traces, read_recording


def trace(recording_id, point, n, clipped_s=()):
    values = np.arange(n, dtype=float)
    values[: min(n, 1)] = np.nan
    return Trace(recording_id, point, "V", 100.0, {"response": values}, clipped_s)


@pytest.fixture
def file(tmp_path):
    path = tmp_path / "a.parquet"
    with TraceWriter(path, ("response",)) as writer:
        writer.write(trace("walk-1", "left_knee", 5))
        writer.write(trace("walk-1", "right_knee", 0))
        writer.write(trace("walk-2", "left_knee", 3, clipped_s=((0.01, 0.03),)))
    return path


def test_one_recording_is_read_without_the_others(file):
    traces = read_recording(file, "walk-2")
    assert list(traces) == ["left_knee"]
    np.testing.assert_array_equal(traces["left_knee"]["response"], [np.nan, 1, 2])
    np.testing.assert_allclose(traces["left_knee"].time, [0.0, 0.01, 0.02])
    assert traces["left_knee"].clipped_s == ((0.01, 0.03),)


def test_only_the_quantities_asked_for_are_read(tmp_path):
    path = tmp_path / "two.parquet"
    columns = {"response": np.arange(4.0), "drift": np.ones(4)}
    with TraceWriter(path, ("response", "drift")) as writer:
        writer.write(Trace("walk-1", "left_knee", "V", 100.0, columns))
    one = read_recording(path, "walk-1", ("drift",))["left_knee"]
    assert list(one.columns) == ["drift"]
    np.testing.assert_array_equal(one["drift"], np.ones(4))
    assert list(read_recording(path, "walk-1")["left_knee"].columns) == ["response", "drift"]


@pytest.mark.parametrize("exact", [False, True])
def test_a_stage_that_goes_on_has_every_bit_and_a_signal_thirty_two_of_them(tmp_path, exact):
    path, values = tmp_path / "thirds.parquet", np.arange(5) / 3
    with TraceWriter(path, ("response",), exact=exact) as writer:
        writer.write(Trace("walk-1", "left_knee", "V", 100.0, {"response": values}))
    stored = read_recording(path, "walk-1")["left_knee"]["response"]
    np.testing.assert_array_equal(stored, values if exact else values.astype(np.float32))


def test_a_trace_without_samples_keeps_its_place(file):
    assert [t.n for t in iter_traces(file)] == [5, 0, 3]
    assert [t.tracked_point for t in iter_traces(file)][1] == "right_knee"


def test_the_file_is_an_ordinary_parquet_dataset(file):
    table = ds.dataset(file).to_table().to_pandas()
    assert list(table.columns) == ["recording_id", "time", "tracked_point", "response"]
    assert table["recording_id"].tolist() == ["walk-1"] * 5 + ["walk-2"] * 3


def test_the_same_traces_give_the_same_bytes(file, tmp_path):
    again = tmp_path / "b.parquet"
    with TraceWriter(again, ("response",)) as writer:
        for one in iter_traces(file):
            writer.write(one)
    assert again.read_bytes() == file.read_bytes()


def test_a_failing_writer_leaves_no_file(tmp_path):
    path = tmp_path / "broken.parquet"
    with pytest.raises(KeyError, match="angle"), TraceWriter(path, ("angle",)) as writer:
        writer.write(trace("walk-1", "left_knee", 5))
    assert list(tmp_path.iterdir()) == []


def _kept(path, most_bytes):
    kept = Kept(("response",), most_bytes)
    with TraceWriter(path, ("response", "drift"), kept=kept) as writer:
        for recording, points in {"walk-1": ("left_knee", "right_knee"), "walk-2": ("left_knee",)}.items():
            for point in points:
                columns = {"response": np.arange(5) / 3, "drift": np.zeros(5)}
                writer.write(Trace(recording, point, "V", 100.0, columns, ((0.0, 0.02),)))
    return kept


def test_what_was_kept_is_what_the_file_has(tmp_path):
    path = tmp_path / "a.parquet"
    kept = _kept(path, 1000)
    for recording in ("walk-1", "walk-2"):
        own, read = kept.recording(recording), read_recording(path, recording, ("response",))
        assert list(own) == list(read)
        for point, one in own.items():
            assert one.clipped_s == read[point].clipped_s
            assert list(one.columns) == ["response"]
            assert one["response"].dtype == np.float64
            np.testing.assert_array_equal(one["response"], read[point]["response"])
    assert kept.recording("walk-3") is None


@pytest.mark.parametrize(
    ("most_bytes", "there"), [(0, []), (20, ["walk-2"]), (40, ["walk-1"]), (60, ["walk-1", "walk-2"])]
)
def test_a_recording_is_kept_whole_or_not_at_all(tmp_path, most_bytes, there):
    path = tmp_path / "a.parquet"
    kept = _kept(path, most_bytes)
    assert [name for name in ("walk-1", "walk-2") if kept.recording(name) is not None] == there
    with TraceReader(path, ("response",), kept) as reader:
        assert {name: list(reader.recording(name)) for name in ("walk-1", "walk-2", "none")} == {
            "walk-1": ["left_knee", "right_knee"],
            "walk-2": ["left_knee"],
            "none": [],
        }


def test_what_is_kept_cannot_be_written_to(tmp_path):
    kept = Kept(("response",))
    with TraceWriter(tmp_path / "a.parquet", ("response",), exact=True, kept=kept) as writer:
        writer.write(Trace("walk-1", "left_knee", "V", 100.0, {"response": np.arange(5.0)}))
    with pytest.raises(ValueError, match="read-only"):
        kept.recording("walk-1")["left_knee"]["response"][0] = 1.0
