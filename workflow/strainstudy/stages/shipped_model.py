"""Recordings, labels and trials of a model that comes along to its windows, model and card: what ``make model`` runs.

``python -m strainstudy.stages.shipped_model FOLDER windows`` makes the windows alone of the study folder
``FOLDER/data``, for the trials; without the word it reads ``FOLDER/trials.tsv`` as well and writes everything else. The
same recordings, settings and versions give the same bytes.
"""

from __future__ import annotations

import hashlib
import sys
import tempfile
from collections.abc import Mapping, Sequence
from dataclasses import asdict
from pathlib import Path
from typing import Any, Final

import numpy as np
import pandas as pd
import yaml

from ..config import load_config
from ..gait.mixes import MIXES, mix_rows
from ..gait.model_files import GAIT_FILES
from ..gait.shipped_card import card_words
from ..gait.task import labelled_windows
from ..gait.training import train_states
from ..gait.windows import GAIT_FEATURES
from ..intake.start import reference_rater
from ..io.atomic import write_bytes, write_text
from ..io.frames import read_frame
from ..jobs import Progress
from ..learn.card import write_card
from ..provenance.manifest import sha256_of
from ..records import Study
from ..study import load_study
from ..tables import read_table, write_table
from ..tables.spec import Column, number
from ..tables.training import TRAINING, TRIALS
from ..upstream import upstream_settings
from . import calibrate, condition, features, ingest, segment
from .labels import labels_of

__all__ = ["ELSEWHERE", "build", "data_facts", "make_windows", "walk_frames", "write_windows"]

DATA: Final = "data"
SETTINGS: Final = "settings.yaml"
ELSEWHERE: Final[Mapping[str, Any]] = {
    "name": "open-walks",
    "told": "four adults, imitated stiff knee",
    "units": ["deg"],
    "walkway": "treadmill",
    "age_from": 18,
    "one_knee": "one knee alone: of a limp of the other knee the model tells little more than chance",
}
"""Who taught open-walks (`gait.elsewhere`): 18 years, as its source calls them adults; one knee, by its trials."""


def walk_frames(study: Study, folder: Path, config: Mapping[str, Any] | None = None) -> dict[str, Any]:
    """Run ingest to features in this process.

    Parameters
    ----------
    study : Study
        Checked.
    folder : Path
        For everything that is written.
    config : mapping, optional
        Settings that are not the defaults, by section.

    Returns
    -------
    dict
        ``windows`` with participants and ``states`` as frames, ``labels`` of the reference rater by recording.
    """
    _, settings = load_config(config or {})
    say = Progress(folder / "log.txt", "model")
    rater = reference_rater(study, settings["validate"].reference_rater)
    recordings = list(study.recordings.values())
    at = {name: folder / f"{name}.parquet" for name in ("raw", "traces", "signals", "windows", *segment.FRAMES)}
    note = {name: folder / f"{name}.json" for name in ("quality", "condition", "maps", "calibrations", "calibrate")}
    ingest.run(
        recordings, parameters=settings["ingest"], strict=True, traces=at["raw"], quality=note["quality"], progress=say
    )
    condition.run(
        recordings, study.sensors, parameters=settings["condition"], raw=at["raw"], traces=at["traces"],
        notes=note["condition"], progress=say,
    )  # fmt: skip
    calibrate.run(
        recordings, study.sensors, parameters=settings["calibrate"],
        drift_shortest_period_s=settings["condition"].drift_shortest_period_s, reference_rater=rater, answers={},
        traces=at["traces"], condition_notes=note["condition"], signals=at["signals"], maps=note["maps"],
        calibrations=note["calibrations"], notes=note["calibrate"], progress=say,
    )  # fmt: skip
    segment.run(
        recordings, gait=settings["gait"], bends=settings["bends"], swallow=settings["swallow"],
        lag_s=settings["calibrate"].lag_s, flexion_stretches=settings["calibrate"].flexion_stretches,
        signals=at["signals"], condition_notes=note["condition"], calibrate_notes=note["calibrate"],
        outputs={name: at[name] for name in segment.FRAMES}, notes=folder / "segment.json", progress=say,
    )  # fmt: skip
    features.run(
        recordings, parameters=settings["features"], signals=at["signals"], strides=at["strides"],
        notes=folder / "segment.json", windows=at["windows"], progress=say,
    )  # fmt: skip
    person = {recording.recording_id: recording.participant_id for recording in recordings}
    windows = read_frame(at["windows"])
    return {
        "windows": windows.assign(participant_id=windows["recording_id"].map(person)),
        "states": read_frame(at["states"]),
        "labels": {name: raters[rater] for name, raters in labels_of(recordings).items() if rater in raters},
    }


