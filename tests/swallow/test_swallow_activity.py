"""Activity of a throat stream and the pieces it is cut into, on waves whose energy and places follow from algebra."""

import itertools

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from strainstudy.swallow import activity as act
from strainstudy.swallow import cut
from strainstudy.swallow.activity import Activity, activity_of, measure_activity, observed_seconds
from strainstudy.swallow.candidates import _at_limit, _cross, _edges
from strainstudy.swallow.parameters import SwallowParameters

FS = 50.0
PARAMETERS = SwallowParameters()


def test_two_seconds_without_any_change_are_no_live_signal():
    x = np.cumsum(np.ones(1000))
    x[200:301] = x[200]
    x[500:600] = x[500]
    live = act._without_flat(x, np.isfinite(x), FS)
    assert np.flatnonzero(~live).tolist() == list(range(200, 301))
    assert observed_seconds(x, FS) == pytest.approx((1000 - 101) / FS)
    # a gap interrupts a flat stretch
    x[250] = np.nan
    assert act._without_flat(x, np.isfinite(x), FS).sum() == 999


def test_a_stream_is_brought_to_fifty_to_a_hundred_samples_a_second():
    live = np.ones(4000, dtype=bool)
    for fs, step in ((20.0, 1), (99.0, 1), (100.0, 2), (250.0, 5), (1000.0, 20)):
        t = np.arange(4000) / fs
        x = 3.0 + 2.0 * t
        thinned, seen, rate = act._thin(x, live, fs)
        assert rate == fs / step
        assert len(thinned) == len(seen) == -(-4000 // step)
        np.testing.assert_allclose(np.diff(thinned), 2.0 / rate, rtol=1e-6)


def test_gaps_are_bridged_by_straight_lines_and_mark_the_samples_made_of_them():
    x = np.arange(400.0)
    live = np.ones(400, dtype=bool)
    live[101:104] = False
    broken = np.where(live, x, np.nan)
    thinned, seen, _ = act._thin(broken, live, 100.0)
    np.testing.assert_allclose(np.diff(thinned), 2.0, atol=1e-6)
    assert np.flatnonzero(~seen).tolist() == [50, 51]


def test_the_level_of_rest_is_a_low_percentile_of_each_minute():
    """Uniform numbers have their tenth percentile at a tenth of their range; it is read in steps of half a minute."""
    rng = np.random.default_rng(2)
    scale = np.where(np.arange(12_000) < 6000, 1.0, 3.0)
    values = scale * rng.random(12_000)
    resting = act._resting(values, np.ones(12_000, dtype=bool), FS)
    assert resting[:1500] == pytest.approx(0.1, abs=0.03)
    assert resting[-1500:] == pytest.approx(0.3, abs=0.06)
    unseen = np.arange(12_000) >= 6000
    assert act._resting(values, unseen, FS)[:3000] == pytest.approx(0.3, abs=0.1)
    few = np.zeros(12_000, dtype=bool)
    few[:100] = True
    np.testing.assert_allclose(act._resting(values, few, FS), np.percentile(values[:100], 10))
    assert act._resting(values, np.zeros(12_000, dtype=bool), FS).tolist() == [0.0] * 12_000


def burst(frequency, size, seconds=60.0, first=20.0, last=26.0, noise=1e-3, fs=FS):
    t = np.arange(round(seconds * fs)) / fs
    wave = np.where((t >= first) & (t < last), size * np.sin(2 * np.pi * frequency * (t - first)), 0.0)
    return t, wave + noise * np.random.default_rng(0).standard_normal(t.size)


@pytest.mark.parametrize("size", [0.5, 4.0])
def test_activity_of_a_wave_of_one_hertz_is_its_amplitude_all_along(size):
    """Level squared plus velocity squared: sine and cosine, the sum does not rise and fall with the wave."""
    t, x = burst(1.0, size)
    found = measure_activity(x, np.ones(t.size, dtype=bool), FS)
    inside = (t > 21) & (t < 25)
    assert found.fine[inside] == pytest.approx(size, rel=0.08)
    assert found.coarse[inside] == pytest.approx(size, rel=0.08)
    away = (t < 18) | (t > 28)
    assert found.coarse[away].max() < 0.01 * size
    assert np.median(found.significance[away]) == pytest.approx(1.0, abs=0.6)
    assert found.significance[inside].min() > 100


def test_activity_of_a_fast_wave_is_its_root_mean_square():
    """Eight hertz lie above the slow part: its own square alone counts, on average half the square of the size."""
    t, x = burst(8.0, 2.0)
    found = measure_activity(x, np.ones(t.size, dtype=bool), FS)
    inside = (t > 21) & (t < 25)
    assert np.sqrt(np.mean(found.coarse[inside] ** 2)) == pytest.approx(2.0 / np.sqrt(2), rel=0.12)
    assert np.sqrt(np.mean(found.texture[inside] ** 2)) == pytest.approx(2.0 / np.sqrt(2), rel=0.15)
    assert np.abs(found.slow[inside]).max() < 0.3


def test_the_base_line_follows_posture_and_not_a_swallow():
    t, x = burst(1.0, 0.0, noise=0.01)
    swallow = np.where((t >= 10) & (t < 11), np.sin(np.pi * (t - 10)) ** 2, 0.0)
    posture = 5.0 * np.clip((t - 30) / 2, 0, 1)
    found = measure_activity(x + swallow + posture, np.ones(t.size, dtype=bool), FS)
    assert found.base[(t > 3) & (t < 28)] == pytest.approx(0.0, abs=0.1)
    assert found.base[(t > 34) & (t < 57)] == pytest.approx(5.0, abs=0.1)
    assert found.level[(t > 10.4) & (t < 10.6)].max() == pytest.approx(1.0, abs=0.12)


def test_close_to_a_gap_nothing_is_observed():
    t, x = burst(1.0, 1.0)
    observed = np.ones(t.size, dtype=bool)
    observed[1000:1100] = False
    found = measure_activity(x, observed, FS)
    assert np.flatnonzero(~found.observed).tolist() == list(range(985, 1115))
    assert not found.coarse[~found.observed].any()
    assert measure_activity(x, np.arange(t.size) < 245, FS) is None
    assert activity_of(x[:240], FS) is None
    with pytest.raises(ValueError, match="at least 20 Hz"):
        activity_of(x, 19.9)


def pieces_of(values, **more):
    values = np.asarray(values, dtype=float)
    same = np.ones(values.size)
    return Activity(**({
        "fs": FS, "level": values, "base": 0 * values, "slow": values, "texture": values, "broad": values,
        "coarse": values, "fine": values, "significance": 10 * same, "noise": 0 * values, "observed": same.astype(bool),
    } | more))  # fmt: skip


def test_valleys_lie_at_the_lowest_or_in_the_middle_of_a_flat_bottom():
    values = np.array([5.0, 3, 1, 4, 6, 2, 2, 2, 7])
    assert cut._lowest_between(values, np.array([0, 4, 8])).tolist() == [2, 6]


def test_the_body_of_a_piece_has_a_tenth_of_its_largest_activity():
    values = np.array([9.0, 0.0, 0.9, 1.1, 10.0, 5.0, 1.1, 1.0, 9.0])
    first, last = cut.bodies_of(values, np.array([1, 0, 5]), np.array([8, 3, 9]))
    # The second holds its first sample alone; the third, longer than that, ends with its largest.
    assert (first.tolist(), last.tolist()) == ([3, 0, 5], [6, 0, 8])


@settings(max_examples=40, deadline=None)
@given(st.integers(0, 10_000), st.integers(1, 7), st.booleans())
def test_the_pieces_chosen_are_the_cheapest_of_all_ways_to_cut(seed, peaks, patterned):
    rng = np.random.default_rng(seed)
    spans = [(a, b) for b in range(1, peaks + 1) for a in range(b)]
    start, stop = np.array(spans).T
    waves = rng.standard_normal((len(spans), 4))
    waves /= np.linalg.norm(waves, axis=1, keepdims=True)
    pattern = waves[0] if patterned else None
    own, length = rng.uniform(0, 3, len(spans)), rng.uniform(0.3, 2, len(spans))
    bounds = 10 * np.arange(peaks + 1)
    cost = own if pattern is None else own - 4.0 * (waves @ pattern - 0.6) * length

    def price(ways):
        return sum(cost[spans.index(way)] for way in ways)

    ways = [
        list(itertools.pairwise((0, *inner, peaks)))
        for k in range(peaks)
        for inner in itertools.combinations(range(1, peaks), k)
    ]
    found = cut._Run(bounds, start, stop, own, length, waves).cheapest(pattern)
    assert price([(a // 10, b // 10) for a, b in found]) == pytest.approx(min(price(way) for way in ways))


def test_what_a_piece_costs_is_its_length_and_the_shallowness_of_its_valleys():
    """Two humps of 1 s with a valley of 40 %: a tenth of the height bounds each body; a swallow takes 1 s."""
    t = np.arange(400) / FS
    values = np.maximum(1 - np.abs(t - 3.0) / 0.5, 0) + np.maximum(1 - np.abs(t - 3.6) / 0.5, 0)
    peaks = np.array([150, 180])
    (run,) = cut._possible(pieces_of(values), [peaks], [(0, 400)], 1.0)
    valley = int(run.bounds[1])
    assert run.bounds.tolist() == [50, valley, 280]
    assert 150 < valley < 180
    depth = values[valley] / values[peaks].min()
    lengths = []
    for a, b in ((50, valley), (valley, 280), (50, 280)):
        above = np.flatnonzero(values[a:b] > 0.1 * values[a:b].max())
        lengths.append((above[-1] - above[0] + 1) / FS)
    by = {(int(a), int(b)): k for k, (a, b) in enumerate(zip(run.start, run.stop, strict=True))}
    for way, length, valleys in (
        ((0, 1), lengths[0], 0.0), ((1, 2), lengths[1], depth), ((0, 2), lengths[2], 1 - depth),
    ):  # fmt: skip
        assert run.length[by[way]] == pytest.approx(length)
        assert run.cost[by[way]] == pytest.approx(2.5 * valleys + 0.5 * (np.log(length) / 0.4) ** 2)


def test_runs_are_parted_by_half_a_second_of_rest_and_must_stand_out():
    t = np.arange(1000) / FS
    hump = lambda at: np.maximum(1 - np.abs(t - at) / 0.3, 0)  # noqa: E731
    values = hump(2.0) + hump(3.0) + hump(5.0)
    assert [run.tolist() for run in cut._runs(pieces_of(values), 4.0)] == [[100, 150], [250]]
    faint = np.where(t < 4, 10.0, 3.1)
    assert [run.tolist() for run in cut._runs(pieces_of(values, significance=faint), 4.0)] == [[100, 150]]
    assert [len(run) for run in cut._runs(pieces_of(values, significance=0 * t + 3.3), 4.0)] == [2, 1]
    assert cut._runs(pieces_of(values, significance=0 * t + 1.9), 4.0) == []


def test_pieces_of_two_runs_meet_in_the_middle_of_the_rest_between_them():
    """A small movement ends 0.9 s before a large one begins: within reach of each other, each is found once."""
    t = np.arange(1000) / FS
    hump = lambda at: np.maximum(1 - np.abs(t - at) / 0.3, 0)  # noqa: E731
    values = 0.2 * hump(8.0) + hump(9.5)
    activity = pieces_of(values)
    assert [run.tolist() for run in cut._runs(activity, 4.0)] == [[400], [475]]
    (first, middle), (start, last) = cut.cut_together([activity], PARAMETERS)[0]
    assert (first, last) == (300, 575)
    assert middle == start == pytest.approx((415 + 460) / 2, abs=1)
    assert cut.cut_together([pieces_of(0 * t)], PARAMETERS) == [[]]


def test_a_straight_edge_is_passed_at_its_place_between_the_samples():
    """Up by 1 a sample to 10: level 3.5 lies half-way between the samples of 3 and 4."""
    fine = np.concatenate([np.arange(11.0), np.arange(9.0, -1, -1)])
    assert _cross(fine, 4, -1, 3.5, 3.5) == pytest.approx(3.5)
    assert _cross(fine, 16, 1, 3.5, 3.5) == pytest.approx(16.5)
    assert _cross(fine, 0, -1, -1.0, -1.0) == 0.0
    # where noise hides the level aimed at, the edge from the threshold to twice of it is prolonged
    assert _cross(fine, 4, -1, 3.5, 1.0) == pytest.approx(3.5 - (7 - 3.5) / 3.5 * 2.5, abs=1e-9)
    assert _cross(fine, 16, 1, 3.5, 1.0) == pytest.approx(16.5 + (16.5 - 13) / 3.5 * 2.5, abs=1e-9)


def test_an_event_lies_between_the_passages_of_the_fraction_of_its_peak_nearest_to_it():
    fine = np.zeros(300)
    fine[100:121] = 10 - np.abs(np.arange(-10, 11))
    fine[180:187] = 6 - 2 * np.abs(np.arange(-3, 4))
    onset, end, peak = _edges(pieces_of(fine), 20, 280, PARAMETERS)
    level = PARAMETERS.edge_fraction * 10
    assert peak == 110
    assert (onset, end) == pytest.approx((100 + level, 120 - level))
    # a rest of more than a third of a second parts; a shorter one does not
    near = np.zeros(300)
    near[100:121], near[130:137] = fine[100:121], fine[180:187]
    _, end, _ = _edges(pieces_of(near), 20, 280, PARAMETERS)
    assert end == pytest.approx(133 + (6 - level) / 2)


def test_the_share_at_the_limit_counts_stays_of_five_samples_at_either_extreme():
    x = np.sin(np.arange(1000) / 7.0)
    x[100:110], x[300:306], x[500:504] = 3.0, -3.0, 3.0
    found = _at_limit(x, 100.0, np.array([1.0, 2.95, 4.95, 7.0]), np.array([1.19, 3.14, 5.14, 8.0]))
    np.testing.assert_allclose(found, [0.5, 0.3, 0.0, 0.0])


@pytest.mark.parametrize(("hertz", "part"), [(3.0, "slow"), (12.0, "level")])
def test_a_band_ends_where_it_says_with_both_passes_together(hertz, part):
    """At the cutoff of a low-pass half the power is left (its definition): 1 / sqrt(2) of the amplitude, not 1 / 2."""
    _, x = burst(hertz, 1.0, first=25.0, last=35.0, fs=100.0)
    found = activity_of(x, 100.0)
    inside = getattr(found, part)[int(28 * found.fs) : int(32 * found.fs)]
    assert np.sqrt(2) * inside.std() == pytest.approx(1 / np.sqrt(2), abs=0.01)


def test_beneath_strokes_a_turn_of_the_head_goes_and_a_burst_stays():
    """Gaussian of 0.2 s: exp(-2 (pi f 0.2)^2) of a wave is taken away, 0.82 at 0.5 Hz and 0.001 at 3 Hz."""
    t = np.arange(4000) / FS
    burst = np.where(abs(t - 20) < 0.5, np.cos(np.pi * (t - 20)) ** 2 * np.cos(2 * np.pi * 3 * t), 0.0)
    found = measure_activity(burst + np.sin(2 * np.pi * 0.2 * t), np.ones(t.size, dtype=bool), FS, strokes_only=True)
    assert found.level[abs(t - 20) < 0.05].max() == pytest.approx(1.0, abs=0.15)
    assert np.abs(found.level[(abs(t - 20) > 2) & (t > 2) & (t < t[-1] - 2)]).max() < 0.1
