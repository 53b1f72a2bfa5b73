import subprocess
import sys

import numpy as np
import pyarrow as pa
import pytest
from strainstudy.io.arrow import as_arrow, as_floats, as_word


@pytest.mark.parametrize("dtype", [np.float64, np.float32, np.int32])
@pytest.mark.parametrize("n", [0, 1, 7])
def test_an_array_over_the_same_memory_is_the_one_that_arrow_makes(dtype, n):
    values = np.arange(n).astype(dtype)
    assert as_arrow(values).equals(pa.array(values))
    assert as_arrow(np.arange(2 * n).astype(dtype)[::2]).equals(pa.array(np.arange(0, 2 * n, 2).astype(dtype)))


def test_a_value_that_is_no_number_is_not_missing():
    assert as_arrow(np.array([1.0, np.nan])).null_count == 0


@pytest.mark.parametrize("word", ["left_knee", "Knöchel", ""])
def test_a_column_of_one_word_is_a_dictionary_of_it(word):
    found = as_word(word, 3)
    assert found.equals(pa.array([word] * 3).dictionary_encode())
    assert len(as_word(word, 0)) == 0


def test_what_is_missing_in_a_column_comes_back_as_nan():
    parts = pa.chunked_array([[1.5, None], [], [-2.0]], type=pa.float64())
    np.testing.assert_array_equal(as_floats(parts), [1.5, np.nan, -2.0])
    assert as_floats(pa.chunked_array([], type=pa.float64())).shape == (0,)
    np.testing.assert_array_equal(as_floats(parts.slice(2)), [-2.0])


def test_a_job_that_reads_raw_text_and_writes_traces_starts_without_pandas(tmp_path):
    raw = tmp_path / "a.csv"
    raw.write_text("t,x\n" + "".join(f"{k / 100},{k % 7}.5\n" for k in range(300)) + "3.0,n/a\n", encoding="utf-8")
    script = f"""
import sys
from pathlib import Path
import strainstudy.stages.ingest
from strainstudy.io.readers import read_raw
from strainstudy.io.store import Trace, TraceWriter
x = read_raw(Path({str(raw)!r})).channels["x"].values
with TraceWriter(Path({str(tmp_path / "b.parquet")!r}), ("raw",)) as writer:
    writer.write(Trace("a", "throat", "V", 100.0, {{"raw": x}}))
sys.exit("pandas" in sys.modules)
"""
    assert subprocess.run([sys.executable, "-c", script]).returncode == 0
