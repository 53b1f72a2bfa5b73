"""The angle map of each sensor and session, from its bend recordings.

In: conditioned responses of bend recordings with their hold labels. Out: one `AngleMap` or `Refusal` for each
participant, session, knee and sensor, and one table row that says how good it is. Several bend recordings of a
session are fitted together; their difference is the drift of the session.
"""

from __future__ import annotations

import json
import math
from collections.abc import Iterable, Mapping
from dataclasses import asdict, dataclass, fields, replace
from typing import Final, Literal, Self

import numpy as np
import numpy.typing as npt
import pandas as pd

from ..condition.trace import rest_towards
from ..vocabulary import MISSING
from .anglefit import fit_angle_map
from .anglemap import AngleMap, Refusal
from .holds import hold_levels
from .parameters import CalibrateParameters
from .referencemap import ReferenceMap

__all__ = [
    "BendTrace",
    "KneeTrace",
    "MapEntry",
    "MapKey",
    "calibration_rows",
    "fit_session_maps",
    "maps_from_json",
    "maps_to_json",
    "own_holds",
    "side_of_holds",
]

Array = npt.NDArray[np.float64]
MapEntry = AngleMap | ReferenceMap | Refusal
"""What a session has for a knee: a map, or why there is none."""


@dataclass(frozen=True, order=True)
class MapKey:
    """Whose map: participant, session, tracked point and sensor (``n/a`` where the sheet names none)."""

    participant_id: str
    session_id: str
    tracked_point: str
    sensor_id: str

    @classmethod
    def of(
        cls, participant_id: str | None, session_id: str | None, tracked_point: str, sensor_id: str | None
    ) -> MapKey:
        """Make a key from sheet values, of which some may be missing."""
        return cls(participant_id or MISSING, session_id or MISSING, tracked_point, sensor_id or MISSING)


@dataclass(frozen=True)
class KneeTrace:
    """One knee of one recording.

    Parameters
    ----------
    key : MapKey
    recording_id : str
    sampling_frequency : float
        Hz.
    response, drift : array, shape (n,)
        As conditioning leaves them.
    end : {1, -1}
        Side to which excursions were taken to go when drift was taken off.
    rest_ohm : float
        Rest resistance the response is relative to; NaN for arbitrary units.
    """

    key: MapKey
    recording_id: str
    sampling_frequency: float
    response: Array
    drift: Array
    end: int
    rest_ohm: float

    def towards(self, end: Literal[-1, 1], shortest_period_s: float) -> Self:
        """Give the knee with excursions to ``end``: as it is, or with its drift taken off anew (`rest_towards`)."""
        if end == self.end:
            return self
        response, drift = rest_towards(
            self.response, self.drift, self.sampling_frequency, end=end, shortest_period_s=shortest_period_s
        )
        return replace(self, response=response, drift=drift, end=end)


@dataclass(frozen=True)
class BendTrace(KneeTrace):
    """A knee of a bend recording, and the recording's label rows (``onset``, ``duration``, ``side``, ``value`` ...)."""

    labels: pd.DataFrame


def own_holds(bend: BendTrace) -> pd.DataFrame:
    """Give the labelled holds at known angles of a bend recording's own knee."""
    side = bend.key.tracked_point.removesuffix("_knee")
    rows = bend.labels
    of_side = (rows["trial_type"].to_numpy() == "knee_bend") & (rows["side"].to_numpy() == side)
    holds: pd.DataFrame = rows[of_side & rows["value"].notna().to_numpy()]
    return holds


def side_of_holds(response: npt.ArrayLike, fs: float, holds: pd.DataFrame) -> Literal[-1, 1]:
    """Say which way the response runs with flexion: the sign of its covariance with the labelled angle.

    Parameters
    ----------
    response : array, shape (n,)
    fs : float
        Hz.
    holds : DataFrame
        ``onset``, ``duration`` in seconds and ``value`` in degrees; outside them the leg counts as straight.

    Returns
    -------
    {1, -1}
    """
    x = np.asarray(response, dtype=np.float64)
    angle = np.zeros(len(x))
    columns = (holds[name].to_numpy(dtype=np.float64) for name in ("onset", "duration", "value"))
    for onset, duration, value in zip(*columns, strict=True):
        angle[max(0, round(onset * fs)) : max(0, round((onset + duration) * fs))] = value
    finite = np.isfinite(x)
    if not finite.any():
        return 1
    covariance = float(np.mean((x[finite] - x[finite].mean()) * (angle[finite] - angle[finite].mean())))
    return -1 if covariance < 0 else 1


def _holds(bend: BendTrace, base_ohm: float, parameters: CalibrateParameters, shortest_period_s: float) -> pd.DataFrame:
    rows, fs = own_holds(bend), bend.sampling_frequency
    bend = bend.towards(side_of_holds(bend.response + bend.drift, fs, rows), shortest_period_s)
    holds = hold_levels(bend.response, bend.drift, fs, rows, parameters)
    if math.isfinite(bend.rest_ohm) and bend.rest_ohm != base_ohm:
        # The same resistance relative to the first recording's rest resistance.
        scale = bend.rest_ohm / base_ohm
        holds["absolute"] = (1 + holds["absolute"]) * scale - 1
        holds[["level", "creep"]] *= scale
    return holds


