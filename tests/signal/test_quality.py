"""Saturated, stuck, unplugged and empty channels are found; honest signals, however coarse, are left in peace."""

from __future__ import annotations

import os
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from strainstudy.signal.quality import assess_channel

FS = 100.0
N = 6000
T = np.arange(N) / FS


def rng(seed: int = 0) -> np.random.Generator:
    return np.random.Generator(np.random.PCG64(seed))


def gait(fs: float = FS, seconds: float = 60.0, rest: float = 10.0) -> np.ndarray:
    """A knee-like signal in volts: rest, then strides of 1.1 s with a large and a small wave."""
    t = np.arange(round(seconds * fs)) / fs
    phase = 2 * np.pi * np.maximum(t - rest, 0) / 1.1
    wave = 0.30 * (1 - np.cos(phase)) + 0.10 * (1 - np.cos(2 * phase))
    return 1.0 + np.where(t < rest, 0.0, wave)


def quantised(x: np.ndarray, bits: int, span: float = 3.3) -> np.ndarray:
    step = span / 2**bits
    return np.round(x / step) * step


def assess(x, fs=FS, **options):
    return assess_channel(np.asarray(x, dtype=float), fs, dead_s=1.0, **options)


def samples(spans) -> int:
    return int((spans[:, 1] - spans[:, 0]).sum())


def test_a_clean_channel_has_no_finding():
    quality = assess(gait() + rng().normal(0, 0.002, N))
    assert (len(quality.missing), len(quality.clipped), len(quality.dead)) == (0, 0, 0)
    assert not quality.constant
    assert not quality.noise_only


@pytest.mark.parametrize("bits", [8, 10, 12, 16])
@pytest.mark.parametrize("noise", [0.0, 0.002])
@pytest.mark.parametrize("fs", [100.0, 1000.0])
def test_a_quantised_signal_with_rest_at_its_lowest_value_is_not_saturated(bits, noise, fs):
    x = gait(fs)
    quality = assess(quantised(x + rng().normal(0, 1, len(x)) * noise, bits), fs)
    assert samples(quality.clipped) == 0
    assert samples(quality.dead) == 0
    assert not quality.noise_only


@pytest.mark.parametrize("bits", [10, 12, 16])
@pytest.mark.parametrize("noise", [0.0, 0.002])
@pytest.mark.parametrize("fs", [100.0, 1000.0])
def test_saturation_at_either_rail_is_counted_to_the_sample(bits, noise, fs):
    x = gait(fs)
    x = quantised(x + rng().normal(0, 1, len(x)) * noise, bits)
    top = quantised(np.array([1.45]), bits)[0]
    for clipped, truth in ((np.minimum(x, top), x >= top), (-np.minimum(x, top), x >= top)):
        quality = assess(clipped, fs)
        # runs of fewer than four samples cannot be told from noise
        assert samples(quality.clipped) == pytest.approx(np.count_nonzero(truth), rel=0.1)
        assert quality.fraction(quality.clipped) > 0.2


