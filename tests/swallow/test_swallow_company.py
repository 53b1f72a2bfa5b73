"""What candidates are compared with: the typical ones, their neighbours, a swallow as it should be."""

import numpy as np
import pandas as pd
import pytest
from strainstudy.swallow.activity import Activity
from strainstudy.swallow.candidates import _share_inside
from strainstudy.swallow.company import compare_with_company
from strainstudy.swallow.generic import generic_score, plausibility
from strainstudy.swallow.parameters import SwallowParameters
from strainstudy.swallow.restore import _hump, _restored
from strainstudy.swallow.typical import (
    DIFFERENCES,
    RATIOS,
    company_likeness,
    compare_with_typical,
    waveforms,
    windows,
)

PARAMETERS = SwallowParameters()


def unit(rows):
    rows = np.asarray(rows, dtype=float)
    return rows / np.linalg.norm(rows, axis=1, keepdims=True)


def test_neighbours_are_those_less_than_a_second_away_and_the_nearer_counts():
    """Three sips close together, one alone: distances of logarithms and of waveforms to the more alike neighbour."""
    waves = unit([[1, 0], [1, 1], [0, 1], [1, 0]])
    measured = pd.DataFrame(
        {
            "size": [1.0, np.e, np.e**3, 5.0],
            "duration_s": [1.0, 2.0, 2.0, 1.0],
            "pause_before_s": [5.0, 0.3, 0.9, 4.0],
            "pause_after_s": [0.3, 0.9, 4.0, 5.0],
            "pattern_likeness": [0.9, 0.8, 0.1, 0.7],
        }
    )
    found = compare_with_company(waves, measured, np.array([0.2, 0.6, 0.5, 1.0]))
    half = 1 - np.sqrt(0.5)
    np.testing.assert_allclose(found["neighbour_unlikeness"], [half, half, half, 0.0])
    np.testing.assert_allclose(found["neighbour_size_difference"], [1.0, 1.0, 2.0, 0.0])
    np.testing.assert_allclose(found["neighbour_duration_difference"], [np.log(2), 0.0, 0.0, 0.0], atol=1e-12)
    # a run goes on over pauses below half a second: the first two
    np.testing.assert_allclose(found["run_plausibility"], [0.4, 0.4, 0.5, 1.0])
    np.testing.assert_allclose(found["run_pattern_likeness"], [0.85, 0.85, 0.1, 0.7])
    np.testing.assert_allclose(found["run_size_spread"], [np.sqrt(0.5)] * 2 + [0.0, 0.0])
    np.testing.assert_allclose(found["run_duration_spread"], [np.log(2) * np.sqrt(0.5)] * 2 + [0.0, 0.0])
    np.testing.assert_allclose(found["run_log_duration"], [np.log(2) / 2] * 2 + [np.log(2), 0.0])
    assert found["plausibility"].tolist() == [0.2, 0.6, 0.5, 1.0]


def like(**columns):
    """Candidates in every way like a swallow, but for what is named."""
    values = {
        "duration_s": 1.0, "level_change": 0.0, "peak_position": 0.5, "rise_time_s": 0.3, "centre_position": 0.5,
        "pattern_likeness": 1.0, "waveform_likeness": 1.0, "log_size_ratio": 0.0, "log_duration_s_ratio": 0.0,
        "log_path_length_ratio": 0.0, "pause_before_s": 5.0,
    }  # fmt: skip
    return pd.DataFrame(
        values | columns, index=range(max(len(np.atleast_1d(v)) for v in columns.values()) if columns else 1)
    )


SHORT, LONG = PARAMETERS.shortest_s, PARAMETERS.longest_s


@pytest.mark.parametrize(
    ("name", "value", "part"),
    [
        ("duration_s", 0.75 * SHORT, 0.0), ("duration_s", SHORT, 0.5), ("duration_s", 1.25 * SHORT, 1.0),
        ("duration_s", 0.8 * LONG, 1.0), ("duration_s", LONG, 0.5), ("duration_s", 1.2 * LONG, 0.0),
        ("level_change", 0.3, 1.0), ("level_change", 0.65, 0.5), ("level_change", 1.0, 0.0),
        ("peak_position", 0.075, 0.5), ("peak_position", 0.15, 1.0), ("peak_position", 0.85, 1.0),
        ("peak_position", 0.925, 0.5), ("rise_time_s", 0.05, 0.0), ("rise_time_s", 0.085, 0.5),
        ("rise_time_s", 0.12, 1.0), ("centre_position", 0.2, 0.0), ("centre_position", 0.275, 0.5),
        ("centre_position", 0.35, 1.0), ("centre_position", 0.65, 1.0), ("centre_position", 0.725, 0.5),
    ],
)  # fmt: skip
def test_plausibility_is_the_geometric_mean_of_five_parts_each_with_its_limits(name, value, part):
    assert plausibility(like(**{name: [value]}), PARAMETERS) == pytest.approx(part ** (1 / 5), abs=1e-6)


