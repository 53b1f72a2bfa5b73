"""One sensor from its bench recordings to its row of figures."""

import re
from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
from strainstudy.bench.answer import answer_of
from strainstudy.bench.characterise import BenchRecording, characterise, reference_strain
from strainstudy.bench.firstorder import first_order, undo_first_order
from strainstudy.bench.holds import LN9, HoldSpan, creep_constants
from strainstudy.bench.lag import NOT_SEPARABLE
from strainstudy.bench.parameters import BenchParameters
from strainstudy.tables.sensors import BENCH_CYCLES, BENCH_STEPS, SENSOR_CURVES, SENSOR_LOOPS, SENSORS
from strainstudy.tables.spec import read_described, write_table
from strainstudy_simulator.bench import Cycles, Hold, run_stage, standard_program, tap_bench
from strainstudy_simulator.sensor import SensorModel, resistance

PLAIN = SensorModel(
    gauge_factor=5.0, curvature=0.0, hysteresis_percent=0.0, full_scale_strain=0.3, response_time_s=0.0, relaxation=()
)


def stretch(program, sensor=PLAIN, fs=100.0, lag_s=0.0, noise=1e-3, seed=0) -> BenchRecording:
    rng = np.random.default_rng(seed)
    run = run_stage(program, fs, rng, lag_s=lag_s)
    ohm = resistance(run.strain, fs, sensor, rng)
    response = ohm / sensor.rest_ohm - 1 + noise * rng.standard_normal(ohm.size)
    return BenchRecording("bench-1", "stretch", response, fs, run.reference_percent / 100)


def tap(sensor=PLAIN, fs=100.0, seed=1) -> BenchRecording:
    rng = np.random.default_rng(seed)
    run = tap_bench(fs, rng)
    response = (
        resistance(run.strain, fs, sensor, rng) / sensor.rest_ohm - 1 + 1e-3 * rng.standard_normal(len(run.strain))
    )
    return BenchRecording("bench-2", "tap", response, fs, run.reference_percent / 100)


TRIANGLES = (Hold(0, 0, 5), Cycles(0.3, 4.0, 8), Hold(0, 0, 5))


def test_an_ideal_sensor_has_its_gauge_factor_and_no_faults():
    """GF = (dR/R) / strain, the definition; a straight line has no non-linearity and no hysteresis."""
    row = characterise([stretch(TRIANGLES)]).row
    assert row["gauge_factor"] == pytest.approx(5.0, rel=2e-3)
    assert row["gauge_factor_low"] <= 5.0 <= row["gauge_factor_high"]
    assert row["linearity"] < 0.2
    assert row["hysteresis_low"] == 0.0
    assert row["hysteresis"] < 0.5
    assert row["noise_floor"] == pytest.approx(1e-3, rel=0.05)
    assert row["detection_limit"] == pytest.approx(100 * 3 * 1e-3 / 5.0, rel=0.05)


def test_a_clock_offset_is_not_sold_as_hysteresis():
    """A delay of 0.2 s opens a loop of 2 x 0.2 / 2 = 20 % of full scale in a triangle of 4 s."""
    recording = stretch(TRIANGLES, lag_s=0.2)
    row = characterise([recording]).row
    assert row["lag_method"] == "cycles with corners"
    assert row["lag"] == pytest.approx(0.2, abs=0.005)
    assert row["hysteresis"] < 0.5


def test_hysteresis_is_not_taken_for_a_delay():
    hysteretic = SensorModel(
        gauge_factor=5.0, curvature=0.0, hysteresis_percent=15.0, full_scale_strain=0.3, response_time_s=0.0,
        relaxation=(),
    )  # fmt: skip
    row = characterise([stretch(TRIANGLES, hysteretic)]).row
    assert row["hysteresis"] == pytest.approx(15.0, abs=0.5)
    assert abs(row["lag"]) < 0.01


def test_where_one_sine_cannot_tell_them_apart_nothing_is_removed_and_the_row_says_so():
    sines = (Hold(0, 0, 5), Cycles(0.3, 4.0, 8, "sine"), Hold(0, 0, 5))
    row = characterise([stretch(sines, lag_s=0.05)]).row
    assert row["lag_method"] == NOT_SEPARABLE
    assert np.isnan(row["lag"])
    assert "hysteresis may hold a clock offset" in row["warning"]
    assert row["hysteresis"] > 5.0