def cut_triangle(cut: int, repeat: int = 1) -> np.ndarray:
    """A triangle whose tops are cut to so many equal samples: it meets the rail in straight lines."""
    phase = (np.arange(N // repeat) + 0.25) % 200
    return np.repeat(np.minimum(100 - np.abs(phase - 100), 100 - cut / 2), repeat)


@pytest.mark.parametrize(("cut", "found"), [(3, 0), (4, 4), (5, 5)])
def test_four_equal_samples_are_the_shortest_rail(cut, found):
    """Chance and quantised peaks give runs of up to three."""
    assert samples(assess(cut_triangle(cut)).clipped) == found * N // 200


@pytest.mark.parametrize(("cut", "found"), [(2, 0), (3, 0), (4, 4)])
def test_where_every_value_is_written_three_times_a_rail_is_three_times_as_long(cut, found):
    assert samples(assess(cut_triangle(cut, repeat=3)).clipped) == found * N // 200


def test_long_stays_at_a_rail_do_not_hide_short_ones():
    """Every second peak is twice as high and stays at the rail for 206 samples, the others for four."""
    phase = (np.arange(N) + 0.25) % 600
    low, high = 100 - np.abs(phase - 100), 200 - np.abs(phase - 400)
    x = np.minimum(np.maximum(low, high), 98)
    clipped = assess(x).clipped
    assert sorted(set((clipped[:, 1] - clipped[:, 0]).tolist())) == [4, 204]
    assert len(clipped) == 20


def test_a_square_wave_held_between_jumps_is_not_taken_for_noise():
    quality = assess(np.where((T % 4) < 2, 0.0, 1.0) + rng().normal(0, 0.01, N))
    assert not quality.noise_only
    assert samples(quality.dead) == 0


def test_a_plug_pulled_for_some_seconds_is_dead_not_saturated():
    x = gait() + rng().normal(0, 0.002, N)
    x[3000:3400] = 3.3
    quality = assess(x)
    assert quality.dead.tolist() == [[3000, 3400]]
    assert samples(quality.clipped) == 0


@pytest.mark.parametrize("bits", [12, 14, 16])
@pytest.mark.parametrize("sign", [1, -1])
def test_an_amplifiers_rail_with_the_converters_noise_on_it_is_found(bits, sign):
    step = 3.3 / 2**bits
    x = sign * np.minimum(gait() + rng(1).normal(0, 0.002, N), 1.45)
    quality = assess(quantised(x + rng(2).normal(0, step, N), bits))
    truth = np.count_nonzero(np.abs(x) == 1.45)
    assert samples(quality.clipped) == pytest.approx(truth, rel=0.15)


@pytest.mark.parametrize("bits", [10, 12, 16])
@pytest.mark.parametrize("noise", [0.3, 1.0, 3.0])
def test_noise_of_a_few_steps_at_rest_is_no_rail(bits, noise):
    step = 3.3 / 2**bits
    assert samples(assess(quantised(gait() + rng(3).normal(0, noise * step, N), bits)).clipped) == 0


def test_a_long_stay_at_a_rail_that_the_signal_climbs_to_is_saturated_not_dead():
    x = 1.0 + 0.8 * np.sin(2 * np.pi * T / 8) + rng().normal(0, 0.002, N)
    cut = np.minimum(x, 1.5)
    quality = assess(cut)
    assert samples(quality.dead) == 0
    assert samples(quality.clipped) == pytest.approx(np.count_nonzero(cut == 1.5), rel=0.05)


def test_a_value_held_while_samples_were_lost_is_found():
    x = gait() + rng().normal(0, 0.002, N)
    x[2000:2150] = x[2000]
    quality = assess(x)
    assert quality.dead.tolist() == [[2000, 2150]]


@pytest.mark.parametrize(("leap", "dead"), [(2.0, 0), (4.0, 150)])
def test_a_value_held_and_left_by_no_more_than_usual_steps_was_not_stuck(leap, dead):
    """Steps of one size, 1; three times that is the limit. Where it was held nothing else moves."""
    walk = np.cumsum(np.where(np.arange(N) % 200 < 100, 1.0, -1.0))
    held = np.concatenate([walk[:2050], np.full(149, walk[2049]), walk[2049] + leap * 1.0 + walk[2050:] - walk[2050]])
    quality = assess(held[:N], rails=False)
    assert samples(quality.dead) == dead


def test_a_constant_channel_is_constant():
    assert assess(np.full(N, 2.5)).constant
    assert not assess(gait()).constant


def test_a_channel_without_values_is_missing_from_end_to_end():
    quality = assess(np.full(N, np.nan))
    assert quality.fraction(quality.missing) == 1.0


def test_missing_stretches_are_found():
    x = gait() + rng().normal(0, 0.002, N)
    x[100:150] = np.nan
    x[-10:] = np.nan
    assert assess(x).missing.tolist() == [[100, 150], [N - 10, N]]


@pytest.mark.parametrize("fs", [100.0, 250.0, 1000.0])
@pytest.mark.parametrize("mains", [50.0, 60.0])
@pytest.mark.parametrize("kind", ["noise", "hum", "both"])
def test_an_open_input_is_noise_or_hum_without_signal(fs, mains, kind):
    """European and American mains at 50 and 60 Hz, as an open input picks them up."""
    t = np.arange(round(60 * fs)) / fs
    hum = np.sin(2 * np.pi * (mains + 0.013) * t + 0.3)
    noise = rng().normal(0, 0.05 if kind == "both" else 1.0, len(t))
    x = {"noise": noise, "hum": hum + 1e-3 * noise, "both": hum + noise}[kind]
    assert assess(x, fs).noise_only


@pytest.mark.parametrize("hum", [0.0, 0.05, 0.3])
def test_a_signal_under_hum_is_still_a_signal(hum):
    x = gait(1000.0)
    t = np.arange(len(x)) / 1000
    x = x + hum * np.sin(2 * np.pi * 50 * t) + rng().normal(0, 0.01, len(x))
    assert not assess(x, 1000.0).noise_only


def test_spikes_do_not_turn_a_signal_into_noise():
    x = gait() + rng().normal(0, 0.002, N)
    x[rng(3).integers(0, N, 30)] += 20.0
    assert not assess(x).noise_only


def test_a_throat_at_rest_with_a_few_swallows_is_a_signal():
    x = rng().normal(0, 0.01, N)
    for start in (1000, 2500, 4800):
        x[start : start + 80] += 0.1 * np.hanning(80)
    assert not assess(x).noise_only


def test_a_joint_angle_has_no_rails():
    angle = np.minimum(60 * (gait() - 1), 30.0)
    assert samples(assess(angle, rails=False).clipped) == 0


@settings(max_examples=40, deadline=None)
@given(
    seed=st.integers(0, 2**32 - 1),
    start=st.integers(1200, 5000),
    length=st.integers(150, 800),
    value=st.sampled_from([0.0, 3.3]),
)
def test_an_unplugged_stretch_is_found_wherever_it_is(seed, start, length, value):
    x = gait() + rng(seed).normal(0, 0.003, N)
    x[start : start + length] = value
    quality = assess(x)
    assert quality.dead.tolist() == [[start, min(start + length, N)]]


@pytest.mark.parametrize("bits", [8, 12])
def test_real_knee_angles_are_saturated_only_when_they_are_cut(bits):
    """Open data: knee angles of people walking (Pearl et al. 2022, doi 10.21203/rs.3.rs-1902381/v1)."""
    folder = os.environ.get("STRAINSTUDY_REAL_WALKS")
    if folder is None:
        pytest.skip("STRAINSTUDY_REAL_WALKS does not name the folder of real walks")
    for path in sorted(Path(folder, "raw").glob("*.csv")):
        for angle in np.loadtxt(path, delimiter=",", skiprows=1)[:, 1:].T:
            whole = quantised(angle, bits, np.ptp(angle))
            assert len(assess(whole).clipped) == 0
            cut = np.minimum(whole, np.sort(whole)[int(0.9 * len(whole))])
            assert samples(assess(cut).clipped) == pytest.approx(np.count_nonzero(cut == cut.max()), rel=0.25)
