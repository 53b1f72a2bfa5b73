"""What to mend, worst first: every fault that the result tables tell of, with its remedy.

In: result tables. Out: faults in order. Faults of one cause are one line with all whom they concern.
"""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any, Final

import pandas as pd

from ..gait.verdict import CANNOT_TELL, VERDICT_COLUMNS
from ..tables.angles import CALIBRATIONS
from ..tables.gait import GAIT
from ..tables.sensors import SENSOR_HEALTH, SENSORS
from .results import StudyTables, records
from .spoken import spoken

__all__ = ["Fault", "faults_of", "named"]

_NAMED: Final = 6
"""Recordings or people named in one line (ours)."""
_BEYOND_PERCENT: Final = 20.0
"""Percent of a recording's angle beyond its calibration from which on it is a fault (ours)."""
_BEYOND: Final = re.compile(r"(left|right)_knee: (?:(?!_knee).)*?([\d.]+)% of the angle lies beyond")
_SHARE: Final = re.compile(r"[\d.]+ ?%")


@dataclass(frozen=True)
class Fault:
    """A fault: ``what`` is wrong, ``where`` (by name), the ``remedy``, how many recordings it spoils."""

    what: str
    where: str
    remedy: str
    count: int = 1


def named(names: Iterable[Any]) -> str:
    """Name the first few, and say how many more there are."""
    unique = list(dict.fromkeys(str(name) for name in names))
    return ", ".join(unique[:_NAMED]) + (f" and {len(unique) - _NAMED} more" if len(unique) > _NAMED else "")


def _reversed(tables: StudyTables, recordings: pd.DataFrame) -> list[Fault]:
    """Sensors that answered to bending the wrong way round in a session."""
    calibrations, health = tables(CALIBRATIONS), tables(SENSOR_HEALTH)
    usual = calibrations.groupby("sensor_id")["polarity"].median()
    found = []
    for row in records(calibrations[calibrations["polarity"] == -1]):
        own = health[
            (health["sensor_id"] == row["sensor_id"])
            & (health["participant_id"] == row["participant_id"])
            & (health["session_id"] == row["session_id"])
            & health["flagged"].fillna(value=False).astype(bool)
        ]
        also = f"; there its {'; its '.join(_cause(str(r)) for r in own['reason'])}" if len(own) else ""
        always = usual.get(row["sensor_id"], 1) < 0
        worn = recordings[
            (recordings["participant_id"] == row["participant_id"]) & (recordings["session_id"] == row["session_id"])
        ]
        found.append(
            Fault(
                f"Sensor {row['sensor_id']} is wired the wrong way round",
                f"({spoken(row['tracked_point'])} of {row['participant_id']}, {row['session_id']}: its signal falls "
                f"with bending{also}).",
                "Rewire it: exchange the two leads at the bridge"
                + (", or give it polarity −1 in sensors.tsv." if always else " before it is worn again. In its other "
                   "sessions it was right, so leave sensors.tsv as it is.")
                + " Angles and timing of that session allow for it; ohms and strain do not.",
                len(worn),
            )
        )  # fmt: skip
    return found


def _cause(reason: str) -> str:
    return reason.replace("of this sensor's median, outside its limits", "from its median")


def _sensors(tables: StudyTables, recordings: pd.DataFrame, explained: set[tuple[Any, ...]]) -> list[Fault]:
    """Sensors outside their control limits, but for sessions in which another fault explains it."""
    health = tables(SENSOR_HEALTH)
    bad = health[health["flagged"].fillna(value=False).astype(bool)]
    found = []
    for sensor, rows in bad.groupby("sensor_id", sort=True):
        own = [r for r in records(rows) if (sensor, r["participant_id"], r["session_id"]) not in explained]
        if not own:
            continue
        flag = recordings["sensor_flag"].astype(str)
        n = int((flag.str.contains(f"sensor {sensor}:", regex=False) & recordings["participant_id"].notna()).sum())
        told = [
            f"{_cause(str(r['reason']))}, {'on the bench' if pd.isna(r['participant_id']) else r['participant_id']} "
            f"{r['session_id']}"
            for r in own
        ]
        bench = all(pd.isna(r["participant_id"]) for r in own)
        found.append(
            Fault(
                f"Sensor {sensor} is not what it was",
                f"({'; '.join(told)}).",
                "Put it on the bench again, and do not compare its sessions until two runs agree."
                if bench
                else "Check its leads and contacts, measure its resistance at rest, and replace it if that changed.",
                max(n, len(own)),
            )
        )
    return found


