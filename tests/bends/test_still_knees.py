"""Knees that nobody bends, bends in a row, and where a bend starts and ends: what stands out of a knee's own rest."""

import numpy as np
import pytest
from scipy.signal import butter, sosfilt
from strainstudy.bends.detect import bends_of_knees, detect_bends
from strainstudy.bends.parameters import BendParameters
from strainstudy.bends.rest import rest_share
from strainstudy_simulator.bends import hold_bends
from strainstudy_simulator.knee import correlated_noise

PLAIN = BendParameters()
FS = 100


def pulses(times, width, seconds, height=80.0):
    """Raised cosines of a total width."""
    t = np.arange(int(seconds * FS)) / FS
    y = np.zeros_like(t)
    for at in times:
        u = (t - at) / width
        y += np.where((u > 0) & (u < 1), height * 0.5 * (1 - np.cos(2 * np.pi * u)), 0.0)
    return y


def sway(n, rng):
    noise = sosfilt(butter(2, (0.05, 2.0), "bandpass", fs=FS, output="sos"), rng.standard_normal(n + 20 * FS))[
        20 * FS :
    ]
    return noise / noise.std()


STILL = {
    "white": lambda n, rng: rng.standard_normal(n),
    "1/f": lambda n, rng: correlated_noise(n, rng, slope=1.0),
    "sway": sway,
    "drift": lambda n, rng: np.sin(2 * np.pi * np.arange(n) / FS / 80.0) + 0.02 * rng.standard_normal(n),
    "breathing": lambda n, rng: np.sin(2 * np.pi * 0.25 * np.arange(n) / FS) + 0.02 * rng.standard_normal(n),
    "echo": lambda n, rng: 0.02 * rng.standard_normal(n),
}


@pytest.mark.parametrize("size", [1.0, 5.0])
@pytest.mark.parametrize("kind", STILL)
def test_the_still_knee_beside_a_bending_one_gets_no_bend(kind, size):
    """Calibration recordings bend one knee at a time: noise and sway of 1 and 5 degrees (SD)."""
    found = 0
    for seed in range(3):
        rng = np.random.default_rng(seed)
        bending = hold_bends(FS, rng, sides=("left",)).angles["left"]
        quiet = (size if size < 5 or kind != "breathing" else 2.5) * STILL[kind](bending.size, rng)
        if kind == "echo":
            quiet = quiet + size / 100 * bending
        bends = bends_of_knees({"left": bending, "right": quiet}, FS, PLAIN)
        assert (bends["side"] == "left").sum() >= 5
        found += int((bends["side"] == "right").sum())
    assert found == 0


@pytest.mark.parametrize("kind", ["white", "1/f", "sway"])
@pytest.mark.parametrize("seconds", [20, 60, 300])
def test_noise_of_a_knee_alone_is_no_bend(kind, seconds):
    for seed in range(3):
        noise = STILL[kind](seconds * FS, np.random.default_rng(seed))
        assert detect_bends(noise, FS, PLAIN).empty


def test_rest_is_a_third_of_the_reach_of_noise_and_little_beside_bends():
    """The highest of a few hundred independent values of normal noise lies at about 3 standard deviations."""
    rng = np.random.default_rng(4)
    noise = np.convolve(rng.standard_normal(20 * 120), np.ones(8) / 8, mode="same")
    assert 0.2 < rest_share(noise, 20.0) < 0.45
    bends = pulses([5, 12, 20, 31], 2.0, 40)[::5] + rng.standard_normal(800)
    assert rest_share(bends, 20.0) < 0.05
    assert rest_share(np.zeros(100), 20.0) == 1.0


@pytest.mark.parametrize("period", [1.5, 2.0, 2.6])
def test_fast_bends_without_a_pause_are_found_each(period):
    """Bends of 1.5 s in a row: nothing rests in between."""
    times = 3.0 + period * np.arange(12)
    found = detect_bends(pulses(times, 1.5, 45), FS, PLAIN)
    assert len(found) == 12
    centres = found["onset"] + found["duration"] / 2
    assert centres.to_numpy() == pytest.approx(times + 0.75, abs=0.25)


def test_a_standing_angle_is_no_bend():
    """The same curve is a bend where its angle says so, and none where the interval reaches the straight leg."""
    y = pulses([5, 15, 25], 3.0, 35, height=14.0)
    assert len(detect_bends(y, FS, PLAIN)) == 3
    assert len(detect_bends(y, FS, PLAIN, angle=y, angle_low=y - 5, angle_high=y + 5)) == 3
    assert detect_bends(y, FS, PLAIN, angle=y, angle_low=y - 16, angle_high=y + 16).empty
    small = 0.6 * y
    assert detect_bends(small, FS, PLAIN, angle=small, angle_low=small - 1, angle_high=small + 1).empty


def test_a_bend_is_entered_and_left():
    """A seated knee that is stretched three times: two ways back lie between, the rests at the ends are none."""
    t = np.arange(30 * FS) / FS
    seated = 75 - pulses([5, 13, 21], 3.0, 30, height=65.0)
    found = detect_bends(seated, FS, PLAIN, angle=seated)
    assert len(found) == 2
    middle = found["onset"] + found["duration"] / 2
    assert middle.to_numpy() == pytest.approx([10.5, 18.5], abs=0.5)
    assert t.size == seated.size


def test_ripples_on_the_top_are_one_bend():
    """A knitted sleeve dips by a third of its height in the middle of a bend."""
    times = [5, 12, 19, 26]
    dips = pulses([at + 0.8 for at in times], 0.5, 35, height=27.0)
    assert len(detect_bends(pulses(times, 2.1, 35) - dips, FS, PLAIN)) == 4