def test_two_speeds_of_a_sine_tell_them_apart():
    sines = (Hold(0, 0, 5), Cycles(0.3, 8.0, 6, "sine"), Cycles(0.3, 2.0, 6, "sine"), Hold(0, 0, 5))
    row = characterise([stretch(sines, lag_s=0.05)]).row
    assert row["lag_method"] == "cycles at several speeds"
    assert row["lag"] == pytest.approx(0.05, abs=0.01)
    assert row["hysteresis"] < 0.8


def test_a_curved_sensor_gets_gauge_factors_by_interval_and_no_single_one():
    """Slope of GF (exp(b e) - 1) / b is GF exp(b e)."""
    curved = SensorModel(
        gauge_factor=5.0, curvature=2.0, hysteresis_percent=0.0, full_scale_strain=0.3, response_time_s=0.0,
        relaxation=(),
    )  # fmt: skip
    bench = characterise([stretch(TRIANGLES, curved)])
    assert np.isnan(bench.row["gauge_factor"])
    assert "no single value" in bench.row["gauge_factor_note"]
    edges = np.linspace(0.0, 0.3, 5)
    chord = 5.0 * np.diff(np.exp(2.0 * edges)) / (2.0 * np.diff(edges))
    assert np.allclose(bench.curves["gauge_factor"], chord, rtol=0.01)
    assert (bench.curves["r2"] > 0.99).all()
    b = 2.0 * 0.3
    # Largest gap between the exponential and its chord, at exp(u b) = (exp(b) - 1) / b.
    u = np.log((np.exp(b) - 1) / b) / b
    by_hand = 100 * (u - (np.exp(b * u) - 1) / (np.exp(b) - 1))
    assert bench.row["linearity"] == pytest.approx(by_hand, rel=0.03)
    lenient = characterise([stretch(TRIANGLES, curved)], BenchParameters(single_gauge_factor_limit_percent=20.0))
    assert lenient.row["gauge_factor"] > 5.0


def test_response_and_recovery_are_ln_9_time_constants():
    """t(10-90 %) = ln 9 tau = 2.1972 tau of a first-order answer (algebra)."""
    slow = SensorModel(
        gauge_factor=5.0, curvature=0.3, hysteresis_percent=6.0, full_scale_strain=0.3, response_time_s=0.15,
        relaxation=((0.04, 6.0),),
    )  # fmt: skip
    steps = (*TRIANGLES, *(Hold(level, 0.05, 25.0) for level in (0.3, 0.0) * 3))
    bench = characterise([stretch(steps, slow, lag_s=0.03, noise=3e-3)])
    row = bench.row
    assert row["response_time"] == pytest.approx(LN9 * 0.15, rel=0.03)
    assert row["recovery_time"] == pytest.approx(LN9 * 0.15, rel=0.03)
    assert row["lag"] == pytest.approx(0.18, abs=0.004)
    assert row["creep_time_1"] == pytest.approx(6.0, rel=0.1)
    assert np.isnan(row["creep_time_2"])
    # Of the 4 % that fades at 6 s, what is between 8 x 0.15 s after the step and its end, of a step of 96 %.
    begin, end = np.exp(-(0.03 + 1.2 + 0.25) / 6.0), np.exp(-24.75 / 6.0)
    assert bench.steps["creep"].iloc[2] == pytest.approx(-4.0 * (begin - end) / 0.96, abs=0.15)
    assert len(bench.steps) == 6


def test_two_time_constants_of_creep_are_told_apart():
    rng = np.random.default_rng(4)
    t = np.arange(6000) / 100.0
    curve = 1.0 - 0.05 * (1 - np.exp(-t / 0.8)) - 0.05 * (1 - np.exp(-t / 12.0))
    creep = creep_constants([HoldSpan(curve + 1e-3 * rng.standard_normal(t.size), 100.0) for _ in range(3)])
    assert len(creep.constants) == 2
    for constant, true in zip(creep.constants, (0.8, 12.0), strict=True):
        assert constant.value == pytest.approx(true, rel=0.03)
        assert 0.95 * true < constant.low < constant.high < 1.05 * true