def _status(recordings: pd.DataFrame) -> list[Fault]:
    """Rejected recordings one by one; degraded ones by what is the matter."""
    found = [
        Fault(
            f"{row['recording_id']} could not be used",
            f"({str(row['status_description']).split('; ')[0]}).",
            "; ".join(str(row["status_description"]).split("; ")[1:]).capitalize() + "."
            if "; " in str(row["status_description"])
            else "Mend the file or record again.",
        )
        for row in records(recordings[recordings["status"] == "rejected"])
    ]
    kinds: dict[str, list[tuple[str, str]]] = {}
    for row in records(recordings[recordings["status"] == "degraded"]):
        for reason in str(row["status_description"]).split("; "):
            for part, (what, _) in _KINDS.items():
                if part in reason:
                    kinds.setdefault(what, []).append((str(row["recording_id"]), reason))
                    break
            else:
                kinds.setdefault("Something else is the matter", []).append((str(row["recording_id"]), reason))
    remedies = dict(_KINDS.values())
    for what, rows in kinds.items():
        worst = sorted(rows, key=lambda pair: -_share_of(pair[1]))
        names = [f"{name} {share.group()}" if (share := _SHARE.search(reason)) else name for name, reason in worst]
        n = len({name for name, _ in rows})
        found.append(
            Fault(
                f"{what} in {n} recording{'' if n == 1 else 's'}", f"({named(names)}).",
                remedies.get(what, "See the reason in the table of recordings."), n,
            )
        )  # fmt: skip
    return found


_KINDS: Final = {
    "saturated": ("The signal reaches the limit of its amplifier", "Lower the gain until nothing is cut off."),
    "unplugged": ("A sensor was unplugged or stuck", "Fasten plug and lead; look before each recording."),
    "missing": ("Samples are missing", "Look for a loose plug, or a recorder that cannot keep up."),
    "time stamp": ("Time stamps repeat or run backwards", "Check the clock and the export of the recorder."),
    "stamps": ("Time stamps repeat or run backwards", "Check the clock and the export of the recorder."),
}
"""What a reason of ingest holds, to what is the matter and what to do."""


def _share_of(reason: str) -> float:
    found = _SHARE.search(reason)
    return float(found.group().rstrip(" %")) if found else 0.0


def _angles(tables: StudyTables, recordings: pd.DataFrame) -> list[Fault]:
    """Calibrations refused, and angles far beyond what was calibrated."""
    found = []
    calibrations = tables(CALIBRATIONS)
    for reason, rows in calibrations[calibrations["status"] != "fitted"].groupby("status_description", sort=True):
        names = [f"{r['participant_id']} {r['session_id']} {spoken(r['tracked_point'])}" for r in records(rows)]
        found.append(
            Fault(f"No angle in degrees: {reason}", f"({named(names)}).",
                  "Repeat the bends, held at known angles, or correct their labels.", len(rows))
        )  # fmt: skip
    far = []
    for row in records(recordings[recordings["notes"].notna()]):
        for side, share in _BEYOND.findall(str(row["notes"])):
            if float(share) >= _BEYOND_PERCENT:
                far.append((float(share), f"{row['recording_id']} {side} knee {share} %"))
    if far:
        far.sort(reverse=True)
        found.append(
            Fault(
                "The knee angle lies beyond its calibration", f"({named(name for _, name in far)}).",
                "Did the sleeve slip, or is the signal cut off? Hold bends to the largest angle of the task, before "
                "and after it.", len(far),
            )
        )  # fmt: skip
    return found


def _walks(tables: StudyTables) -> list[Fault]:
    """List walks that are too short, or in which sensor and gait cannot be told apart."""
    frame = tables(GAIT, *VERDICT_COLUMNS)
    found = []
    apart = frame[frame["verdict"] == CANNOT_TELL]
    if len(apart):
        found.append(
            Fault("Sensor or gait cannot be told apart", f"({named(apart['recording_id'])}).",
                  "Record bends at known angles with the same sensors in the same session.", len(apart))
        )  # fmt: skip
    few = frame[frame["warning"].notna()]
    if len(few):
        found.append(
            Fault(
                f"{len(few)} of {len(frame)} rows of gait rest on few strides", f"({named(few['recording_id'])}).",
                "Walk longer: 20 steady strides of each side and state, turns left out.", len(few),
            )
        )  # fmt: skip
    return found


def faults_of(tables: StudyTables) -> list[Fault]:
    """List all faults, worst first.

    Parameters
    ----------
    tables : StudyTables

    Returns
    -------
    list of Fault
        Wiring first, for it spoils what follows; then what was lost, sensors that changed, then what is partly lost, by
        the number of recordings.
    """
    recordings = tables.recordings
    turned = tables(CALIBRATIONS)
    turned = turned[turned["polarity"] == -1]
    explained = set(zip(turned["sensor_id"], turned["participant_id"], turned["session_id"], strict=True))
    status = _status(recordings)
    lost = [fault for fault in status if "could not be used" in fault.what]
    partly = [fault for fault in status if fault not in lost]
    partly += [*_angles(tables, recordings), *_walks(tables)]
    sensors = tables(SENSORS)
    partly += [
        Fault(f"On the bench, {named(rows['sensor_id'])}:", f"{warning}.", "Hold longer, or repeat the run.", len(rows))
        for warning, rows in sensors[sensors["warning"].notna()].groupby("warning", sort=True)
    ]
    partly.sort(key=lambda fault: -fault.count)
    return [*_reversed(tables, recordings), *lost, *_sensors(tables, recordings, explained), *partly]
