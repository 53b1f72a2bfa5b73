"""Rows on their way through the engine: as short as a hash in what it keeps, whole in the job."""

import pickle
from dataclasses import asdict
from pathlib import Path

from strainstudy.records import Channel, Recording
from strainstudy.stages.rows import Rows, recordings_of, row_of


def test_rows_show_as_a_hash_of_their_content_that_every_change_changes():
    rows = [{"recording_id": f"walk-{number}", "volume_ml": None} for number in range(100)]
    shown = repr({"recordings": Rows(rows)})
    assert len(shown) < 120
    assert "walk" not in shown
    assert repr({"recordings": Rows(dict(row) for row in rows)}) == shown
    for other in (rows[:-1], rows[::-1], [*rows[:-1], rows[-1] | {"volume_ml": 5.0}]):
        assert repr({"recordings": Rows(other)}) != shown


def test_a_job_gets_the_rows_themselves():
    rows = Rows([{"a": 1}])
    repr(rows)
    assert list(pickle.loads(pickle.dumps(rows))) == [{"a": 1}]


def test_a_recording_comes_back_from_its_row_as_it_was():
    channels = (Channel("left_V", "left_knee", "V"), Channel("right_V", "right_knee", "V", "kneeR-A"))
    labels = {"rater1": Path("labels/a.tsv")}
    recording = Recording("a", "walk", Path("raw/a.csv"), "raw/a.csv", "sub-01", channels=channels, labels=labels)
    assert row_of(recording) == asdict(recording)
    assert recordings_of([row_of(recording)]) == [recording]
