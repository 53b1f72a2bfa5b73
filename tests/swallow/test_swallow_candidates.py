import numpy as np
import pandas as pd
import pytest
from scipy.signal import butter, sosfiltfilt
from strainstudy.swallow.candidate_labels import label_candidates
from strainstudy.swallow.candidates import CANDIDATE_COLUMNS, detect_together
from strainstudy.swallow.features import FEATURE_NAMES, SWALLOW_FEATURES
from strainstudy.swallow.generic import accept_generic
from strainstudy.swallow.parameters import SwallowParameters
from throat_signals import ANSWERS, answer, counts, f1, movements, throat_stream

PARAMETERS = SwallowParameters()


def _labelled(stream, labels, fs=100.0):
    (found,) = detect_together([(stream, fs)], PARAMETERS)
    return found.assign(trial_type=label_candidates(found, labels))


@pytest.mark.parametrize("kind", ANSWERS)
def test_each_swallow_is_one_candidate_for_every_answer_of_the_sensor(kind):
    hits = extra = missed = 0
    for seed in (2, 3):
        stream, labels = throat_stream(seed, kind)
        found = _labelled(stream, labels)
        a, b, c = counts(found[found["trial_type"] == "swallow"], labels)
        hits, extra, missed = hits + a, extra + b, missed + c
    assert hits >= 40
    assert 2 * hits / (2 * hits + extra + missed) >= 0.97


@pytest.mark.parametrize("kind", ANSWERS)
def test_without_labels_swallows_are_found_among_speech_coughs_and_head_movements(kind):
    """At least 0.85 is asked for; a template method on a continuous stream reached 0.88 (IEEE BIBE 2023, 7 people)."""
    values = []
    for seed in (1, 4):
        stream, labels = throat_stream(seed, kind)
        (found,) = detect_together([(stream, 100.0)], PARAMETERS)
        values.append(f1(found[accept_generic(found, PARAMETERS)], labels))
    assert np.mean(values) >= 0.9


@pytest.mark.parametrize("fs", [50.0, 128.0, 333.3, 1000.0])
def test_sampling_frequency_does_not_change_what_is_found(fs):
    stream, labels = throat_stream(2, fs=fs, noise=0.01 * np.sqrt(fs / 100))
    (found,) = detect_together([(stream, fs)], PARAMETERS)
    assert f1(found[accept_generic(found, PARAMETERS)], labels) >= 0.9


def test_unit_and_polarity_do_not_change_what_is_found():
    stream, _ = throat_stream(2)
    (plain,) = detect_together([(stream, 100.0)], PARAMETERS)
    (turned,) = detect_together([(-3.7e-4 * stream + 12.0, 100.0)], PARAMETERS)
    assert len(plain) == len(turned)
    np.testing.assert_allclose(turned["onset"], plain["onset"], atol=1e-6)
    np.testing.assert_allclose(turned["amplitude"], 3.7e-4 * plain["amplitude"], rtol=1e-6)
    np.testing.assert_allclose(turned[list(FEATURE_NAMES)], plain[list(FEATURE_NAMES)], rtol=1e-4, atol=1e-6)
    assert (turned["polarity"] == -plain["polarity"]).all()


def test_duration_of_a_smooth_swallow_is_within_a_tenth_of_a_second_of_its_visible_movement():
    """Visible from 5 % of the way of a minimum-jerk movement (Flash T, Hogan N 1985, J Neurosci 5:1688-1703)."""
    t = np.arange(6000) / 100
    rng = np.random.default_rng(5)
    stream, truth = 0.004 * rng.standard_normal(len(t)), []
    for onset, rise, hold, fall in [
        (8, 0.4, 0.1, 0.5),
        (20, 0.5, 0.2, 0.6),
        (33, 0.35, 0.0, 0.45),
        (45, 0.6, 0.3, 0.7),
    ]:

        def way(x):
            u = np.clip(x, 0, 1)
            return u**3 * (10 - 15 * u + 6 * u * u)

        stream += way((t - onset) / rise) - way((t - onset - rise - hold) / fall)
        truth.append((onset + 0.189 * rise, onset + rise + hold + 0.811 * fall))
    (found,) = detect_together([(stream, 100.0)], PARAMETERS)
    assert len(found) == 4
    begin, end = np.array(truth).T
    assert np.abs(found["onset"] - begin).max() < 0.1
    assert abs((found["duration"] - (end - begin)).mean()) < 0.1


