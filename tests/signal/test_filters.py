"""The low-pass against the published correction and the response scipy computes."""

import numpy as np
import pytest
from scipy.signal import butter, sosfreqz
from strainstudy.signal.filters import (
    corrected_cutoff,
    frequency_at_gain,
    lowpass,
    residual_cutoff,
)


@pytest.mark.parametrize(("fs", "expected"), [(50, 7.296540), (100, 7.430885), (1000, 7.478538)])
def test_corrected_cutoff_for_six_hertz(fs, expected):
    """Winter 4th ed. p. 69, Robertson 2nd ed. p. 288: correction on tan(pi fc / fs); digits computed from it."""
    assert corrected_cutoff(6.0, fs) == pytest.approx(expected, abs=5e-7)


@pytest.mark.parametrize(("order", "factor"), [(1, 0.6436), (2, 0.8022), (4, 0.8957)])
def test_correction_factor_of_two_passes(order, factor):
    """C = (sqrt(2) - 1)^(1 / 2N) (algebra; 0.802 for second order is Winter's printed value)."""
    fs = 1e6
    assert 1.0 / corrected_cutoff(1.0, fs, order=order) == pytest.approx(factor, abs=5e-5)


@pytest.mark.parametrize("fs", [50, 100, 1000])
@pytest.mark.parametrize("order", [1, 2, 4])
def test_both_passes_together_halve_the_power_at_the_cutoff(fs, order):
    """Response of the designed filter as scipy computes it."""
    sections = butter(order, corrected_cutoff(6.0, fs, order=order), fs=fs, output="sos")
    _, response = sosfreqz(sections, worN=[6.0], fs=fs)
    assert abs(response[0]) ** 2 == pytest.approx(np.sqrt(0.5), rel=1e-9)


def test_without_the_correction_the_gain_at_six_hertz_is_one_half():
    sections = butter(2, 6.0, fs=100, output="sos")
    _, response = sosfreqz(sections, worN=[6.0], fs=100)
    assert abs(response[0]) ** 2 == pytest.approx(0.5, rel=1e-9)


def test_a_sine_at_the_cutoff_comes_out_at_071_and_in_phase():
    fs = 100
    t = np.arange(3000) / fs
    out = lowpass(np.sin(2 * np.pi * 6 * t), fs, 6.0)[500:-500]
    assert np.abs(out).max() == pytest.approx(np.sqrt(0.5), rel=0.01)
    assert np.corrcoef(out, np.sin(2 * np.pi * 6 * t)[500:-500])[0, 1] > 0.9999


@pytest.mark.parametrize("gain", [0.01, 0.5, 0.9])
def test_the_frequency_at_a_gain_is_where_the_designed_filter_has_it(gain):
    """Response of both passes as scipy computes it."""
    sections = butter(2, corrected_cutoff(6.0, 100), fs=100, output="sos")
    _, response = sosfreqz(sections, worN=[frequency_at_gain(gain, 6.0, 100)], fs=100)
    assert abs(response[0]) ** 2 == pytest.approx(gain, rel=1e-9)


def test_a_gap_stays_a_gap_and_its_neighbours_are_those_of_a_signal_that_ends_there():
    fs = 100
    x = np.sin(2 * np.pi * np.arange(1000) / fs)
    x[400:450] = np.nan
    out = lowpass(x, fs, 6.0)
    assert np.isnan(out).nonzero()[0].tolist() == list(range(400, 450))
    np.testing.assert_array_equal(out[:400], lowpass(x[:400], fs, 6.0))


def test_a_straight_line_passes_unchanged_to_its_ends():
    line = np.linspace(3, 9, 500)
    np.testing.assert_allclose(lowpass(line, 100, 6.0), line, atol=1e-6)


def test_a_cutoff_above_half_the_rate_is_refused():
    with pytest.raises(ValueError, match="half the sampling rate"):
        lowpass(np.zeros(10), 10, 5.0)


def test_residual_analysis_cuts_between_signal_and_noise():
    """Winter's construction on a 2 Hz movement in white noise: the cutoff lies above the movement."""
    rng = np.random.default_rng(5)
    t = np.arange(6000) / 100
    quiet = np.sin(2 * np.pi * 2 * t) + 0.01 * rng.normal(size=t.size)
    loud = np.sin(2 * np.pi * 2 * t) + 0.2 * rng.normal(size=t.size)
    assert 2 < residual_cutoff(loud, 100) < residual_cutoff(quiet, 100) < 15


def test_residual_analysis_needs_a_second_without_gaps():
    x = np.ones(200)
    x[::50] = np.nan
    assert np.isnan(residual_cutoff(x, 100))


def test_of_a_long_run_the_middle_is_studied():
    """White noise fills the first and last 50 000 samples of 160 000; the middle has a slow wave and little of it."""
    rng = np.random.default_rng(4)
    fs = 100.0
    wave = np.sin(2 * np.pi * 0.5 * np.arange(160_000) / fs)
    quiet = wave + 0.01 * rng.standard_normal(wave.size)
    loud = quiet.copy()
    loud[:50_000] += 3 * rng.standard_normal(50_000)
    loud[-50_000:] += 3 * rng.standard_normal(50_000)
    assert residual_cutoff(loud, fs) == residual_cutoff(quiet[50_000:110_000], fs)


def test_the_longest_run_is_studied_and_a_second_is_the_least():
    rng = np.random.default_rng(4)
    x = np.sin(np.arange(3000) / 30) + 0.05 * rng.standard_normal(3000)
    holed = np.concatenate([x[:500], [np.nan], x, [np.nan], x[:700]])
    assert residual_cutoff(holed, 100.0) == residual_cutoff(x, 100.0)
    assert np.isnan(residual_cutoff(x[:99], 100.0))
    assert np.isfinite(residual_cutoff(x[:100], 100.0))
