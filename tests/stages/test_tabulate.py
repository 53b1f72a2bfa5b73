"""The table of recordings: what the lab's sheets say is carried along, and no impossible signal is called good."""

from __future__ import annotations

from pathlib import Path

import pandas as pd
import pytest
from strainstudy.bench.health import HealthParameters
from strainstudy.io.frames import write_frame, write_json, write_rows
from strainstudy.jobs import Progress
from strainstudy.records import Participant, Recording
from strainstudy.stages import tabulate
from strainstudy.tables import read_table
from strainstudy.tables.bends import KNEE_BENDS
from strainstudy.tables.recordings import ADDED, RECORDINGS


def recordings_table(folder: Path, impossible: int = 0, extra: dict[str, str] | None = None) -> pd.Series:
    """Tabulate one walk of 10 s at 100 Hz and give its row."""
    walk = Recording(
        "w", "walk", folder / "w.csv", "w.csv", "sub-01", "ses-01", None, 100.0, None, None, (), {}, extra or {}
    )
    person = Participant("sub-01", 64.0, "female", "stroke", "left", {"notes": "shy"})
    quality = dict.fromkeys(RECORDINGS.names) | {
        "recording_id": "w",
        "task": "walk",
        "sampling_frequency": 100.0,
        "duration": 10.0,
        "status": "good",
        "faults": [],
    }
    note = {"recording_id": "w", "tracked_point": "left_knee", "assumed": [], "hum_hz": [], "notes": []}
    rows = {
        "quality": [quality],
        "calibrations": [],
        "condition_notes": [note | {"impossible": impossible}],
        "calibrate_notes": [],
    }
    inputs = {name: [folder / f"{name}.json"] for name in rows} | {"knee_bends": [folder / "bends.parquet"]}
    for name, content in rows.items():
        write_rows(inputs[name][0], content)
    inputs["segment_notes"] = [folder / "segment_notes.json"]
    write_json(inputs["segment_notes"][0], {"w": {"polarity": {}}})
    write_frame(inputs["knee_bends"][0], pd.DataFrame(columns=list(KNEE_BENDS.names)))
    tabulate.run(
        [walk],
        {"sub-01": person},
        {},
        health=HealthParameters(),
        inputs=inputs,
        bench={},
        typed=folder / "recordings.parquet",
        results=folder / "results",
        progress=Progress(folder / "log", "tabulate"),
    )
    return read_table(folder / "results", RECORDINGS, ADDED).iloc[0]


def test_columns_of_the_lab_with_names_of_ours_stand_beside_them(tmp_path):
    row = recordings_table(tmp_path, extra={"age": "unknown", "participant_age": "old", "status": "done"})
    assert row["status"] == "good"
    assert row["sheet_status"] == "done"
    assert row["age"] == "unknown"
    assert row["participant_age"] == "old"
    assert float(row["participant_participant_age"]) == 64
    assert row["participant_notes"] == "shy"


@pytest.mark.parametrize(("impossible", "status"), [(50, "good"), (600, "degraded")])
def test_a_recording_of_volts_that_no_resistance_can_give_is_not_good(tmp_path, impossible, status):
    row = recordings_table(tmp_path, impossible=impossible)
    assert row["status"] == status
    if status == "degraded":
        assert row["status_description"].startswith("60% of the volts of left knee are such as no resistance can give")
