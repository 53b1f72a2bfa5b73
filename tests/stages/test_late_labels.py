"""Labels beyond the end of a recording whose length was not known before it was read."""

from __future__ import annotations

import pandas as pd
from strainstudy.records import Recording
from strainstudy.stages.labels import beyond_the_end, labels_of, until_the_end


def test_a_label_beyond_the_end_of_what_was_read_is_named_with_its_row(tmp_path):
    path = tmp_path / "mh_events.tsv"
    path.write_text("onset\tduration\ttrial_type\n1\t2\trest\n4\t2\trest\n200\t1\tturn\n", encoding="utf-8")
    recordings = [
        Recording("walk-01", "walk", tmp_path / "w.csv", "raw/w.csv", labels={"mh": path}),
        Recording("walk-02", "walk", tmp_path / "x.csv", "raw/x.csv", labels={"mh": path}),
    ]
    (problem,) = beyond_the_end(recordings, {"walk-01": (60.0, 100.0)}, labels_of(recordings))
    assert str(problem) == (
        "labels/walk-01/mh_events.tsv, row 4, column onset, value '200': turn begins beyond the end: the"
        " recording is 60 s"
        " long (raw/w.csv); correct it, or remove it if the raw file was cut."
    )
    assert beyond_the_end(recordings, {"walk-02": (200.5, 100.0)}, labels_of(recordings)) == []


def test_a_label_beyond_the_end_does_not_count_as_missed_and_one_that_lasts_beyond_it_stays():
    rows = pd.DataFrame({"onset": [1.0, 59.0, 60.5], "duration": [0.0, 5.0, 0.0]})
    labels = {"walk-01": {"mh": rows}, "walk-02": {"mh": rows}}
    kept = until_the_end(labels, {"walk-01": (60.0, 100.0)})
    assert kept["walk-01"]["mh"]["onset"].tolist() == [1.0, 59.0]
    assert kept["walk-02"]["mh"].equals(rows)
