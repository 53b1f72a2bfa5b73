"""All that follows of a batch's traces, in one job: conditioned, calibrated, segmented, cut into feature windows.

The four stages always run one after the other. Starting a process with what they import takes as long as their work on
twenty recordings, so they share one, and what one writes is handed on to the next as far as there is room.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

from ..calibrate.answer import Answer
from ..io.store import Kept
from ..jobs import Progress
from ..records import Recording, Sensor
from . import calibrate, condition, features, segment

__all__ = ["run"]


def run(
    recordings: Sequence[Recording],
    sensors: Mapping[str, Sensor],
    *,
    settings: Mapping[str, Any],
    reference_rater: str | None,
    answers: Mapping[str, Answer],
    traces: Path,
    outputs: Mapping[str, Path],
    progress: Progress,
) -> None:
    """Work a batch through from uniform traces to feature windows.

    Parameters
    ----------
    recordings : sequence of Recording
        Those of task ``bend`` with their labels.
    sensors : mapping of str to Sensor
    settings : mapping of section to parameters
        ``condition``, ``calibrate``, ``gait``, ``bends``, ``swallow``, ``features``.
    reference_rater, answers
        As for `calibrate.run`.
    traces : Path
        What ingest left.
    outputs : mapping of str to Path
        To write: ``conditioned`` and ``condition_notes``; ``signals``, ``maps``, ``calibrations`` and
        ``calibrate_notes``; `segment.FRAMES` and ``segment_notes``; ``windows``.
    progress : Progress
    """
    conditioned, signals = Kept(condition.QUANTITIES), Kept(segment.QUANTITIES)
    condition.run(
        recordings,
        sensors,
        parameters=settings["condition"],
        raw=traces,
        traces=outputs["conditioned"],
        notes=outputs["condition_notes"],
        progress=progress.of("condition"),
        keep=conditioned,
    )
    calibrate.run(
        recordings,
        sensors,
        parameters=settings["calibrate"],
        drift_shortest_period_s=settings["condition"].drift_shortest_period_s,
        reference_rater=reference_rater,
        answers=answers,
        traces=outputs["conditioned"],
        condition_notes=outputs["condition_notes"],
        signals=outputs["signals"],
        maps=outputs["maps"],
        calibrations=outputs["calibrations"],
        notes=outputs["calibrate_notes"],
        progress=progress.of("calibrate"),
        kept=conditioned,
        keep=signals,
    )
    del conditioned
    segment.run(
        recordings,
        gait=settings["gait"],
        bends=settings["bends"],
        swallow=settings["swallow"],
        lag_s=settings["calibrate"].lag_s,
        flexion_stretches=settings["calibrate"].flexion_stretches,
        signals=outputs["signals"],
        condition_notes=outputs["condition_notes"],
        calibrate_notes=outputs["calibrate_notes"],
        outputs={name: outputs[name] for name in segment.FRAMES},
        notes=outputs["segment_notes"],
        progress=progress.of("segment"),
        kept=signals,
    )
    features.run(
        recordings,
        parameters=settings["features"],
        signals=outputs["signals"],
        strides=outputs["strides"],
        notes=outputs["segment_notes"],
        windows=outputs["windows"],
        progress=progress.of("features"),
        kept=signals,
    )
