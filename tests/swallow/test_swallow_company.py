"""What candidates are compared with: the typical ones, their neighbours, a swallow as it should be."""

import numpy as np
import pandas as pd
import pytest
from strainstudy.swallow.activity import Activity
from strainstudy.swallow.candidates import _share_inside
from strainstudy.swallow.company import compare_with_company
from strainstudy.swallow.generic import generic_score, gives_bursts, plausibility, sip_score, sure_sips
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
    """Candidates in every way like a swallow, lone, in a session of like swallows, but for what is named."""
    values = {
        "duration_s": 1.0, "level_change": 0.0, "peak_position": 0.5, "rise_time_s": 0.3, "centre_position": 0.5,
        "pattern_likeness": 1.0, "waveform_likeness": 1.0, "log_size_ratio": 0.0, "log_duration_s_ratio": 0.0,
        "log_path_length_ratio": 0.0, "pause_before_s": 5.0, "stream": 0, "size": 1.0, "outline_fit": 1.0,
        "turning_points": 6.0, "stroke_hz": 4.0, "fast_share": 0.05,
        "over_rest": 20.0, "activity_before": 0.0, "activity_after": 0.0, "quickness": -1.0, "typical_quickness": -1.0,
        "typical_closeness": 1.0, "run_count": 1, "run_likeness": 0.0, "run_interval_cv": 0.0,
        "run_duration_spread": 0.0, "run_size_spread": 0.0,
    }  # fmt: skip
    many = max(len(np.atleast_1d(v)) for v in columns.values()) if columns else 1
    return pd.DataFrame({"onset": 20.0 * np.arange(many)} | values | columns, index=range(many))


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
def test_where_swallows_are_alike_the_score_of_a_lone_candidate_is_the_root_of_its_parts(name, value, part):
    assert generic_score(like(**{name: [value]}), PARAMETERS) == pytest.approx(np.sqrt(part), abs=1e-6)


def unlike(**columns):
    """As `like`, in a session whose swallows are not of one waveform: only the outline counts."""
    return like(**{"typical_closeness": 0.9, "pattern_likeness": 0.0, "waveform_likeness": 0.0} | columns)


@pytest.mark.parametrize(
    ("name", "value", "part"),
    [
        ("duration_s", 1.25 * SHORT, 0.0), ("duration_s", 1.625 * SHORT, 0.5), ("duration_s", 2.0 * SHORT, 1.0),
        ("duration_s", 0.8 * LONG, 1.0), ("duration_s", LONG, 0.5), ("duration_s", 1.2 * LONG, 0.0),
        ("level_change", 0.3, 1.0), ("level_change", 0.65, 0.5), ("level_change", 1.0, 0.0),
        ("peak_position", 0.075, 0.5), ("peak_position", 0.15, 1.0), ("peak_position", 0.925, 0.5),
        ("centre_position", 0.275, 0.5), ("centre_position", 0.65, 1.0), ("centre_position", 0.8, 0.0),
        ("quickness", 0.2, 1.0), ("quickness", 0.4, 0.5), ("quickness", 0.6, 0.0),
        ("outline_fit", 0.3, 0.0), ("outline_fit", 0.45, 0.5), ("outline_fit", 0.6, 1.0),
        ("activity_before", 0.25, 1.0), ("activity_before", 0.375, 0.5), ("activity_after", 0.375, 0.5),
        ("activity_after", 0.5, 0.0),
    ],
)  # fmt: skip
def test_where_swallows_are_unlike_the_score_of_a_lone_candidate_is_the_root_of_the_parts_of_its_outline(
    name, value, part
):
    assert generic_score(unlike(**{name: [value]}), PARAMETERS) == pytest.approx(np.sqrt(part), abs=1e-6)


