"""The stages of a study one after the other in this process, without the engine, as the rules call them."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import asdict, dataclass, replace
from pathlib import Path
from typing import Any

import pandas as pd
from strainstudy.calibrate.answer import Answer
from strainstudy.config import load_config
from strainstudy.intake.start import reference_rater
from strainstudy.io.frames import read_frame
from strainstudy.jobs import Progress
from strainstudy.records import Study
from strainstudy.stages import calibrate, classify, condition, features, gather, ingest, measure, segment, tabulate
from strainstudy.stages.labels import labels_of
from strainstudy.tables import read_table
from strainstudy.tables.angles import CALIBRATIONS
from strainstudy.tables.classifier import BOUTS
from strainstudy.tables.gait import GAIT

__all__ = ["Outcome", "run_stages", "run_to_segments", "without_bends"]

BATCH = "people"


@dataclass(frozen=True)
class Outcome:
    """What a run gave: bouts, gait measures with verdicts, scores, and the labels they were scored with."""

    bouts: pd.DataFrame
    gait: pd.DataFrame
    scores: pd.DataFrame
    labels: Mapping[str, pd.DataFrame]
    calibrations: pd.DataFrame


def without_bends(study: Study) -> Study:
    """Leave the bend recordings out, as if they had not been made."""
    return replace(study, recordings={name: r for name, r in study.recordings.items() if r.task != "bend"})


def _paths(folder: Path) -> tuple[dict[str, Path], dict[str, Path]]:
    at = {
        name: folder / f"{name}.parquet"
        for name in (
            "ingested", "conditioned", "signals", "windows", "bouts", "candidates", "label_next", *segment.FRAMES,
        )
    }  # fmt: skip
    note = {
        name: folder / f"{name}.json"
        for name in ("quality", "maps", "calibrations", "calibrate_notes", "condition_notes", "segment_notes")
    }
    return at, note


def run_to_segments(
    study: Study,
    folder: Path,
    config: Mapping[str, Any] | None = None,
    answers: Mapping[str, Answer] | None = None,
) -> dict[str, pd.DataFrame]:
    """Run ingest to segment, whose frames lie in ``folder`` then, and give the labels of the reference rater.

    Parameters
    ----------
    study : Study
        Checked.
    folder : Path
        For everything that is written.
    config : mapping, optional
        Settings that are not the defaults, by section.
    answers : mapping of sensor_id to Answer, optional
        What a bench measured.

    Returns
    -------
    dict of recording_id to DataFrame
    """
    _, settings = load_config(config or {})
    say = Progress(folder / "log.txt", BATCH)
    rater = reference_rater(study, settings["validate"].reference_rater)
    recordings = list(study.recordings.values())
    at, note = _paths(folder)
    ingest.run(
        recordings, parameters=settings["ingest"], strict=True, traces=at["ingested"], quality=note["quality"],
        progress=say,
    )  # fmt: skip
    condition.run(
        recordings, study.sensors, parameters=settings["condition"], raw=at["ingested"], traces=at["conditioned"],
        notes=note["condition_notes"], progress=say,
    )  # fmt: skip
    calibrate.run(
        recordings, study.sensors, parameters=settings["calibrate"],
        drift_shortest_period_s=settings["condition"].drift_shortest_period_s, reference_rater=rater,
        answers=answers or {}, traces=at["conditioned"], condition_notes=note["condition_notes"], signals=at["signals"],
        maps=note["maps"], calibrations=note["calibrations"], notes=note["calibrate_notes"], progress=say,
    )  # fmt: skip
    segment.run(
        recordings, gait=settings["gait"], bends=settings["bends"], swallow=settings["swallow"],
        lag_s=settings["calibrate"].lag_s, flexion_stretches=settings["calibrate"].flexion_stretches,
        signals=at["signals"], condition_notes=note["condition_notes"],
        calibrate_notes=note["calibrate_notes"], outputs={name: at[name] for name in segment.FRAMES},
        notes=note["segment_notes"], progress=say,
    )  # fmt: skip
    return {name: raters[rater] for name, raters in labels_of(recordings).items() if rater in raters}


def run_stages(study: Study, folder: Path, config: Mapping[str, Any]) -> Outcome:
    """Run ingest to measure.

    Parameters
    ----------
    study : Study
        Checked.
    folder : Path
        For everything that is written.
    config : mapping
        Settings that are not the defaults, by section.

    Returns
    -------
    Outcome
    """
    labels = run_to_segments(study, folder, config)
    _, settings = load_config(config)
    say = Progress(folder / "log.txt", BATCH)
    rater = reference_rater(study, settings["validate"].reference_rater)
    recordings = list(study.recordings.values())
    at, note = _paths(folder)
    decisions = {
        name: folder / f"decided_{name}.parquet" for name in ("bouts", "rule_bouts", "candidates", "label_next")
    }
    results = folder / "results"

    features.run(
        recordings, parameters=settings["features"], signals=at["signals"], strides=at["strides"],
        notes=note["segment_notes"], windows=at["windows"], progress=say,
    )  # fmt: skip
    tabulate.run(
        recordings, study.participants, study.sensors, health=settings["health"],
        inputs={name: [at["knee_bends"] if name == "knee_bends" else note[name]] for name in tabulate.INPUTS},
        bench={}, typed=folder / "recordings.parquet", results=results, progress=say,
    )  # fmt: skip
    tables = []
    if rater is not None:
        tables = [folder / f"labels/{rater}.parquet"]
        gather.run(rater, recordings, table=tables[0], progress=say)
    classify.run(
        recordings, study.participants, settings={name: asdict(part) for name, part in settings.items()},
        reference_rater=rater, external=None, label_tables=tables, windows=[at["windows"]], states=[at["states"]],
        candidates=[at["candidates"]], outputs={**decisions, "evidence": folder / "evidence"}, results=results,
        progress=say,
    )  # fmt: skip
    paths = {**at, **note}
    measure.run(
        recordings, study.participants, gait=settings["gait"], swallow=settings["swallow"],
        verdict=settings["verdict"], batches={BATCH: list(study.recordings)},
        inputs={name: {BATCH: paths[name]} for name in measure.BATCH_INPUTS}, decisions=decisions,
        typed={name: folder / f"{name}_table.parquet" for name in measure.TYPED}, results=results, progress=say,
        reference_rater=rater, label_tables=tables,
    )  # fmt: skip
    return Outcome(
        read_table(results, BOUTS),
        read_table(results, GAIT),
        read_frame(folder / "evidence/classifier.parquet"),
        labels,
        read_table(results, CALIBRATIONS),
    )
