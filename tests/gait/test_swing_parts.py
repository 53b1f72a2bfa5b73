"""Stride clock, pattern fit and chains of swings against brute force; strides from landmarks written down."""

import itertools
import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from strainstudy.gait import choice, rhythm, turns
from strainstudy.gait.prepare import KneeCurve
from strainstudy.gait.rhythm import Rhythm, local_rhythm
from strainstudy.gait.strides import Swings, stride_rows
from strainstudy.gait.swings import (
    BREAK_COST,
    PATTERN_DEG,
    POINTS,
    RHYTHM_WEIGHT,
    SwingFit,
    chain,
    fit_swings,
    stride_clock,
)


@settings(max_examples=30, deadline=None)
@given(st.integers(0, 10_000), st.integers(1, 5), st.integers(2, 5))
def test_the_best_path_is_the_best_of_all_paths(seed, steps, lags):
    """Gain of each place less an octave's share for each step aside, over every path there is."""
    table = np.random.default_rng(seed).normal(0, 0.1, (steps, lags))

    def worth(path):
        aside = sum(abs(a - b) for a, b in itertools.pairwise(path))
        return sum(table[k, p] for k, p in enumerate(path)) - rhythm.PATH_COST * aside / rhythm.STEPS_PER_OCTAVE

    best = max(worth(path) for path in itertools.product(range(lags), repeat=steps))
    assert worth(rhythm._best_path(table).tolist()) == pytest.approx(best)


@pytest.mark.parametrize("stride", [0.9, 1.1, 1.7])
def test_the_stride_time_of_an_even_rhythm_is_found_in_whatever_unit(stride):
    """Swing waves of two knees in turn; a twenty-fourth of an octave is 3 %."""
    t = np.arange(4000) / 100
    speeds = [np.sin(2 * np.pi * t / stride + p) + 0.7 * np.sin(4 * np.pi * t / stride + p) for p in (0.0, np.pi)]
    for scale in (1.0, 1e-4):
        found = local_rhythm([scale * speed for speed in speeds], 0.7, 2.6)
        np.testing.assert_allclose(found.stride_time, stride, rtol=0.03)
        assert all((strength > 0.8).all() and (strength <= 1.0).all() for strength in found.strengths)
    noise = np.random.default_rng(0).standard_normal(4000)
    assert np.median(local_rhythm([noise], 0.7, 2.6).strengths[0]) < 0.5


def test_what_only_falls_does_not_repeat_and_what_comes_back_counts_from_the_trough_before_it():
    """Autocorrelations written down, at lags 0 to 12; the trough is looked for from half the lag on."""
    falling = np.linspace(1.0, 0.1, 13)
    back = np.array([1.0, 0.8, 0.3, 0.1, 0.5, 0.5, 0.4, 0.4, 0.6, 0.8, 0.9, 0.8, 0.6])
    below = np.where(np.arange(13) == 7, -0.5, back)
    acf, fair = np.stack([falling, 2.0 * back, below]), np.ones(13)
    found = rhythm._rises(acf, fair, np.array([10.0, 10.5]))
    np.testing.assert_allclose(found[0], [0.0, -0.0375], atol=1e-12)
    # whatever the power, and a trough below 0 is one of 0
    np.testing.assert_allclose(found[1], [0.9 - 0.4, 0.85 - 0.4])
    np.testing.assert_allclose(found[2], [0.9, 0.85])
    # half-way between the biased and the unbiased estimate
    np.testing.assert_allclose(rhythm._rises(acf, np.full(13, 0.25), np.array([10.0]))[1], 2 * 0.5)


def test_a_change_of_pace_is_followed():
    t = np.arange(6000) / 100
    phase = np.where(t < 30, t / 1.0, 30 + (t - 30) / 1.5)
    found = local_rhythm([np.sin(2 * np.pi * phase) + 0.6 * np.sin(4 * np.pi * phase)], 0.7, 2.6).stride_time
    np.testing.assert_allclose(found[500:2300], 1.0, rtol=0.03)
    np.testing.assert_allclose(found[3700:5500], 1.5, rtol=0.03)


def clock_of(stride, samples):
    return stride_clock(Rhythm(np.full(samples, stride), (np.ones(samples),)))


