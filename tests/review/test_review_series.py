"""Signals packed into a page, read back, and bounded for long recordings."""

from __future__ import annotations

import base64
import json
import re

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays
from invented_pages import made_page, page_content
from labelling import frame
from strainstudy.io.store import Trace
from strainstudy.review.series import BLOCK, packed, packed_series, thinned, thinning_of

DAY_S = 24 * 3600


def unpacked(held: dict) -> np.ndarray:
    """Read a packed signal as its documentation says."""
    scales = np.frombuffer(base64.b64decode(held["scales"]), "<f4").reshape(-1, 2).astype(float)
    codes = np.frombuffer(base64.b64decode(held["codes"]), "<i2").astype(float)
    block = np.arange(held["n"]) // BLOCK
    values = scales[block, 0] + scales[block, 1] * (codes + 32767) if held["n"] else np.empty(0)
    return np.where(codes == -32768, np.nan, values)


@given(
    arrays(np.float32, st.integers(0, 2500), elements=st.floats(-1e4, 1e4, width=32)).map(lambda a: a.astype(float)),
    st.lists(st.integers(0, 2499), max_size=5),
)
def test_a_packed_signal_comes_back_within_a_step_of_its_block_and_with_its_gaps(values, gaps):
    values[[k for k in gaps if k < len(values)]] = np.nan
    back = unpacked(packed(values))
    np.testing.assert_array_equal(np.isnan(back), np.isnan(values))
    for start in range(0, len(values), BLOCK):
        own = values[start : start + BLOCK]
        known = own[np.isfinite(own)]
        if len(known):
            # 16 bits, and the 32-bit floats in which the lowest value and the step are kept
            step = np.ptp(known) / 65534 + 2e-7 * np.abs(known).max()
            np.testing.assert_allclose(back[start : start + BLOCK], own, rtol=0, atol=step + 1e-12)


def test_a_spike_costs_the_rest_of_the_recording_no_resolution():
    values = np.sin(np.arange(20 * BLOCK) / 50)
    values[3] = 1e6
    np.testing.assert_allclose(unpacked(packed(values))[BLOCK:], values[BLOCK:], atol=4e-5)


def test_thinning_keeps_the_least_and_greatest_of_each_part():
    values = np.array([3.0, 1.0, 2.0, np.nan, 5.0, 4.0, np.nan, np.nan, np.nan, 7.0])
    np.testing.assert_array_equal(thinned(values, 3), [1, 3, 4, 5, np.nan, np.nan, 7, 7])


def test_a_recording_that_fits_is_kept_whole():
    assert thinning_of(1000, 100.0, [], most=1000).factor == 1
    series = packed_series(np.arange(1000.0), 100.0, thinning_of(1000, 100.0, [], most=1000))
    assert (series["first"], series["period"], series["windows"]) == (0.0, 0.01, [])


def test_labels_come_before_detected_movements_where_there_is_no_room_for_both():
    labelled, found = np.array([[500.0, 503.0]]), np.array([[10.0, 40.0], [100.0, 900.0]])
    kept = thinning_of(100_000, 100.0, [labelled, found], most=10_000).windows
    assert kept.tolist() == [[10.0, 40.0], [100.0, 127.0], [500.0, 503.0]]
    assert (kept[:, 1] - kept[:, 0]).sum() == pytest.approx(0.6 * 10_000 / 100.0)


def test_a_throat_of_24_hours_at_100_hz_makes_a_page_below_10_mb_that_says_what_it_shows():
    """A swallow a minute, with every sample around it; 8.6 million samples of two signals."""
    n = DAY_S * 100
    rng = np.random.default_rng(0)
    values = rng.standard_normal(n).astype(np.float32).astype(float)
    trace = Trace("night", "throat", "V", 100.0, {"raw": values, "response": values})
    swallows = frame(*[(60.0 * k + 30, 1.0, "swallow") for k in range(DAY_S // 60)])
    page = made_page({"throat": trace}, {}, found=[swallows], task="swallow")
    assert len(page.encode()) < 10e6
    said = re.search(r"least and greatest of each (\d+) samples .*? in (\d+)% of the", page)
    assert said is not None, page[:2000]
    series = page_content(page)["series"][0]
    assert all(any(a <= t * 100 and t * 100 + 100 <= a + k for a, k in series["windows"]) for t in swallows["onset"])
    # least and greatest of a part, and the samples of a window, are those of the signal
    factor = int(said[1])
    whole = unpacked(series["whole"])
    np.testing.assert_allclose(whole[1:20:2], values[: 10 * factor].reshape(10, -1).max(axis=1), atol=2e-4)
    first, length = series["windows"][3]
    before = sum(k for _, k in series["windows"][:3])
    np.testing.assert_allclose(
        unpacked(series["parts"])[before : before + length], values[first : first + length], atol=2e-4
    )


def test_the_same_recording_gives_the_same_bytes_and_another_label_only_another_hash_of_marks():
    trace = Trace("walk", "left_knee", "V", 100.0, {"raw": np.arange(500.0), "response": np.arange(500.0)})
    marks = frame((1.0, 0.0, "initial_contact", "left"))
    first, again = (made_page({"left_knee": trace}, {"mh": marks}) for _ in range(2))
    assert first == again
    other = page_content(made_page({"left_knee": trace}, {"mh": marks.assign(onset=1.01)}))["hashes"]
    assert other["series"] == page_content(first)["hashes"]["series"]
    assert other["marks"] != page_content(first)["hashes"]["marks"]


def test_what_a_lab_writes_into_a_sheet_cannot_leave_its_place_in_the_page():
    trace = Trace("walk", "left_knee", "V", 100.0, {"raw": np.arange(5.0), "response": np.arange(5.0)})
    page = made_page({"left_knee": trace}, {}, session="</script><b>", description="<img src=x>")
    assert "<b>" not in page
    assert "<img" not in page
    assert json.dumps(page_content(page)["marks"]) == "{}"