@pytest.mark.parametrize("kind", ANSWERS)
def test_durations_are_unbiased_for_every_answer_of_the_sensor(kind):
    stream, labels = throat_stream(3, kind)
    found = _labelled(stream, labels)
    swallows = found[found["trial_type"] == "swallow"]
    wanted = labels[labels["trial_type"] == "swallow"]
    assert abs(swallows["duration"].mean() - wanted["duration"].mean()) < 0.1


def test_two_or_three_swallows_alone_are_found_and_one_smooth_hump_may_be_a_nod():
    """Older people swallow 0.2 times a minute of themselves (Bulmer JM et al. 2021, doi 10.1177/23337214211041801).

    One smooth rise and fall in a whole session has nothing that it is like: it stays a candidate, and no swallow.
    """
    for count, swallows in ((1, 0), (2, 2), (3, 3)):
        rng = np.random.default_rng(count)
        acts = [("swallow", 20.0 + 60.0 * k, 1.1, 1.0) for k in range(count)]
        stream = movements(acts, 60.0 * count + 20.0, 100.0, rng) + 0.01 * rng.standard_normal(6000 * count + 2000)
        (found,) = detect_together([(stream, 100.0)], PARAMETERS)
        assert accept_generic(found, PARAMETERS).sum() == swallows
        assert len(found) >= count


def test_a_change_of_gain_within_a_session_hides_no_swallow():
    first, labels = throat_stream(2)
    second, more = throat_stream(3)
    found = detect_together([(first, 100.0), (20.0 * second, 100.0)], PARAMETERS)
    for frame, own in zip(found, (labels, more), strict=True):
        assert f1(frame[accept_generic(frame, PARAMETERS)], own) >= 0.85


@pytest.mark.parametrize("kind", ANSWERS)
def test_a_burst_of_sips_is_one_candidate_a_sip(kind):
    """Continuous drinking: 1.0-1.5 s a swallow (Hughes TAT, Wiles CM 1996, doi 10.1093/qjmed/89.2.109; from memory)."""
    rng = np.random.default_rng(11)
    acts = [("swallow", 3.0 + 6 * k, 1.1, 1.0) for k in range(4)]
    acts += [("swallow", 30.0 + 1.2 * k, 0.85, rng.lognormal(0, 0.15)) for k in range(10)]
    stream = answer(movements(acts, 60.0, 100.0, rng), 100.0, kind)
    stream = stream + 0.01 * np.ptp(stream) * rng.standard_normal(len(stream))
    (found,) = detect_together([(stream, 100.0)], PARAMETERS)
    centre = found["onset"] + found["duration"] / 2
    drinking = found[(centre > 29) & (centre < 43)]
    assert len(drinking) == 10
    assert np.abs(np.diff(drinking["onset"]) - 1.2).max() < 0.3


def test_a_timed_water_test_without_any_rest_between_is_counted():
    rng = np.random.default_rng(12)
    acts = [("swallow", 1.5 + 1.15 * k, 0.9, rng.lognormal(0, 0.1)) for k in range(8)]
    stream = movements(acts, 14.0, 100.0, rng) + 0.01 * rng.standard_normal(1400)
    (found,) = detect_together([(stream, 100.0)], PARAMETERS)
    assert accept_generic(found, PARAMETERS).sum() == 8


def _noises(hours, fs):
    rng = np.random.default_rng(7)
    n = int(hours * 3600 * fs)
    t = np.arange(n) / fs
    white = rng.standard_normal(n)
    spectrum = np.fft.rfft(rng.standard_normal(n)) / np.sqrt(np.maximum(np.fft.rfftfreq(n, 1 / fs), 0.01))
    walk = np.cumsum(rng.standard_normal(n))
    hum = 3 * np.sin(2 * np.pi * 49.98 * t + 0.02 * walk / np.sqrt(fs))
    return {
        "white": white,
        "pink": np.fft.irfft(spectrum, n),
        "hum": hum + 0.3 * white,
        "drift": 0.01 * walk + 0.5 * white + t / 600,
        "quantised": np.round(0.6 * white),
        "quantised drift": np.round(0.3 * white + 0.002 * walk),
        "breath": 0.3 * np.sin(2 * np.pi * 0.25 * t + 0.03 * walk) + 0.02 * white,
    }


