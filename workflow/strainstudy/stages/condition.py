"""Traces of a batch despiked, filtered and freed of drift; knee responses to degrees where there is an angle map."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np

from ..calibrate.anglemap import POSSIBLE_DEG, AngleMap, Refusal
from ..calibrate.answer import Answer
from ..calibrate.maps import MapKey, maps_from_json
from ..calibrate.parameters import CalibrateParameters
from ..calibrate.referencemap import ReferenceMap
from ..condition.parameters import ConditionParameters
from ..condition.response import strain
from ..condition.trace import Conditioned, condition_trace
from ..io.frames import read_rows, write_rows
from ..io.store import FloatArray, Trace, TraceWriter, read_recording
from ..jobs import Progress
from ..records import Recording, Sensor
from ..signal.quality import smallest_step
from ..vocabulary import REFERENCE_SUFFIX, SIDE_OF_POINT, VOLT_UNITS
from .bodies import sensor_of

__all__ = ["QUANTITIES", "run"]

QUANTITIES = ("response", "drift", "strain", "angle", "angle_low", "angle_high", "reference_angle")
RELATIVE = (*VOLT_UNITS, "ohm")
"""Units whose response is a relative change of resistance, as the bench's is."""
NO_HOLDS = "no bend recording with labelled holds in this session"


def _angles(
    trace: Trace, clean: Conditioned, angle_map: AngleMap | ReferenceMap | Refusal, rest_ohm: float
) -> tuple[dict[str, FloatArray], str | None]:
    nothing = np.full(trace.n, np.nan)
    empty: dict[str, FloatArray] = {"angle": nothing, "angle_low": nothing, "angle_high": nothing}
    if trace.units == "deg":
        return {**empty, "angle": clean.response}, None
    if isinstance(angle_map, Refusal):
        return empty, f"no angle: {angle_map.reason}" if trace.tracked_point in SIDE_OF_POINT else None
    said, fs = [], trace.sampling_frequency
    if isinstance(angle_map, ReferenceMap):
        found = angle_map.apply(
            clean.response, fs, drift=clean.drift, rest_ohm=rest_ohm, recording_id=trace.recording_id
        )
        model = angle_map.model_for(trace.recording_id)
        first, last = model.angle_from, model.angle_to
        fitted = [f"{a:.4g} to {b:.4g} s" for a, b in angle_map.spans_in(trace.recording_id)]
        if fitted:
            said.append(f"{', '.join(fitted)} of the reference calibrated the angle, which is not validated there")
    else:
        found = angle_map.apply(clean.response, fs, drift=clean.drift, rest_ohm=rest_ohm)
        first, last = angle_map.range_deg
    share = float(found.extrapolated[np.isfinite(found.angle)].mean()) if np.isfinite(found.angle).any() else 0.0
    if share >= 0.001:
        said.append(
            f"{share:.1%} of the angle lies beyond the calibrated {first:.4g} to {last:.4g} degrees: extrapolated"
        )
    if found.impossible.any():
        low, high = POSSIBLE_DEG
        share = float(found.impossible.mean())
        said.append(f"{share:.1%} of the angle was left out: no knee reads below {low:g} or above {high:g} degrees")
    return {"angle": found.angle, "angle_low": found.low, "angle_high": found.high}, "; ".join(said) or None


def _measured_rest(trace: Trace, clean: Conditioned, sensor: Sensor | None, rest_ohm: float) -> float | None:
    """Give the resistance at rest in ohm that was measured, not stated; None where only its changes can be.

    A bridge that was trimmed when the sensor was put on (no ``r2_ohm``) tells how far the resistance is from that of
    the trimming, which nobody wrote down.
    """
    absolute = trace.units == "ohm" or (trace.units in VOLT_UNITS and sensor is not None and sensor.r2_ohm is not None)
    slow = clean.drift[np.isfinite(clean.drift)]
    if not (absolute and math.isfinite(rest_ohm) and len(slow)):
        return None
    return rest_ohm * (1 + float(np.median(slow)))


def _recorded(trace: Trace) -> dict[str, Any]:
    """Read what the converter or the file can tell apart, and hand on where it was at its limit; of a throat alone.

    The steps are seen before filters, which smooth every one of them.
    """
    if trace.tracked_point != "throat":
        return {"resolution": None, "clipped_s": None}
    steps = np.diff(trace["response"])
    return {"resolution": smallest_step(steps[np.isfinite(steps)]), "clipped_s": trace.clipped_s}