@pytest.mark.parametrize(("ratio", "part"), [(-1.9, 0.0), (-1.55, 0.5), (-1.2, 1.0)])
def test_a_movement_is_small_beside_the_largest_of_its_stream_that_could_be_a_swallow(ratio, part):
    """The largest is 1; ten times of it lasts too long for a swallow and is none to compare with."""
    frame = unlike(size=[1.0, np.exp(ratio), 10.0, np.exp(ratio)], duration_s=[1.0, 1.0, 9.0, 1.0], stream=[0, 0, 0, 1])
    assert generic_score(frame, PARAMETERS) == pytest.approx([1.0, np.sqrt(part), 0.0, 1.0], abs=1e-6)


@pytest.mark.parametrize(("slower", "part"), [(0.9, 1.0), (1.15, 0.5), (1.4, 0.0)])
def test_a_movement_much_slower_than_the_largest_of_its_stream_is_of_another_kind(slower, part):
    frame = unlike(size=[1.0, 0.9, 0.9], quickness=[0.0, -slower, -slower], stream=[0, 0, 1])
    assert generic_score(frame, PARAMETERS) == pytest.approx([1.0, np.sqrt(part), 1.0], abs=1e-6)


@pytest.mark.parametrize(("times", "part"), [(1.0, 1.0), (1.25, 0.5), (1.5, 0.0)])
def test_one_hump_among_bursts_is_of_another_kind(times, part):
    turns = [8.0, 8.0 / np.exp(times), 1.0]
    frame = unlike(size=[1.0, 0.9, 0.9], turning_points=turns, stream=[0, 0, 1])
    assert generic_score(frame, PARAMETERS) == pytest.approx([1.0, np.sqrt(part), 1.0], abs=1e-6)


@pytest.mark.parametrize(("distance", "part"), [(0.5, 1.0), (0.7, 0.5), (0.9, 0.0)])
def test_a_movement_without_strokes_needs_its_like_in_the_session(distance, part):
    """Without another it scores nothing; a burst, however near in size, is not its like."""
    alone = unlike(stroke_hz=[1.5, 4.0])
    assert generic_score(alone, PARAMETERS) == pytest.approx([0.0, 1.0], abs=1e-6)
    two = unlike(stroke_hz=1.5, size=[1.0, np.exp(-distance)], stream=[0, 1])
    assert generic_score(two, PARAMETERS) == pytest.approx([part, part], abs=1e-6)


@pytest.mark.parametrize(
    ("onset", "size", "pace", "fit", "paired"),
    [
        (10.0, np.exp(-0.5), 0.2, 0.6, True), (10.1, 1.0, -1.0, 1.0, False), (5.0, np.exp(-0.51), -1.0, 1.0, False),
        (5.0, 1.0, 0.21, 1.0, False), (5.0, 1.0, -1.0, 0.59, False),
    ],
)  # fmt: skip
def test_a_burst_next_to_its_like_stands_out_of_rest_as_if_it_were_a_quarter_larger(onset, size, pace, fit, paired):
    """5.8 times a quarter more is 7.25, the middle of 6 and 8.5; 5.8 alone is below both."""
    frame = unlike(
        over_rest=5.8,
        onset=[0.0, onset],
        fast_share=0.15,
        size=[1.0, size],
        quickness=[-1.0, pace],
        outline_fit=[1.0, fit],
    )
    assert generic_score(frame, PARAMETERS)[0] == pytest.approx(np.sqrt(0.5) if paired else 0.0, abs=1e-6)
    apart = frame.assign(stream=[0, 1])
    assert generic_score(apart, PARAMETERS)[0] == pytest.approx(0.0, abs=1e-6)


