"""How far a mains line stands out, from its size and the noise around it."""

import numpy as np
import pytest
from scipy.signal import windows
from strainstudy.signal.hum import find_hum

FS, SECONDS = 500, 120


def line(size, noise=0.1, mains=50.0):
    t = np.arange(SECONDS * FS) / FS
    return size * np.sin(2 * np.pi * mains * t) + noise * np.random.default_rng(5).normal(size=t.size)


@pytest.mark.parametrize("size", [0.05, 0.2])
def test_prominence_is_the_power_of_the_line_over_that_of_the_noise(size):
    """Welch's estimate with Hann windows of 4 s: A^2 / 2 over 1.5 bins of 0.25 Hz; white noise has 2 s^2 / fs."""
    hann = windows.hann(4 * FS, sym=False)
    bins = hann.size * np.sum(hann**2) / np.sum(hann) ** 2
    assert bins == pytest.approx(1.5)
    (found,) = find_hum(line(size), FS, mains_hz=(50.0,), highest_hz=90.0, prominence=20.0)
    expected = (size**2 / 2) / (bins * 0.25) / (2 * 0.1**2 / FS)
    assert found.frequency_hz == 50.0
    assert found.prominence == pytest.approx(expected, rel=0.15)
    look = {"mains_hz": (50.0,), "highest_hz": 90.0}
    assert find_hum(line(size), FS, prominence=0.8 * expected, **look)
    assert not find_hum(line(size), FS, prominence=1.25 * expected, **look)


def test_a_line_more_than_0_6_hz_away_is_no_line_of_these_mains():
    look = {"mains_hz": (50.0,), "highest_hz": 90.0, "prominence": 20.0}
    assert find_hum(line(0.2, mains=50.5), FS, **look)
    assert not find_hum(line(0.2, mains=52.0), FS, **look)


def test_multiples_are_looked_at_up_to_the_highest_and_below_half_the_rate():
    t = np.arange(SECONDS * FS) / FS
    x = line(0.2) + 0.2 * np.sin(2 * np.pi * 100 * t) + 0.2 * np.sin(2 * np.pi * 150 * t)
    for highest, found in ((90.0, [50]), (100.0, [50, 100]), (140.0, [50, 100]), (400.0, [50, 100, 150])):
        lines = find_hum(x, FS, mains_hz=(50.0,), highest_hz=highest, prominence=20.0)
        assert [round(one.frequency_hz) for one in lines] == found
    assert find_hum(x, 100, mains_hz=(50.0,), highest_hz=400.0, prominence=20.0) == []


def test_a_run_shorter_than_two_segments_is_not_studied():
    x = line(0.2)
    x[:: 4 * FS] = np.nan
    assert find_hum(x, FS, mains_hz=(50.0,), highest_hz=90.0, prominence=20.0) == []
    x = line(0.2)
    x[:: 9 * FS] = np.nan
    assert len(find_hum(x, FS, mains_hz=(50.0,), highest_hz=90.0, prominence=20.0)) == 1
