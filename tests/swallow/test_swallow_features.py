"""Features of candidates against their definitions, worked out one candidate at a time with numpy and scipy."""

import numpy as np
import pytest
from scipy.signal import windows
from strainstudy.swallow.activity import Activity
from strainstudy.swallow.features import FEATURE_NAMES, RUN_PAUSE_S, describe_candidates, recorded_shapes

FS = 50.0
N = 1500
# Onset, end and peak in samples: a lone candidate, two close together, one at the end of the stream.
EDGES = np.array([[120, 170, 140], [400, 450, 430], [465, 500, 480], [1400, 1492, 1450]], dtype=float)
PIECES = np.array([[60, 300], [330, 458], [458, 560], [1300, 1500]])


@pytest.fixture(scope="module")
def activity() -> Activity:
    """Any stream will do, the rougher the better: a definition holds for all."""
    rng = np.random.default_rng(8)
    t = np.arange(N) / FS
    level = 0.2 * rng.standard_normal(N) + np.sin(2 * np.pi * 0.9 * t) + 0.5 * np.sin(2 * np.pi * 4.1 * t + 1)
    return Activity(
        fs=FS,
        level=level,
        base=0.5 * t + 0.3 * rng.standard_normal(N),
        slow=np.cumsum(rng.standard_normal(N)) / 10,
        texture=rng.standard_normal(N).astype(np.float32),
        broad=level.astype(np.float32),
        coarse=0.1 + rng.random(N),
        fine=0.1 + rng.random(N),
        significance=np.ones(N, dtype=np.float32),
        noise=np.ones(N, dtype=np.float32),
        observed=np.ones(N, dtype=bool),
    )


@pytest.fixture(scope="module")
def found(activity):
    return describe_candidates(activity, EDGES, PIECES)


def parts(values):
    return [values[int(onset) : int(end) + 1] for onset, end, _ in EDGES]


def test_times_are_those_of_the_edges(found):
    onset, end, peak = EDGES.T
    np.testing.assert_allclose(found["onset"], onset / FS)
    np.testing.assert_allclose(found["duration"], (end - onset) / FS)
    np.testing.assert_allclose(found["peak_time"], peak / FS)
    np.testing.assert_allclose(found["peak_position"], (peak - onset) / (end - onset))
    assert (found["duration_s"] == found["duration"]).all()
    assert (found["rise_time"] == found["rise_time_s"]).all()


def test_rise_runs_from_the_first_passage_of_a_tenth_to_that_of_nine_tenths(activity, found):
    """Reference levels of IEEE Std 181 (from memory)."""
    expected = []
    for part in parts(np.abs(activity.level)):
        first = [next(k for k, v in enumerate(part) if v >= share * part.max()) for share in (0.1, 0.9)]
        expected.append((first[1] - first[0]) / FS)
    np.testing.assert_allclose(found["rise_time"], expected)


def test_shape_of_the_level_is_that_of_its_definitions(activity, found):
    for k, part in enumerate(parts(activity.level)):
        row, amplitude = found.iloc[k], np.abs(part).max()
        sign = np.sign(part[np.abs(part).argmax()])
        assert row["opposite_share"] == pytest.approx(max((-sign * part).max(), 0) / amplitude)
        assert row["net_area"] == pytest.approx(abs(part.sum()) / np.abs(part).sum())
        assert row["path_length"] == pytest.approx(np.abs(np.diff(part)).sum() / (2 * amplitude))
        texture = parts(activity.texture)[k].astype(float)
        assert row["texture"] == pytest.approx(np.sqrt(np.mean(texture**2)) / np.ptp(part), rel=1e-5)
        onset, end = int(EDGES[k, 0]), int(EDGES[k, 1])
        change = activity.base[min(end + 10, N - 1)] - activity.base[onset - 10]
        assert row["level_change"] == pytest.approx(abs(change) / amplitude)


def test_steepest_slopes_lie_before_and_after_the_peak(activity, found):
    for k, part in enumerate(parts(activity.slow)):
        slope = np.abs(np.diff(part)) * FS / np.abs(parts(activity.level)[k]).max()
        turn = int(EDGES[k, 2] - EDGES[k, 0])
        assert found["steepest_rise"][k] == pytest.approx(slope[:turn].max())
        assert found["steepest_fall"][k] == pytest.approx(slope[turn:].max())


def test_size_and_centre_are_those_of_the_activity(activity, found):
    for k, part in enumerate(parts(activity.fine)):
        energy, step = part**2, np.arange(len(part))
        assert found["size"][k] == part.max()
        assert found["half_width"][k] == np.mean(part > 0.5 * part.max())
        assert found["centre_position"][k] == pytest.approx(np.average(step, weights=energy) / (len(part) - 1))


