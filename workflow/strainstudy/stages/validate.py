"""How far the results can be trusted: the tables of ``validation/`` and the change between sessions."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from pathlib import Path
from typing import Any, Final

import numpy as np
import numpy.typing as npt
import pandas as pd

from ..errors import counted
from ..io.store import Trace, iter_traces
from ..jobs import Progress
from ..learn.threads import processes, spread
from ..records import Participant, Recording
from ..reference_use import calibrates, calibrating_spans
from ..swallow.parameters import SwallowParameters
from ..tables import TableSpec, read_typed, write_table
from ..tables.angles import ANGLES
from ..tables.classifier import BOUTS, EVIDENCE
from ..tables.events import EVENTS
from ..tables.gait import GAIT
from ..tables.recordings import RECORDINGS
from ..tables.swallows import SWALLOW_SUMMARY
from ..tables.throat import THROAT_EVIDENCE
from ..validate.angle_agreement import agreement_table, angle_sums
from ..validate.norms import read_norms
from ..validate.parameters import ValidateParameters
from ..validate.study_tables import PARTS, StudyResults
from ..validate.unrecorded import comparable, unrecorded_counts
from ..vocabulary import MISSING
from .labels import beyond_the_end, labels_gathered, until_the_end

__all__ = ["TABLES", "run"]

TABLES = ("recordings", "events", "bouts", "gait", "swallow_summary")
_QUANTITIES: Final = ("angle", "angle_low", "angle_high", "reference_angle")


def _angles(
    signals: Sequence[Path], recordings: Sequence[Recording], multiplier: float, nominal: float
) -> list[tuple[TableSpec, pd.DataFrame]]:
    """Calibrated angles against the references beside them."""
    known = {recording.recording_id: recording for recording in recordings}
    traces = [
        _sums(trace, known[trace.recording_id])
        for path in signals
        for trace in iter_traces(path, quantities=_QUANTITIES)
        if trace.recording_id in known and trace.units != "deg" and np.isfinite(trace["reference_angle"]).any()
    ]
    table = agreement_table(traces, multiplier=multiplier, nominal=nominal)
    return [(ANGLES, ANGLES.of(table))]


def _sums(trace: Trace, recording: Recording) -> tuple[dict[str, Any], pd.DataFrame]:
    """Name a trace and add up its samples, but those whose reference calibrated the angle."""
    fitted = _fitted(trace, recording) & np.isfinite(trace["reference_angle"])
    ids = {
        "recording_id": recording.recording_id,
        "participant_id": recording.participant_id or MISSING,
        "tracked_point": trace.tracked_point,
        "task": recording.task,
        "fitted": float(np.count_nonzero(fitted)) / trace.sampling_frequency,
    }
    angle, low, high = (trace[name] for name in ("angle", "angle_low", "angle_high"))
    reference = np.where(fitted, np.nan, trace["reference_angle"])
    return ids, angle_sums(angle, low, high, reference, trace.sampling_frequency)


def _fitted(trace: Trace, recording: Recording) -> npt.NDArray[np.bool_]:
    """Mark the samples whose reference calibrated the angle."""
    time = trace.time
    fitted = np.zeros(trace.n, dtype=bool)
    for first, last in calibrating_spans(recording.reference_use, trace.n / trace.sampling_frequency):
        fitted |= (time >= first) & (time < last)
    return fitted


def _of_classifier(evidence: Path) -> list[tuple[TableSpec, pd.DataFrame]]:
    return [
        (spec, read_typed(evidence / f"{name}.parquet", spec)) for name, spec in {**EVIDENCE, **THROAT_EVIDENCE}.items()
    ]


def _write(results: Path, part: Callable[..., list[tuple[TableSpec, pd.DataFrame]]], *arguments: Any) -> None:
    """Write the tables that a part of the work makes, where they are made."""
    for spec, table in part(*arguments):
        write_table(table, spec, results)


def run(
    recordings: Sequence[Recording],
    participants: Mapping[str, Participant],
    *,
    parameters: ValidateParameters,
    swallow: SwallowParameters,
    prediction_level: float,
    norms: Path,
    label_tables: Sequence[Path],
    signals: Sequence[Path],
    evidence: Path,
    tables: Mapping[str, Path],
    results: Path,
    progress: Progress,
    threads: int = 1,
) -> None:
    """Validate a study.

    Parameters
    ----------
    recordings : sequence of Recording
        All of the study, with their labels.
    participants : mapping of str to Participant
    parameters : ValidateParameters
    swallow : SwallowParameters
        For where drinking ends.
    prediction_level : float
        Probability that the interval of an angle claims to cover.
    norms : Path
        Table of published norms.
    label_tables : sequence of Path
        Labels of each rater, from `gather`.
    signals : sequence of Path
        Conditioned signals of all batches, for angles beside a reference.
    evidence : Path
        Folder of the frames of classify, one for each of `EVIDENCE` and `THROAT_EVIDENCE`.
    tables : mapping of `TABLES` to Path
        Result tables as Parquet, with nothing rounded.
    results : Path
        Results folder.
    progress : Progress
    threads : int
        Processes that make the tables; their number changes no result.
    """
    with processes(threads, writing=True):
        people = participants.values()
        table = read_typed(tables["recordings"], RECORDINGS)
        used = table[table["status"] != "rejected"]
        columns = (used[name] for name in ("recording_id", "duration", "sampling_frequency"))
        lengths = {str(name): (float(length), float(rate)) for name, length, rate in zip(*columns, strict=True)}
        given = labels_gathered(label_tables, recordings)
        labels = until_the_end(given, lengths)
        study = StudyResults(
            recordings=table,
            events=read_typed(tables["events"], EVENTS),
            bouts=read_typed(tables["bouts"], BOUTS),
            gait=read_typed(tables["gait"], GAIT),
            swallow_summary=read_typed(tables["swallow_summary"], SWALLOW_SUMMARY),
            labels=comparable(labels, table),
            norms=read_norms(norms, str(norms)),
            ages={p.participant_id: p.age for p in people},
            sexes={p.participant_id: p.sex for p in people},
            groups={p.participant_id: p.group for p in people},
            walkways={r.recording_id: r.walkway for r in recordings},
            affected={p.participant_id: p.affected_side for p in people},
            calibrating=frozenset(r.recording_id for r in recordings if calibrates(r.reference_use)),
            clearing_pause_s=swallow.clearing_pause_s,
        )
        progress.say(f"{len(study.labels)} of {counted(len(recordings), 'recording')} with labels")
        for name, n in unrecorded_counts(labels, table).items():
            progress.say(f"{name}: not compared: {counted(n, 'label')} of a side that was not recorded")
        # at the start large files are not read to their end, and of those that end early nothing is refused
        for problem in beyond_the_end(recordings, lengths, given):
            progress.say(f"nothing can be compared with this label: {problem}")
        jobs: list[tuple[Any, ...]] = [(results, part, study, parameters) for part in PARTS]
        jobs.append((results, _angles, signals, recordings, parameters.limits_multiplier, prediction_level))
        jobs.append((results, _of_classifier, evidence))
        spread(_write, jobs)
