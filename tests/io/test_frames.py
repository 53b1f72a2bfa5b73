import pandas as pd
import pytest
from strainstudy.io.atomic import replacing, write_text
from strainstudy.io.frames import read_frames, read_json, write_frame, write_json


def test_an_interrupted_write_leaves_the_old_file(tmp_path):
    path = tmp_path / "a.txt"
    write_text(path, "old")
    with pytest.raises(RuntimeError), replacing(path) as temporary:
        temporary.write_text("half")
        raise RuntimeError
    assert path.read_text() == "old"
    assert [p.name for p in tmp_path.iterdir()] == ["a.txt"]


def test_frames_are_joined_and_empty_ones_add_no_rows(tmp_path):
    full = pd.DataFrame({"side": ["left"], "onset": [1.5]})
    write_frame(tmp_path / "1.parquet", full.iloc[:0])
    write_frame(tmp_path / "2.parquet", full)
    joined = read_frames([tmp_path / "1.parquet", tmp_path / "2.parquet"])
    pd.testing.assert_frame_equal(joined, full)


def test_frames_that_are_all_empty_keep_their_columns(tmp_path):
    write_frame(tmp_path / "1.parquet", pd.DataFrame({"side": pd.Series(dtype=object)}))
    assert list(read_frames([tmp_path / "1.parquet"]).columns) == ["side"]


def test_json_refuses_numbers_that_are_none(tmp_path):
    with pytest.raises(ValueError, match="JSON"):
        write_json(tmp_path / "a.json", {"x": float("nan")})
    write_json(tmp_path / "a.json", {"x": 0.1})
    assert read_json(tmp_path / "a.json") == {"x": 0.1}