@pytest.mark.parametrize(
    ("columns", "bursts"),
    [
        ({}, True), ({"typical_closeness": 0.98}, False), ({"typical_quickness": 1.2}, False),
        ({"stroke_hz": 2.3}, False), ({"turning_points": 2.0}, False), ({"fast_share": 0.08}, False),
        ({"over_rest": 5.9}, False), ({"stroke_hz": [4.0, 1.2], "duration_s": [1.0, 2.0]}, True),
        ({"stroke_hz": [4.0, 1.2], "duration_s": [1.0, 2.5]}, False),
        ({"stroke_hz": [4.0, 1.2], "duration_s": [1.0, 2.5], "over_rest": [20.0, 5.9]}, True),
    ],
)  # fmt: skip
def test_a_sensor_gives_bursts_where_a_third_of_the_energy_above_rest_has_strokes(columns, bursts):
    assert gives_bursts(unlike(**{"fast_share": 0.15} | columns)) == bursts


def test_bursts_need_not_come_back_to_the_level_that_a_moving_head_takes_elsewhere():
    """The smooth one beside them, of which there are two, has to."""
    frame = unlike(fast_share=[0.15, 0.05, 0.05], stroke_hz=[4.0, 1.5, 1.5], level_change=[3.0, 3.0, 0.0])
    assert generic_score(frame, PARAMETERS)[:2] == pytest.approx([1.0, 0.0], abs=1e-6)


def test_the_outline_of_a_run_counts_by_energy():
    """Sizes 1 and 0.5 of one length have energies 4:1. Their pace, 0.2 and 0.7, has the mean of 0.3, so that each is
    taken for 0.25 and 0.5, parts 0.875 and 0.25 of the outline; the scores are tempered by the run's, again 4:1.
    """
    frame = unlike(size=[1.0, 0.5], quickness=[0.2, 0.7], pause_before_s=[5.0, 0.4])
    alone = np.sqrt([0.875, 0.25])
    assert generic_score(frame, PARAMETERS) == pytest.approx(np.sqrt(alone * (0.8 * alone[0] + 0.2 * alone[1])))
    apart = unlike(size=[1.0, 0.5], quickness=[0.2, 0.7], pause_before_s=[5.0, 0.6])
    assert generic_score(apart, PARAMETERS) == pytest.approx([1.0, 0.0], abs=1e-6)


@pytest.mark.parametrize(
    ("closeness", "pace", "share"),
    [
        (0.97, -1.0, 0.0), (0.9775, -1.0, 0.5), (0.985, -1.0, 1.0), (0.9, 1.1, 0.0), (0.9, 1.25, 0.5), (0.9, 1.4, 1.0),
        (0.9775, 1.4, 1.0), (np.nan, np.nan, 0.0), (np.nan, 1.4, 0.0),
    ],
)  # fmt: skip
def test_likeness_counts_by_how_alike_the_most_alike_are_or_how_the_sensor_rings(closeness, pace, share):
    """An outline of a quarter (root of it: a half) beside a likeness in full, and the other way about."""
    session = {"typical_closeness": [closeness], "typical_quickness": [pace]}
    outline = like(outline_fit=[0.375], **session)
    assert generic_score(outline, PARAMETERS) == pytest.approx(share + (1 - share) * 0.5, abs=1e-6)
    waveform = like(pattern_likeness=[0.675], **session)
    assert generic_score(waveform, PARAMETERS) == pytest.approx(share * 0.5 + 1 - share, abs=1e-6)


@pytest.mark.parametrize(("over", "part"), [(6.0, 0.0), (7.25, 0.5), (8.5, 1.0)])
@pytest.mark.parametrize("session", [like, unlike])
def test_a_swallow_stands_out_of_rest_in_every_session(session, over, part):
    assert generic_score(session(over_rest=[over]), PARAMETERS) == pytest.approx(np.sqrt(part), abs=1e-6)


def sips(**columns):
    """Three candidates in one run, in every way like sips, but for what is named."""
    usual = {"pause_before_s": [5.0, 0.2, 0.2], "run_count": 3, "run_likeness": 1.0}
    return like(**usual | columns)


