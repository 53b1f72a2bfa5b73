"""Recorded walks seen through sleeves, sensors and bridges: a study folder of real people with chosen gains.

In: a study folder whose walks are knee angles in degrees with contacts and gait states labelled. Out: a study folder
in which both knees of every walk were measured in volts by sensors like those of the demo (curve, hysteresis, creep,
drift, noise, hum, converter), the right side's response to the same bend being a chosen multiple of the left's, with
one bend recording a person made by the same sensors. The left knee's volts are the same whatever the gain.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import pairwise
from pathlib import Path

import numpy as np
import pandas as pd
from strainstudy.io.labels import read_labels
from strainstudy_simulator.bends import hold_bends
from strainstudy_simulator.files import write_parquet
from strainstudy_simulator.people import RAIL_V, SET_NAMES, Unit, draw_unit, rng_for, settled, worn
from strainstudy_simulator.raters import RATERS, label
from strainstudy_simulator.sensor import sleeve_strain, static_response, through_sensor
from strainstudy_simulator.sessions import HAND_SD_DEG
from strainstudy_simulator.truth import label_rows

__all__ = ["Walk", "cancelling_gains", "read_walks", "response_of", "units_of", "volts_of", "write_volts"]

SIDES = ("left", "right")
SEED = 20_240_101
FS = 100.0
WALKING_DEG = (5.0, 60.0)
"""Angles of landing and of the swing peak: the bend over which the gain is meant."""


@dataclass(frozen=True)
class Walk:
    """One recorded walk: knee angles in degrees by side, and the text of its label file."""

    recording_id: str
    participant_id: str
    angles: Mapping[str, np.ndarray]
    labels: pd.DataFrame
    label_text: str

    @property
    def state(self) -> str:
        """The gait state that most of the walk is labelled as."""
        gait = self.labels[self.labels["trial_type"].isin(("normal_gait", "limping_gait"))]
        return str(gait.groupby("trial_type")["duration"].sum().idxmax())


def read_walks(folder: Path) -> list[Walk]:
    """Read the walks of a study folder."""
    sheet = pd.read_csv(folder / "recordings.tsv", sep="\t", dtype=str)
    found = []
    for row in sheet.itertuples():
        raw = pd.read_csv(folder / row.file)
        (path,) = (folder / "labels" / row.recording_id).glob("*_events.tsv")
        angles = {side: raw[f"{side}_knee_deg"].to_numpy(float) for side in SIDES}
        text = path.read_text(encoding="utf-8")
        found.append(Walk(row.recording_id, row.participant_id, angles, read_labels(path), text))
    return found


def response_of(unit: Unit, angle_deg: np.ndarray) -> np.ndarray:
    """Relative resistance change of a unit at held angles, before hysteresis, creep and drift."""
    return static_response(sleeve_strain(angle_deg, unit.sleeve), unit.model)


def _amplifier(unit: Unit) -> Unit:
    """Choose the amplifier's gain for the sensor, so that a deep bend takes up two thirds of the converter's range."""
    largest = float(static_response(np.array([0.36]), unit.model)[0])
    bridge, rest = unit.bridge, unit.model.rest_ohm
    swing = bridge.excitation_v * (rest * (1 + largest) / (bridge.r3_ohm + rest * (1 + largest)) - 0.5)
    gain = min((1.0, 1.5, 2.0, 3.0, 4.0), key=lambda g: abs(g * swing - 0.65 * RAIL_V))
    return replace(unit, bridge=replace(bridge, amplifier_gain=gain))


def _with_gauge_factor(unit: Unit, factor: float) -> Unit:
    """Multiply the gauge factor, as worn and as the lab's sheet states it."""
    model = replace(unit.model, gauge_factor=unit.model.gauge_factor * factor)
    stated = unit.stated_gauge_factor
    return replace(unit, model=model, stated_gauge_factor=None if stated is None else round(stated * factor, 2))


def units_of(
    people: Sequence[str], gains: Mapping[str, float], sets: Sequence[str] = SET_NAMES
) -> dict[tuple[str, str], Unit]:
    """Sensors of each person and side: drawn as the demo's are, the right one's gauge factor set by the gain.

    Parameters
    ----------
    people : sequence of str
    gains : mapping of participant_id to float
        Response of the right sensor to a bend over that of the left one.
    sets : sequence of str
        Sensor set of each person, from the start again where there are more people.

    Returns
    -------
    dict of (participant_id, side) to Unit
    """
    units = {}
    for k, person in enumerate(people):
        own = {}
        for side in SIDES:
            unit = worn(draw_unit(sets[k % len(sets)], f"{side}_knee", SEED), person, 0, SEED)
            own[side] = replace(unit, sensor_id=f"{person}-{side}")
        span = {side: float(np.diff(response_of(unit, np.array(WALKING_DEG)))[0]) for side, unit in own.items()}
        own["right"] = _with_gauge_factor(own["right"], gains[person] * span["left"] / span["right"])
        units |= {(person, side): _amplifier(unit) for side, unit in own.items()}
    return units


