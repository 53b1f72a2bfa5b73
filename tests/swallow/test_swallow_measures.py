import numpy as np
import pandas as pd
import pytest
from scipy.stats import poisson
from strainstudy.swallow.candidate_labels import label_candidates
from strainstudy.swallow.candidates import detect_together
from strainstudy.swallow.measures import measure_swallows, response_shape, summarise_swallows
from strainstudy.swallow.parameters import SwallowParameters
from strainstudy.swallow.throat_health import throat_health
from strainstudy.tables.swallows import SWALLOW_SUMMARY, SWALLOWS
from throat_signals import throat_stream

PARAMETERS = SwallowParameters()


def _swallows(onsets, duration=1.0, **columns):
    frame = pd.DataFrame({"onset": np.asarray(onsets, dtype=float)})
    return frame.assign(duration=duration, **columns)


def test_interval_runs_from_onset_to_next_onset_and_the_last_has_none():
    rows = measure_swallows(_swallows([12.0, 2.0, 5.0]), PARAMETERS)
    np.testing.assert_allclose(rows["interval"], [3.0, 7.0, np.nan])


def test_an_interval_across_a_gap_is_not_given():
    rows = measure_swallows(_swallows([2.0, 5.0, 30.0], missing_before=[0.0, 0.0, 4.0]), PARAMETERS)
    np.testing.assert_allclose(rows["interval"], [3.0, np.nan, np.nan])
    assert not rows["double"][2]


def test_sips_of_a_burst_stay_separate_swallows_and_carry_the_number_of_their_burst():
    onsets = [1.0, 2.3, 3.6, 4.9, 20.0, 40.0, 41.5, 60.0, 61.2, 62.4]
    rows = measure_swallows(_swallows(onsets), PARAMETERS)
    assert len(rows) == 10
    assert list(rows["burst"]) == [1, 1, 1, 1, 0, 0, 0, 2, 2, 2]
    summary = summarise_swallows(rows, 120.0, PARAMETERS)
    assert (summary["burst_count"], summary["burst_swallows"], summary["longest_burst"]) == (2, 7, 4)


def test_two_clearing_swallows_after_a_drink_do_not_slow_it():
    """Speed below 10 ml/s flags abnormal in one study (Nathadwarawala KM et al. 1992, doi 10.1136/jnnp.55.9.822)."""
    rows = measure_swallows(_swallows([1.0, 2.2, 3.4, 4.6, 15.0, 16.2], duration=1.0), PARAMETERS)
    summary = summarise_swallows(rows, 30.0, PARAMETERS, volume_ml=100.0)
    assert (summary["drinking_count"], summary["clearing_count"]) == (4, 2)
    assert summary["swallowing_speed"] == pytest.approx(100 / 4.6)


def test_one_gulp_and_a_clearing_swallow_long_after_are_told_apart_and_a_large_gulp_is_doubted():
    rows = measure_swallows(_swallows([1.0, 31.0], duration=1.0), PARAMETERS)
    summary = summarise_swallows(rows, 40.0, PARAMETERS, volume_ml=100.0)
    assert (summary["drinking_count"], summary["clearing_count"], summary["drinking_time"]) == (1, 1, 1.0)
    assert "one swallow found for 100 ml" in summary["sensor_note"]


def test_a_gap_within_the_drinking_leaves_its_measures_out():
    rows = measure_swallows(_swallows([1.0, 2.2, 6.0, 7.2], missing_before=[0.0, 0.0, 2.0, 2.0]), PARAMETERS)
    summary = summarise_swallows(rows, 20.0, PARAMETERS, volume_ml=100.0)
    assert np.isnan(summary["swallowing_speed"])
    assert "gap in the signal" in summary["sensor_note"]


def test_too_short_a_signal_has_no_count():
    summary = summarise_swallows(measure_swallows(_swallows([]), PARAMETERS), 3.0, PARAMETERS)
    assert np.isnan(summary["swallow_count"])
    assert np.isnan(summary["rate"])
    assert "too short" in summary["sensor_note"]


def test_sips_of_a_burst_are_no_second_swallows():
    rows = measure_swallows(_swallows([1.0, 2.3, 3.6, 4.9, 20.0, 21.9]), PARAMETERS)
    assert list(rows["double"]) == [False, False, False, False, False, True]


def test_a_double_swallow_starts_soon_after_the_end_of_the_one_before():
    rows = measure_swallows(_swallows([1.0, 3.5, 20.0, 24.0]), PARAMETERS)
    assert list(rows["double"]) == [False, True, False, False]