def test_creep_slower_than_the_hold_has_no_upper_limit():
    rng = np.random.default_rng(4)
    t = np.arange(1000) / 100.0
    curve = np.exp(-t / 300.0) + 0.01 * rng.standard_normal(t.size)
    creep = creep_constants([HoldSpan(curve, 100.0)])
    assert all(np.isinf(constant.high) for constant in creep.constants)


def test_noise_alone_has_no_creep():
    found = [
        len(creep_constants([HoldSpan(np.random.default_rng(s).standard_normal(2000), 100.0)]).constants)
        for s in range(60)
    ]
    assert np.mean(np.array(found) > 0) <= 0.05


def test_a_local_tap_is_smaller_than_a_stretch_and_a_strange_one_is_remarked():
    """A rod stretches 12 % of the length by 25 %: the whole answers as to 3 %; full scale 30 % is ten times that."""
    row = characterise([stretch(TRIANGLES), tap()]).row
    assert row["n_taps"] == 12
    assert row["stretch_to_tap_ratio"] == pytest.approx(10.0, rel=0.1)
    big = tap()
    loud = BenchRecording("bench-2", "tap", 20.0 * big.response, 100.0)
    assert "check the mounting" in characterise([stretch(TRIANGLES), loud]).row["warning"]


def test_drift_over_cycles_is_found_in_percent_of_full_scale():
    recording = stretch((Hold(0, 0, 5), Cycles(0.3, 4.0, 15), Hold(0, 0, 5)))
    seconds = np.arange(len(recording.response)) / 100.0
    drifting = BenchRecording(
        "b", "stretch", recording.response + 1.5 * 0.002 * seconds / 4.0, 100.0, recording.reference
    )
    row = characterise([drifting]).row
    assert row["drift"] == pytest.approx(0.2, rel=0.1)
    assert row["drift_low"] < 0.2 < row["drift_high"]


def test_two_recordings_on_other_days_share_their_drift_and_not_their_level():
    """The second run starts 20 % of full scale higher and is longer: that is no drift over cycles."""
    runs = []
    for name, cycles, level in (("b1", 8, 0.0), ("b2", 16, 0.3)):
        one = stretch((Hold(0, 0, 5), Cycles(0.3, 4.0, cycles), Hold(0, 0, 5)), seed=cycles)
        seconds = np.arange(len(one.response)) / 100.0
        response = one.response + level + 1.5 * 0.002 * seconds / 4.0
        runs.append(BenchRecording(name, "stretch", response, 100.0, one.reference))
    row = characterise(runs).row
    assert row["drift"] == pytest.approx(0.2, rel=0.1)
    assert row["drift_low"] < 0.2 < row["drift_high"]


@pytest.mark.parametrize("direction", [1.0, -1.0])
def test_a_sensor_that_answers_downwards_has_a_negative_gauge_factor_and_the_same_faults(direction):
    recording = stretch(standard_program(0.3), SensorModel(full_scale_strain=0.3, curvature=0.1))
    turned = BenchRecording("b", "stretch", direction * recording.response, 100.0, recording.reference)
    plain, row = characterise([recording]).row, characterise([turned]).row
    assert row["gauge_factor"] == pytest.approx(direction * plain["gauge_factor"], rel=1e-6)
    for name in ("linearity", "hysteresis", "detection_limit", "response_time", "signal_to_noise"):
        assert row[name] == pytest.approx(plain[name], rel=1e-4)


@pytest.mark.parametrize(
    "recording",
    [
        BenchRecording("b", "stretch", np.full(500, np.nan), 100.0, np.full(500, np.nan)),
        BenchRecording("b", "stretch", np.zeros(500), 100.0, np.zeros(500)),
        BenchRecording("b", "stretch", np.full(3000, np.nan), 100.0, 0.1 * np.sin(np.arange(3000) / 50.0)),
        BenchRecording("b", "tap", np.zeros(5), 100.0),
    ],
)
def test_an_empty_bench_gives_an_empty_row_that_says_why(recording):
    bench = characterise([recording])
    assert np.isnan(bench.row["gauge_factor"])
    assert "no settled cycle found" in bench.row["warning"]


