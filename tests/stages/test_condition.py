"""What condition and calibrate tell of a trace beside its signals, and on which side a knee rests."""

from pathlib import Path
from unittest.mock import Mock

import numpy as np
import pytest
from strainstudy.calibrate.answer import Answer
from strainstudy.calibrate.parameters import CalibrateParameters
from strainstudy.condition.bridge import Bridge, volts
from strainstudy.condition.parameters import ConditionParameters
from strainstudy.io.frames import read_json
from strainstudy.io.store import Trace, TraceWriter, read_recording
from strainstudy.records import Channel, Recording, Sensor
from strainstudy.stages import calibrate, condition

FS = 100.0


def sensor(r2_ohm=10_000.0, rest_ohm=10_000.0):
    return Sensor(
        "k", excitation_v=3.3, r1_ohm=10_000.0, r2_ohm=r2_ohm, r3_ohm=10_000.0, amplifier_gain=1.0, polarity=1,
        rest_ohm=rest_ohm, gauge_factor=None, gauge_length_mm=None,
    )  # fmt: skip


def notes_of(tmp_path, values, sheet, *, point="left_knee", units="V", rails=(), answers=None, task="walk", labels=()):
    """Condition and calibrate one trace; give both notes on it."""
    recording = Recording(
        "r1", task, Path("r1.csv"), "r1.csv", "sub-01", "ses-01", None, FS, None, None,
        (Channel("v", point, units, "k"),), dict(labels), {},
    )  # fmt: skip
    with TraceWriter(tmp_path / "raw.parquet", ("raw",)) as writer:
        writer.write(Trace("r1", point, units, FS, {"raw": values}, rails))
    at = {name: tmp_path / f"{name}.json" for name in ("condition", "calibrate", "maps", "calibrations")}
    condition.run(
        [recording], {"k": sheet}, parameters=ConditionParameters(), raw=tmp_path / "raw.parquet",
        traces=tmp_path / "conditioned.parquet", notes=at["condition"], progress=Mock(),
    )  # fmt: skip
    calibrate.run(
        [recording], {"k": sheet}, parameters=CalibrateParameters(),
        drift_shortest_period_s=ConditionParameters().drift_shortest_period_s, reference_rater=None,
        answers=answers or {}, traces=tmp_path / "conditioned.parquet", condition_notes=at["condition"],
        signals=tmp_path / "signals.parquet", maps=at["maps"], calibrations=at["calibrations"],
        notes=at["calibrate"], progress=Mock(),
    )  # fmt: skip
    return tuple(read_json(at[stage])[0] for stage in ("condition", "calibrate"))


def still(tmp_path, *, units="V", r2_ohm=10_000.0, true_ohm=10_400.0, **more):
    """Notes on a still trace of a resistance beside the stated one of 10 kohm."""
    sheet = sensor(r2_ohm)
    ohm = true_ohm * (1 + 1e-4 * np.random.default_rng(1).standard_normal(3000))
    bridge = Bridge.of(excitation_v=3.3, r1_ohm=10_000.0, r2_ohm=r2_ohm, r3_ohm=10_000.0, rest_ohm=10_000.0)
    values = volts(ohm, bridge) if units == "V" else ohm
    return notes_of(tmp_path, values, sheet, units=units, **more)


@pytest.mark.parametrize("given", [{}, {"units": "ohm", "r2_ohm": None}])
def test_rest_resistance_is_the_measured_one_and_not_that_of_the_sheet(tmp_path, given):
    assert still(tmp_path, **given)[1]["measured_rest_ohm"] == pytest.approx(10_400, rel=1e-3)


def test_a_bridge_that_was_trimmed_measures_no_rest_resistance(tmp_path):
    assert still(tmp_path, r2_ohm=None)[1]["measured_rest_ohm"] is None


def test_rails_of_a_throat_are_those_that_ingest_found_and_are_looked_for_nowhere_else(tmp_path):
    """A still throat has no rail to be found: what the note has was handed on with the trace."""
    rails = ((1.0, 1.25), (7.5, 8.0))
    assert still(tmp_path, point="throat", rails=rails)[0]["clipped_s"] == [list(span) for span in rails]
    assert still(tmp_path, rails=rails)[0]["clipped_s"] is None


