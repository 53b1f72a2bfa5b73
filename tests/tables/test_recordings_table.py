"""The table of recordings has the columns of the interface first, and takes good and rejected recordings alike."""

from __future__ import annotations

import pandas as pd
from strainstudy.ingest.parameters import IngestParameters
from strainstudy.ingest.recording import ingest_recording
from strainstudy.records import Channel, Recording
from strainstudy.tables.recordings import RECORDINGS
from strainstudy.tables.spec import read_table, write_table


def test_the_first_columns_are_those_of_the_fixed_interface():
    assert RECORDINGS.names[:11] == (
        "recording_id", "participant_id", "session_id", "task", "sampling_frequency", "duration", "missing_fraction",
        "gap_count", "clipped_fraction", "status", "status_description",
    )  # fmt: skip


def test_good_and_rejected_recordings_stand_in_one_table(tmp_path):
    rows = "\n".join(f"{i / 50},{(i * i) % 17 + i % 50}" for i in range(500))
    (tmp_path / "b.csv").write_text(f"t,v\n{rows}\n", encoding="utf-8")
    made = []
    for file in ("b.csv", "a.csv"):
        recording = Recording(
            file[0],
            "stretch",
            tmp_path / file,
            file,
            sensor_id="S1",
            time_column="t",
            channels=(Channel("v", "sensor", "ohm"),),
        )
        made.append(ingest_recording(recording, IngestParameters()).quality)
    write_table(pd.DataFrame(made), RECORDINGS, tmp_path)
    table = read_table(tmp_path, RECORDINGS)
    assert table["recording_id"].tolist() == ["a", "b"]
    assert table["status"].tolist() == ["rejected", "good"]
    assert table["status_description"][0] == "the file is not there"
    assert table["sampling_frequency"].isna().tolist() == [True, False]
    assert table["gap_count"][1] == 0