def test_rate_limits_are_those_of_a_poisson_count():
    """Exact limits (Garwood F 1936, Biometrika 28:437-442): at each, the tail beyond the count holds 2.5 %."""
    summary = summarise_swallows(measure_swallows(_swallows(np.arange(7) * 30.0), PARAMETERS), 300.0, PARAMETERS)
    assert summary["rate"] == pytest.approx(7 / 5)
    assert poisson.sf(6, 5 * summary["rate_low"]) == pytest.approx(0.025)
    assert poisson.cdf(7, 5 * summary["rate_high"]) == pytest.approx(0.025)


def test_paced_swallowing_is_regular():
    rows = measure_swallows(_swallows([0, 10, 20, 30, 40.0]), PARAMETERS)
    summary = summarise_swallows(rows, 60.0, PARAMETERS)
    assert summary["interval_mean"] == pytest.approx(10)
    assert summary["interval_cv"] == pytest.approx(0)
    uneven = summarise_swallows(measure_swallows(_swallows([0, 8, 20.0]), PARAMETERS), 60.0, PARAMETERS)
    assert uneven["interval_sd"] == pytest.approx(np.sqrt(8))
    assert uneven["interval_cv"] == pytest.approx(10 * np.sqrt(8))


def test_water_test_gives_volume_over_number_time_over_number_and_volume_over_time():
    """Hughes TAT, Wiles CM 1996, doi 10.1093/qjmed/89.2.109: ml/swallow, s/swallow, ml/s."""
    rows = measure_swallows(_swallows(2.0 + 1.25 * np.arange(6), duration=0.75), PARAMETERS)
    summary = summarise_swallows(rows, 15.0, PARAMETERS, volume_ml=120.0)
    assert summary["drinking_time"] == pytest.approx(7.0)
    assert summary["volume_per_swallow"] == pytest.approx(20.0)
    assert summary["time_per_swallow"] == pytest.approx(7 / 6)
    assert summary["swallowing_speed"] == pytest.approx(120 / 7)
    product = summary["volume_per_swallow"] / summary["time_per_swallow"]
    assert product == pytest.approx(summary["swallowing_speed"])


def test_a_dry_swallow_after_drinking_does_not_lengthen_the_test():
    """An extra dry swallow follows in 14 % (Vaiman M et al. 2005, doi 10.1097/01.mlg.0000150673.53107.20)."""
    onsets = [*(2.0 + 1.25 * np.arange(6)), 18.0]
    rows = measure_swallows(_swallows(onsets, duration=0.75), PARAMETERS)
    summary = summarise_swallows(rows, 30.0, PARAMETERS, volume_ml=120.0)
    assert (summary["drinking_count"], summary["clearing_count"]) == (6, 1)
    assert summary["drinking_time"] == pytest.approx(7.0)


def test_paced_sips_of_a_known_volume_are_all_part_of_the_test():
    rows = measure_swallows(_swallows(15.0 * np.arange(5)), PARAMETERS)
    summary = summarise_swallows(rows, 90.0, PARAMETERS, volume_ml=50.0)
    assert summary["volume_per_swallow"] == pytest.approx(10.0)


def test_a_small_sip_taken_with_one_swallow_is_not_doubted():
    rows = measure_swallows(_swallows([1.0, 31.0]), PARAMETERS)
    summary = summarise_swallows(rows, 40.0, PARAMETERS, volume_ml=5.0)
    assert summary["drinking_count"] == 1
    assert summary["sensor_note"] is None
    several = measure_swallows(_swallows([1.0, 2.2, 3.4]), PARAMETERS)
    assert summarise_swallows(several, 40.0, PARAMETERS, volume_ml=100.0)["sensor_note"] is None


@pytest.mark.parametrize(("volume", "doubted"), [(30.0, False), (40.0, False), (50.0, True), (60.0, True)])
def test_a_volume_beyond_a_mouthful_is_doubted_where_one_swallow_was_found_for_it(volume, doubted):
    """A mouthful for one swallow: mean 49.1 ml in 34 young men, 39.7 ml in 33 women (Kim SI et al. 2013)."""
    rows = measure_swallows(_swallows([1.0]), PARAMETERS)
    summary = summarise_swallows(rows, 40.0, PARAMETERS, volume_ml=volume)
    note = summary["sensor_note"]
    assert (note is not None and "one swallow found" in note) == doubted
    assert np.isnan(summary["volume_per_swallow"]) == doubted
    two = measure_swallows(_swallows([1.0, 2.2]), PARAMETERS)
    both = summarise_swallows(two, 40.0, PARAMETERS, volume_ml=2 * volume)
    assert (both["sensor_note"] is not None and "2 swallows found" in both["sensor_note"]) == doubted