@pytest.mark.parametrize(
    ("name", "value", "part"),
    [
        ("run_likeness", 0.5, 0.0), ("run_likeness", 0.625, 0.5), ("run_likeness", 0.75, 1.0),
        ("run_interval_cv", 0.18, 1.0), ("run_interval_cv", 0.24, 0.5), ("run_interval_cv", 0.3, 0.0),
        ("run_duration_spread", 0.25, 1.0), ("run_duration_spread", 0.325, 0.5), ("run_duration_spread", 0.4, 0.0),
        ("run_size_spread", 0.4, 1.0), ("run_size_spread", 0.55, 0.5), ("run_size_spread", 0.7, 0.0),
        ("quickness", 0.2, 1.0), ("quickness", 0.4, 0.5), ("quickness", 0.6, 0.0),
        ("log_size_ratio", -1.1, 0.0), ("log_size_ratio", -0.85, 0.5), ("log_size_ratio", -0.6, 1.0),
        ("log_size_ratio", np.nan, 1.0), ("log_path_length_ratio", 0.4, 1.0), ("log_path_length_ratio", 0.65, 0.5),
        ("log_path_length_ratio", np.nan, 1.0), ("run_count", 2, 0.0), ("run_count", 3, 1.0),
        ("level_change", 0.65, 0.5 ** (1 / 5)),
    ],
)  # fmt: skip
def test_sips_are_scored_by_the_sips_beside_them(name, value, part):
    assert sip_score(sips(**{name: value}), PARAMETERS) == pytest.approx(np.full(3, np.sqrt(part)), abs=1e-6)


def test_sips_of_a_ringing_sensor_may_be_quick():
    found = sip_score(sips(quickness=0.6, typical_quickness=1.25), PARAMETERS)
    assert found == pytest.approx(np.full(3, np.sqrt(0.5)), abs=1e-6)


def test_what_is_a_sip_needs_no_waveform_of_the_session_but_stands_out_of_rest():
    """Half of one score and half of another: the larger counts, and rest takes from both."""
    frame = sips(pattern_likeness=0.6, run_likeness=0.625)
    assert generic_score(frame, PARAMETERS) == pytest.approx(np.full(3, np.sqrt(0.5)), abs=1e-6)
    faint = sips(pattern_likeness=0.6, run_likeness=0.625, over_rest=7.25)
    assert generic_score(faint, PARAMETERS) == pytest.approx(np.full(3, 0.5), abs=1e-6)
    alike = sips(pattern_likeness=0.9, run_likeness=0.5)
    assert generic_score(alike, PARAMETERS) == pytest.approx(np.ones(3), abs=1e-6)


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
    return Activity(
        fs=fs, level=a, base=a, slow=a, texture=a, broad=a, coarse=a, fine=a, significance=a, noise=same,
        observed=same.astype(bool),
    )  # fmt: skip


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


# Half-way, in ratios, between the medians of real swallows and real coughs that `strokes.quickness` is scaled by.
MIDDLE = {"fast_share": np.sqrt(0.17 * 0.41), "stroke_hz": np.sqrt(4.1 * 6.0), "turning_points": np.sqrt(6.5 * 12.5)}


def typical_frame(m, **columns):
    usual = {name: np.full(m, 2.0) for name in (*DIFFERENCES, *RATIOS)}
    return pd.DataFrame(usual | {name: np.full(m, value) for name, value in MIDDLE.items()} | columns)


