"""Bench recordings, sensor by sensor, to the figures of merit of each."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

import pandas as pd

from ..bench.answer import answer_of
from ..bench.characterise import BenchRecording, characterise, reference_strain
from ..bench.parameters import BenchParameters
from ..errors import counted
from ..io.frames import write_frame, write_json
from ..io.store import Trace, read_recording
from ..jobs import Progress
from ..records import Recording, Sensor
from ..tables.sensors import BENCH_CYCLES, BENCH_STEPS, SENSOR_CURVES, SENSOR_LOOPS, SENSORS
from ..vocabulary import MISSING

__all__ = ["USE_COLUMNS", "run"]

USE_COLUMNS = ("sensor_id", "session_id", "recording_id", "gauge_factor", "noise")


def _bench_recording(recording: Recording, traces: Mapping[str, Trace], sensor: Sensor) -> BenchRecording:
    trace = traces["sensor"]
    reference = None
    for point in ("reference_strain", "reference_displacement"):
        if point in traces:
            given = traces[point]
            reference = reference_strain(given["unfiltered"], given.units, sensor.gauge_length_mm)
    return BenchRecording(
        recording.recording_id,
        "tap" if recording.task == "tap" else "stretch",
        trace["unfiltered"],
        trace.sampling_frequency,
        reference,
    )


def _use(sensor_id: str, session: str, pieces: Sequence[BenchRecording], parameters: BenchParameters) -> dict[str, Any]:
    row = characterise(pieces, parameters).row
    return {
        "sensor_id": sensor_id,
        "session_id": session,
        "recording_id": pieces[0].recording_id,
        "gauge_factor": row["gauge_factor"],
        "noise": row["noise_floor"],
    }


def run(
    recordings: Sequence[Recording],
    sensors: Mapping[str, Sensor],
    *,
    parameters: BenchParameters,
    traces: Path,
    outputs: Mapping[str, Path],
    progress: Progress,
) -> None:
    """Characterise every sensor of the bench.

    Parameters
    ----------
    recordings : sequence of Recording
        All bench recordings of the study.
    sensors : mapping of str to Sensor
    parameters : BenchParameters
    traces : Path
        What condition left of them; read before any low-pass, which would shorten noise and lengthen response times.
    outputs : mapping of str to Path
        ``sensors``, ``curves``, ``loops``, ``cycles``, ``steps`` and, for sensor health, ``uses``: frames to write;
        ``answers``: how each sensor answers, by id, as JSON.
    progress : Progress
    """
    by_sensor: dict[str, list[BenchRecording]] = {}
    by_use: dict[tuple[str, str], list[BenchRecording]] = {}
    for recording in recordings:
        found = read_recording(traces, recording.recording_id, ("unfiltered",))
        if "sensor" in found and recording.sensor_id is not None:
            own = _bench_recording(recording, found, sensors[recording.sensor_id])
            by_sensor.setdefault(recording.sensor_id, []).append(own)
            by_use.setdefault((recording.sensor_id, recording.session_id or MISSING), []).append(own)
    specs = {
        "sensors": SENSORS,
        "curves": SENSOR_CURVES,
        "loops": SENSOR_LOOPS,
        "cycles": BENCH_CYCLES,
        "steps": BENCH_STEPS,
    }
    answers = {}
    frames: dict[str, list[pd.DataFrame]] = {name: [spec.empty()] for name, spec in specs.items()}
    for number, (sensor_id, pieces) in enumerate(sorted(by_sensor.items()), start=1):
        bench = characterise(pieces, parameters)
        made = {
            "sensors": pd.DataFrame([bench.row]),
            "curves": bench.curves,
            "loops": bench.loops,
            "cycles": bench.cycles,
            "steps": bench.steps,
        }
        answer = answer_of(bench.row, bench.loops)
        if answer is not None:
            answers[sensor_id] = answer.to_dict()
        for name, frame in made.items():
            frames[name].append(frame.assign(sensor_id=sensor_id))
        progress.count(f"{sensor_id}: {counted(len(pieces), 'recording')}", number, len(by_sensor), "sensor")
    uses = [_use(*key, pieces, parameters) for key, pieces in sorted(by_use.items())]
    write_json(outputs["answers"], answers)
    write_frame(outputs["uses"], pd.DataFrame(uses, columns=list(USE_COLUMNS)))
    for name, parts in frames.items():
        filled = [part for part in parts if len(part)]
        whole = pd.concat(filled, ignore_index=True) if filled else parts[0]
        write_frame(outputs[name], specs[name].of(whole))