@pytest.mark.parametrize(("plausibility", "withheld"), [(0.9, True), (0.3, False)])
def test_what_was_missed_within_the_drinking_leaves_nothing_per_swallow(plausibility, withheld):
    """Four sips of 50 ml of which one was called something else: 50 / 3 ml would be a bound and no measurement."""
    rows = measure_swallows(_swallows([2.0, 3.2, 5.6], duration=0.75), PARAMETERS)
    other = pd.DataFrame({"onset": [4.4], "duration": [0.75], "plausibility": [plausibility], "log_size_ratio": [0.0]})
    summary = summarise_swallows(rows, 15.0, PARAMETERS, volume_ml=50.0, others=other)
    names = ("volume_per_swallow", "time_per_swallow", "swallowing_speed")
    assert [np.isnan(summary[name]) for name in names] == [withheld] * 3
    assert summary["drinking_count"] == 3
    assert ("at most 16.7 ml" in (summary["sensor_note"] or "")) == withheld


@pytest.mark.parametrize(("pause", "drinking"), [(29.5, 4), (31.5, 3)])
def test_drinking_ends_with_a_pause_longer_than_three_usual_intervals(pause, drinking):
    """Sips 10 s apart, then a swallow after a pause; the setting's own 5 s are less."""
    rows = measure_swallows(_swallows([0.0, 10.0, 20.0, 21.0 + pause], duration=1.0), PARAMETERS)
    summary = summarise_swallows(rows, 90.0, PARAMETERS, volume_ml=50.0)
    assert summary["drinking_count"] == drinking


def test_three_sips_far_apart_are_one_drinking():
    rows = measure_swallows(_swallows([0.0, 15.0, 30.0]), PARAMETERS)
    assert summarise_swallows(rows, 60.0, PARAMETERS, volume_ml=50.0)["drinking_count"] == 3


def test_no_swallow_is_a_result_and_not_a_fault():
    rows = measure_swallows(_swallows([]), PARAMETERS)
    summary = summarise_swallows(rows, 600.0, PARAMETERS, volume_ml=50.0)
    assert summary["swallow_count"] == 0
    assert summary["rate"] == 0
    assert summary["rate_high"] == pytest.approx(0.3689, abs=1e-4)
    assert np.isnan(summary["volume_per_swallow"])


@pytest.mark.parametrize(
    ("strokes", "opposite", "shape"), [(1.0, 0.05, "one_hump"), (2.0, 0.6, "two_phase"), (17.0, 0.7, "ringing")]
)
def test_the_shape_of_the_response_is_that_of_most_swallows(strokes, opposite, shape):
    rows = _swallows([1.0, 9.0, 20.0], recorded_strokes=[strokes, strokes, 9.0 - strokes])
    summary = summarise_swallows(
        measure_swallows(rows.assign(recorded_opposite_share=opposite), PARAMETERS), 60.0, PARAMETERS
    )
    assert summary["response_shape"] == shape


@pytest.mark.parametrize(("kind", "shape"), [("holds", "one_hump"), ("lets_go", "two_phase"), ("rings", "two_phase")])
def test_the_shape_is_read_in_the_stream_as_it_was_recorded(kind, shape):
    """A patch that answers to change gives a smooth movement two strokes; it rings where something jerks."""
    stream, labels = throat_stream(2, kind, polarity=-1)
    (found,) = detect_together([(stream, 100.0)], PARAMETERS)
    assert response_shape(found[label_candidates(found, labels) == "swallow"]) == shape
    assert response_shape(found.iloc[:0]) is None


def test_a_patch_that_rings_is_named_so():
    t, rng = np.arange(6000) / 100, np.random.default_rng(2)
    stream = 0.01 * rng.standard_normal(len(t))
    for onset in np.arange(5.0, 55.0, 6.0):
        since = np.clip(t - onset, 0, 1.2)
        stream += np.sin(np.pi * since / 1.2) * np.sin(2 * np.pi * 7.0 * since)
    (found,) = detect_together([(stream, 100.0)], PARAMETERS)
    assert len(found) == 9
    assert response_shape(found) == "ringing"


def test_every_number_of_the_summary_has_its_definition():
    summary = summarise_swallows(measure_swallows(_swallows([1.0, 9.0]), PARAMETERS), 60.0, PARAMETERS)
    assert ("recording_id", *summary, "prediction") == SWALLOW_SUMMARY.names
    assert SWALLOWS.names[:6] == ("recording_id", "onset", "duration", "amplitude", "rise_time", "interval")
    for table in (SWALLOWS, SWALLOW_SUMMARY):
        assert all(column.description for column in table.columns)
        assert "do not show aspiration" in table.description


def test_a_sensor_that_comes_loose_is_named():
    onset = np.arange(20) * 15.0
    rng = np.random.default_rng(3)
    size = rng.lognormal(0, 0.15, 20)
    steady = _swallows(onset, amplitude=size, at_limit_fraction=0.0)
    assert throat_health(steady, 300.0, 300.0).note is None
    fading = steady.assign(amplitude=size * np.exp(-onset / 150))
    assert "come loose" in throat_health(fading, 300.0, 300.0).note


