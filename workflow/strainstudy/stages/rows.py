"""Sheet rows as plain values for the engine's parameters, and back into the study's dataclasses."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from pathlib import Path
from typing import Any

from ..records import Channel, Participant, Recording, Sensor

__all__ = ["participants_of", "recordings_of", "sensors_of"]


def recordings_of(rows: Iterable[Mapping[str, Any]]) -> list[Recording]:
    """Make recordings from rows that `dataclasses.asdict` made."""
    return [
        Recording(
            **{
                **row,
                "path": Path(row["path"]),
                "channels": tuple(Channel(**channel) for channel in row["channels"]),
                "labels": {rater: Path(path) for rater, path in row["labels"].items()},
            }
        )
        for row in rows
    ]


def sensors_of(rows: Iterable[Mapping[str, Any]]) -> dict[str, Sensor]:
    """Make sensors, by id, from rows that `dataclasses.asdict` made."""
    return {row["sensor_id"]: Sensor(**row) for row in rows}


def participants_of(rows: Iterable[Mapping[str, Any]]) -> dict[str, Participant]:
    """Make participants, by id, from rows that `dataclasses.asdict` made."""
    return {row["participant_id"]: Participant(**row) for row in rows}