def fit_session_maps(
    bends: Iterable[BendTrace], parameters: CalibrateParameters, shortest_period_s: float
) -> dict[MapKey, AngleMap | Refusal]:
    """Fit one map for each key.

    Parameters
    ----------
    bends : iterable of BendTrace
        All bend recordings, in the order of the recording sheet.
    parameters : CalibrateParameters
    shortest_period_s : float
        As ``condition.drift_shortest_period_s``.

    Returns
    -------
    dict of MapKey to AngleMap or Refusal
        Keys in order.
    """
    grouped: dict[MapKey, list[BendTrace]] = {}
    for bend in bends:
        grouped.setdefault(bend.key, []).append(bend)
    maps: dict[MapKey, AngleMap | Refusal] = {}
    for key in sorted(grouped):
        group = [bend for bend in grouped[key] if not own_holds(bend).empty]
        if not group:
            maps[key] = Refusal("no labelled hold of this knee with an angle")
            continue
        base = group[0].rest_ohm
        frames = [_holds(b, base, parameters, shortest_period_s).assign(recording=k) for k, b in enumerate(group)]
        maps[key] = fit_angle_map(pd.concat(frames, ignore_index=True), parameters, rest_ohm=base)
    return maps


_NUMBERS: Final = (
    "hold_count",
    "angle_from",
    "angle_to",
    "response_per_degree",
    "polarity",
    "repeatability",
    "hysteresis",
    "creep",
    "session_drift",
    "session_gain_change",
    "reference_time",
    "left_out_error",
    "answer_time",
    "answer_time_se",
)


def _numbers_of_reference(entry: ReferenceMap) -> dict[str, object]:
    return {
        "source": "reference",
        "angle_from": entry.joint.angle_from,
        "angle_to": entry.joint.angle_to,
        "response_per_degree": entry.response_per_degree,
        "polarity": entry.sign,
        "reference_time": entry.seconds,
        "left_out_error": entry.rmse_left_out,
        "answer_time": entry.lag_s,
        "answer_time_se": entry.lag_error_s,
        "status_description": "; ".join(entry.notes),
    }


def calibration_rows(maps: Mapping[MapKey, MapEntry]) -> pd.DataFrame:
    """One row per map or refusal, with the columns of `strainstudy.tables.angles.CALIBRATIONS`."""
    rows = []
    for key, entry in maps.items():
        row: dict[str, object] = {
            "participant_id": key.participant_id,
            "session_id": key.session_id,
            "tracked_point": key.tracked_point,
            "sensor_id": key.sensor_id,
            "status": "refused" if isinstance(entry, Refusal) else "fitted",
            "source": None,
        } | dict.fromkeys(_NUMBERS, math.nan)
        if isinstance(entry, Refusal):
            row |= {"status_description": entry.reason}
        elif isinstance(entry, ReferenceMap):
            row |= _numbers_of_reference(entry)
        else:
            low, high = entry.range_deg
            row |= {
                "source": "holds",
                "hold_count": entry.hold_count,
                "angle_from": low,
                "angle_to": high,
                "response_per_degree": entry.response_per_degree,
                "polarity": entry.sign,
                "repeatability": entry.repeatability_deg,
                "hysteresis": entry.hysteresis_percent,
                "creep": entry.creep_percent,
                "session_drift": entry.session_drift_deg,
                "session_gain_change": entry.session_gain_percent,
                "status_description": "; ".join(entry.notes),
            }
        rows.append(row)
    return pd.DataFrame(rows)


def maps_to_json(maps: Mapping[MapKey, MapEntry]) -> str:
    """Write maps, or the reasons why there is none, as JSON text."""
    entries = []
    for key, entry in sorted(maps.items()):
        if isinstance(entry, Refusal):
            entries.append(asdict(key) | {"refused": entry.reason})
        else:
            kind = "reference_map" if isinstance(entry, ReferenceMap) else "map"
            entries.append(asdict(key) | {kind: entry.to_dict()})
    return json.dumps(entries, indent=1, ensure_ascii=False, allow_nan=False) + "\n"


def maps_from_json(text: str) -> dict[MapKey, MapEntry]:
    """Undo `maps_to_json`."""
    maps: dict[MapKey, MapEntry] = {}
    for entry in json.loads(text):
        key = MapKey(*(entry[field.name] for field in fields(MapKey)))
        if "refused" in entry:
            maps[key] = Refusal(entry["refused"])
        elif "reference_map" in entry:
            maps[key] = ReferenceMap.from_dict(entry["reference_map"])
        else:
            maps[key] = AngleMap.from_dict(entry["map"])
    return maps
