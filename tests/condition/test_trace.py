import numpy as np
import pytest
from strainstudy.condition.parameters import ConditionParameters
from strainstudy.condition.trace import condition_trace, rest_towards

PLAIN = ConditionParameters()


def walking(t, stride=1.1):
    wave = np.zeros_like(t)
    for at, height, width in ((0.72, 1.0, 0.09), (0.12, 0.2, 0.07)):
        distance = (t / stride - at + 0.5) % 1 - 0.5
        wave += height * np.exp(-((distance / width) ** 2))
    return np.where((t > 5) & (t < t[-1] - 5), wave + 0.05, 0.0)


def run(x, fs=100, point="left_knee", units="V", parameters=PLAIN):
    return condition_trace(x, fs, tracked_point=point, units=units, parameters=parameters)


def test_response_and_drift_add_up_to_the_filtered_trace():
    t = np.arange(6000) / 100
    x = walking(t) + 0.4 + 0.01 * t
    done = run(x)
    np.testing.assert_allclose(done.response + done.drift, x, atol=0.05)
    assert np.abs(done.response[:400]).max() < 0.05
    assert done.end == 1


def test_the_chain_undoes_spikes_short_gaps_hum_and_noise():
    fs = 1000
    rng = np.random.default_rng(8)
    t = np.arange(60 * fs) / fs
    truth = walking(t)
    x = truth + 0.01 * rng.normal(size=t.size) + 0.1 * np.sin(2 * np.pi * 50 * t)
    x[5000::7001] += 2.0
    x[20_000:20_060] = np.nan
    done = run(x, fs)
    assert np.sqrt(np.mean((done.response - truth) ** 2)) < 0.025
    assert np.isfinite(done.response).all()
    assert done.spikes >= 8
    assert done.bridged >= 60


def test_a_long_gap_stays_a_gap_in_response_and_drift():
    t = np.arange(6000) / 100
    x = walking(t)
    x[2000:2200] = np.nan
    done = run(x)
    for trace in (done.response, done.drift):
        assert np.isnan(trace).nonzero()[0].tolist() == list(range(2000, 2200))


def test_hum_is_notched_where_the_low_pass_would_let_it_through():
    fs = 1000
    t = np.arange(60 * fs) / fs
    x = 0.01 * np.random.default_rng(8).normal(size=t.size) + 0.1 * np.sin(2 * np.pi * 50 * t)
    assert [round(f) for f in run(x, fs, point="throat").hum_hz] == [50]
    assert run(x, fs, point="left_knee").hum_hz == ()


def test_a_throat_burst_keeps_more_of_its_height_than_a_knee_cutoff_would_leave():
    """A burst of 40 ms (full width) as of a piezo-like throat sensor."""
    fs = 500
    t = np.arange(30 * fs) / fs
    x = np.exp(-4 * np.log(2) * ((t - 15) / 0.04) ** 2)
    assert run(x, fs, point="throat").response.max() > 0.9
    assert run(x, fs, point="left_knee").response.max() < 0.65


def test_a_held_bend_stays_in_the_response():
    t = np.arange(9000) / 100
    x = np.where((t > 20) & (t < 60), 1.0, 0.0) + 0.002 * np.random.default_rng(1).normal(size=t.size)
    done = run(x)
    assert np.median(done.response[2500:5500]) == pytest.approx(1.0, abs=0.02)


@pytest.mark.parametrize(("point", "units"), [("left_knee", "deg"), ("left_knee:reference", "deg"), ("sensor", "V")])
def test_degrees_and_bench_traces_keep_their_zero(point, units):
    t = np.arange(3000) / 100
    done = run(5 + walking(t) + 0.1 * t, point=point, units=units)
    assert np.abs(done.drift).max() == 0
    assert done.response[0] == pytest.approx(5, abs=0.05)


def test_drift_taken_off_anew_lets_the_other_end_rest_and_leaves_the_filtered_trace():
    t = np.arange(9000) / 100
    x = np.where(t < 45, 1.0, 0.0)
    x[5000:5100] = np.nan
    done = run(x)
    for end, level in ((1, 1.0), (-1, 0.0)):
        period = PLAIN.drift_shortest_period_s
        response, drift = rest_towards(done.response, done.drift, 100, end=end, shortest_period_s=period)
        assert np.median(response[:4000]) == pytest.approx(level, abs=0.02)
        np.testing.assert_allclose(response + drift, done.response + done.drift, atol=1e-12)
        if end == done.end:
            np.testing.assert_allclose(response, done.response, atol=1e-12)


def test_residual_analysis_chooses_the_cutoff_where_asked():
    rng = np.random.default_rng(0)
    t = np.arange(6000) / 100
    done = run(walking(t) + 0.02 * rng.normal(size=t.size), parameters=ConditionParameters(cutoff="residual"))
    assert 2 < done.cutoff_hz < 20
    assert done.cutoff_hz != PLAIN.knee_lowpass_hz


def test_a_rate_too_low_for_the_cutoff_is_said():
    done = run(np.sin(np.arange(600) / 10), fs=12)
    assert np.isnan(done.cutoff_hz)
    assert "no low-pass" in done.notes[0]


def test_a_recording_without_data_comes_back_empty():
    done = run(np.full(300, np.nan))
    assert np.isnan(done.response).all()
    assert done.spikes == 0


def test_the_input_is_left_as_it_was():
    x = np.sin(np.arange(1000) / 10)
    x[500] += 5
    before = x.copy()
    run(x)
    np.testing.assert_array_equal(x, before)


@pytest.mark.parametrize("factor", [0.001, -1.0, 1000.0])
def test_conditioning_scales_and_flips_with_its_input(factor):
    t = np.arange(6000) / 100
    x = walking(t) + 0.02 * t + 0.01 * np.random.default_rng(4).normal(size=t.size)
    one, other = run(x), run(factor * x)
    np.testing.assert_allclose(other.response, factor * one.response, atol=1e-6 * abs(factor))
    assert other.end == np.sign(factor) * one.end
