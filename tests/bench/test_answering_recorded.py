"""Sensors that answer at their own speed, on real walks (Pearl et al. 2022, doi 10.21203/rs.3.rs-1902381/v1)."""

import os
from pathlib import Path

import pytest
from experiments.answering_times import timing_by_set
from experiments.strapped_walks import read_walks


def test_the_bench_brings_step_time_asymmetry_back_to_that_of_the_angles_themselves():
    """All walks and cases: docs/answering-times.md."""
    place = os.environ.get("STRAINSTUDY_REAL_WALKS")
    if not place:
        pytest.skip("STRAINSTUDY_REAL_WALKS does not name the folder of recorded walks")
    timing = timing_by_set([w for w in read_walks(Path(place)) if w.recording_id.endswith("normal-a")], slow=True)
    error = (timing["step_time"] - timing["direct"]).groupby(timing["lags"]).agg(lambda e: (e**2).mean() ** 0.5)
    assert error["assumed"] > 10
    assert error["bench, loop"] < 2
    verdicts = timing.groupby("lags")["verdict"].agg(set)
    assert "gait" in verdicts["assumed"]
    assert "gait" not in verdicts["bench, loop"]
