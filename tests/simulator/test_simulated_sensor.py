"""The electromechanical chain against closed forms and handbook numbers."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays
from strainstudy_simulator.sensor import (
    Acquisition,
    BridgeModel,
    SensorModel,
    SleeveFit,
    acquire,
    bridge_volts,
    drift,
    first_order_lag,
    hysteresis,
    measure,
    pink_noise,
    relaxation,
    resistance,
    sleeve_strain,
    static_response,
    through_sensor,
)

EQUAL_ARMS = BridgeModel(excitation_v=1.0, r1_ohm=350.0, r3_ohm=350.0)
QUIET = Acquisition(rail_v=10.0, adc_bits=0, white_noise_v=0.0, mains_v=0.0, harmonics=(), lost_per_minute=0.0)
IDEAL = SensorModel(
    gauge_factor=2.0, rest_ohm=350.0, curvature=0.0, hysteresis_percent=0.0, response_time_s=0.0, relaxation=()
)


def rng(seed: int = 1) -> np.random.Generator:
    return np.random.Generator(np.random.PCG64(seed))


@pytest.mark.parametrize(
    ("gauge_factor", "strain", "millivolt_per_volt"),
    [
        (2.0, 0.001, 0.499500),
        (2.0, 0.005, 2.48756),
        (2.0, 0.10, 45.4545),
        (2.0, 0.50, 166.667),
        (5.0, 0.10, 100.000),
        (5.0, 0.50, 277.778),
        (10.0, 0.50, 357.143),
    ],
)
def test_quarter_bridge_of_equal_arms_gives_x_over_4_plus_2x(gauge_factor, strain, millivolt_per_volt):
    """Circuit algebra: V/Vex = x/(4 + 2x), x = GF e; 1000 microstrain at GF 2 is about 0.5 mV/V (handbooks)."""
    x = gauge_factor * strain
    volts = bridge_volts(np.array([350.0 * (1 + x)]), EQUAL_ARMS, 350.0)
    assert 1000 * volts[0] == pytest.approx(millivolt_per_volt, rel=5e-6)
    assert volts[0] == pytest.approx(x / (4 + 2 * x), rel=1e-12)


def test_classroom_bridge_of_330_ohm_reads_5_millivolt():
    """A set problem: 330 ohm arms, 10 V, 5 mV out; exact answer dR = 0.66066 ohm (E = 10 V, four equal arms)."""
    bridge = BridgeModel(excitation_v=10.0, r1_ohm=330.0, r3_ohm=330.0, r2_ohm=330.0)
    assert bridge_volts(np.array([330.66066]), bridge, 330.0)[0] == pytest.approx(0.005, rel=1e-5)


def test_gain_and_polarity_multiply_the_output():
    ohm = np.array([360.0])
    base = bridge_volts(ohm, EQUAL_ARMS, 350.0)[0]
    turned = BridgeModel(1.0, 350.0, 350.0, None, 3.0, -1)
    assert bridge_volts(ohm, turned, 350.0)[0] == pytest.approx(-3 * base)


def test_lead_off_takes_the_whole_excitation():
    assert bridge_volts(np.array([np.inf]), EQUAL_ARMS, 350.0)[0] == pytest.approx(0.5)


@pytest.mark.parametrize("percent", [1.0, 5.0, 10.0, 20.0, 30.0])
def test_hysteresis_is_the_stated_percent_of_the_span_of_a_full_cycle(percent):
    """IEC 61298-2 and ISA-37.1 (from memory): 100 max|y_up(x) - y_down(x)| / (y_max - y_min), same cycle."""
    time = np.arange(0, 20, 0.002)
    x = 0.25 * (1 - np.cos(2 * np.pi * time / 5))
    y = hysteresis(x, percent, 0.5)
    up, down = (time >= 10) & (time <= 12.5), (time >= 12.5) & (time <= 15)
    grid = np.linspace(0, 0.5, 201)
    gap = np.interp(grid, x[up], y[up]) - np.interp(grid, x[down][::-1], y[down][::-1])
    assert 100 * np.abs(gap).max() / np.ptp(y[time >= 10]) == pytest.approx(percent, abs=0.02)
    assert y.min() == pytest.approx(0.0, abs=1e-12)
    assert y.max() == pytest.approx(0.5, abs=1e-12)
    # A stretched sensor lags: on the way up it reads less than on the way down.
    assert gap.max() <= 1e-12


@given(arrays(float, st.integers(1, 60), elements=st.floats(-1, 1)), st.floats(0.5, 30))
@settings(max_examples=60, deadline=None)
def test_hysteresis_equals_play_operators_stepped_sample_by_sample(x, percent):
    """The play operator's definition (Brokate & Sprekels 1996): state = clip(state, x - r, x + r)."""
    radii, share = 0.5 * np.array([0.05, 0.10, 0.15, 0.20]), percent / 100
    weight = share / (1.0 - 3.0 * share)
    state, expected = x[0] + radii, []
    for value in x:
        state = np.minimum(np.maximum(state, value - radii), value + radii)
        expected.append((value + weight * (state - radii).sum()) / (1 + 3.0 * weight))
    np.testing.assert_allclose(hysteresis(x, percent, 0.5), expected, atol=1e-12)


