"""Label files follow BIDS ``events.tsv``."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from strainstudy.errors import StudyError
from strainstudy.io.labels import check_labels, read_labels
from strainstudy.vocabulary import INSTANTS, TRIAL_TYPES


def write(folder, text, name="mh_events.tsv"):
    path = folder / name
    path.write_text(text, encoding="utf-8")
    return path


def test_labels_come_sorted_with_missing_cells_as_missing(tmp_path):
    path = write(
        tmp_path,
        "trial_type\tonset\tduration\tvalue\nknee_bend\t12.5\t4\t60\nrest\t1\t3.5\tn/a\ninitial_contact\t-0.5\tn/a\t\n",
    )
    labels = read_labels(path)
    assert list(labels.columns) == ["onset", "duration", "trial_type", "side", "value"]
    assert labels["trial_type"].tolist() == ["initial_contact", "rest", "knee_bend"]
    assert labels["onset"].tolist() == [-0.5, 1.0, 12.5]
    assert labels["duration"].tolist() == [0.0, 3.5, 4.0]
    assert labels["side"].isna().all()
    np.testing.assert_array_equal(labels["value"], [np.nan, np.nan, 60.0])


def test_a_header_alone_is_no_label(tmp_path):
    labels = read_labels(write(tmp_path, "onset\tduration\ttrial_type\n"))
    assert len(labels) == 0
    assert labels["onset"].dtype == float


def test_equal_onsets_stand_by_duration_and_equal_labels_as_they_were(tmp_path):
    rows = "2\t3\trest\n2\t1\tturn\n1\t0\ttoe_off\n2\t3\tother\n"
    labels = read_labels(write(tmp_path, "onset\tduration\ttrial_type\n" + rows))
    assert labels["trial_type"].tolist() == ["toe_off", "turn", "rest", "other"]
    assert labels["side"].tolist() == [None] * 4


def test_an_onset_before_the_first_sample_and_an_instant_without_duration_are_no_fault(tmp_path):
    """BIDS: onset may be negative, duration is at least 0 or n/a (bids-specification, src/schema, events.yaml)."""
    path = write(tmp_path, "onset\tduration\ttrial_type\tside\n-1.5\tn/a\ttoe_off\tleft\n")
    assert check_labels([(path, "labels", "walk")])[1] == []


def test_a_file_that_changed_after_the_check_is_refused_in_words(tmp_path):
    path = write(tmp_path, "onset\ttrial_type\n1\trest\n")
    with pytest.raises(
        StudyError, match=r"mh_events\.tsv, row 1, column duration: a required column is missing; add it"
    ):
        read_labels(path)


def test_many_files_are_checked_in_one_pass_each_with_its_own_rows(tmp_path):
    head = "onset\tduration\ttrial_type\n"
    files = [
        (write(tmp_path, head + "1\t2\trest\n", "a_events.tsv"), "a", "walk"),
        (write(tmp_path, head + "1\t2\trest\n\n3\t-1\tturn\n", "b_events.tsv"), "b", "walk"),
        (write(tmp_path, head.replace("\n", "\tside\n") + "1\t2\tknee_bend\tleft\n", "c_events.tsv"), "c", "bend"),
        (write(tmp_path, "", "d_events.tsv"), "d", "walk"),
    ]
    found = [(p.file, p.row, p.column) for p in check_labels(files)[1]]
    assert found == [("b", 4, "duration"), ("c", 2, "value"), ("d", None, None)]


@settings(max_examples=40, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(
    rows=st.lists(
        st.tuples(
            st.floats(-10, 1e4), st.floats(0, 1e3), st.sampled_from(TRIAL_TYPES), st.sampled_from(["left", "right"])
        ),
        max_size=20,
        unique_by=lambda row: (row[0], row[2], row[3]),
    )
)
def test_valid_labels_have_no_problems_and_come_back(tmp_path, rows):
    lines = ["onset\tduration\ttrial_type\tside"]
    rows = [(onset, 0.0 if kind in INSTANTS else duration, kind, side) for onset, duration, kind, side in rows]
    lines += [f"{onset!r}\t{duration!r}\t{kind}\t{side}" for onset, duration, kind, side in rows]
    path = write(tmp_path, "\n".join(lines) + "\n")
    assert check_labels([(path, "labels", "walk")])[1] == []
    labels = read_labels(path)
    assert labels["onset"].is_monotonic_increasing
    columns = (labels[name] for name in ("onset", "duration", "trial_type", "side"))
    assert sorted(zip(*columns, strict=True)) == sorted(rows)
