"""Numbers and drawings on the page."""

import re
import xml.etree.ElementTree as ET

import numpy as np
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st
from strainstudy.report.content import Note, Table, interval_text, number_text, table_of
from strainstudy.report.people_figures import _short_source
from strainstudy.report.recording_drawings import draw_recording, trace_path
from strainstudy.report.style import SIDE_COLOURS, drawing, panels, written


@pytest.mark.parametrize(
    ("value", "text"),
    [
        (0.0012345, "0.00123"),
        (12345.6, "12346"),
        (-0.5, "−0.500"),
        (float("nan"), "n/a"),
        (pd.NA, "n/a"),
        (float("inf"), "unbounded"),
        (0, "0"),
        (3.2e-7, "3.20e−07"),
    ],
)
def test_numbers_are_written_with_three_significant_digits(value, text):
    assert number_text(value) == text


@given(st.floats(-1e5, 1e5).filter(lambda x: abs(x) > 1e-3))
def test_a_written_number_is_within_half_a_unit_of_its_third_digit(value):
    written_value = float(number_text(value).replace("−", "-"))
    assert abs(written_value - value) <= 0.51 * 10.0 ** (np.floor(np.log10(abs(value))) - 2) or abs(value) >= 1000


def test_an_interval_is_never_left_out_silently():
    assert interval_text({"a": 1.0, "a_low": 0.5, "a_high": 2.0}, "a") == "1.00 (0.500 to 2.00)"
    assert interval_text({"a": 1.0, "a_low": np.nan, "a_high": np.nan}, "a") == "1.00 (no interval)"
    assert interval_text({"a": np.nan}, "a") == "n/a"


def test_an_empty_table_says_so():
    assert isinstance(table_of(pd.DataFrame(), "Rows", [("a", "a", True)]), Note)
    table = table_of(pd.DataFrame({"a": [1.0], "b": [None]}), "Rows", [("a", "a", True), ("b", "b", False)])
    assert isinstance(table, Table)
    assert table.rows == (("1.00", "n/a"),)


def _points(path: str) -> list[list[tuple[float, float]]]:
    """Read relative path data back into lines of absolute points."""
    lines: list[list[tuple[float, float]]] = []
    for command, numbers in re.findall(r"([Ml])([^Ml]*)", path):
        x, y = (float(n) for n in re.findall(r"-?\d+", numbers))
        if command == "M":
            lines.append([(x, y)])
        else:
            px, py = lines[-1][-1]
            lines[-1].append((px + x, py + y))
    return lines


@given(st.lists(st.one_of(st.floats(-1, 1), st.just(float("nan"))), min_size=2, max_size=3000))
def test_a_drawn_line_keeps_every_extreme_and_breaks_at_gaps(values):
    x = np.array(values)
    lines = _points(trace_path(x, -1.0, 1.0, width=900, height=80))
    finite = x[np.isfinite(x)]
    ys = [y for line in lines for _, y in line]
    assert bool(ys) == bool(finite.size)
    if finite.size:
        assert min(ys) == pytest.approx(800 * (1 - (finite.max() + 1) / 2), abs=0.51)
        assert max(ys) == pytest.approx(800 * (1 - (finite.min() + 1) / 2), abs=0.51)


def test_one_spike_in_an_hour_is_seen():
    x = np.zeros(360_000)
    x[123_456] = 1.0
    ys = [y for line in _points(trace_path(x, 0.0, 1.0, width=900, height=80)) for _, y in line]
    assert min(ys) == 0


def test_a_drawing_is_well_formed_and_names_what_it_shows(results, labels):
    from strainstudy.io.store import read_recording

    traces = read_recording(results / "signals/people-0.parquet", "sub-01_walk")
    detected = pd.DataFrame(
        [(6.0, 0.0, "initial_contact", "left"), (0.0, 5.0, "rest", None)],
        columns=["onset", "duration", "trial_type", "side"],
    )
    root = ET.fromstring(draw_recording(traces, detected, labels["sub-01_walk"], "Walk & <more>"))
    words = " ".join(text.strip() for text in root.itertext())
    assert "Walk & <more>" in words
    for word in ("left knee", "right knee", "deg", "detected", "rater<1>", "time (s)", "limping"):
        assert word in words
    strokes = {e.get("stroke") for e in root.iter("{http://www.w3.org/2000/svg}path")}
    assert set(SIDE_COLOURS.values()) <= strokes


def test_a_figure_is_the_same_bytes_every_time(tmp_path):
    for folder in ("a", "b"):
        with drawing():
            figure, axes = panels()
            axes[0, 0].plot([0, 1], [0, 1], label="line")
            axes[0, 0].legend()
            written(figure, "gait", tmp_path / folder)
    for suffix in ("png", "svg", "pdf"):
        one, other = (tmp_path / folder / f"gait.{suffix}" for folder in ("a", "b"))
        assert one.read_bytes() == other.read_bytes()


@pytest.mark.parametrize(
    ("source", "short"),
    [
        ("Perry J, Burnfield JM 2010, Gait Analysis, 2nd ed.", "Perry 2010: adults"),
        ("Front Neurol 2020 11:893, table 3", "Front Neurol 2020: adults"),
        ("Frenkel-Toledo S et al. 2005, J NeuroEng Rehabil 2:23", "Frenkel-Toledo 2005: adults"),
        ("several sources, see Gassner et al. 2020", "several sources: adults"),
        ("Whittle MW, Gait Analysis: an Introduction", "Whittle: adults"),
    ],
)
def test_sources_are_named_by_author_and_year(source, short):
    assert _short_source(source, "adults") == short