@given(st.floats(0.2, 5.0))
@settings(max_examples=20, deadline=None)
def test_hysteresis_does_not_depend_on_the_rate(stretch):
    time = np.linspace(0, 4 * np.pi, 400)
    x = np.sin(time) + 0.3 * np.sin(3.1 * time)
    warped = np.interp(np.linspace(0, 1, 400) ** stretch, np.linspace(0, 1, 400), x)
    ends = hysteresis(x, 10, 2.0)[-1], hysteresis(np.append(warped, x[-1]), 10, 2.0)[-1]
    # Warped sampling may cut a peak by a little, never move the branch.
    assert ends[0] == pytest.approx(ends[1], abs=0.03)


def test_response_time_of_a_first_order_sensor_is_ln_9_tau():
    """First order: t(10-90 %) = ln 9 tau = 2.1972 tau (closed form)."""
    fs, tau = 2000.0, 0.15
    time = np.arange(0, 2, 1 / fs)
    step = first_order_lag((time >= 0.1).astype(float), fs, tau)
    rise = np.interp(0.9, step, time) - np.interp(0.1, step, time)
    assert rise == pytest.approx(np.log(9) * tau, abs=1 / fs)


def test_a_held_response_fades_by_the_prony_series():
    """Closed form after a step: 1 - sum of c (1 - exp(-t/tau))."""
    fs, terms = 500.0, ((0.05, 0.5), (0.10, 8.0))
    time = np.arange(0, 30, 1 / fs)
    held = relaxation((time >= 1.0).astype(float), fs, terms)
    for after in (0.5, 2.0, 20.0):
        expected = 1 - sum(c * (1 - np.exp(-after / tau)) for c, tau in terms)
        assert np.interp(1.0 + after, time, held) == pytest.approx(expected, abs=1e-3)


def test_static_curve_starts_with_the_gauge_factor_and_bends():
    sensor = SensorModel(gauge_factor=6.0, curvature=0.8)
    small = 1e-6
    assert static_response(np.array([small]), sensor)[0] / small == pytest.approx(6.0, rel=1e-5)
    assert static_response(np.array([0.4]), sensor)[0] > 6.0 * 0.4
    straight = SensorModel(gauge_factor=6.0, curvature=0.0)
    assert static_response(np.array([0.4]), straight)[0] == pytest.approx(2.4)


def test_an_ideal_chain_inverts_exactly():
    """E2: x = 4v/(1 - 2v) recovers dR/R from V/Vex for four equal arms."""
    strain = np.linspace(0, 0.5, 51)
    v = measure(strain, 100.0, IDEAL, EQUAL_ARMS, QUIET, rng())
    np.testing.assert_allclose(4 * v / (1 - 2 * v) / 2.0, strain, atol=1e-12)


def test_drift_starts_at_zero_and_follows_its_trend():
    sensor = SensorModel(drift_per_minute=0.01)
    moved = drift(6001, 10.0, sensor, rng())
    assert moved[0] == 0
    assert moved[-1] == pytest.approx(0.1)
    ohm = resistance(np.zeros(6001), 10.0, SensorModel(rest_ohm=1000.0, drift_per_minute=0.01), rng())
    assert ohm[-1] == pytest.approx(1100.0)


