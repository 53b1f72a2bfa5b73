"""A small study full of names and dates, its results, and a shared folder made of both."""

from __future__ import annotations

import datetime as dt
import gzip
import json
import subprocess
import sys
from pathlib import Path
from typing import Any

import edfio
import numpy as np
import pandas as pd
import pyarrow as pa
import pyarrow.parquet as pq
from strainstudy.ingest.parameters import IngestParameters
from strainstudy.jobs import Progress
from strainstudy.records import Study
from strainstudy.share.columns import free_text
from strainstudy.share.parameters import ShareParameters
from strainstudy.stages import share
from strainstudy.study import load_study
from strainstudy.tables import write_table
from strainstudy.tables.classifier import BOUTS
from strainstudy.tables.events import EVENTS
from strainstudy.tables.recordings import ADDED, RECORDINGS

__all__ = ["PRIVATE", "TABLES", "every_column", "shared", "validated", "write_named_study"]

PRIVATE = (
    "anna",
    "berta",
    "maria",
    "2024-",
    "202405",
    "202406",
    "Meier",
    "clinic",
    "comment",
    "trainers",
    "first visit",
    "Keller",
)
"""Words of the study below that nobody outside the lab may read."""
TABLES = (BOUTS.path, EVENTS.path, RECORDINGS.path)
_RATE, _N = 100, 3000
_SHEETS = {
    "participants.tsv": (
        "participant_id\tage\tsex\tgroup\taffected_side\tclinic\n"
        "sub-anna\t93\tF\tMeier\tleft\tKeller\n"
        "sub-berta\t59.5\tM\tcontrol\tnone\tn/a\n"
    ),
    "sensors.tsv": (
        "sensor_id\texcitation_v\tr1_ohm\tr2_ohm\tr3_ohm\tamplifier_gain\tpolarity\trest_ohm\tgauge_length_mm\n"
        "Meier-L\t3.3\t1000\tn/a\t1000\t10\t1\t980\t40\n"
        "Meier-R\t3.31\t1000.5\t1000\t1000\t10\t-1\tn/a\tn/a\n"
        "Meier-T\t5\t1000\t1000\t1000\t1\t1\tn/a\tn/a\n"
    ),
    "recordings.tsv": (
        "recording_id\ttask\tfile\tparticipant_id\tsession_id\tsensor_id\tsampling_frequency\ttime_column\tvolume_ml"
        "\twalkway\tcomment\n"
        "anna-20240501-walk\twalk\traw/a-walk.csv\tsub-anna\tses-20240501\tn/a\t100\ttime_ms\tn/a\ttreadmill"
        "\tfirst visit\n"
        "anna-20240501-again\twalk\traw/a-again.csv.gz\tsub-anna\tses-20240501\tn/a\tn/a\twhen\tn/a\tn/a\tn/a\n"
        "anna-20240608-water\tswallow\traw/a-water.edf\tsub-anna\tses-20240608\tn/a\tn/a\tn/a\t100\tn/a\tn/a\n"
        "berta-walk\twalk\traw/b-walk.parquet\tsub-berta\tn/a\tn/a\t100\tn/a\tn/a\tn/a\ttrainers\n"
        "berta-broken\twalk\traw/b-broken.csv.gz\tsub-berta\tn/a\tn/a\t100\tn/a\tn/a\tn/a\tn/a\n"
        "bench-Keller\tstretch\traw/bench.csv\tn/a\tn/a\tMeier-L\t100\tn/a\tn/a\tn/a\tn/a\n"
    ),
    "channels.tsv": (
        "recording_id\tname\ttracked_point\tunits\tsensor_id\tstatus\n"
        "*\tleft Meier\tleft_knee\tV\tMeier-L\tgood\n"
        "*\tright_v\tright_knee\tmV\tMeier-R\tgood\n"
        "*\tleft_deg\tleft_knee\tdeg\tn/a\tgood\n"
        "anna-20240608-water\tneck\tthroat\tV\tMeier-T\tgood\n"
        "anna-20240501-again\tright_v\tright_knee\tmV\tMeier-R\tbad\n"
        "bench-Keller\tvolts\tsensor\tV\tn/a\tgood\n"
        "bench-Keller\tmm\treference_displacement\tmm\tn/a\tgood\n"
    ),
    "labels/anna-20240501-walk/maria_events.tsv": (
        "onset\tduration\ttrial_type\tside\tvalue\tcomment\n"
        "1.0\t8.0\tnormal_gait\tn/a\tn/a\tMeier\n"
        "1.2\tn/a\tinitial_contact\tright\tn/a\tn/a\n"
        "1.70\t0\tinitial_contact\tleft\tn/a\tn/a\n"
    ),
}


