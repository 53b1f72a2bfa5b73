"""Rows of result tables as dicts."""

import numpy as np
import pandas as pd
from strainstudy.report.results import records


def test_rows_are_what_pandas_gives_of_them_with_plain_values():
    frame = pd.DataFrame(
        {
            "word": pd.Series(["a", None, np.nan], dtype=object),
            "number": [1.5, np.nan, -0.0],
            "count": pd.Series([1, None, 3], dtype="Int64"),
            "flag": pd.Series([True, None, False], dtype="boolean"),
            "whole": [1, 2, 3],
        }
    )
    rows, expected = records(frame), frame.to_dict("records")
    assert repr(rows) == repr(expected)
    assert [[type(value) for value in row.values()] for row in rows] == [
        [type(value) for value in row.values()] for row in expected
    ]
    assert records(frame.iloc[:0]) == []