def test_what_is_typical_is_the_densest_company_of_plausible_lone_candidates():
    """Five alike, three unlike one another, one implausible: differences and logarithms of ratios from the five."""
    waves = unit(
        [[1, 0, 0.1], [1, 0.1, 0], [1, 0, 0], [1, 0.05, 0.05], [1, 0, 0], [0, 1, 0], [0, 0, 1], [-1, 0, 0], [1, 0, 0]]
    )
    plausible = np.array([0.9] * 8 + [0.2])
    size = np.array([1.0, 2.0, 4.0, 2.0, 2.0, 50.0, 60.0, 70.0, 8.0])
    width = np.array([0.5, 0.5, 0.6, 0.4, 0.5, 0.1, 0.1, 0.1, 0.9])
    # the centre of the spectrum alone as in a swallow, in the middle, or as in a cough: thirds of -1, 0 and 1
    hertz = np.array([4.1, MIDDLE["stroke_hz"], 6.0, 6.0, 6.0, 4.1, 4.1, 4.1, 4.1])
    frame = typical_frame(9, size=size, half_width=width, stroke_hz=hertz)
    found = compare_with_typical(waves, frame, plausible, np.ones(9, bool), np.zeros(9, int))
    np.testing.assert_allclose(found["quickness"], np.array([-1, 0, 1, 1, 1, -1, -1, -1, -1]) / 3, atol=1e-12)
    np.testing.assert_allclose(found["typical_quickness"], 1 / 3)
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
    # how quick a candidate is needs no company
    np.testing.assert_allclose(found.pop("quickness"), 0.0, atol=1e-12)
    assert all(np.isnan(values).all() for values in found.values())
    enough = compare_with_typical(
        waves, typical_frame(3), np.array([0.9, 0.9, 0.5]), np.zeros(3, bool), np.zeros(3, int)
    )
    assert np.isfinite(enough["pattern_likeness"]).all()


def test_closeness_is_that_of_the_most_alike_quarter_of_twelve_and_more():
    """Brute force: of twelve, each with the two most like it (a quarter is three); implausible ones do not count."""
    rng = np.random.default_rng(5)
    waves = unit(rng.standard_normal((13, 4)))
    plausible = np.array([1.0] * 12 + [0.4])
    waves[12] = waves[0]
    best = max(np.mean(sorted(waves[k] @ waves[j] for j in range(12) if j != k)[-2:]) for k in range(12))
    found = compare_with_typical(waves, typical_frame(13), plausible, np.ones(13, bool), np.zeros(13, int))
    np.testing.assert_allclose(found["typical_closeness"], best)
    few = compare_with_typical(waves[1:], typical_frame(12), plausible[1:], np.ones(12, bool), np.zeros(12, int))
    assert np.isnan(few["typical_closeness"]).all()
    assert np.isfinite(few["pattern_likeness"]).all()


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
    t, holds = np.linspace(0, 1, 101), np.zeros(1)
    assert _hump(np.sin(np.pi * t) ** 2, 100.0, holds) == pytest.approx(1.0, abs=0.05)
    assert _hump(np.sin(2 * np.pi * t), 100.0, holds) == pytest.approx(-0.3, abs=0.05)
    assert _hump(t, 100.0, holds) == pytest.approx(1 - np.mean(t[-10:]))


def test_shares_inside_spans_are_seconds_of_overlap():
    spans = np.array([[1.0, 2.0], [4.0, 4.5]])
    onset, end = np.array([0.0, 1.5, 1.0, 3.0, 4.2]), np.array([0.5, 2.5, 5.0, 4.0, 4.4])
    np.testing.assert_allclose(_share_inside(spans, onset, end), [0.0, 0.5, 1.5 / 4, 0.0, 1.0])
    assert _share_inside(np.empty((0, 2)), onset, end).tolist() == [0.0] * 5


def test_sure_sips_are_told_run_by_run_within_a_recording_and_stand_out_of_rest():
    rows = pd.DataFrame(
        {
            "recording_id": ["a"] * 6 + ["b"] * 2,
            "pause_before_s": [5.0, 0.2, 0.2, 0.6, 0.1, 0.1, 0.1, 0.2],
            "sip_score": [0.75, 0.9, 0.74, 0.8, 0.8, 0.8, 0.9, 0.9],
            "score": [0.8, 0.9, 0.8, 0.8, 0.59, 0.8, 0.9, 0.9],
        }
    )
    first, second, third = (sure_sips(rows, PARAMETERS)[k] for k in (0, 3, 6))
    assert sure_sips(rows, PARAMETERS).tolist() == [first, first, -1, second, -1, second, third, third]
    assert len({first, second, third}) == 3
