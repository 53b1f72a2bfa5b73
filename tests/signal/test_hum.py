import numpy as np
import pytest
from strainstudy.signal.hum import find_hum, remove_hum

FS = 500
T = np.arange(60 * FS) / FS


def look(x, **more):
    options = {"mains_hz": (50.0, 60.0), "highest_hz": FS / 2, "prominence": 20.0} | more
    return find_hum(x, FS, **options)


def noise():
    return 0.1 * np.random.default_rng(2).normal(size=T.size)


@pytest.mark.parametrize("frequency", [50.0, 49.8, 60.1])
def test_a_mains_line_is_found_and_taken_out(frequency):
    movement = np.sin(2 * np.pi * 1.0 * T)
    x = movement + noise() + 0.1 * np.sin(2 * np.pi * frequency * T + 1)
    lines = look(x)
    assert [round(line.frequency_hz) for line in lines] == [round(frequency)]
    cleaned = remove_hum(x, FS, lines)
    at = np.abs(np.exp(-2j * np.pi * frequency * T) @ cleaned) * 2 / T.size
    assert at < 0.01
    assert np.abs(cleaned - movement)[FS:-FS].max() < 0.6


def test_harmonics_are_found_on_their_own():
    x = noise() + 0.1 * np.sin(2 * np.pi * 50 * T) + 0.1 * np.sin(2 * np.pi * 150 * T)
    assert [round(line.frequency_hz) for line in look(x)] == [50, 150]


def test_white_noise_has_no_hum():
    for seed in range(10):
        assert look(np.random.default_rng(seed).normal(size=T.size)) == []


def test_a_broad_rise_at_50_hz_is_no_line():
    from scipy.signal import butter, sosfilt

    band = butter(2, (45, 56), "bandpass", fs=FS, output="sos")
    x = sosfilt(band, np.random.default_rng(3).normal(size=T.size)) + 0.01 * noise()
    assert look(x) == []


def test_nothing_above_the_highest_frequency_is_looked_at():
    x = noise() + np.sin(2 * np.pi * 50 * T)
    assert look(x, highest_hz=45.0) == []


def test_a_recording_too_short_for_a_spectrum_has_no_hum():
    assert look(np.sin(2 * np.pi * 50 * T[: 4 * FS])) == []


def test_gaps_stay_where_the_notch_runs():
    x = noise() + 0.1 * np.sin(2 * np.pi * 50 * T)
    x[10_000:10_400] = np.nan
    cleaned = remove_hum(x, FS, look(x))
    assert np.isnan(cleaned).nonzero()[0].tolist() == list(range(10_000, 10_400))