@pytest.mark.parametrize(
    ("name", "value", "part"),
    [
        ("pattern_likeness", 0.6, 0.0), ("pattern_likeness", 0.75, 0.5), ("pattern_likeness", 0.9, 1.0),
        ("pattern_likeness", np.nan, 0.7), ("waveform_likeness", 0.65, 0.5), ("waveform_likeness", 0.8, 1.0),
        ("waveform_likeness", np.nan, 0.7), ("log_size_ratio", -1.15, 0.5), ("log_size_ratio", 0.7, 1.0),
        ("log_size_ratio", 1.15, 0.5), ("log_size_ratio", np.nan, 1.0), ("log_duration_s_ratio", -0.7, 0.5),
        ("log_duration_s_ratio", 0.5, 1.0), ("log_duration_s_ratio", 0.7, 0.5), ("log_path_length_ratio", -0.65, 0.5),
        ("log_path_length_ratio", 0.4, 1.0), ("log_path_length_ratio", 0.65, 0.5),
    ],
)  # fmt: skip
def test_the_score_of_a_lone_candidate_is_the_root_of_its_parts(name, value, part):
    assert generic_score(like(**{name: [value]}), PARAMETERS) == pytest.approx(np.sqrt(part), abs=1e-6)


def test_a_candidate_is_scored_half_by_the_run_it_is_in():
    """Root of its own score and the run's median; 0.4 s of pause is one run, 0.6 s are two."""
    frame = like(pattern_likeness=[0.75, 0.9, 0.9], pause_before_s=[5.0, 0.4, 0.4])
    own = np.sqrt([0.5, 1.0, 1.0])
    assert generic_score(frame, PARAMETERS) == pytest.approx(np.sqrt(own * 1.0), abs=1e-6)
    apart = like(pattern_likeness=[0.75, 0.9, 0.9], pause_before_s=[5.0, 0.6, 0.4])
    assert generic_score(apart, PARAMETERS) == pytest.approx(own, abs=1e-6)


def test_likeness_of_windows_is_the_mean_of_the_quarter_most_alike():
    """Brute force over all pairs; a window is not compared with itself."""
    rng = np.random.default_rng(3)
    cut = unit(rng.standard_normal((13, 8)))
    found = company_likeness(cut)
    for k in range(13):
        others = sorted(abs(cut[k] @ cut[j]) for j in range(13) if j != k)
        assert found[k] == pytest.approx(np.mean(others[-3:]))
    assert np.isnan(company_likeness(cut[:3])).all()
    assert np.isfinite(company_likeness(cut[:4])).all()


def stream(n=500, fs=50.0):
    rng = np.random.default_rng(1)
    a = rng.standard_normal(n)
    same = np.ones(n)
    return Activity(fs, a, a, a, a, a, a, a, same, same.astype(bool))


def test_waveforms_are_read_at_24_places_from_onset_to_end_and_scaled_to_one():
    activity = stream()
    found = waveforms(activity, np.array([50, 200]), np.array([96, 315]))
    assert found.shape == (2, 24)
    expected = activity.slow[50:97:2]
    np.testing.assert_allclose(found[0], expected / np.linalg.norm(expected))
    expected = activity.slow[200:316:5]
    np.testing.assert_allclose(found[1], expected / np.linalg.norm(expected))


def test_windows_reach_nine_tenths_of_a_second_to_either_side():
    values = np.random.default_rng(2).standard_normal(400)
    found = windows(values, np.array([200.0]), 20.0)
    expected = values[182:219] - values[182:219].mean()
    np.testing.assert_allclose(found[0], expected / np.linalg.norm(expected))


def typical_frame(m, **columns):
    return pd.DataFrame({name: np.full(m, 2.0) for name in (*DIFFERENCES, *RATIOS)} | columns)


