"""Traces of a batch to resistance, relative change and strain; holds at known angles to angle maps."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

from ..calibrate.maps import BendTrace, MapKey, calibration_rows, fit_session_maps, maps_to_json
from ..calibrate.parameters import CalibrateParameters
from ..calibrate.references import ReferenceTrace, fit_references, joined
from ..condition.channel import calibrate_trace
from ..condition.parameters import ConditionParameters
from ..io.atomic import write_text
from ..io.frames import write_rows
from ..io.labels import read_labels
from ..io.store import Trace, TraceWriter, read_recording
from ..jobs import Progress
from ..records import Recording, Sensor
from ..reference_use import calibrating_spans
from ..vocabulary import REFERENCE_SUFFIX, SIDE_OF_POINT
from .bodies import of_reference_rater, sensor_of

__all__ = ["run"]

QUANTITIES = ("resistance_ohm", "response", "strain")


def _bends(
    recording: Recording, traces: Sequence[Trace], rests: Mapping[str, float], reference_rater: str | None
) -> list[BendTrace]:
    path = of_reference_rater(recording.labels, reference_rater)
    if path is None:
        return []
    labels = read_labels(path)
    return [
        BendTrace(
            MapKey.of(
                recording.participant_id,
                recording.session_id,
                trace.tracked_point,
                sensor_of(recording, trace.tracked_point),
            ),
            recording.recording_id,
            trace.sampling_frequency,
            trace.units,
            trace["response"],
            rests[trace.tracked_point],
            labels,
        )
        for trace in traces
        if trace.tracked_point in SIDE_OF_POINT and trace.units != "deg"
    ]


def _references(recording: Recording, traces: Sequence[Trace], rests: Mapping[str, float]) -> list[ReferenceTrace]:
    """Knees whose reference calibrates."""
    angles = {trace.tracked_point: trace for trace in traces}
    found = []
    for trace in traces:
        point = trace.tracked_point
        reference = angles.get(f"{point}{REFERENCE_SUFFIX}")
        if point not in SIDE_OF_POINT or trace.units == "deg" or reference is None:
            continue
        spans = calibrating_spans(recording.reference_use, trace.n / trace.sampling_frequency)
        if spans:
            found.append(
                ReferenceTrace(
                    MapKey.of(recording.participant_id, recording.session_id, point, sensor_of(recording, point)),
                    recording.recording_id,
                    trace.sampling_frequency,
                    trace.units,
                    trace["response"],
                    rests[point],
                    reference["response"],
                    list(spans),
                )
            )
    return found


def run(
    recordings: Sequence[Recording],
    sensors: Mapping[str, Sensor],
    *,
    parameters: CalibrateParameters,
    condition: ConditionParameters,
    reference_rater: str | None,
    raw: Path,
    traces: Path,
    maps: Path,
    calibrations: Path,
    notes: Path,
    progress: Progress,
) -> None:
    """Calibrate the recordings of a batch.

    Parameters
    ----------
    recordings : sequence of Recording
        Those of task ``bend`` with their labels.
    sensors : mapping of str to Sensor
    parameters : CalibrateParameters
    condition : ConditionParameters
        How responses are cleaned before holds are read.
    reference_rater : str, optional
        Whose hold labels count; the first in alphabetical order where this is none of them.
    raw : Path
        What ingest left.
    traces, maps, calibrations, notes : Path
        To write: the traces; angle maps; rows of the calibration table; one note row per trace.
    progress : Progress
    """
    bends: list[BendTrace] = []
    references: list[ReferenceTrace] = []
    rows: list[dict[str, Any]] = []
    with TraceWriter(traces, QUANTITIES) as writer:
        for recording in recordings:
            made, rests = [], {}
            for point, trace in read_recording(raw, recording.recording_id).items():
                sensor_id = sensor_of(recording, point)
                done = calibrate_trace(
                    trace["raw"],
                    trace.sampling_frequency,
                    units=trace.units,
                    tracked_point=point,
                    sensor=sensors.get(sensor_id or ""),
                )
                columns = {"resistance_ohm": done.resistance_ohm, "response": done.response, "strain": done.strain}
                made.append(
                    Trace(trace.recording_id, point, trace.units, trace.sampling_frequency, columns, trace.clipped_s)
                )
                writer.write(made[-1])
                rests[point] = done.rest_ohm
                rows.append(
                    {
                        "recording_id": recording.recording_id,
                        "tracked_point": point,
                        "sensor_id": sensor_id,
                        "rest_ohm": done.rest_ohm if math.isfinite(done.rest_ohm) else None,
                        "impossible": done.impossible,
                        "notes": list(done.notes),
                    }
                )
            references += _references(recording, made, rests)
            if recording.task == "bend":
                bends += _bends(recording, made, rests, reference_rater)
    fitted = joined(fit_session_maps(bends, parameters, condition), fit_references(references, parameters, condition))
    write_text(maps, maps_to_json(fitted))
    table = calibration_rows(fitted).to_dict("records")
    write_rows(calibrations, table)
    write_rows(notes, rows)
    refused = sum(row["status"] == "refused" for row in table)
    progress.say(f"{len(recordings)} recordings, {len(fitted) - refused} angle maps, {refused} refused")
