"""The answer of a sensor as its bench gives it, against sensors whose answer is known because it was put in."""

import json
from dataclasses import replace

import numpy as np
import pytest
from strainstudy.bench.answer import answer_of
from strainstudy.bench.characterise import BenchRecording, characterise
from strainstudy.calibrate.answer import Answer
from strainstudy.signal.play import branch
from strainstudy_simulator.bench import run_stage, standard_program
from strainstudy_simulator.sensor import SensorModel, hysteresis, resistance

FS = 100.0
SENSOR = SensorModel(relaxation=(), hysteresis_percent=6.0, curvature=0.0, full_scale_strain=0.35, response_time_s=0.04)


def benched(sensor: SensorModel, seed=0):
    rng = np.random.default_rng(seed)
    run = run_stage(standard_program(0.35), FS, rng, lag_s=0.03)
    response = resistance(run.strain, FS, sensor, rng) / sensor.rest_ohm - 1
    response = response + 1e-3 * rng.standard_normal(len(response))
    return characterise([BenchRecording("b", "stretch", response, FS, run.reference_percent / 100)])


@pytest.mark.parametrize("constant", [0.02, 0.04, 0.09])
def test_the_time_constant_is_found_within_its_error_whatever_the_offset_of_the_clocks(constant):
    bench = benched(replace(SENSOR, response_time_s=constant))
    answer = answer_of(bench.row, bench.loops)
    assert answer.error_s < 0.003
    assert answer.time_constant_s == pytest.approx(constant, abs=4 * answer.error_s)


@pytest.mark.parametrize("percent", [3.0, 8.0, 15.0])
def test_the_loop_of_the_bench_undoes_hysteresis_of_smaller_movements_too(percent):
    """The model behind is that of weighted plays (Brokate & Sprekels 1996), so its inverse is of the same kind."""
    bench = benched(replace(SENSOR, hysteresis_percent=percent))
    answer = answer_of(bench.row, bench.loops)
    span = SENSOR.gauge_factor * SENSOR.full_scale_strain
    seconds = np.arange(2000) / FS
    true = span * (0.35 - 0.25 * np.cos(2 * np.pi * seconds) - 0.1 * np.cos(4 * np.pi * seconds + 1.0))
    recorded = hysteresis(true, percent, span)
    undone = recorded + sum(width * branch(recorded, radius) for width, radius in answer.loop)

    def unlike(values):
        line = np.polyfit(values[500:], true[500:], 1)
        return float(np.std(np.polyval(line, values[500:]) - true[500:]))

    assert unlike(undone) < 0.4 * unlike(recorded)


def test_no_loop_is_undone_where_the_bench_tells_none_from_zero():
    bench = benched(replace(SENSOR, hysteresis_percent=0.0))
    row = bench.row | {"hysteresis_low": 0.0}
    assert answer_of(row, bench.loops).loop == ()


def test_a_bench_without_steps_gives_no_answer():
    bench = benched(SENSOR)
    names = [f"{name}{end}" for name in ("response_time", "recovery_time") for end in ("", "_low", "_high")]
    assert answer_of(bench.row | dict.fromkeys(names, np.nan), bench.loops) is None


def test_response_and_recovery_that_differ_make_one_constant_less_certain():
    bench = benched(SENSOR)
    slow = {name: 2 * bench.row[name] for name in ("recovery_time", "recovery_time_low", "recovery_time_high")}
    one, two = answer_of(bench.row, bench.loops), answer_of(bench.row | slow, bench.loops)
    assert two.time_constant_s == pytest.approx(1.5 * one.time_constant_s, rel=0.05)
    assert two.error_s > 5 * one.error_s


def test_an_answer_survives_json():
    answer = Answer(0.03, 0.001, ((0.1, 0.2), (0.3, 0.4)), "reference")
    assert Answer.from_dict(json.loads(json.dumps(answer.to_dict(), allow_nan=False))) == answer
