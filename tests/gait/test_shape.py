import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from strainstudy.gait.shape import (
    fundamental_phase,
    half_height,
    loading_wave,
    scaled,
    stance_level,
    swing_peak_timing,
)


@pytest.fixture
def curve(schwartz_deg):
    return np.interp(np.linspace(0, 1, 101), np.linspace(0, 1, 51), schwartz_deg)[None, :]


def test_landmarks_of_the_published_mean_curve_are_found(curve):
    """Schwartz et al. 2008 (values in conftest): swing peak 60.5 at 72 %, loading 19.7, minimum 6.7, lowest 3.8."""
    assert swing_peak_timing(curve)[0] == pytest.approx(72.0, abs=0.5)
    assert loading_wave(scaled(curve))[0] == pytest.approx((19.7 - 6.7) / (60.5 - 3.8), abs=1e-9)


def test_width_and_lean_of_a_triangle_are_those_of_geometry():
    """A triangle with base 40 % and top at 70 % is half as wide at half height and leans by nothing."""
    at = np.linspace(0, 100, 1001)
    width, lean = half_height(np.maximum(0, 1 - np.abs(at - 70) / 20)[None, :])
    assert width[0] == pytest.approx(20.0, abs=1e-6)
    assert lean[0] == pytest.approx(0.0, abs=1e-6)
    steep = np.interp(at, [0, 60, 65, 95, 100], [0, 0, 1, 0, 0])[None, :]
    _, lean = half_height(steep)
    assert lean[0] == pytest.approx((15 - 2.5) / 17.5, abs=5e-3)


def test_first_harmonic_moves_with_the_curve():
    at = np.linspace(0, 1, 101)
    for top in (0.1, 0.45, 0.72):
        assert fundamental_phase(np.cos(2 * np.pi * (at - top))[None, :])[0] == pytest.approx(top)


@settings(max_examples=25, deadline=None)
@given(gain=st.floats(0.01, 100), offset=st.floats(-50, 50))
def test_gain_and_offset_change_no_shape(gain, offset):
    rng = np.random.default_rng(1)
    at = np.linspace(0, 1, 101)
    plain = (np.exp(-(((at - 0.7) / 0.1) ** 2)) + 0.3 * np.exp(-(((at - 0.15) / 0.05) ** 2)) + 0.01 * rng.random(101))[
        None, :
    ]
    sensor = gain * plain + offset
    assert swing_peak_timing(sensor) == pytest.approx(swing_peak_timing(plain), abs=1e-6)
    for measure in (loading_wave, stance_level, fundamental_phase):
        assert measure(scaled(sensor)) == pytest.approx(measure(scaled(plain)), abs=1e-6)
    assert half_height(scaled(sensor))[0] == pytest.approx(half_height(scaled(plain))[0], abs=1e-6)


def test_a_flat_or_broken_curve_has_no_shape():
    curves = np.stack([np.full(101, 3.0), np.r_[np.arange(100.0), np.nan]])
    assert np.isnan(scaled(curves)).all()
    for measure in (swing_peak_timing, loading_wave, stance_level):
        assert np.isnan(measure(scaled(curves))).all()
    assert np.isnan(half_height(scaled(curves))[0]).all()
