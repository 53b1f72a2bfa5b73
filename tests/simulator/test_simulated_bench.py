"""The stretching stage and the tapping rod."""

import numpy as np
import pytest
from strainstudy_simulator.bench import Cycles, Hold, run_stage, standard_program, tap_bench


def rng(seed: int = 1) -> np.random.Generator:
    return np.random.Generator(np.random.PCG64(seed))


def test_triangles_go_up_and_down_at_constant_speed():
    run = run_stage([Cycles(0.4, 4.0, 3)], 100.0, rng(), reference_noise_percent=0.0)
    assert len(run.strain) == 1200
    assert run.strain.max() == pytest.approx(0.4)
    np.testing.assert_allclose(np.abs(np.diff(run.strain)), 0.4 / 200, atol=1e-12)
    np.testing.assert_allclose(run.reference_percent, 100 * run.strain, atol=1e-9)


def test_sines_start_and_end_at_the_low_end():
    run = run_stage([Cycles(0.3, 2.0, 2, "sine", low=0.1)], 200.0, rng(), reference_noise_percent=0.0)
    assert run.strain[200] == pytest.approx(0.3, abs=1e-6)
    assert run.strain[400] == pytest.approx(0.1, abs=1e-4)


def test_holds_stay_after_their_ramp():
    run = run_stage([Hold(0.0, 0.0, 1.0), Hold(0.2, 0.05, 3.0)], 100.0, rng())
    assert run.strain[99] == 0
    np.testing.assert_allclose(run.strain[106:], 0.2)


def test_the_reference_is_early_by_its_lag():
    fs, lag = 1000.0, 0.037
    run = run_stage([Cycles(0.3, 2.0, 5, "sine")], fs, rng(), lag_s=lag, reference_noise_percent=0.0)
    shifts = np.arange(-80, 81)
    inner = slice(100, len(run.strain) - 100)
    errors = [((run.reference_percent[inner] / 100 - np.roll(run.strain, -k)[inner]) ** 2).sum() for k in shifts]
    assert shifts[int(np.argmin(errors))] / fs == pytest.approx(lag, abs=0.001)


def test_the_standard_programme_reaches_its_strain_seven_times_and_holds_half_a_minute():
    run = run_stage(standard_program(0.35), 100.0, rng())
    peaks = (run.strain[1:-1] > run.strain[:-2]) & (run.strain[1:-1] > run.strain[2:]) & (run.strain[1:-1] > 0.34)
    assert peaks.sum() == 7
    held = np.isclose(run.strain, 0.21).sum() / 100
    assert held == pytest.approx(30, abs=0.5)


def test_taps_stretch_the_film_far_less_than_the_stage_does():
    """A local tap must come out smaller than a whole-length stretch (common practice, no source)."""
    run = tap_bench(200.0, rng(), count=10, depth_strain=0.25, pressed_share=0.12)
    onsets = np.flatnonzero((run.strain[1:] > 0.005) & (run.strain[:-1] <= 0.005))
    assert len(onsets) == 10
    assert 0.02 < run.strain.max() < 0.25 / 4
    assert np.abs(run.reference_percent).max() < 0.2


def test_an_unknown_wave_is_refused():
    with pytest.raises(ValueError, match="triangle or sine"):
        run_stage([Cycles(0.1, 1.0, 1, "square")], 100.0, rng())
