"""The example of a study in README.md, pasted as it stands."""

import re
from pathlib import Path

import numpy as np
import pytest
from strainstudy.config import StudyConfig
from strainstudy.ingest.parameters import IngestParameters
from strainstudy.intake.start import look
from strainstudy.study import load_study

README = Path(__file__).resolve().parents[1] / "README.md"
SHEETS = {
    "participants.tsv": "participant_id\t",
    "sensors.tsv": "sensor_id\t",
    "recordings.tsv": "recording_id\tparticipant_id\t",
    "channels.tsv": "recording_id\tname\t",
    "labels": "onset\t",
}
"""How the header of each sheet begins."""
LENGTH_S, RATE = 60, 100


def blocks() -> list[str]:
    return re.findall(r"^```\n(.*?)^```", README.read_text(encoding="utf-8"), flags=re.DOTALL | re.MULTILINE)


def block(start: str) -> str:
    (found,) = [text for text in blocks() if text.startswith(start)]
    return found


def cells(text: str) -> list[dict[str, str]]:
    header, *rows = [line.split("\t") for line in text.splitlines()]
    return [dict(zip(header, row, strict=True)) for row in rows]


@pytest.fixture(scope="module")
def pasted(tmp_path_factory):
    """The study as the README has it, with a minute of invented signal in each raw file that it names."""
    root = tmp_path_factory.mktemp("pasted")
    for name, start in SHEETS.items():
        if name != "labels":
            (root / name).write_text(block(start), encoding="utf-8")
    text = README.read_text(encoding="utf-8")
    (label_file,) = re.findall(r"`(labels/[^`<]*_events\.tsv)`", text)
    (root / label_file).parent.mkdir(parents=True)
    (root / label_file).write_text(block(SHEETS["labels"]), encoding="utf-8")
    channels = cells(block(SHEETS["channels.tsv"]))
    rng = np.random.default_rng(5)
    for recording in cells(block(SHEETS["recordings.tsv"])):
        bench = recording["task"] in ("stretch", "tap")
        own = [
            channel["name"]
            for channel in channels
            if channel["recording_id"] == recording["recording_id"] or (channel["recording_id"] == "*" and not bench)
        ]
        time = np.arange(LENGTH_S * RATE) / RATE
        signals = [0.1 * np.sin(2 * np.pi * time / 1.1 + k) + rng.normal(0, 0.01, time.size) for k, _ in enumerate(own)]
        path = root / recording["file"]
        path.parent.mkdir(exist_ok=True)
        head = ",".join([recording["time_column"], *own])
        np.savetxt(path, np.column_stack([time, *signals]), "%.4f", ",", header=head, comments="")
    return root


def test_the_example_study_is_without_fault_or_caution_when_pasted_as_it_stands(pasted):
    study = load_study(pasted)
    assert study.cautions == ()
    assert look(study, StudyConfig(strict=True), IngestParameters(), thorough=True) == ()
    assert [len(study.recordings[r].labels) for r in sorted(study.recordings) if study.recordings[r].labels] == [1]


def test_the_example_holds_what_the_readme_explains(pasted):
    """A bench row, a throat, both polarities, and no rest resistance that has to be assumed."""
    study = load_study(pasted)
    assert {r.task for r in study.recordings.values()} == {"bend", "walk", "swallow", "stretch"}
    assert {s.polarity for s in study.sensors.values()} == {1, -1}
    used = {c.sensor_id for r in study.recordings.values() for c in r.channels} - {None}
    assert used == set(study.sensors)
    assert all(s.r2_ohm is not None or s.rest_ohm is not None for s in study.sensors.values())


def test_every_block_of_a_sheet_in_the_readme_is_separated_by_tabs():
    for start in SHEETS.values():
        widths = {line.count("\t") for line in block(start).splitlines()}
        assert len(widths) == 1
        assert widths != {0}
