"""What the cells of the column reference_use mean."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st
from strainstudy.reference_use import calibrates, calibrating_spans, understood

DURATION = 120.0


@pytest.mark.parametrize(
    ("text", "spans"),
    [
        (None, []),
        ("validate", []),
        ("calibrate", [(0.0, math.inf)]),
        ("0-33.5", [(0.0, 33.5)]),
        ("0-25%", [(0.0, 30.0)]),
        ("0 - 10, 50-75 %", [(0.0, 10.0), (60.0, 90.0)]),
    ],
)
def test_a_cell_names_the_spans_that_calibrate(text, spans):
    assert calibrating_spans(text, DURATION) == spans
    assert calibrates(text) == bool(spans)


@pytest.mark.parametrize(
    "text", ["", "yes", "Calibrate", "10", "10-5", "5-5", "0-101%", "-1-5", "0-5;6-7", "0,5-3", "0-5,"]
)
def test_what_is_no_span_is_not_guessed(text):
    assert not understood(text)


@given(st.floats(0, 1e5), st.floats(1e-2, 1e5), st.booleans())
def test_any_span_with_an_end_after_its_start_is_understood(start, length, share):
    first, last = f"{start:.4f}", f"{start + length:.4f}"
    text = f"{first}-{last}{'%' if share else ''}"
    valid = float(first) < float(last) and (not share or float(last) <= 100)
    assert understood(text) == valid
    if valid:
        scale = DURATION / 100 if share else 1.0
        assert calibrating_spans(text, DURATION) == [pytest.approx((float(first) * scale, float(last) * scale))]