def _feature_columns() -> list[Column]:
    return [number(s.name, s.name.replace("_", " "), s.formula, s.unit) for s in GAIT_FEATURES]


def write_windows(frames: Mapping[str, Any], folder: Path) -> pd.DataFrame:
    """Write the labelled windows, and give them as they are read back: what is learnt is what lies there."""
    _, settings = load_config({})
    known = labelled_windows(frames["windows"], frames["labels"], settings["classify"])
    extra = _feature_columns()
    write_table(TRAINING.of(known[known["label"].notna()], extra), TRAINING, folder, extra)
    return read_table(folder, TRAINING, extra)


def make_windows(folder: Path, out: Path) -> tuple[dict[str, Any], pd.DataFrame]:
    """Make the windows of ``folder/data`` and write them to ``out``; give what `walk_frames` and `write_windows` do."""
    with tempfile.TemporaryDirectory() as place:
        frames = walk_frames(load_study(folder / DATA), Path(place))
    return frames, write_windows(frames, out)


def data_facts(root: Path) -> dict[str, Any]:
    """Count the files of a study folder, and hash their names and contents together."""
    files = sorted(path for path in root.rglob("*") if path.is_file())
    lines = "\n".join(f"{path.relative_to(root).as_posix()} {sha256_of(path)}" for path in files)
    return {"files": len(files), "sha256": hashlib.sha256(lines.encode()).hexdigest()}


def _plain(frame: pd.DataFrame) -> list[dict[str, Any]]:
    """Rows for JSON: missing values as null."""
    return [
        {str(name): None if pd.isna(value) else value for name, value in row.items()}
        for row in frame.astype(object).to_dict("records")
    ]


def build(folder: Path, out: Path | None = None) -> dict[str, Any]:
    """Make windows, settings, model and card.

    Parameters
    ----------
    folder : Path
        With ``data`` (a study folder) and ``trials.tsv``.
    out : Path, optional
        Where to write; the same folder by default.

    Returns
    -------
    dict
        The card.
    """
    out = folder if out is None else out
    _, settings = load_config({})
    values = {name: asdict(part) for name, part in settings.items()}
    upstream = upstream_settings(values, "gait")
    frames, known = make_windows(folder, out)
    people = pd.DataFrame({"participant_id": sorted(set(known["participant_id"]))})
    result = train_states(
        known.drop(columns=["label", "label_side", "unit"]), frames["states"], frames["labels"], people,
        settings["classify"], settings=upstream,
    )  # fmt: skip
    if result.model is None:
        raise RuntimeError(f"no model could be trained: {result.reason}")
    card = dict(result.model.card)
    card["data"] = {
        **card["data"],
        "recordings_and_labels": data_facts(folder / DATA),
        "windows_sha256": sha256_of(out / TRAINING.path),
    }
    prevalence = float(card["data"]["prevalence"])
    mixes = mix_rows(result.predictions, prevalence, MIXES).round(3)
    trials = read_table(folder, TRIALS).drop(columns="number")
    card |= {"elsewhere": dict(ELSEWHERE), "mixes": _plain(mixes), "trials": _plain(trials.replace({np.nan: None}))}
    write_text(out / SETTINGS, yaml.safe_dump(upstream, sort_keys=False, allow_unicode=True))
    write_bytes(out / GAIT_FILES.model, result.model.content)
    write_text(out / GAIT_FILES.card, write_card(card))
    write_text(out / GAIT_FILES.words, card_words(card))
    return card


def main(arguments: Sequence[str]) -> None:
    """Make the model of the folder that is named, or its windows alone."""
    folder = Path(arguments[0])
    if arguments[1:] == ["windows"]:
        make_windows(folder, folder)
    else:
        build(folder)


if __name__ == "__main__":
    main(sys.argv[1:])