def test_what_is_typical_is_the_densest_company_of_plausible_lone_candidates():
    """Five alike, three unlike one another, one implausible: differences and logarithms of ratios from the five."""
    waves = unit(
        [[1, 0, 0.1], [1, 0.1, 0], [1, 0, 0], [1, 0.05, 0.05], [1, 0, 0], [0, 1, 0], [0, 0, 1], [-1, 0, 0], [1, 0, 0]]
    )
    plausible = np.array([0.9] * 8 + [0.2])
    size = np.array([1.0, 2.0, 4.0, 2.0, 2.0, 50.0, 60.0, 70.0, 8.0])
    width = np.array([0.5, 0.5, 0.6, 0.4, 0.5, 0.1, 0.1, 0.1, 0.9])
    found = compare_with_typical(
        waves, typical_frame(9, size=size, half_width=width), plausible, np.ones(9, bool), np.zeros(9, int)
    )
    assert (found["pattern_likeness"][:5] > 0.98).all()
    assert (np.abs(found["pattern_likeness"][5:7]) < 0.2).all()
    assert found["pattern_likeness"][7] < -0.98
    np.testing.assert_allclose(found["log_size_ratio"], np.log(size / 2.0))
    np.testing.assert_allclose(found["half_width_difference"], width - 0.5)
    np.testing.assert_allclose(found["log_strokes_ratio"], 0.0, atol=1e-12)


def test_a_size_is_compared_with_its_own_stream_where_three_are_typical_there():
    waves = unit([[1, 0.01 * k] for k in range(8)])
    size = np.array([1.0, 1.0, 1.0, 4.0, 4.0, 4.0, 9.0, 9.0])
    which = np.array([0, 0, 0, 1, 1, 1, 2, 2])
    found = compare_with_typical(waves, typical_frame(8, size=size), np.ones(8), np.ones(8, bool), which)
    np.testing.assert_allclose(found["log_size_ratio"], [0.0] * 6 + [np.log(9 / 4)] * 2, atol=1e-12)


def test_two_plausible_candidates_make_no_company():
    waves = unit([[1, 0], [1, 0.1], [1, 0.2]])
    found = compare_with_typical(waves, typical_frame(3), np.array([0.9, 0.9, 0.4]), np.ones(3, bool), np.zeros(3, int))
    assert all(np.isnan(values).all() for values in found.values())
    enough = compare_with_typical(
        waves, typical_frame(3), np.array([0.9, 0.9, 0.5]), np.zeros(3, bool), np.zeros(3, int)
    )
    assert np.isfinite(enough["pattern_likeness"]).all()


def test_the_leak_of_a_first_order_high_pass_is_undone():
    """X' = y' + k y: the answer of a leak of k to a known movement, by scipy's own integrator of the equation."""
    from scipy.integrate import cumulative_trapezoid

    fs, k = 2000.0, 2.0
    t = np.arange(round(3 * fs)) / fs
    movement = np.sin(np.pi * np.clip(t - 1, 0, 1)) ** 2
    # y = x - k exp(-kt) * integral of exp(kt) x
    answer = movement - k * np.exp(-k * t) * cumulative_trapezoid(np.exp(k * t) * movement, t, initial=0)
    back = _restored(answer, fs, k) * (1 + k * 0.3)
    np.testing.assert_allclose(back, movement, atol=3e-3)
    assert (_restored(answer, fs, 0.0) == answer).all()


def test_a_hump_that_comes_back_counts_one_and_a_wave_that_balances_nothing():
    t = np.linspace(0, 1, 101)
    assert _hump(np.sin(np.pi * t) ** 2, 100.0, 0.0) == pytest.approx(1.0, abs=0.05)
    assert _hump(np.sin(2 * np.pi * t), 100.0, 0.0) == pytest.approx(-0.3, abs=0.05)
    assert _hump(t, 100.0, 0.0) == pytest.approx(1 - np.mean(t[-10:]))


def test_shares_inside_spans_are_seconds_of_overlap():
    spans = np.array([[1.0, 2.0], [4.0, 4.5]])
    onset, end = np.array([0.0, 1.5, 1.0, 3.0, 4.2]), np.array([0.5, 2.5, 5.0, 4.0, 4.4])
    np.testing.assert_allclose(_share_inside(spans, onset, end), [0.0, 0.5, 1.5 / 4, 0.0, 1.0])
    assert _share_inside(np.empty((0, 2)), onset, end).tolist() == [0.0] * 5