def test_random_walk_spreads_with_the_root_of_time():
    sensor = SensorModel(wander_per_root_minute=0.01)
    ends = [drift(2401, 10.0, sensor, rng(seed))[-1] for seed in range(400)]
    assert np.std(ends) == pytest.approx(0.02, rel=0.12)


def test_pink_noise_falls_by_one_decade_of_power_per_decade_of_frequency():
    fs = 100.0
    power = np.mean([np.abs(np.fft.rfft(pink_noise(8192, fs, rng(seed)))) ** 2 for seed in range(30)], axis=0)
    frequency = np.fft.rfftfreq(8192, 1 / fs)
    use = (frequency > 0.1) & (frequency < 30)
    slope = np.polyfit(np.log(frequency[use]), np.log(power[use]), 1)[0]
    assert slope == pytest.approx(-1.0, abs=0.1)


def test_converter_keeps_to_its_steps_and_rails():
    acquisition = Acquisition(rail_v=2.048, adc_bits=12, white_noise_v=0.0, mains_v=0.0)
    stored = acquire(np.linspace(-3, 3, 4001), 100.0, acquisition, rng())
    np.testing.assert_allclose(stored / 0.001, np.round(stored / 0.001), atol=1e-9)
    assert stored.min() == pytest.approx(-2.048)
    assert stored.max() == pytest.approx(2.047)


def test_hum_stands_at_its_frequency_and_height():
    fs = 1000.0
    acquisition = Acquisition(
        rail_v=5, adc_bits=0, white_noise_v=0, mains_v=0.1, mains_hz=50.0, harmonics=(0.0, 0.5), antialias_hz=0
    )
    stored = acquire(np.zeros(20_000), fs, acquisition, rng())
    spectrum = np.abs(np.fft.rfft(stored)) * 2 / len(stored)
    frequency = np.fft.rfftfreq(len(stored), 1 / fs)
    near = [np.sqrt((spectrum[np.abs(frequency - f) < 1] ** 2).sum()) for f in (50, 100, 150)]
    assert near[0] == pytest.approx(0.1, rel=0.05)
    assert near[1] < 0.005
    assert near[2] == pytest.approx(0.05, rel=0.05)


def test_lost_samples_are_not_a_number_and_about_as_many_as_said():
    acquisition = Acquisition(lost_per_minute=6.0, lost_seconds=0.2)
    stored = acquire(np.zeros(120_000), 100.0, acquisition, rng())
    assert np.isnan(stored).mean() == pytest.approx(6 * 0.2 / 60, rel=0.4)


def test_skin_strain_meets_the_published_values_at_45_and_90_degrees():
    """Wessendorf & Newman 2012, from memory: about 20-25 % at 45, 40-50 % at 90 degrees along the leg."""
    skin = sleeve_strain(np.array([0.0, 45.0, 90.0]), SleeveFit(transfer=1.0))
    assert skin[0] == 0
    assert 0.20 <= skin[1] <= 0.25
    assert 0.40 <= skin[2] <= 0.50


def test_a_slack_sleeve_answers_no_further():
    sleeve = SleeveFit(transfer=1.0, prestrain=0.03)
    strain = sleeve_strain(np.array([-5.0, -10.0, -30.0]), sleeve)
    assert strain[1] == strain[2] == -0.03
    assert strain[0] > -0.03


def test_sleeve_strain_rises_with_flexion_past_the_right_angle():
    strain = sleeve_strain(np.linspace(0, 130, 400), SleeveFit(strain_at_45=0.25, strain_at_90=0.40))
    assert (np.diff(strain) > 0).all()


def test_through_sensor_rises_with_the_knee_and_repeats_with_its_seed():
    angle = 30 - 30 * np.cos(np.linspace(0, 20 * np.pi, 2000))
    parts = {"sensor": SensorModel(), "bridge": BridgeModel(), "acquisition": Acquisition()}
    first, again = (through_sensor(angle, 100.0, **parts, rng=rng(3)) for _ in range(2))
    np.testing.assert_array_equal(first, again)
    assert np.corrcoef(angle, first)[0, 1] > 0.97


def test_impossible_sensors_are_refused():
    with pytest.raises(ValueError, match="hysteresis_percent must lie in 0 to 30"):
        SensorModel(hysteresis_percent=45)
    with pytest.raises(ValueError, match="less than 1"):
        SensorModel(relaxation=((0.6, 1.0), (0.5, 2.0)))
