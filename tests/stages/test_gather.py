"""Labels gathered by rater are those of the files."""

from __future__ import annotations

import pandas as pd
from strainstudy.jobs import Progress
from strainstudy.records import Recording
from strainstudy.stages import gather
from strainstudy.stages.labels import labels_gathered, labels_of

FILES = {
    ("walk-01", "mh"): "onset\tduration\ttrial_type\tside\tvalue\n4\t2\trest\tn/a\tn/a\n1.25\t0\ttoe_off\tleft\tn/a\n",
    ("walk-01", "ab"): "onset\tduration\ttrial_type\n1\tn/a\tturn\n",
    ("walk-02", "mh"): "onset\tduration\ttrial_type\n",
    ("bend-01", "mh"): "onset\tduration\ttrial_type\tside\tvalue\n0.1\t3\tknee_bend\tright\t62.5\n",
}


def study(folder):
    labels = {}
    for (name, rater), text in FILES.items():
        path = folder / f"{name}-{rater}_events.tsv"
        path.write_text(text, encoding="utf-8")
        labels.setdefault(name, {})[rater] = path
    names = ("walk-02", "bend-01", "walk-01", "walk-03")
    return [Recording(n, "walk", folder / n, f"raw/{n}.csv", labels=labels.get(n, {})) for n in names]


def gathered(folder, recordings, *raters):
    tables = [folder / f"stages/{rater}.parquet" for rater in raters]
    for rater, table in zip(raters, tables, strict=True):
        gather.run(rater, recordings, table=table, progress=Progress(folder / "log.txt", "labels"))
    return labels_gathered(tables, recordings)


def test_what_is_read_of_all_raters_is_what_their_files_hold_empty_ones_as_well(tmp_path):
    recordings = study(tmp_path)
    found, wanted = gathered(tmp_path, recordings, "mh", "ab"), labels_of(recordings)
    assert [(name, list(raters)) for name, raters in found.items()] == [
        ("walk-02", ["mh"]), ("bend-01", ["mh"]), ("walk-01", ["ab", "mh"]),
    ]  # fmt: skip
    for name, raters in wanted.items():
        for rater, frame in raters.items():
            pd.testing.assert_frame_equal(found[name][rater], frame)


def test_of_one_rater_nothing_of_another_is_read(tmp_path):
    recordings = study(tmp_path)
    assert list(gathered(tmp_path, recordings, "ab")) == ["walk-01"]


def test_a_rater_whose_files_are_all_empty_has_labelled_all_the_same(tmp_path):
    recordings = [one for one in study(tmp_path) if one.recording_id == "walk-02"]
    found = gathered(tmp_path, recordings, "mh")
    pd.testing.assert_frame_equal(found["walk-02"]["mh"], labels_of(recordings)["walk-02"]["mh"])
