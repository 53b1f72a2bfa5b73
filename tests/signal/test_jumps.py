"""A jump of the level is found wherever it stands, and no movement is taken for one."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from strainstudy.signal.jumps import find_jumps
from strainstudy_simulator.people import PLACES, draw_person, draw_unit, rng_for, worn
from strainstudy_simulator.sessions import bend_take, walk_take

FS = 100.0
T = np.arange(0, 60, 1 / FS)


def walked(seed: int = 0, rate: float = FS) -> np.ndarray:
    t = np.arange(0, 60, 1 / rate)
    phase = 2 * np.pi * t / 1.1
    moving = (t > 5 * 1.1) & (t < 47 * 1.1)
    wave = 0.3 * (1 - np.cos(phase)) + 0.1 * (1 - np.cos(2 * phase))
    return np.where(moving, wave, 0.0) + np.random.default_rng(seed).normal(0, 0.002, t.size)


def inside(spans: np.ndarray, n: int) -> np.ndarray:
    mask = np.zeros(n, dtype=bool)
    for start, end in spans:
        mask[start:end] = True
    return mask


@settings(max_examples=40, deadline=None)
@given(
    start=st.floats(8, 25),
    seconds=st.floats(2, 18),
    size=st.floats(0.8, 6),
    up=st.booleans(),
    unit=st.floats(1e-6, 1e6),
    rate=st.sampled_from([50.0, 100.0, 500.0]),
)
def test_a_stretch_at_another_level_is_found_in_any_unit_and_nothing_else_is_left_out(
    start, seconds, size, up, unit, rate
):
    x = walked(rate=rate)
    first, last = round(start * rate), round((start + seconds) * rate)
    x[first:last] += size if up else -size
    found = find_jumps(unit * x, rate)
    left = inside(np.concatenate([found.displaced, found.silent]), x.size)
    assert left[first:last].all()
    assert left.sum() - (last - first) <= 4 * 0.02 * rate + 2


@settings(max_examples=25, deadline=None)
@given(start=st.floats(8, 25), seconds=st.floats(2, 18), level=st.floats(-4, 6), noise=st.floats(0, 0.01))
def test_a_stretch_without_movement_between_two_jumps_is_silent(start, seconds, level, noise):
    x = walked()
    if -1.0 < level < 2.0:
        level += 3.0
    first, last = round(start * FS), round((start + seconds) * FS)
    x[first:last] = level + np.random.default_rng(1).normal(0, noise + 1e-4, last - first)
    found = find_jumps(x, FS)
    assert inside(found.silent, x.size)[first:last].all()
    assert len(found.displaced) == 0


def test_of_two_levels_the_one_that_lasts_longer_is_kept():
    x = walked()
    x[2000:] += 3.0
    (span,) = find_jumps(x, FS).displaced
    assert span[0] == 0
    assert abs(span[1] - 2000) <= 3


def test_a_step_within_a_bend_that_is_gone_with_the_leg_straight_leaves_everything_as_it_is():
    """A film that slips under its thread, as recorded sleeves do: the leg rests where it did."""
    depth = np.zeros(T.size)
    for k in range(10):
        depth += np.exp(-0.5 * ((T - 5.5 * k - 4) / 0.5) ** 4)
    slow = depth + np.random.default_rng(2).normal(0, 0.003, T.size)
    fastest = np.quantile(np.abs(slow[2:] - slow[:-2]), 0.999)
    slow[1500:1700] += 3.3 * fastest * depth[1500:1700]
    assert len(find_jumps(slow, FS).displaced) == 0


def test_one_kick_in_a_long_rest_is_no_jump():
    """The fastest a knee extends when kicking is about 1000 degrees per second: 60 degrees in 0.1 s or more."""
    rest = np.random.default_rng(3).normal(0, 0.2, 60_000)
    rise = 0.5 * (1 - np.cos(np.pi * np.clip((np.arange(60_000) / FS - 300) / 0.12, 0, 1)))
    back = 0.5 * (1 - np.cos(np.pi * np.clip((np.arange(60_000) / FS - 302) / 0.12, 0, 1)))
    assert find_jumps(rest + 70 * (rise - back), FS).at == ()


@pytest.mark.parametrize("spike", [1, 2, 5])
def test_a_spike_comes_back_and_is_no_jump(spike):
    x = walked()
    x[3000 : 3000 + spike] += 8.0
    assert find_jumps(x, FS).at == ()


def test_a_rest_without_movement_and_an_empty_channel_have_no_jump():
    noise = np.random.default_rng(4).normal(0, 0.001, 3000)
    for x in (noise, np.zeros(3000), np.full(3000, np.nan), np.zeros(0), np.zeros(3)):
        assert find_jumps(x, FS).at == ()


@pytest.mark.parametrize("seed", [6001, 6002, 6003])
def test_simulated_walks_and_bends_without_a_fault_have_no_jump(seed):
    person = draw_person(seed % 12, seed)
    units = {place: worn(draw_unit("ABCD"[seed % 4], place, seed), person.participant_id, 0, seed) for place in PLACES}
    takes = [walk_take(person, 0, units, rng_for(seed, "walk")), bend_take(units, rng_for(seed, "bend"))]
    for channel in (channel for take in takes for channel in take.channels):
        assert find_jumps(channel.values, 100.0).at == ()
