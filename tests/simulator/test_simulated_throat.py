"""Laryngeal motion against published durations, and the three sensor answers."""

import itertools

import numpy as np
import pytest
from strainstudy_simulator.throat import (
    SHAPES,
    Act,
    ThroatPerson,
    mixed_acts,
    move,
    rest_motion,
    sensor_strain,
    sip_acts,
    smooth_step,
)

FS = 100.0
STILL = ThroatPerson(breath_size=0.0, pulse_size=0.0)


def rng(seed: int = 1) -> np.random.Generator:
    return np.random.Generator(np.random.PCG64(seed))


def test_the_smooth_step_is_the_minimum_jerk_way():
    """Flash & Hogan 1985: 10u^3 - 15u^4 + 6u^5, half way at half time."""
    np.testing.assert_allclose(smooth_step(np.array([-1, 0, 0.25, 0.5, 1, 2])), [0, 0, 0.103515625, 0.5, 1, 1])


def test_single_swallows_last_as_long_as_surface_emg_says():
    """126 adults, surface EMG: dry 1.133 (SD 0.209) s men, 1.118 (0.170) s women."""
    acts = mixed_acts(6000, ThroatPerson(), rng(), kinds=(("swallow", 1.0),))
    durations = np.array([a.duration for a in acts])
    assert len(acts) > 700
    assert durations.mean() == pytest.approx(1.125, abs=0.05)
    assert 0.12 < durations.std() < 0.21


def test_large_swallows_last_longer_than_small_ones():
    """40 ml took 1.51 (SD 0.43) s in men and 1.77 (0.46) s in women against 1.10 s for 20 ml, same study."""
    acts = mixed_acts(3000, ThroatPerson(), rng(), kinds=(("large", 1.0),))
    assert np.mean([a.duration for a in acts]) == pytest.approx(1.64, abs=0.15)


def test_truth_begins_and_ends_where_the_larynx_has_made_5_percent_of_its_way():
    act = Act("swallow", 5.0, 1.1)
    motion = move([act], 12.0, FS * 10, STILL, rng())
    time = np.arange(len(motion.displacement)) / (FS * 10)
    quiet = rest_motion(len(time), FS * 10, STILL, rng()).displacement
    rise = motion.displacement - quiet
    above = time[rise > 0.05 * rise.max()]
    assert above[0] == pytest.approx(5.0, abs=0.005)
    assert above[-1] == pytest.approx(6.1, abs=0.005)


def test_sips_follow_one_another_without_touching():
    acts = sip_acts(3.0, 12, ThroatPerson(), rng(), seconds_per_swallow=1.25)
    gaps = np.array([b.onset - a.end for a, b in itertools.pairwise(acts)])
    assert len(acts) == 12
    assert (gaps > 0.05).all()
    assert np.diff([a.onset for a in acts]).mean() == pytest.approx(1.25, rel=0.1)


def test_speech_is_smaller_than_swallowing_and_moves_at_syllable_rate():
    speech = move([Act("speech", 2.0, 8.0)], 12.0, FS, STILL, rng())
    swallow = move([Act("swallow", 2.0, 1.1)], 12.0, FS, STILL, rng())
    talking = speech.displacement[200:1000]
    assert np.ptp(talking) < 0.8 * np.ptp(swallow.displacement)
    detrended = talking - np.convolve(talking, np.ones(60) / 60, mode="same")
    power = np.abs(np.fft.rfft(detrended * np.hanning(800))) ** 2
    frequency = np.fft.rfftfreq(800, 1 / FS)
    syllables = power[(frequency > 1.5) & (frequency < 9)].sum()
    assert syllables > 0.7 * power[frequency > 1.5].sum()


def test_a_posture_stays_and_a_nod_returns():
    staying = move([Act("head_movement", 2.0, 1.0, 1.0, returns=False)], 8.0, FS, STILL, rng())
    nodding = move([Act("head_movement", 2.0, 2.0, 1.0)], 8.0, FS, STILL, rng())
    quiet = rest_motion(800, FS, STILL, rng()).displacement
    size = STILL.head_size
    assert (staying.displacement - quiet)[-1] == pytest.approx(size, rel=1e-6)
    assert (nodding.displacement - quiet)[-1] == pytest.approx(0.0, abs=1e-9)
    assert (nodding.displacement - quiet).max() == pytest.approx(size, rel=0.01)


def test_coughs_are_sharper_than_swallows():
    cough = move([Act("cough", 2.0, 0.5)], 6.0, FS, STILL, rng())
    swallow = move([Act("swallow", 2.0, 1.1)], 6.0, FS, STILL, rng())
    assert np.abs(np.diff(cough.displacement)).max() > 3 * np.abs(np.diff(swallow.displacement)).max()


def test_the_three_sensors_answer_in_one_hump_two_phases_and_a_ringing_burst():
    motion = move([Act("swallow", 5.0, 1.1)], 12.0, FS, STILL, rng())
    crossings = {}
    for shape in SHAPES:
        signal = sensor_strain(motion, FS, shape=shape)
        part = signal[480:700] - np.median(signal[:450])
        strong = part[np.abs(part) > 0.2 * np.abs(part).max()]
        crossings[shape] = int((np.diff(np.sign(strong)) != 0).sum())
    assert crossings["one_hump"] == 0
    assert crossings["two_phase"] == 1
    assert crossings["burst"] >= 4


def test_polarity_turns_the_strain_over():
    motion = move([Act("swallow", 5.0, 1.1)], 12.0, FS, STILL, rng())
    for shape in SHAPES:
        up, down = (sensor_strain(motion, FS, shape=shape, polarity=p) for p in (1, -1))
        np.testing.assert_allclose(up, -down)
    with pytest.raises(ValueError, match="one_hump, two_phase, burst"):
        sensor_strain(motion, FS, shape="square")


def test_truth_lists_every_act_once_within_the_recording():
    acts = mixed_acts(300, ThroatPerson(), rng(4))
    motion = move(acts, 300, FS, ThroatPerson(), rng(5))
    assert len(motion.truth) == len(acts)
    assert {e.trial_type for e in motion.truth} == {"swallow", "speech", "cough", "head_movement"}
    assert all(e.onset >= 0 and e.end <= 299 for e in motion.truth)
    ends = [e.end for e in motion.truth]
    assert all(b.onset > end for b, end in zip(motion.truth[1:], ends[:-1], strict=True))


def test_rest_moves_by_breath_and_pulse_only():
    motion = rest_motion(60_000, FS, ThroatPerson(breaths_per_minute=15), rng())
    assert motion.truth == ()
    assert np.abs(motion.displacement).max() < 0.4
    power = np.abs(np.fft.rfft(motion.displacement * np.hanning(60_000))) ** 2
    frequency = np.fft.rfftfreq(60_000, 1 / FS)
    breathing = frequency[(frequency > 0.12) & (frequency < 3)][np.argmax(power[(frequency > 0.12) & (frequency < 3)])]
    assert breathing == pytest.approx(0.25, abs=0.05)
