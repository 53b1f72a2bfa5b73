"""What the condition stage tells of a trace beside its signals."""

from pathlib import Path
from unittest.mock import Mock

import numpy as np
import pytest
from strainstudy.condition.parameters import ConditionParameters
from strainstudy.io.frames import read_rows, write_rows
from strainstudy.io.store import Trace, TraceWriter
from strainstudy.records import Channel, Recording, Sensor
from strainstudy.stages import condition

FS = 100.0


def note(tmp_path, *, units="V", r2_ohm=10_000.0, stated_ohm=10_000.0, true_ohm=10_400.0, point="left_knee", rails=()):
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
        [recording], {"k": sensor}, parameters=ConditionParameters(), traces=tmp_path / "traces.parquet",
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