@pytest.mark.parametrize("name", ["white", "pink", "hum", "drift", "quantised", "quantised drift", "breath"])
def test_rest_alone_gives_fewer_than_a_fifth_of_a_detection_a_minute(name):
    stream = _noises(2.0, 50.0)[name]
    (found,) = detect_together([(stream, 50.0)], PARAMETERS)
    assert len(found) / 120 < 0.2
    assert accept_generic(found, PARAMETERS).sum() / 120 < 0.05


def _rounded_drift(fs=50.0):
    t = np.arange(int(600 * fs)) / fs
    low = butter(2, 8.0, fs=fs, output="sos")
    return sosfiltfilt(low, np.round(t / 3.0)) - t / 3.0


def test_steps_of_a_converter_are_no_movements_where_the_step_is_known():
    """A slow drift on a converter without noise is a staircase; smoothed and levelled, each step is a hump."""
    stream = _rounded_drift()
    (blind,) = detect_together([(stream, 50.0)], PARAMETERS)
    (told,) = detect_together([(stream, 50.0)], PARAMETERS, [1.0])
    assert len(blind) > 50
    assert told.empty


def test_swallows_of_many_steps_do_not_depend_on_the_step():
    stream, _ = throat_stream(2)
    step = 0.01
    (plain,) = detect_together([(np.round(stream / step) * step, 100.0)], PARAMETERS)
    (told,) = detect_together([(np.round(stream / step) * step, 100.0)], PARAMETERS, [step])
    large = plain["peak_to_peak"] > 4 * step
    assert large.sum() > 40
    assert set(plain.loc[large, "onset"]) <= set(told["onset"])


def test_swallows_at_the_rail_are_marked_where_filters_have_rounded_the_corners():
    stream, _ = throat_stream(2)
    limit = 0.6 * np.percentile(stream, 99.5)
    at = stream > limit
    edges = np.flatnonzero(np.diff(np.concatenate([[False], at, [False]]).astype(int)))
    spans = edges.reshape(-1, 2) / 100.0
    smooth = sosfiltfilt(butter(2, 12.0, fs=100.0, output="sos"), np.minimum(stream, limit))
    (blind,) = detect_together([(smooth, 100.0)], PARAMETERS)
    (told,) = detect_together([(smooth, 100.0)], PARAMETERS, None, [spans])
    cut = [at[int(a * 100) : int((a + d) * 100)].mean() for a, d in zip(told["onset"], told["duration"], strict=True)]
    np.testing.assert_allclose(told["at_limit_fraction"], cut, atol=0.05)
    assert (told["at_limit_fraction"] > 0.1).sum() > 10
    assert (blind["at_limit_fraction"] > 0.1).sum() < 5


def test_a_stream_that_never_changes_holds_nothing():
    stream, _ = throat_stream(2)
    (found,) = detect_together([(stream, 100.0)], PARAMETERS, [np.inf])
    assert found.empty


def test_gaps_hold_no_candidates_and_are_counted():
    stream, labels = throat_stream(2)
    holed = stream.copy()
    holed[6000:9000] = np.nan
    (found,) = detect_together([(holed, 100.0)], PARAMETERS)
    end = found["onset"] + found["duration"]
    assert not ((found["onset"] > 60) & (end < 90)).any()
    late = found[found["onset"] > 90]
    assert np.allclose(late["missing_before"], 30.0)
    outside = labels[(labels["onset"] > 92) | (labels["onset"] + labels["duration"] < 58)]
    kept = found[accept_generic(found, PARAMETERS) & ((found["onset"] > 91) | (end < 59))]
    assert f1(kept, outside) >= 0.9


def test_an_unplugged_stretch_is_no_swallow_and_no_reference_of_rest():
    stream, _ = throat_stream(2)
    stream = stream.copy()
    stream[8000:14000] = 5.0
    (found,) = detect_together([(stream, 100.0)], PARAMETERS)
    end = found["onset"] + found["duration"]
    assert not ((found["onset"] > 80.5) & (end < 139.5)).any()


