"""Traces of a batch from the unit of their file to response: despiked, filtered, their slow drift kept apart."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np

from ..condition.channel import ChannelResponse, channel_response
from ..condition.parameters import ConditionParameters
from ..condition.trace import Conditioned, condition_trace
from ..io.frames import write_rows
from ..io.store import Kept, Trace, TraceReader, TraceWriter
from ..jobs import Progress
from ..records import Recording, Sensor
from ..signal.quality import smallest_step
from ..vocabulary import BENCH_TASKS
from .bodies import wired_sensor

__all__ = ["QUANTITIES", "run"]

QUANTITIES = ("response", "drift")


def _recorded(trace: Trace, own: ChannelResponse) -> dict[str, Any]:
    """Read what the converter or the file can tell apart, and hand on where it was at its limit; of a throat alone.

    The steps are seen before filters, which smooth every one of them.
    """
    if trace.tracked_point != "throat":
        return {"resolution": None, "clipped_s": None}
    steps = np.diff(own.response)
    return {"resolution": smallest_step(steps[np.isfinite(steps)]), "clipped_s": trace.clipped_s}


def _note(trace: Trace, own: ChannelResponse, clean: Conditioned) -> dict[str, Any]:
    return {
        "recording_id": trace.recording_id,
        "tracked_point": trace.tracked_point,
        "rest_ohm": own.rest_ohm,
        "impossible": own.impossible,
        "assumed": list(own.notes),
        "end": clean.end,
        "cutoff_hz": clean.cutoff_hz,
        "spikes": clean.spikes,
        "bridged": clean.bridged,
        "hum_hz": list(clean.hum_hz),
        **_recorded(trace, own),
        "notes": list(clean.notes),
    }


def run(
    recordings: Sequence[Recording],
    sensors: Mapping[str, Sensor],
    *,
    parameters: ConditionParameters,
    raw: Path,
    traces: Path,
    notes: Path,
    progress: Progress,
    keep: Kept | None = None,
) -> None:
    """Condition the recordings of a batch.

    Parameters
    ----------
    recordings : sequence of Recording
    sensors : mapping of str to Sensor
    parameters : ConditionParameters
    raw : Path
        What ingest left.
    traces, notes : Path
        To write: ``response`` and ``drift``, for a batch of the bench ``unfiltered`` (the response before any filter)
        as well; one note row per trace.
    progress : Progress
    keep : Kept, optional
        To keep what is written to ``traces``.
    """
    bench = any(recording.task in BENCH_TASKS for recording in recordings)
    rows = []
    quantities = (*QUANTITIES, "unfiltered") if bench else QUANTITIES
    with TraceReader(raw) as reader, TraceWriter(traces, quantities, exact=True, kept=keep) as writer:
        for number, recording in enumerate(recordings, start=1):
            for point, trace in reader.recording(recording.recording_id).items():
                fs, units = trace.sampling_frequency, trace.units
                sensor = wired_sensor(recording, point, sensors)
                own = channel_response(trace["raw"], fs, units=units, tracked_point=point, sensor=sensor)
                clean = condition_trace(own.response, fs, tracked_point=point, units=units, parameters=parameters)
                columns = {"response": clean.response, "drift": clean.drift, "unfiltered": own.response}
                writer.write(replace(trace, columns=columns))
                rows.append(_note(trace, own, clean))
            progress.count(recording.recording_id, number, len(recordings))
    write_rows(notes, rows)
