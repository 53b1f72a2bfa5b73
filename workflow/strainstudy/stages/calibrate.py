"""Angle maps of the sessions of a batch, from holds or a reference, and the angles that they give."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any, TypeVar

import numpy as np

from ..calibrate.anglemap import AngleMap, Refusal
from ..calibrate.answer import Answer
from ..calibrate.apply import angles_of_knee, known_answers, possible_angles
from ..calibrate.maps import BendTrace, KneeTrace, MapEntry, MapKey, calibration_rows, fit_session_maps, maps_to_json
from ..calibrate.parameters import CalibrateParameters
from ..calibrate.references import ReferenceTrace, fit_references, joined
from ..calibrate.wiring import Wiring, turned, wiring_of
from ..condition.bridge import Bridge
from ..condition.channel import bridge_of
from ..condition.response import strain
from ..errors import counted
from ..faults import Fault
from ..io.atomic import write_text
from ..io.frames import read_json, write_rows
from ..io.labels import read_labels
from ..io.store import FloatArray, Kept, Trace, TraceReader, TraceWriter
from ..jobs import Progress
from ..records import Recording, Sensor
from ..reference_use import calibrates, calibrating_spans
from ..tables.signals import SIGNAL_WORDS
from ..vocabulary import REFERENCE_SUFFIX, SIDE_OF_POINT, STRAIN_SENSOR_UNITS, VOLT_UNITS
from .bodies import channel_of, of_reference_rater, polarity_remedy, sensor_of, wired_sensor

__all__ = ["QUANTITIES", "run"]

QUANTITIES = ("response", "drift", "strain", "angle", "angle_low", "angle_high", "reference_angle")
NO_HOLDS = Refusal("no bend recording with labelled holds in this session")

AnyKnee = TypeVar("AnyKnee", bound=KneeTrace)
Told = Mapping[str, Mapping[str, Any]]
"""Notes of conditioning on one recording, by tracked point."""


def _key(recording: Recording, point: str) -> MapKey:
    return MapKey.of(recording.participant_id, recording.session_id, point, sensor_of(recording, point))


def _knees(recording: Recording, traces: Mapping[str, Trace], told: Told) -> dict[str, KneeTrace]:
    """Knees that a sensor measured, by tracked point."""
    return {
        point: KneeTrace(
            _key(recording, point),
            recording.recording_id,
            trace.sampling_frequency,
            trace["response"],
            trace["drift"],
            told[point]["end"],
            _number(told[point]["rest_ohm"]),
        )
        for point, trace in traces.items()
        if point in SIDE_OF_POINT and trace.units != "deg"
    }


def _number(value: float | None) -> float:
    return math.nan if value is None else value


def _references(
    recording: Recording, traces: Mapping[str, Trace], knees: Mapping[str, KneeTrace]
) -> list[ReferenceTrace]:
    """Knees whose reference calibrates."""
    found = []
    for point, knee in knees.items():
        reference = traces.get(f"{point}{REFERENCE_SUFFIX}")
        spans = calibrating_spans(recording.reference_use, len(knee.response) / knee.sampling_frequency)
        if reference is not None and spans:
            found.append(ReferenceTrace(**vars(knee), reference=reference["response"], spans=spans))
    return found


@dataclass(frozen=True)
class _Turned:
    """A knee turned the right way round and what its sheets state of it; the correlation that says so."""

    bridge: Bridge
    stated_rest_ohm: float | None
    correlation: float


def _to_turn(
    recording: Recording, knees: Mapping[str, KneeTrace], sensors: Mapping[str, Sensor], wiring: Mapping[MapKey, Wiring]
) -> dict[str, _Turned]:
    """Find the knees of a recording whose bridge is wired in reverse, by tracked point."""
    found = {}
    for point, knee in knees.items():
        channel, sensor = channel_of(recording, point), wired_sensor(recording, point, sensors)
        seen = wiring[knee.key].reversed_in(recording.recording_id) if knee.key in wiring else None
        if seen is not None and sensor is not None and channel is not None and channel.units in VOLT_UNITS:
            found[point] = _Turned(bridge_of(sensor), sensor.rest_ohm, seen)
    return found


def _reversed_fault(recording: Recording, point: str, sensors: Mapping[str, Sensor], correlation: float) -> Fault:
    channel, sensor = channel_of(recording, point), wired_sensor(recording, point, sensors)
    assert channel is not None
    assert sensor is not None
    words = (
        f"the {point.replace('_', ' ')}'s resistance falls where the knee bends (correlation {correlation:.2f} with the"
        " angles of the session): its bridge is wired in reverse, and was turned the right way round"
    )
    return Fault("wired in reverse", words, polarity_remedy(recording, channel, sensor), point, sensor.sensor_id)


def _angles(trace: Trace, knee: KneeTrace | None, entry: MapEntry) -> tuple[dict[str, FloatArray], str]:
    if knee is not None:
        return angles_of_knee(knee, entry)
    nothing = np.full(trace.n, np.nan)
    angle, said = possible_angles(trace["response"]) if trace.units == "deg" else (nothing, "")
    return {"angle": angle, "angle_low": nothing, "angle_high": nothing}, said


def _measured_rest(trace: Trace, drift: FloatArray, sensor: Sensor | None, rest_ohm: float) -> float | None:
    """Give the resistance at rest in ohm that was measured, not stated; None where only its changes can be.

    A bridge that was trimmed when the sensor was put on (no ``r2_ohm``) tells how far the resistance is from that of
    the trimming, which nobody wrote down.
    """
    absolute = trace.units == "ohm" or (trace.units in VOLT_UNITS and sensor is not None and sensor.r2_ohm is not None)
    slow = drift[np.isfinite(drift)]
    if not (absolute and math.isfinite(rest_ohm) and len(slow)):
        return None
    return rest_ohm * (1 + float(np.median(slow)))


def run(
    recordings: Sequence[Recording],
    sensors: Mapping[str, Sensor],
    *,
    parameters: CalibrateParameters,
    drift_shortest_period_s: float,
    reference_rater: str | None,
    answers: Mapping[str, Answer],
    traces: Path,
    condition_notes: Path,
    signals: Path,
    maps: Path,
    calibrations: Path,
    notes: Path,
    progress: Progress,
    kept: Kept | None = None,
    keep: Kept | None = None,
) -> None:
    """Calibrate the recordings of a batch.

    Parameters
    ----------
    recordings : sequence of Recording
        Those of task ``bend`` with their labels.
    sensors : mapping of str to Sensor
    parameters : CalibrateParameters
    drift_shortest_period_s : float
        Of the settings of condition, for a knee whose drift was taken off towards the wrong side.
    reference_rater : str, optional
        Whose hold labels count; the first in alphabetical order where this is none of them.
    answers : mapping of sensor_id to Answer
        What the bench measured.
    traces, condition_notes : Path
        What condition left.
    signals, maps, calibrations, notes : Path
        To write: `QUANTITIES`; angle maps; rows of the calibration table; one note row per trace.
    progress : Progress
    kept, keep : Kept, optional
        What condition kept of ``traces``; to keep what is written to ``signals``.
    """
    told: dict[str, dict[str, Mapping[str, Any]]] = {}
    for row in read_json(condition_notes):
        told.setdefault(row["recording_id"], {})[row["tracked_point"]] = row
    held: dict[str, dict[str, Trace]] = {}
    bends: list[BendTrace] = []
    references: list[ReferenceTrace] = []
    of_id = {recording.recording_id: recording for recording in recordings}
    with TraceReader(traces, kept=kept) as reader:
        for recording in recordings:
            name = recording.recording_id
            labels = of_reference_rater(recording.labels, reference_rater) if recording.task == "bend" else None
            if labels is None and not calibrates(recording.reference_use):
                continue
            held[name] = reader.recording(name)
            knees = _knees(recording, held[name], told[name])
            references += _references(recording, held[name], knees)
            if labels is not None:
                marked = read_labels(labels)
                bends += [BendTrace(**vars(knee), labels=marked) for knee in knees.values()]
    wiring = wiring_of(bends, references) if parameters.flexion_stretches else {}

    def upright(knee: AnyKnee) -> AnyKnee:
        point = knee.key.tracked_point
        turn = _to_turn(of_id[knee.recording_id], {point: knee}, sensors, wiring).get(point)
        return knee if turn is None else turned(knee, turn.bridge, turn.stated_rest_ohm, drift_shortest_period_s)

    fitted = joined(
        fit_session_maps([upright(bend) for bend in bends], parameters, drift_shortest_period_s),
        fit_references([upright(reference) for reference in references], parameters, drift_shortest_period_s),
    )
    bends.clear()
    references.clear()
    write_text(maps, maps_to_json(fitted))
    table = calibration_rows(fitted).to_dict("records")
    write_rows(calibrations, table)

    rows: list[dict[str, Any]] = []
    with (
        TraceReader(traces, kept=kept) as reader,
        TraceWriter(signals, QUANTITIES, words=SIGNAL_WORDS, kept=keep) as writer,
    ):
        for recording in recordings:
            name = recording.recording_id
            found = held.pop(name, None) or reader.recording(name)
            knees = _knees(recording, found, told.get(name, {}))
            turns = _to_turn(recording, knees, sensors, wiring)
            own = known_answers({point: knee.key for point, knee in knees.items()}, answers, fitted, parameters)
            for point, trace in found.items():
                if point.endswith(REFERENCE_SUFFIX):
                    continue
                key, knee, answer = _key(recording, point), knees.get(point), own.get(point)
                entry, sensor = fitted.get(key, NO_HOLDS), sensors.get(key.sensor_id)
                response, drift = trace["response"], trace["drift"]
                rest_ohm = _number(told[name][point]["rest_ohm"])
                if knee is not None and point in turns:
                    knee = upright(knee)
                    response, drift, rest_ohm = knee.response, knee.drift, knee.rest_ohm
                if knee is not None and not isinstance(entry, Refusal):
                    knee = knee.towards(1 if entry.sign > 0 else -1, drift_shortest_period_s)
                    response, drift = knee.response, knee.drift
                if answer is not None and isinstance(entry, AngleMap):
                    entry = replace(entry, lag_s=answer.time_constant_s, lag_error_s=answer.error_s)
                relative = trace.units in STRAIN_SENSOR_UNITS
                if answer is not None and not relative:
                    # A loop in relative change is one of another scale.
                    answer = replace(answer, loop=())
                angles, said = _angles(trace, knee, entry)
                reference = found.get(f"{point}{REFERENCE_SUFFIX}")
                columns = {
                    "response": response,
                    "drift": drift,
                    "strain": strain(
                        response, sensor.gauge_factor if sensor and trace.units in STRAIN_SENSOR_UNITS else None
                    ),
                    "reference_angle": np.full(trace.n, np.nan) if reference is None else reference["response"],
                    **angles,
                }
                writer.write(replace(trace, columns=columns))
                rest = _measured_rest(trace, drift, sensor, rest_ohm)
                faults = (
                    [_reversed_fault(recording, point, sensors, turns[point].correlation)] if point in turns else []
                )
                rows.append(
                    {
                        "recording_id": name,
                        "tracked_point": point,
                        "measured_rest_ohm": rest,
                        "answer": None if answer is None else answer.to_dict(),
                        "notes": [said] if said else [],
                        "faults": [fault.to_dict() for fault in faults],
                        "rest_ohm": rest_ohm if point in turns else None,
                    }
                )
    write_rows(notes, rows)
    refused = sum(row["status"] == "refused" for row in table)
    maps_made = counted(len(fitted) - refused, "angle map")
    progress.say(f"{counted(len(recordings), 'recording')}, {maps_made}, {refused} refused")