def test_the_stride_clock_counts_strides_and_has_fifty_points_in_each():
    clock = clock_of(1.25, 1001)
    np.testing.assert_allclose(clock.strides, np.arange(1001) / 125.0)
    np.testing.assert_allclose(clock.samples, np.arange(clock.samples.size) * 2.5)
    assert clock.samples.size == (8 * 50) + 1
    assert clock.place(np.array([10.5])) == pytest.approx([26.25])
    changing = stride_clock(Rhythm(np.array([1.0, 2.0, 2.0, 4.0]), ()))
    np.testing.assert_allclose(changing.strides, np.cumsum([0.0, 0.01, 0.005, 0.005]))


def test_the_fit_is_the_correlation_of_a_cycle_with_the_published_curve_once_lines_are_taken_off():
    """Numpy's correlation of residuals about straight lines, point by point."""
    rng = np.random.default_rng(2)
    value = np.cumsum(rng.standard_normal(700)) + np.tile(PATTERN_DEG[:-1], 14)
    clock = clock_of(0.5, 700)
    assert clock.samples.size == 699
    upright, inverted = fit_swings(KneeCurve(value, np.gradient(value), np.ones(700, bool)), clock)
    pattern = np.roll(PATTERN_DEG[:-1], POINTS // 2 - int(PATTERN_DEG.argmax()))
    steps = np.arange(POINTS)

    def without_line(x):
        return x - np.polyval(np.polyfit(steps, x, 1), steps)

    shape = without_line(pattern)
    for at in range(100, 600, 37):
        cycle = without_line(value[at - 25 : at + 25])
        assert upright.fit[at] == pytest.approx(np.corrcoef(cycle, shape)[0, 1])
        size = cycle @ shape / np.linalg.norm(shape) * np.ptp(shape) / np.linalg.norm(shape)
        assert upright.size[at] == pytest.approx(max(size, 0.0))
        assert inverted.fit[at] == -upright.fit[at]
        assert inverted.size[at] == pytest.approx(max(-size, 0.0))


def test_the_pattern_itself_fits_in_full_and_has_its_own_size_whatever_the_level_and_drift():
    value = 3.0 * np.tile(PATTERN_DEG[:-1], 10) + 0.7 * np.arange(500) - 40
    upright, _ = fit_swings(KneeCurve(value, np.gradient(value), np.ones(500, bool)), clock_of(0.5, 500))
    peaks = np.arange(2, 8) * 50 + int(PATTERN_DEG.argmax())
    np.testing.assert_allclose(upright.fit[peaks], 1.0, atol=1e-9)


def best_chain(places, worth):
    """Try every set of candidates."""
    best, choice_ = -np.inf, ()
    for size in range(1, len(places) + 1):
        for some in itertools.combinations(range(len(places)), size):
            total = sum(worth[k] for k in some)
            for a, b in itertools.pairwise(some):
                gap = places[b] - places[a]
                total -= RHYTHM_WEIGHT * math.log(gap) ** 2 if gap <= 2.0 else BREAK_COST
                total = -np.inf if gap < 0.4 else total
            if total > best:
                best, choice_ = total, some
    return best, choice_


@settings(max_examples=40, deadline=None)
@given(st.lists(st.tuples(st.integers(4, 130), st.floats(0.2, 1.0)), min_size=1, max_size=8))
def test_the_chain_of_swings_is_the_best_of_all_chains(candidates):
    score, at = np.zeros(2000), 0
    peaks, worth = [], []
    for step, value in candidates:
        at += step
        score[at] = value
        peaks.append(at)
        worth.append(value)
    points, found = chain(score)
    assert found.tolist() == score[points].tolist()
    best, _ = best_chain([p / POINTS for p in peaks], worth)
    total = found.sum()
    for gap in np.diff(points) / POINTS:
        assert gap >= 0.4
        total -= RHYTHM_WEIGHT * math.log(gap) ** 2 if gap <= 2.0 else BREAK_COST
    assert total == pytest.approx(best)


def test_what_is_worth_too_little_is_no_candidate():
    score = np.zeros(200)
    score[[50, 100, 150]] = 0.9, 0.3, 0.8
    assert chain(score)[0].tolist() == [50, 100, 150]
    # without it, a double stride costs more than the last swing is worth
    assert chain(score, least=0.35)[0].tolist() == [50]
    assert chain(np.zeros(20))[0].size == 0


def test_half_way_between_swings_of_the_other_knee_is_in_turn():
    found = choice._in_turn(np.array([100, 150, 210, 400]), 500)
    assert found[[100, 150, 209]] == pytest.approx([-1.0] * 3, abs=0.01)
    assert found[[125, 180]] == pytest.approx([1.0] * 2)
    assert found[[112, 165]] == pytest.approx([-np.cos(2 * np.pi * 0.24), 0.0], abs=1e-9)
    # before, after and where two strides and more lie between
    assert found[[50, 210, 300, 450]].tolist() == [0.0] * 4
    assert not choice._in_turn(np.array([100]), 200).any()


def test_a_swing_counts_by_its_size_up_to_a_third_of_the_usual():
    fit = SwingFit(np.array([1.0, 0.5, -0.2, 1.0]), np.array([30.0, 60.0, 60.0, 9.0]))
    np.testing.assert_allclose(choice._worth(fit, 100.0), [1.0, 0.5, 0.0, 0.3])


def fits_at(places, count=600):
    """Upright and inverted fit of one knee: nothing but where it says (fit, size); upside down all is negative."""
    fit, size = np.zeros(count), np.zeros(count)
    for at, (value, height) in places.items():
        fit[at], size[at] = value, height
    return SwingFit(fit, size), SwingFit(-fit, np.zeros(count))


CLEAR = dict.fromkeys(range(50, 600, 50), (0.95, 60.0))


@pytest.mark.parametrize("sides", [("left", "right"), ("right", "left")])
def test_the_clearer_knee_helps_the_other_and_not_the_other_way_about(sides):
    """Alone the unclear knee takes the waves that fit a little better, 0.2 strides after the other knee's."""
    unclear = dict.fromkeys(range(60, 540, 50), (0.6, 40.0)) | dict.fromkeys(range(75, 575, 50), (0.5, 40.0))
    clear, other = sides
    found = choice.choose_swings({clear: fits_at(CLEAR), other: fits_at(unclear)})
    assert found[clear].points.tolist() == list(CLEAR)
    assert found[other].points.tolist() == list(range(75, 575, 50))
    assert choice.choose_swings({other: fits_at(unclear)})[other].points.tolist() == list(range(60, 540, 50))
    np.testing.assert_array_equal(found[other].fit, 0.5)
    np.testing.assert_allclose(found[other].worth, 0.5)


def test_a_small_swing_counts_only_in_turn_with_the_other_knee():
    """A swing of a tenth of the usual size, fit as the others; a twentieth is the least there is."""
    small = dict.fromkeys(range(75, 575, 50), (0.9, 40.0))
    small[275], small[425] = (0.9, 4.0), (0.9, 1.0)
    alone = choice.choose_swings({"left": fits_at(small)})["left"].points
    beside = choice.choose_swings({"left": fits_at(small), "right": fits_at(CLEAR)})["left"].points
    assert 275 not in alone and 425 not in alone
    assert 275 in beside and 425 not in beside
    assert set(beside) - set(alone) == {275}


def made(contact, *, cycle=1.0, swing=0.4, sound=None):
    contact = np.asarray(contact, dtype=float)
    same = np.ones(contact.size)
    return Swings(
        toe_off=contact - swing,
        peak=contact - 0.28,
        contact=contact,
        stride_time=cycle * same,
        size=50 * same,
        width=0.3 * same,
        loading=0.0 * same,
        fit=same,
        clear=2 * same,
        score=np.linspace(0.5, 1.0, contact.size),
        sound=np.ones(contact.size, bool) if sound is None else np.asarray(sound),
    )


def rows(own, other=None, *, walk=None, turning=None, fs=100.0, settling=1, curve=None):
    n = own.contact.size
    t = np.arange(round((own.contact[-1] + 1) * fs)) / fs
    return stride_rows(
        "left",
        own,
        other,
        walk=np.zeros(n, dtype=np.intp) if walk is None else np.asarray(walk),
        turning=np.zeros(n, bool) if turning is None else np.asarray(turning),
        curve=30 - 30 * np.cos(2 * np.pi * t) if curve is None else curve,
        fs=fs,
        ratio_limits=(0.5, 1.6),
        settling=settling,
    )


def test_times_of_a_stride_are_the_differences_of_its_landmarks():
    """Contacts 1.0 and 1.1 s apart; the other foot strikes 0.55 and 0.6 s into them."""
    found = rows(made([1.0, 2.0, 3.1, 4.1]), made([1.55, 2.6, 3.6]))
    assert found["onset"].tolist() == [1.0, 2.0, 3.1]
    np.testing.assert_allclose(found["stride_time"], [1.0, 1.1, 1.0])
    np.testing.assert_allclose(found["step_time"], [0.45, 0.5, 0.5])
    np.testing.assert_allclose(found["phase"], [360 * 0.55, 360 * 0.6 / 1.1, 180.0])
    np.testing.assert_allclose(found["toe_off"], [1.6, 2.7, 3.7])
    np.testing.assert_allclose(found["stance_time"], [0.6, 0.7, 0.6])
    np.testing.assert_allclose(found["swing_time"], 0.4)
    np.testing.assert_allclose(found["stance_fraction"], [0.6, 0.7 / 1.1, 0.6])
    np.testing.assert_allclose(found["swing_peak_time"], [1.72, 2.82, 3.82])
    np.testing.assert_allclose(found["score"], [0.5, 0.5 + 0.5 / 3, 0.5 + 1 / 3])


def test_sizes_of_a_stride_are_read_in_the_curve_as_given():
    """A ramp of 10 a second: the range is the way of a stride, the peak the value at its end."""
    curve = 10 * np.arange(600) / 100
    found = rows(made([1.0, 2.0, 3.0]), curve=curve)
    np.testing.assert_allclose(found["range_of_motion"], 9.9)
    np.testing.assert_allclose(found["swing_peak"], [19.9, 29.9])
    np.testing.assert_allclose(found["amplitude"], -0.1, atol=1e-9)
    assert (found["response_range"] == found["range_of_motion"]).all()
    hump = np.where((np.arange(600) >= 170) & (np.arange(600) < 175), 40.0, np.where(np.arange(600) == 120, 90.0, 5.0))
    # the highest before toe-off is no swing peak
    assert rows(made([1.0, 2.0, 3.0]), curve=hump)["swing_peak"].tolist() == [40.0, 5.0]
    assert rows(made([1.0, 2.0, 3.0]), curve=hump)["range_of_motion"].tolist() == [85.0, 0.0]


def test_a_stride_needs_one_contact_of_the_other_foot_inside_it():
    found = rows(made([1.0, 2.0, 3.0, 4.0]), made([2.4, 2.6, 3.5], sound=[True, True, True]))
    assert found["step_time"].isna().tolist() == [True, True, False]
    unsound = rows(made([1.0, 2.0, 3.0, 4.0]), made([2.4, 2.6, 3.5], sound=[False, True, True]))
    np.testing.assert_allclose(unsound["step_time"], [np.nan, 0.4, 0.5])
    assert rows(made([1.0, 2.0]))["phase"].isna().all()


def test_strides_across_walks_pauses_and_unsound_swings_are_none():
    contact = [1.0, 2.0, 3.0, 4.7, 5.7, 6.1, 7.1, 8.1]
    assert rows(made(contact))["onset"].tolist() == [1.0, 2.0, 4.7, 6.1, 7.1]
    assert rows(made(contact), walk=[0, 0, 0, 0, -1, 1, 1, 2])["onset"].tolist() == [1.0, 2.0, 6.1]
    sound = [True, False, True, True, True, True, True, True]
    assert rows(made(contact, sound=sound))["onset"].tolist() == [4.7, 6.1, 7.1]


def test_the_first_and_last_strides_of_a_walk_and_turns_are_not_steady():
    contact = 1.0 + np.arange(9)
    walk = [0, 0, 0, 0, 0, 1, 1, 1, 1]
    assert rows(made(contact), walk=walk)["steady"].tolist() == [False, True, True, False, False, True, False]
    assert rows(made(contact), walk=walk, settling=0)["steady"].all()
    turning = np.arange(9) == 2
    assert rows(made(contact), turning=turning)["steady"].tolist() == [False, False, False, *[True] * 4, False]
    gap = 30 - 30 * np.cos(2 * np.pi * np.arange(1100) / 100)
    gap[450] = np.nan
    found = rows(made(contact), curve=gap)
    assert found["steady"].tolist() == [False, True, True, False, True, True, True, False]
    assert found["range_of_motion"].isna().tolist() == [False, False, False, True, *[False] * 4]


def walked(n=40, first=18, last=24, smaller=0.5, slower=1.3):
    """Swings of two knees in turn, some of them smaller and slower."""
    size, stride = np.full(n, 60.0), np.full(n, 1.1)
    size += 0.3 * np.cos(np.arange(n) * 2.1)
    stride += 0.002 * np.cos(np.arange(n) * 1.7)
    size[first:last] *= smaller
    stride[first:last] *= slower
    return turns.turning(0.55 * np.arange(n), np.arange(n) % 2, size, stride)[0]


def test_a_spell_of_smaller_and_slower_swings_is_a_turn_to_the_swing():
    assert np.flatnonzero(walked()).tolist() == list(range(18, 24))
    assert np.flatnonzero(walked(first=10, last=14)).tolist() == list(range(10, 14))


def test_a_turn_shows_on_the_regular_knee_where_the_other_varies():
    """Counting both knees and both measures alike finds 17 of these 20."""
    found = elsewhere = 0
    for seed in range(20):
        rng, side = np.random.default_rng(seed), np.arange(44) % 2
        size = 60 * np.exp(np.where(side == 0, 0.04, 0.4) * rng.standard_normal(44))
        stride = 1.2 * np.exp(np.where(side == 0, 0.03, 0.08) * rng.standard_normal(44))
        size[20:25] *= 0.75
        stride[20:25] *= 1.1
        marked, _ = turns.turning(0.6 * np.arange(44), side, size, stride)
        found += int(marked[20:25].any())
        elsewhere += int(marked[:18].any() or marked[27:].any())
    assert found == 20
    assert elsewhere <= 1


@pytest.mark.parametrize(
    "kind",
    [
        {"smaller": 1.0}, {"slower": 1.0}, {"smaller": 0.94, "slower": 1.02}, {"smaller": 1.6}, {"slower": 0.7},
        {"first": 2, "last": 6}, {"first": 34, "last": 38}, {"first": 18, "last": 19}, {"n": 9, "first": 4, "last": 6},
    ],
    ids=str,
)  # fmt: skip
def test_what_is_only_smaller_only_slower_too_short_or_at_an_end_is_no_turn(kind):
    assert not walked(**kind).any()


@pytest.mark.parametrize(
    ("smaller", "slower", "seen"),
    [(0.112, 0.0448, False), (0.117, 0.0468, True), (0.2, 0.015, False), (0.0, 0.09, False)],
)
def test_in_the_most_regular_walk_a_turn_is_somewhat_over_half_a_usual_one(smaller, slower, seen):
    """Of a share f of the usual 0.2 and 0.08, over spreads of 0.09 and 0.027, six swings say 6 (f - 1/2) 13.7: over 6
    from f = 0.573 on. What is only smaller or only slower is none, however much that says.
    """
    assert walked(smaller=math.exp(-smaller), slower=math.exp(slower)).any() == seen


def test_one_knee_alone_may_turn_but_cannot_show_that_nobody_did():
    n = 40
    size, stride = 60 + 0.3 * np.cos(np.arange(n) * 2.1), 1.1 + 0.002 * np.cos(np.arange(n) * 1.7)
    size[18:22] *= 0.5
    stride[18:22] *= 1.3
    turned, shown = turns.turning(1.1 * np.arange(n), np.zeros(n, dtype=np.intp), size, stride)
    assert np.flatnonzero(turned).tolist() == list(range(18, 22))
    assert not shown
    both = turns.turning(0.55 * np.arange(n), np.arange(n) % 2, size, stride)
    assert both[1]
    # too short to have a walk before and after a turn
    few = turns.turning(0.55 * np.arange(9), np.arange(9) % 2, size[:9], stride[:9])
    assert not few[0].any() and not few[1]