def _answers(
    traces: Mapping[str, Trace],
    keys: Mapping[str, MapKey],
    bench: Mapping[str, Answer],
    maps: Mapping[MapKey, AngleMap | ReferenceMap | Refusal],
    parameters: CalibrateParameters,
) -> dict[str, Answer]:
    """How the sensors on the knees of one recording answer, where that is known better than the settings know it.

    An offset of the reference's clock is in what a reference tells, and cancels between the knees if it told both: so
    a reference counts for all knees of the recording or for none, and where the bench knows all it counts alone.
    """
    knees = [point for point, trace in traces.items() if point in SIDE_OF_POINT and trace.units != "deg"]
    by_bench = {point: bench[keys[point].sensor_id] for point in knees if keys[point].sensor_id in bench}
    by_reference = {}
    for point in knees:
        entry = maps.get(keys[point])
        if isinstance(entry, ReferenceMap) and entry.lag_s >= 0:
            by_reference[point] = Answer(entry.lag_s, entry.lag_error_s, source="reference")
    sure, told = (
        {point: answer for point, answer in known.items() if answer.error_s < parameters.lag_error_s}
        for known in (by_bench, by_reference)
    )
    found = told if len(sure) < len(knees) == len(told) else sure
    # Loops of other units than relative change are those of another scale.
    return {
        point: answer if traces[point].units in RELATIVE else replace(answer, loop=())
        for point, answer in found.items()
    }


def _note(
    recording: Recording,
    trace: Trace,
    clean: Conditioned,
    reason: str | None,
    measured_rest_ohm: float | None,
    answer: Answer | None,
) -> dict[str, Any]:
    return {
        "measured_rest_ohm": measured_rest_ohm,
        "recording_id": recording.recording_id,
        "tracked_point": trace.tracked_point,
        "cutoff_hz": clean.cutoff_hz,
        "spikes": clean.spikes,
        "bridged": clean.bridged,
        "hum_hz": list(clean.hum_hz),
        "answer": None if answer is None else answer.to_dict(),
        **_recorded(trace),
        "notes": [*clean.notes, *([reason] if reason else [])],
    }


def run(
    recordings: Sequence[Recording],
    sensors: Mapping[str, Sensor],
    *,
    parameters: ConditionParameters,
    calibrate: CalibrateParameters,
    answers: Mapping[str, Answer],
    traces: Path,
    maps: Path,
    calibration_notes: Path,
    signals: Path,
    notes: Path,
    progress: Progress,
) -> None:
    """Condition the recordings of a batch.

    Parameters
    ----------
    recordings : sequence of Recording
    sensors : mapping of str to Sensor
    parameters : ConditionParameters
    calibrate : CalibrateParameters
        What is assumed of a sensor's answer where it was not measured.
    answers : mapping of sensor_id to Answer
        What the bench measured.
    traces, maps, calibration_notes : Path
        What calibrate left.
    signals, notes : Path
        To write: `QUANTITIES`; one note row per trace.
    progress : Progress
    """
    angle_maps = maps_from_json(maps.read_text(encoding="utf-8"))
    told = read_rows([calibration_notes])
    rest = {
        (str(row["recording_id"]), str(row["tracked_point"])): float(row["rest_ohm"])
        for row in told.to_dict("records")
        if row["rest_ohm"] is not None
    }
    rows = []
    with TraceWriter(signals, QUANTITIES) as writer:
        for number, recording in enumerate(recordings, start=1):
            found = read_recording(traces, recording.recording_id, ("response",))
            references = {p: t for p, t in found.items() if p.endswith(REFERENCE_SUFFIX)}
            keys = {
                point: MapKey.of(recording.participant_id, recording.session_id, point, sensor_of(recording, point))
                for point in found
            }
            own = _answers(found, keys, answers, angle_maps, calibrate)
            for point, trace in found.items():
                if point in references:
                    continue
                angle_map = angle_maps.get(keys[point], Refusal(NO_HOLDS))
                clean = condition_trace(
                    trace["response"],
                    trace.sampling_frequency,
                    tracked_point=point,
                    units=trace.units,
                    parameters=parameters,
                    end=None if isinstance(angle_map, Refusal) else (1 if angle_map.sign > 0 else -1),
                )
                answer = own.get(point)
                if answer is not None and isinstance(angle_map, AngleMap):
                    angle_map = replace(angle_map, lag_s=answer.time_constant_s, lag_error_s=answer.error_s)
                rest_ohm = rest.get((recording.recording_id, point), math.nan)
                angles, reason = _angles(trace, clean, angle_map, rest_ohm)
                sensor = sensors.get(keys[point].sensor_id)
                known = sensor is not None and trace.units not in ("deg", "a.u.", "percent", "mm")
                columns = {
                    "response": clean.response,
                    "drift": clean.drift,
                    "strain": strain(clean.response, sensor.gauge_factor if known and sensor is not None else None),
                    "reference_angle": np.full(trace.n, np.nan),
                    **angles,
                }
                reference = references.get(f"{point}{REFERENCE_SUFFIX}")
                if reference is not None:
                    angle = condition_trace(
                        reference["response"],
                        reference.sampling_frequency,
                        tracked_point=point,
                        units=reference.units,
                        parameters=parameters,
                    ).response
                    columns["reference_angle"] = angle
                writer.write(
                    Trace(trace.recording_id, point, trace.units, trace.sampling_frequency, columns, trace.clipped_s)
                )
                rest_measured = _measured_rest(trace, clean, sensor, rest_ohm)
                rows.append(_note(recording, trace, clean, reason, rest_measured, answer))
            progress.say(f"{recording.recording_id}; {number} of {len(recordings)} recordings")
    write_rows(notes, rows)
