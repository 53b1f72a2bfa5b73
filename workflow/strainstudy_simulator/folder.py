"""A study folder in the making: files, labels and sheets of invented recordings.

In: takes with their ids. Out: raw files, label sheets, and at the end the four tables of the study format.
"""

from __future__ import annotations

import hashlib
from collections.abc import Mapping, Sequence
from dataclasses import astuple, dataclass, fields, replace
from pathlib import Path
from typing import Final

import numpy as np
import numpy.typing as npt
from strainstudy.io.atomic import write_bytes, write_text
from strainstudy.vocabulary import MISSING

from . import files
from .people import RAIL_V, Person, Unit, rng_for
from .raters import RATERS, label, only_within
from .sessions import Channel, Take
from .truth import Event, label_rows

__all__ = ["FolderWriter"]

Array = npt.NDArray[np.float64]
_DECIMALS: Final = {"V": 3, "mV": 0, "deg": 1, "percent": 2}
_SUFFIX: Final = {"csv": "csv.gz", "european": "csv", "edf": "edf", "parquet": "parquet", "tdms": "tdms"}
_GAP_S: Final = 2.5


@dataclass(frozen=True)
class _Row:
    recording_id: str
    task: str
    file: str
    participant_id: str | None
    session_id: str | None
    sensor_id: str | None
    sampling_frequency: float | None
    time_column: str | None
    volume_ml: float | None