def test_gaps_cost_samples_and_not_the_sensor():
    recording = stretch(standard_program(0.3))
    response = recording.response.copy()
    response[2000:2050] = np.nan
    response[9000:9300] = np.nan
    row = characterise([BenchRecording("b", "stretch", response, 100.0, recording.reference)]).row
    assert row["gauge_factor"] == pytest.approx(5.0, rel=0.01)


def _on_two_days(first: float, second: float):
    days = []
    for name, gauge_factor in (("day-1", first), ("day-2", second)):
        recording = stretch(TRIANGLES, replace(PLAIN, gauge_factor=gauge_factor), seed=len(days))
        days.append(replace(recording, recording_id=name))
    return characterise(days)


def test_a_sensor_that_changed_between_two_recordings_has_no_gauge_factor_of_both():
    """A sensor of gauge factor 8 and then 5 never had the 6.5 of their mean, nor what follows from it."""
    bench = _on_two_days(8.0, 5.0)
    for name in ("gauge_factor", "response_full_scale", "detection_limit", "signal_to_noise", "repeatability", "drift"):
        ends = ("",) if name == "response_full_scale" else ("", "_low", "_high")
        assert all(np.isnan(bench.row[f"{name}{end}"]) for end in ends), name
    assert np.isfinite(bench.row["noise_floor"])
    said = re.findall(r"([\d.]+) \(([\d.]+) to ([\d.]+)\) in (day-\d)", bench.row["gauge_factor_note"])
    assert [(name, float(low) <= true <= float(high)) for (_, low, high, name), true in zip(said, (8, 5), strict=True)
            ] == [("day-1", True), ("day-2", True)]  # fmt: skip
    assert "differ in gauge factor beyond their intervals" in bench.row["warning"]
    slopes = bench.curves.groupby("recording_id")["gauge_factor"]
    assert np.allclose(slopes.get_group("day-1"), 8.0, rtol=0.01)
    assert np.allclose(slopes.get_group("day-2"), 5.0, rtol=0.01)
    assert bench.loops.groupby("recording_id")["loading"].max().to_numpy() == pytest.approx([2.4, 1.5], rel=0.02)
    assert answer_of(bench.row, bench.loops) is None or answer_of(bench.row, bench.loops).loop == ()


def test_recordings_that_differ_a_little_are_one_and_its_limits_hold_each():
    """3 % between two mountings is what mountings do; the limits of the mean over cycles would hold neither."""
    bench = _on_two_days(5.0, 5.15)
    assert bench.row["gauge_factor_low"] <= 5.0 < 5.15 <= bench.row["gauge_factor_high"]
    assert bench.row["gauge_factor_note"].endswith("its limits hold the interval of each of its recordings")
    assert bench.row["warning"] is None or "differ" not in bench.row["warning"]
    assert bench.curves["recording_id"].isna().all()


def test_rows_fit_their_tables(tmp_path):
    bench = characterise([stretch(standard_program(0.3), SensorModel()), tap(SensorModel())])
    for spec, frame in (
        (SENSORS, pd.DataFrame([bench.row])),
        (SENSOR_CURVES, bench.curves),
        (SENSOR_LOOPS, bench.loops),
        (BENCH_CYCLES, bench.cycles),
        (BENCH_STEPS, bench.steps),
    ):
        written = write_table(frame.assign(sensor_id="S01"), spec, tmp_path)
        assert len(read_described(written)) == len(frame) > 0


def test_reference_in_millimetres_needs_the_gauge_length():
    assert reference_strain(np.array([5.0]), "mm", 50.0) == pytest.approx(0.1)
    assert reference_strain(np.array([5.0]), "percent") == pytest.approx(0.05)
    with pytest.raises(ValueError, match="gauge_length_mm"):
        reference_strain(np.array([5.0]), "mm", None)


def test_the_first_order_answer_is_undone():
    x = np.interp(np.arange(2000), [0, 500, 1000, 2000], [0.0, 0.0, 1.0, 1.0])
    back = undo_first_order(first_order(x, 100.0, 0.2), 100.0, 0.2)
    assert np.max(np.abs(back - x)) < 0.002
