"""The mean knee angle over the stride, against curves that are known and against numpy on all strides at once."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st
from strainstudy.gait.curves import stride_curves
from strainstudy.gait.mean_curves import mean_curves, pooled_curve
from strainstudy.gait.published_curve import PUBLISHED_CURVE_DEG, PUBLISHED_CURVE_PERCENT

FS = 100.0


def strides(n: int, time: float = 1.0, side: str = "left", state: str = "normal_gait") -> pd.DataFrame:
    return pd.DataFrame(
        {"side": side, "onset": time * np.arange(n), "stride_time": time, "steady": True, "trial_type": state}
    )


def walked(shifts: list[float]) -> np.ndarray:
    """The published curve, one stride of 1 s after the other, each with its own shift in degrees."""
    percent = np.arange(100)
    once = np.interp(percent, PUBLISHED_CURVE_PERCENT, PUBLISHED_CURVE_DEG)
    return np.concatenate([once + shift for shift in shifts])


def test_strides_of_one_shape_give_that_shape_and_their_shifts_its_sd():
    """SD of -1, 0, 1, 2 with n - 1 is 1.29099 (sqrt of 5 / 3)."""
    curves = mean_curves(strides(4), {"left": walked([-1.0, 0.0, 1.0, 2.0])}, FS)
    inside = curves[curves["percent"] < 100].set_index("percent")
    assert (inside["n"] == 4).all()
    expected = np.interp(np.arange(100), PUBLISHED_CURVE_PERCENT, PUBLISHED_CURVE_DEG) + 0.5
    np.testing.assert_allclose(inside["mean"], expected, atol=1e-9)
    np.testing.assert_allclose(inside["sd"], np.sqrt(5 / 3), atol=1e-9)


def test_the_published_curve_has_the_landmarks_of_a_textbook():
    """Perry & Burnfield 2010, from memory: 20 deg at 12-15 %, 5 deg at 40 %, 60 deg at 70-73 %; 3 deg for children."""
    deg, percent = np.array(PUBLISHED_CURVE_DEG), np.array(PUBLISHED_CURVE_PERCENT)
    early, late = percent < 30, percent > 50
    assert deg[early].max() == pytest.approx(20, abs=3)
    assert percent[early][deg[early].argmax()] in range(12, 16)
    assert deg[percent == 40] == pytest.approx(5, abs=3)
    assert deg[late].max() == pytest.approx(60, abs=3)
    assert percent[late][deg[late].argmax()] in range(70, 74)


def test_only_steady_strides_of_the_state_and_side_count():
    own = pd.concat([strides(5), strides(3, side="right"), strides(2, state="limping_gait")], ignore_index=True)
    own.loc[0, "steady"] = False
    own.loc[1, "trial_type"] = None
    angle = walked([0.0] * 6)
    curves = mean_curves(own, {"left": angle}, FS)
    assert set(curves["side"]) == {"left"}
    numbers = curves.groupby("trial_type")["n"].max()
    assert numbers.to_dict() == {"normal_gait": 3, "limping_gait": 2}


def test_a_gap_takes_its_strides_out_of_the_percents_it_covers_only():
    angle = walked([0.0] * 5)
    angle[120:130] = np.nan
    curves = mean_curves(strides(5), {"left": angle}, FS).set_index("percent")
    assert curves.loc[25, "n"] == 4
    assert curves.loc[60, "n"] == 5
    assert curves["mean"].notna().all()


def test_a_single_stride_has_no_sd_and_none_has_no_row():
    curves = mean_curves(strides(1), {"left": walked([0.0, 0.0])}, FS)
    assert curves["sd"].isna().all()
    assert mean_curves(strides(0), {"left": walked([0.0])}, FS).empty
    assert mean_curves(strides(3), {}, FS).empty


@given(st.lists(st.integers(1, 6), min_size=1, max_size=5), st.integers(0, 2**32 - 1))
def test_recordings_put_together_are_as_if_all_strides_had_been_averaged_at_once(sizes, seed):
    """Against numpy's mean and SD of all strides."""
    rng = np.random.default_rng(seed)
    parts, whole = [], []
    for n in sizes:
        angle = rng.normal(30, 15, 100 * n + 1)
        parts.append(mean_curves(strides(n), {"left": angle}, FS))
        whole.append(stride_curves(angle, strides(n), FS))
    pooled = pooled_curve(pd.concat(parts, ignore_index=True))
    every = np.concatenate(whole)
    assert (pooled["n"] == len(every)).all()
    np.testing.assert_allclose(pooled["mean"], every.mean(axis=0), atol=1e-9)
    if len(every) > 1:
        np.testing.assert_allclose(pooled["sd"], every.std(axis=0, ddof=1), atol=1e-9)
    else:
        assert pooled["sd"].isna().all()