OWN = Answer(0.04, 0.001, ((0.02, 0.1),))


@pytest.mark.parametrize(
    ("answer", "told"),
    [
        (OWN, OWN.to_dict()),
        # Seven tenths of the assumed 23 ms are what is not known of an assumed answer.
        (Answer(0.04, 0.02), None),
    ],
)
def test_the_answer_of_a_sensor_is_its_own_where_that_is_known_better_than_the_assumed_one(tmp_path, answer, told):
    found = still(tmp_path, answers={"k": answer})[1]["answer"]
    assert (None if found is None else Answer.from_dict(found)) == (None if told is None else Answer.from_dict(told))


def test_a_loop_in_relative_change_is_not_undone_in_other_units(tmp_path):
    found = Answer.from_dict(still(tmp_path, units="a.u.", answers={"k": OWN})[1]["answer"])
    assert found == Answer(0.04, 0.001)


def test_the_answer_of_another_sensor_is_nobody_elses(tmp_path):
    assert still(tmp_path, answers={"other": OWN})[1]["answer"] is None


def test_holds_tell_on_which_side_a_knee_rests_where_conditioning_took_the_other(tmp_path):
    """A leg that is bent from the first sample and stretched half way seems to rest bent."""
    t = np.arange(9000) / FS
    labels = tmp_path / "mh_events.tsv"
    labels.write_text("onset\tduration\ttrial_type\tside\tvalue\n3\t39\tknee_bend\tleft\t90\n", encoding="utf-8")
    taken, _ = notes_of(
        tmp_path, np.where(t < 45, 1.0, 0.0), sensor(), units="a.u.", task="bend", labels={"mh": labels}
    )
    assert taken["end"] == -1
    (signal,) = read_recording(tmp_path / "signals.parquet", "r1").values()
    for quantity, level in (("response", 1.0), ("angle", 90.0)):
        assert np.median(signal[quantity][500:4000]) == pytest.approx(level, rel=0.05)
        assert np.median(signal[quantity][5000:]) == pytest.approx(0.0, abs=0.05 * level)


def test_a_session_wired_in_reverse_is_measured_as_if_it_were_not_and_said_with_what_to_write(tmp_path):
    """Two holds at known angles; the same volts with the sign turned."""
    t = np.arange(0, 40, 1 / FS)
    angle = np.where((t > 8) & (t < 14), 45.0, 0.0) + np.where((t > 20) & (t < 26), 90.0, 0.0)
    angle += np.where((t > 30) & (t < 36), 45.0, 0.0)
    ohm = 10_400.0 * (1 + angle / 300) * (1 + 2e-4 * np.random.default_rng(1).standard_normal(t.size))
    bridge = Bridge.of(excitation_v=3.3, r1_ohm=10_000.0, r2_ohm=10_000.0, r3_ohm=10_000.0, rest_ohm=10_000.0)
    labels = tmp_path / "anna_events.tsv"
    rows = [f"{a}\t5\tknee_bend\tleft\t{v}" for a, v in ((8.5, 45), (20.5, 90), (30.5, 45))]
    labels.write_text("onset\tduration\ttrial_type\tside\tvalue\n" + "\n".join(rows) + "\n", encoding="utf-8")
    found = {}
    for sign in (1, -1):
        (tmp_path / str(sign)).mkdir()
        _, found[sign] = notes_of(
            tmp_path / str(sign), sign * volts(ohm, bridge), sensor(), task="bend", labels=(("anna", labels),)
        )
    assert found[1]["faults"] == []
    (fault,) = found[-1]["faults"]
    assert (fault["kind"], fault["tracked_point"], fault["sensor_id"]) == ("wired in reverse", "left_knee", "k")
    assert "set polarity -1 for sensor k as sub-01 wore it in session ses-01" in fault["remedy"]
    assert found[-1]["measured_rest_ohm"] == pytest.approx(found[1]["measured_rest_ohm"], rel=1e-3)
    maps = [read_json(tmp_path / str(sign) / "calibrations.json")[0] for sign in (1, -1)]
    assert [m["polarity"] for m in maps] == [1, 1]
    assert maps[1]["response_per_degree"] == pytest.approx(maps[0]["response_per_degree"], rel=0.01)