def _signals() -> dict[str, np.ndarray]:
    rng = np.random.default_rng(3)
    time = np.arange(_N) / _RATE
    waves = {
        name: 0.2 * np.sin(2 * np.pi * time / 1.1 + k) + rng.normal(0, 0.01, _N)
        for k, name in enumerate(("left Meier", "right_v", "left_deg", "neck"))
    }
    return {**waves, "left_deg": 60 * waves["left_deg"]}


def write_named_study(root: Path) -> Path:
    """Write the study: stamps in milliseconds and as dates, a file with its own date, one that cannot be read."""
    for name, text in _SHEETS.items():
        (root / name).parent.mkdir(parents=True, exist_ok=True)
        (root / name).write_text(text, encoding="utf-8")
    raw, signals = root / "raw", _signals()
    raw.mkdir()
    left, right = signals["left Meier"], signals["right_v"]
    stamps = 5000 + 10 * np.arange(_N)
    walk = pd.DataFrame({"time_ms": stamps, "left Meier": left, "right_v": right, "left_deg": signals["left_deg"]})
    walk.loc[[7, 300], "right_v"] = np.nan
    walk.drop(index=range(1200, 1260)).to_csv(raw / "a-walk.csv", index=False)
    start = dt.datetime(2024, 5, 1, 9, 30)
    dates = [(start + dt.timedelta(milliseconds=int(ms))).isoformat(sep=" ", timespec="milliseconds") for ms in stamps]
    again = pd.DataFrame({"when": dates, "left Meier": left[::-1], "right_v": right})
    (raw / "a-again.csv.gz").write_bytes(gzip.compress(again.to_csv(index=False).encode(), mtime=0))
    patient = edfio.Patient(code="Meier", name="anna")
    about = {"patient": patient, "starttime": dt.time(9), "recording": edfio.Recording(startdate=dt.date(2024, 6, 8))}
    signal = edfio.EdfSignal(signals["neck"], _RATE, label="neck", physical_dimension="V", physical_range=(-1, 1))
    edfio.Edf([signal], **about).write(raw / "a-water.edf")
    pq.write_table(pa.table({"left Meier": left + 0.01, "right_v": right}), raw / "b-walk.parquet")
    (raw / "b-broken.csv.gz").write_bytes(gzip.compress(b"left Meier,right_v\n" + b"0.1,0.2\n" * 900)[:60])
    strain = np.linspace(0, 8, _N)
    pd.DataFrame({"volts": 0.1 * strain, "mm": strain}).to_csv(raw / "bench.csv", index=False)
    return root


def _write_results(study: Study, results: Path) -> None:
    """Write three result tables as a run would: a few detections, and a table with words of the lab's own."""
    ids = sorted(study.recordings)
    events = {"recording_id": ids, "onset": 1.5, "duration": 0.0, "trial_type": "initial_contact", "side": "left"}
    write_table(EVENTS.of(pd.DataFrame({**events, "value": np.nan, "score": 0.9})), EVENTS, results)
    bouts = {
        **dict.fromkeys(BOUTS.names),
        "onset": 0.5,
        "duration": 9.0,
        "trial_type": "limping_gait",
        "limping_side": "left",
    }
    rows = [{**bouts, "recording_id": name, "probability": 0.8, "side_probability": 0.7} for name in ids]
    write_table(BOUTS.empty() if not rows else pd.DataFrame(rows)[[*BOUTS.names]], BOUTS, results)
    recordings = [
        {
            **dict.fromkeys([*RECORDINGS.names, *(column.name for column in ADDED)]),
            "recording_id": one.recording_id,
            "participant_id": one.participant_id,
            "session_id": one.session_id,
            "file": one.file,
            "started": "2024-05-01T09:30:00",
            "notes": f"sensor Meier-L of {one.recording_id}",
        }
        for one in study.recordings.values()
    ]
    write_table(pd.DataFrame(recordings), RECORDINGS, results, ADDED)


def every_column(study: Study) -> tuple[str, ...]:
    """Name every column of free text of a study."""
    return tuple(text.column for text in free_text(study, ShareParameters()))


def shared(root: Path, results: Path, parameters: ShareParameters) -> Path:
    """Share a study into a results folder of its own; give the shared folder."""
    study = load_study(root)
    _write_results(study, results)
    (results / "logs").mkdir()
    progress = Progress(results / "logs/share.log", "share")
    share.run(
        study, parameters=parameters, ingest=IngestParameters(), tables=TABLES, results=results, progress=progress
    )
    return results / "share/bids"


def validated(folder: Path) -> list[dict[str, Any]]:
    """Ask the standard's own validator about every row of a data set and of the derivatives in it."""
    issues = []
    for dataset in [folder, *sorted((folder / "derivatives").glob("*"))]:
        command = [
            str(Path(sys.executable).with_name("bids-validator-deno")),
            str(dataset),
            "--format",
            "json",
            "--max-rows",
            "-1",
        ]
        done = subprocess.run(command, capture_output=True, text=True, timeout=120, check=False)
        issues += json.loads(done.stdout)["issues"]["issues"]
    return issues