def test_clipped_swallows_are_found_and_marked():
    stream, labels = throat_stream(2)
    limit = 0.6 * np.percentile(stream, 99.5)
    found = _labelled(np.minimum(stream, limit), labels)
    swallows = found[found["trial_type"] == "swallow"]
    assert counts(swallows, labels)[2] <= 2
    ends = swallows["onset"] + swallows["duration"]
    cut = [np.sum(stream[int(a * 100) : int(b * 100)] > limit) for a, b in zip(swallows["onset"], ends, strict=True)]
    marked = swallows["at_limit_fraction"].to_numpy() > 0.05
    assert sum(n > 20 for n in cut) >= 10
    assert all(mark for mark, n in zip(marked, cut, strict=True) if n > 20)
    assert not any(mark for mark, n in zip(marked, cut, strict=True) if n == 0)


def test_nothing_to_see_gives_an_empty_frame_with_all_columns():
    for stream in (np.zeros(0), np.full(1000, np.nan), np.zeros(5000), np.ones(100)):
        (found,) = detect_together([(stream, 100.0)], PARAMETERS)
        assert len(found) == 0
        assert tuple(found.columns) == (*CANDIDATE_COLUMNS, *FEATURE_NAMES)
        assert accept_generic(found, PARAMETERS).shape == (0,)


def test_too_low_a_sampling_frequency_is_refused_in_words():
    with pytest.raises(ValueError, match="at least 20 Hz, not 10 Hz"):
        detect_together([(np.zeros(1000), 10.0)], PARAMETERS)


def test_same_stream_gives_the_same_candidates_to_the_last_bit():
    stream, _ = throat_stream(5, "rings", seconds=120.0)
    (first,) = detect_together([(stream, 100.0)], PARAMETERS)
    (again,) = detect_together([(stream.copy(), 100.0)], PARAMETERS)
    pd.testing.assert_frame_equal(first, again, check_exact=True)


def test_features_are_documented_once_and_finite():
    names = [feature.name for feature in SWALLOW_FEATURES]
    assert len(set(names)) == len(names)
    assert all(feature.formula and feature.group and feature.source for feature in SWALLOW_FEATURES)
    stream, _ = throat_stream(1, "lets_go")
    (found,) = detect_together([(stream, 100.0)], PARAMETERS)
    assert np.isfinite(found[names].to_numpy()).all()
    assert found["onset"].is_monotonic_increasing
    end = (found["onset"] + found["duration"]).to_numpy()
    assert (found["onset"].to_numpy()[1:] >= end[:-1] - 0.05).all()


def test_unlike_sensors_give_alike_comparisons():
    """What a classifier sees of a swallow must not depend on whether the sensor holds or rings."""
    names = ["pattern_likeness", "log_path_length_ratio", "log_centroid_hz_ratio", "net_area_difference"]
    medians = []
    for kind in ("holds", "rings"):
        stream, labels = throat_stream(6, kind)
        found = _labelled(stream, labels)
        medians.append(found.loc[found["trial_type"] == "swallow", names].median())
    assert np.abs(medians[0] - medians[1]).max() < 0.2


def test_swallows_are_found_after_a_throat_has_been_shaken_from_the_first_sample_on():
    """Steps shake the sensor at about 2 Hz (stride frequency near 1 Hz), without a rest to take a base line from."""
    rng = np.random.default_rng(9)
    acts = [("swallow", 50.0 + 6 * k, 1.1, rng.lognormal(0, 0.15)) for k in range(8)]
    t = np.arange(10_000) / 100
    shaking = np.where(t < 45, 0.25 * np.sin(2 * np.pi * 1.9 * t) + 0.3 * np.sin(2 * np.pi * t / 30), 0.0)
    stream = movements(acts, 100.0, 100.0, rng) + shaking + 0.01 * rng.standard_normal(len(t))
    (found,) = detect_together([(stream, 100.0)], PARAMETERS)
    late = found[accept_generic(found, PARAMETERS) & (found["onset"] > 47)]
    assert len(late) == 8
    assert np.isfinite(found[list(FEATURE_NAMES)].to_numpy()).all()