def test_a_clipped_and_an_unplugged_sensor_are_named():
    frame = _swallows([1.0, 5.0, 9.0], amplitude=1.0, at_limit_fraction=[0.3, 0.0, 0.4])
    health = throat_health(frame, 40.0, 100.0)
    assert health.at_limit_count == 2
    assert "2 of 3 swallows reach the limit" in health.note
    assert "live signal for 40 of 100 s" in health.note


@pytest.mark.parametrize(("step", "bursts"), [(2.5, 1), (2.5625, 0)])
def test_sips_are_one_burst_up_to_the_interval_of_the_settings(step, bursts):
    rows = measure_swallows(_swallows(step * np.arange(3), duration=0.5), PARAMETERS)
    assert rows["burst"].max() == bursts


@pytest.mark.parametrize(("pause", "double"), [(2.0, True), (2.0625, False)])
def test_a_second_swallow_starts_up_to_the_time_of_the_settings_after_the_first(pause, double):
    rows = measure_swallows(_swallows([0.0, 1.0 + pause]), PARAMETERS)
    assert rows["double"].tolist() == [False, double]


def test_of_two_runs_as_long_the_first_is_the_drinking():
    """Three sips a second apart, and three two seconds apart after a pause of 17 s: usual intervals of 2 s."""
    rows = measure_swallows(_swallows([0.0, 1.0, 2.0, 20.0, 22.0, 24.0]), PARAMETERS)
    summary = summarise_swallows(rows, 60.0, PARAMETERS, volume_ml=60.0)
    assert (summary["drinking_count"], summary["drinking_time"], summary["clearing_count"]) == (3, 3.0, 3)


def other(centre, plausibility=1.0, ratio=0.0):
    return {"onset": centre - 0.5, "duration": 1.0, "plausibility": plausibility, "log_size_ratio": ratio}


@pytest.mark.parametrize(
    ("rows", "named"),
    [
        # drinking from 10 to 13.4 s, and 2.5 s on either side
        ([other(7.5)], 1), ([other(7.4)], 0), ([other(15.875)], 1), ([other(16.0)], 0),
        ([other(12.0, plausibility=0.75)], 1), ([other(12.0, plausibility=0.74)], 0),
        ([other(12.0, ratio=-1.0)], 1), ([other(12.0, ratio=-1.1)], 0), ([other(12.0, ratio=np.nan)], 1),
        ([other(11.0), other(12.0)], 2), ([other(11.0), other(12.0, plausibility=0.1)], 1),
    ],
)  # fmt: skip
def test_what_looks_like_a_swallow_near_the_drinking_and_was_called_otherwise_is_named(rows, named):
    found = measure_swallows(_swallows([10.0, 11.2, 12.4]), PARAMETERS)
    summary = summarise_swallows(found, 60.0, PARAMETERS, volume_ml=50.0, others=pd.DataFrame(rows))
    said = {0: None, 1: "1 movement like a swallow was called", 2: "2 movements like swallows were called"}[named]
    note = summary["sensor_note"]
    assert note is None if said is None else note.startswith(said)
    # without a volume there is no drinking to look at
    assert summarise_swallows(found, 60.0, PARAMETERS, others=pd.DataFrame(rows))["sensor_note"] is None


def test_a_trend_of_size_is_told_from_eight_swallows_on_and_only_if_it_is_halved():
    onset = 10.0 * np.arange(8)
    shrunk = _swallows(onset, amplitude=np.geomspace(1.0, 0.4, 8))
    assert "shrink to 40 %" in throat_health(shrunk, 80.0, 80.0).note
    assert throat_health(shrunk[:7], 80.0, 80.0).note is None
    assert throat_health(_swallows(onset, amplitude=np.geomspace(1.0, 0.6, 8)), 80.0, 80.0).note is None
    # a halving that one outlier makes is no trend
    jump = _swallows(onset, amplitude=[1.0, 0.2, 1.0, 0.2, 1.0, 0.2, 1.0, 0.2])
    assert throat_health(jump, 80.0, 80.0).note is None


@pytest.mark.parametrize(("clipped", "said"), [(1, False), (2, True)])
def test_more_than_a_tenth_of_the_swallows_at_the_limit_are_said(clipped, said):
    share = np.where(np.arange(10) < clipped, 0.05, 0.04)
    health = throat_health(_swallows(5.0 * np.arange(10), at_limit_fraction=share), 60.0, 60.0)
    assert health.at_limit_count == clipped
    assert ("reach the limit" in (health.note or "")) == said


@pytest.mark.parametrize(
    ("observed", "duration", "said"), [(50.0, 100.0, False), (49.0, 100.0, True), (0.0, 0.0, False)]
)
def test_less_than_half_a_recording_with_a_live_signal_is_said(observed, duration, said):
    assert ("live signal" in (throat_health(_swallows([1.0]), observed, duration).note or "")) == said
