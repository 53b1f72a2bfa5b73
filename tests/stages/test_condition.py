"""What the condition stage tells of a trace beside its signals."""

from pathlib import Path
from unittest.mock import Mock

import numpy as np
import pytest
from strainstudy.calibrate.answer import Answer
from strainstudy.calibrate.maps import MapKey
from strainstudy.calibrate.parameters import CalibrateParameters
from strainstudy.calibrate.referencemap import ReferenceMap
from strainstudy.condition.parameters import ConditionParameters
from strainstudy.io.frames import read_rows, write_rows
from strainstudy.io.store import Trace, TraceWriter
from strainstudy.records import Channel, Recording, Sensor
from strainstudy.stages import condition

FS = 100.0


def note(
    tmp_path, *, units="V", r2_ohm=10_000.0, stated_ohm=10_000.0, true_ohm=10_400.0, point="left_knee", rails=(),
    answers=None,
):  # fmt: skip
    """Condition a still knee of a resistance beside a stated one, and read its note back."""
    quiet = true_ohm * (1 + 1e-4 * np.random.default_rng(1).standard_normal(3000))
    columns = {"resistance_ohm": quiet, "response": quiet / stated_ohm - 1, "strain": np.full(3000, np.nan)}
    sensor = Sensor(
        "k", excitation_v=3.3, r1_ohm=10_000.0, r2_ohm=r2_ohm, r3_ohm=10_000.0, amplifier_gain=1.0, polarity=1,
        rest_ohm=stated_ohm, gauge_factor=None, gauge_length_mm=None,
    )  # fmt: skip
    recording = Recording(
        "r1", "walk", Path("r1.csv"), "r1.csv", "sub-01", "ses-01", None, FS, None, None,
        (Channel("v", point, units, "k"),), {}, {},
    )  # fmt: skip
    with TraceWriter(tmp_path / "traces.parquet", tuple(columns)) as writer:
        writer.write(Trace("r1", point, units, FS, columns, rails))
    (tmp_path / "maps.json").write_text("[]")
    write_rows(tmp_path / "told.json", [{"recording_id": "r1", "tracked_point": point, "rest_ohm": stated_ohm}])
    condition.run(
        [recording], {"k": sensor}, parameters=ConditionParameters(), calibrate=CalibrateParameters(),
        answers=answers or {}, traces=tmp_path / "traces.parquet",
        maps=tmp_path / "maps.json", calibration_notes=tmp_path / "told.json", signals=tmp_path / "signals.parquet",
        notes=tmp_path / "notes.json", progress=Mock(),
    )  # fmt: skip
    return read_rows([tmp_path / "notes.json"]).iloc[0]


@pytest.mark.parametrize("given", [{}, {"units": "ohm", "r2_ohm": None}])
def test_rest_resistance_is_the_measured_one_and_not_that_of_the_sheet(tmp_path, given):
    assert note(tmp_path, **given)["measured_rest_ohm"] == pytest.approx(10_400, rel=1e-3)


def test_a_bridge_that_was_trimmed_measures_no_rest_resistance(tmp_path):
    assert note(tmp_path, r2_ohm=None)["measured_rest_ohm"] is None


def test_rails_of_a_throat_are_those_that_ingest_found_and_are_looked_for_nowhere_else(tmp_path):
    """A still throat has no rail to be found: what the note has was handed on with the trace."""
    rails = ((1.0, 1.25), (7.5, 8.0))
    assert note(tmp_path, point="throat", rails=rails)["clipped_s"] == [list(span) for span in rails]
    assert note(tmp_path, rails=rails)["clipped_s"] is None


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
    found = note(tmp_path, answers={"k": answer})["answer"]
    assert (None if found is None else Answer.from_dict(found)) == (None if told is None else Answer.from_dict(told))


def test_a_loop_in_relative_change_is_not_undone_in_other_units(tmp_path):
    found = Answer.from_dict(note(tmp_path, units="a.u.", answers={"k": OWN})["answer"])
    assert found == Answer(0.04, 0.001)


def test_the_answer_of_another_sensor_is_nobody_elses(tmp_path):
    assert note(tmp_path, answers={"other": OWN})["answer"] is None


def told(lag_s, error_s=0.006):
    """Stand in for a map by a reference that knows this lag."""
    return Mock(spec=ReferenceMap, lag_s=lag_s, lag_error_s=error_s)


@pytest.mark.parametrize(
    ("bench", "references", "sources"),
    [
        ({"L": OWN, "R": OWN}, {"L": told(0.1), "R": told(0.1)}, {"left_knee": "bench", "right_knee": "bench"}),
        ({"L": OWN}, {"L": told(0.1), "R": told(0.1)}, {"left_knee": "reference", "right_knee": "reference"}),
        ({"L": OWN}, {"R": told(0.1)}, {"left_knee": "bench"}),
        ({}, {"R": told(0.1)}, {}),
        ({}, {"L": told(0.1), "R": told(-0.02)}, {}),
        ({}, {"L": told(0.1), "R": told(0.1, 0.05)}, {}),
    ],
)
def test_a_reference_tells_the_lag_of_all_knees_or_of_none_for_its_clock_may_be_off(bench, references, sources):
    points = {"left_knee": "L", "right_knee": "R"}
    traces = {point: Trace("r1", point, "V", FS, {"response": np.zeros(2)}) for point in points}
    keys = {point: MapKey("sub-01", "ses-01", point, sensor) for point, sensor in points.items()}
    maps = {key: references[key.sensor_id] for key in keys.values() if key.sensor_id in references}
    found = condition._answers(traces, keys, bench, maps, CalibrateParameters())
    assert {point: answer.source for point, answer in found.items()} == sources