class FolderWriter:
    """Writes recordings one by one and collects the rows of the sheets.

    Parameters
    ----------
    folder : Path
    seed : int
    faults, formats, partial : mapping
        By recording id: the fault to put into its file, the format other than compressed text, and the span
        (shares of its length) to which its labels are limited.
    """

    def __init__(
        self,
        folder: Path,
        seed: int,
        *,
        faults: Mapping[str, str],
        formats: Mapping[str, str],
        partial: Mapping[str, tuple[float, float]],
    ) -> None:
        self.folder = folder
        self.seed = seed
        self.faults = faults
        self.formats = formats
        self.partial = partial
        self.rows: list[_Row] = []
        self.channels: list[tuple[str, Channel]] = []

    def save(
        self,
        recording_id: str,
        take: Take,
        *,
        participant_id: str | None,
        session_id: str,
        sensor_id: str | None = None,
        millivolt: bool = False,
    ) -> None:
        """Write one recording's file and labels, and remember its rows."""
        form = self.formats.get(recording_id, "csv")
        channels = [_named(channel, millivolt) for channel in take.channels]
        place = f"raw/{participant_id or 'bench'}/{recording_id}.{_SUFFIX[form]}"
        path = self.folder / place
        columns = {c.name: c.values for c in channels}
        units = {c.name: c.units for c in channels}
        if form == "edf":
            files.write_edf(path, columns, take.fs, units, RAIL_V)
        elif form == "parquet":
            files.write_parquet(path, columns, take.fs, units)
        elif form == "tdms":
            files.write_tdms(path, columns, take.fs, units)
        else:
            self._text(path, recording_id, columns, units, take.fs)
        self.rows.append(
            _Row(
                recording_id,
                take.task,
                place,
                participant_id,
                session_id,
                sensor_id,
                take.fs if form in ("csv", "parquet") else None,
                "time_s" if form in ("csv", "european") else None,
                take.volume_ml,
            )
        )
        self.channels += [(recording_id, c) for c in channels]
        if take.truth:
            self._labels(recording_id, take.truth, take.seconds)

    def _text(
        self,
        path: Path,
        recording_id: str,
        columns: Mapping[str, Array],
        units: Mapping[str, str],
        fs: float,
    ) -> None:
        fault = self.faults.get(recording_id)
        n = len(next(iter(columns.values())))
        time = np.arange(n) / fs
        decimals = {"time_s": 3 if fs > 100 else 2, **{name: _DECIMALS[unit] for name, unit in units.items()}}
        keep = np.ones(n, dtype=bool)
        if fault == "jittered":
            time, decimals["time_s"] = _broken_time(time, fs, rng_for(self.seed, recording_id, "time")), 4
        elif fault == "gap":
            keep[round(0.4 * n) : round(0.4 * n + _GAP_S * fs)] = False
        table = {"time_s": time[keep], **{name: values[keep] for name, values in columns.items()}}
        if path.suffix == ".gz":
            files.write_csv(path, table, decimals)
        else:
            files.write_european_csv(path, table, decimals, ("Messung;Gehen", f"Abtastrate;{fs:g} Hz", ""))
        if fault == "corrupt":
            whole = path.read_bytes()
            write_bytes(path, whole[: len(whole) // 2])

    def _labels(self, recording_id: str, truth: tuple[Event, ...], seconds: float) -> None:
        # Which third the second rater sees hangs on the id, so that it stays when recordings are added.
        second = hashlib.sha256(f"second rater/{recording_id}".encode()).digest()[0] % 3 == 0
        for rater in RATERS[: 2 if second else 1]:
            rng = rng_for(self.seed, recording_id, rater.name)
            marks = label(truth, rater, seconds, rng)
            if recording_id in self.partial:
                low, high = (round(share * seconds, 1) for share in self.partial[recording_id])
                marks = only_within(marks, low, high)
            write_text(self.folder / f"labels/{recording_id}/{rater.name}_events.tsv", label_rows(marks))

    def sheets(self, people: Sequence[Person], units: Sequence[Unit]) -> None:
        """Write the four tables."""
        persons = [
            (
                p.participant_id,
                p.age,
                p.sex,
                p.profile.group,
                p.profile.side if p.profile.group == "stroke" else "none",
                p.months_since_stroke,
            )
            for p in people
        ]
        self._sheet(
            "participants.tsv",
            ("participant_id", "age", "sex", "group", "affected_side", "months_since_stroke"),
            persons,
        )
        sensors = [
            (
                u.sensor_id,
                u.bridge.excitation_v,
                u.bridge.r1_ohm,
                u.bridge.r2_ohm,
                u.bridge.r3_ohm,
                u.bridge.amplifier_gain,
                u.bridge.polarity,
                u.stated_rest_ohm,
                u.stated_gauge_factor,
                40.0 if u.place != "throat" else 25.0,
            )
            for u in units
        ]
        self._sheet(
            "sensors.tsv",
            (
                *("sensor_id", "excitation_v", "r1_ohm", "r2_ohm", "r3_ohm", "amplifier_gain", "polarity"),
                *("rest_ohm", "gauge_factor", "gauge_length_mm"),
            ),
            sensors,
        )
        self._sheet("recordings.tsv", tuple(f.name for f in fields(_Row)), [astuple(row) for row in self.rows])
        # Channels without a sensor of their own are named alike everywhere, so one row serves all recordings.
        shared = {c.name: ("*", c.name, c.tracked_point, c.units, None) for _, c in self.channels if not c.sensor_id}
        single = [
            (recording_id, c.name, c.tracked_point, c.units, c.sensor_id)
            for recording_id, c in self.channels
            if c.sensor_id
        ]
        self._sheet(
            "channels.tsv",
            ("recording_id", "name", "tracked_point", "units", "sensor_id"),
            [*(shared[name] for name in sorted(shared)), *single],
        )

    def _sheet(self, name: str, header: Sequence[str], rows: Sequence[Sequence[object]]) -> None:
        def text(value: object) -> str:
            if value is None:
                return MISSING
            return f"{value:g}" if isinstance(value, float) else str(value)

        lines = ["\t".join(header), *("\t".join(map(text, row)) for row in rows)]
        write_text(self.folder / name, "\n".join(lines) + "\n")


def _named(channel: Channel, millivolt: bool) -> Channel:
    units = "mV" if channel.units == "V" and millivolt else channel.units
    name = f"{channel.name}_{'pct' if units == 'percent' else units}"
    return replace(channel, name=name, units=units, values=channel.values * (1000 if units == "mV" else 1))


def _broken_time(time: Array, fs: float, rng: np.random.Generator) -> Array:
    jittered: Array = np.sort(time + rng.uniform(-0.3, 0.3, len(time)) / fs)
    repeats = rng.choice(np.arange(1, len(time)), size=len(time) // 200, replace=False)
    jittered[repeats] = jittered[repeats - 1]
    jittered -= jittered[0]
    return jittered