def test_shares_of_the_spectrum_are_those_of_a_hann_window_over_the_candidate(activity, found):
    """Scipy's Hann window without its zeros; spectrum at steps of a quarter hertz, up to 13 Hz."""
    bands = {"share_below_1hz": (0, 1), "share_1_3hz": (1, 3), "share_3_6hz": (3, 6), "share_above_6hz": (6, 13)}
    for k, part in enumerate(parts(activity.level)):
        windowed = part * windows.hann(len(part) + 2)[1:-1]
        frequency = np.arange(0, 13, 0.25)
        phase = np.exp(-2j * np.pi * frequency[:, None] * np.arange(len(part)) / FS)
        power = np.abs(phase @ windowed) ** 2
        edge = np.abs(np.exp(-2j * np.pi * 13 * np.arange(len(part)) / FS) @ windowed) ** 2
        for name, (low, high) in bands.items():
            inside = (frequency >= low) & (frequency < high)
            assert found[name][k] == pytest.approx(power[inside].sum() / (power.sum() + edge))
        centre = (power @ frequency + 13 * edge) / (power.sum() + edge)
        assert found["centroid_hz"][k] == pytest.approx(centre)


def test_surroundings_are_two_seconds_to_either_side_and_valleys_the_lowest_of_the_piece(activity, found):
    coarse = activity.coarse
    for k, (onset, end, _) in enumerate(EDGES.astype(int)):
        row, (left, right) = found.iloc[k], PIECES[k]
        peak, within = coarse[left:right].max(), coarse[onset : end + 1].mean()
        assert row["valley_before"] == pytest.approx(coarse[left : onset + 1].min() / peak)
        assert row["valley_after"] == pytest.approx(coarse[end:right].min() / peak)
        assert row["activity_before"] == pytest.approx(coarse[max(onset - 100, 0) : onset].mean() / within)
        behind = coarse[end + 1 : min(end + 101, N - 1)]
        assert row["activity_after"] == pytest.approx(behind.mean() / within)


def test_pauses_and_runs_are_those_between_the_edges(found):
    """Ends at 3.4, 9.0, 10.0 s and onsets at 8.0, 9.3, 28.0 s; a pause counts up to 5 s, a run goes on for less than
    half a second.
    """
    assert RUN_PAUSE_S == 0.5
    np.testing.assert_allclose(found["pause_before_s"], [5.0, 4.6, 0.3, 5.0])
    np.testing.assert_allclose(found["pause_after_s"], [4.6, 0.3, 5.0, 5.0])
    np.testing.assert_allclose(found["run_length_s"], [1.0, 2.0, 2.0, 1.84])
    assert found["run_count"].tolist() == [1, 2, 2, 1]


@pytest.mark.parametrize(("half_waves", "least"), [(1, 1), (2, 2), (5, 5)])
def test_strokes_are_the_turning_points_of_a_wave(half_waves, least):
    """A sine of so many half waves turns once in each; ripples below a quarter of its size do not count."""
    step = np.arange(400) / 399
    wave = np.sin(np.pi * half_waves * step)
    for ripple in (0.0, 0.1):
        level = np.concatenate([np.zeros(50), wave + ripple * np.sin(2 * np.pi * 40 * step), np.zeros(50)])
        found = recorded_shapes(level, np.array([50]), np.array([449]))
        assert found["recorded_strokes"].tolist() == [least]


def test_recorded_shapes_are_those_of_the_stream_itself():
    level = np.array([0.0, 0.0, 1.0, 3.0, 2.0, -1.0, 0.0, 0.0, -2.0, -4.0, 1.0, 0.0, 0.0])
    found = recorded_shapes(level, np.array([2, 8]), np.array([5, 10]))
    assert found["amplitude"].tolist() == [3.0, 4.0]
    assert found["peak_to_peak"].tolist() == [4.0, 5.0]
    assert found["area"].tolist() == [7.0, 7.0]
    assert found["polarity"].tolist() == [1.0, -1.0]
    np.testing.assert_allclose(found["recorded_opposite_share"], [1 / 3, 1 / 4])


def test_many_candidates_are_measured_as_each_by_itself():
    """They are worked on some hundred at a time."""
    rng = np.random.default_rng(1)
    level = rng.standard_normal(20_000)
    onset = np.arange(0, 19_500, 15)
    end = onset + 3 + rng.integers(0, 10, onset.size)
    together = recorded_shapes(level, onset, end)
    for k in (0, 511, 512, 1299):
        alone = recorded_shapes(level, onset[k : k + 1], end[k : k + 1])
        assert {name: values[k] for name, values in together.items()} == pytest.approx(
            {name: values[0] for name, values in alone.items()}
        )


def test_every_feature_of_a_candidate_by_itself_has_its_specification(found):
    own = set(found.columns) - {"onset", "duration", "rise_time", "peak_time", "size"}
    assert own <= set(FEATURE_NAMES) | {
        "opposite_share", "net_area", "strokes", "path_length", "steepest_rise", "steepest_fall", "share_below_1hz",
        "share_1_3hz", "share_3_6hz", "share_above_6hz", "centroid_hz", "texture",
    }  # fmt: skip