def cancelling_gains(walks: Sequence[Walk]) -> dict[str, float]:
    """Gain of each person at which their limping walks show equal amplitudes on both sides.

    Returns
    -------
    dict of participant_id to float
        Median range of the response per stride, left over right, at gain 1.
    """
    people = sorted({walk.participant_id for walk in walks})
    units = units_of(people, dict.fromkeys(people, 1.0))
    gains = {}
    for person in people:
        ranges: dict[str, list[float]] = {side: [] for side in SIDES}
        for walk in walks:
            limps = walk.labels[walk.labels["trial_type"] == "limping_gait"]
            if walk.participant_id != person or limps.empty:
                continue
            first, last = limps["onset"].min(), (limps["onset"] + limps["duration"]).max()
            for side in SIDES:
                contact = walk.labels[
                    (walk.labels["trial_type"] == "initial_contact")
                    & (walk.labels["side"] == side)
                    & walk.labels["onset"].between(first, last)
                ]["onset"].to_numpy()
                response = response_of(units[person, side], walk.angles[side])
                strides = pairwise(contact)
                ranges[side] += [float(np.ptp(response[round(a * FS) : round(b * FS)])) for a, b in strides]
        gains[person] = float(np.median(ranges["left"]) / np.median(ranges["right"]))
    return gains


def volts_of(angle: np.ndarray, unit: Unit, recording_id: str, side: str) -> np.ndarray:
    """Give the stored volts of one knee; the same noise for a recording and side whatever the gain."""
    return through_sensor(
        angle,
        FS,
        sensor=unit.model,
        bridge=unit.bridge,
        acquisition=unit.acquisition,
        rng=rng_for(SEED, recording_id, side),
        sleeve=unit.sleeve,
    )


def write_volts(folder: Path, walks: Sequence[Walk], gains: Mapping[str, float]) -> Path:
    """Write the study folder: one bend recording a person, then their walks.

    Parameters
    ----------
    folder : Path
        To make.
    walks : sequence of Walk
    gains : mapping of participant_id to float
        Response of the right sensor to a bend over that of the left one.

    Returns
    -------
    Path
        The folder.
    """
    people = sorted({walk.participant_id for walk in walks})
    units = units_of(people, gains)
    rows = []

    def save(recording_id: str, person: str, task: str, angles: Mapping[str, np.ndarray], text: str, rater: str):
        # The bridge was trimmed when the sensors were put on; in later recordings their rest resistance has moved.
        now = {
            side: units[person, side] if task == "bend" else settled(units[person, side], person, 0, recording_id, SEED)
            for side in SIDES
        }
        columns = {f"{side}_V": volts_of(angles[side], now[side], recording_id, side) for side in SIDES}
        (folder / "raw").mkdir(parents=True, exist_ok=True)
        write_parquet(folder / f"raw/{recording_id}.parquet", columns, FS, dict.fromkeys(columns, "V"))
        place = folder / "labels" / recording_id
        place.mkdir(parents=True)
        (place / f"{rater}_events.tsv").write_text(text, encoding="utf-8")
        rows.append((recording_id, task, f"raw/{recording_id}.parquet", person, "ses-01", FS))

    for person in people:
        recording_id = f"{person}-bend"
        motion = hold_bends(FS, rng_for(SEED, recording_id), placing_sd_deg=HAND_SD_DEG)
        seconds = len(motion.angles["left"]) / FS
        marks = label(motion.truth, RATERS[0], seconds, rng_for(SEED, recording_id, "rater"))
        save(recording_id, person, "bend", motion.angles, label_rows(marks), "examiner")
        for walk in walks:
            if walk.participant_id == person:
                save(walk.recording_id, person, "walk", walk.angles, walk.label_text, "forceplate")

    columns = ("recording_id", "task", "file", "participant_id", "session_id", "sampling_frequency")
    _sheet(folder / "recordings.tsv", pd.DataFrame(rows, columns=columns))
    _sheet(folder / "participants.tsv", pd.DataFrame({"participant_id": people}))
    _sheet(folder / "sensors.tsv", pd.DataFrame([_sensor_row(unit) for unit in units.values()]))
    channels = [
        (row[0], f"{side}_V", f"{side}_knee", "V", units[row[3], side].sensor_id) for row in rows for side in SIDES
    ]
    names = ("recording_id", "name", "tracked_point", "units", "sensor_id")
    _sheet(folder / "channels.tsv", pd.DataFrame(channels, columns=names))
    return folder


def _sensor_row(unit: Unit) -> dict[str, object]:
    bridge = unit.bridge
    return {
        "sensor_id": unit.sensor_id,
        "excitation_v": bridge.excitation_v,
        "r1_ohm": bridge.r1_ohm,
        "r2_ohm": bridge.r2_ohm,
        "r3_ohm": bridge.r3_ohm,
        "amplifier_gain": bridge.amplifier_gain,
        "polarity": bridge.polarity,
        "rest_ohm": unit.stated_rest_ohm,
        "gauge_factor": unit.stated_gauge_factor,
    }


def _sheet(path: Path, frame: pd.DataFrame) -> None:
    frame.to_csv(path, sep="\t", index=False, na_rep="n/a")
