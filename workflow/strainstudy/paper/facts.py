"""What a paper says of a study beside its result tables: people, sensors, labels, settings, models, software."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

from ..records import Participant, Recording, Sensor

__all__ = ["Facts"]


@dataclass(frozen=True)
class Facts:
    """A study as it ran.

    Parameters
    ----------
    participants, sensors, recordings : mapping
        Rows of the sheets by id, recordings with their label files.
    settings : mapping of section to parameters
        Parameter objects.
    reference_rater : str or None
        Whose labels everything is compared with.
    cards : mapping of str to mapping
        Model cards, ``gait`` and ``swallow``, where models were trained or taken.
    versions : mapping of str to str
        Versions of the packages that ran.
    """

    participants: Mapping[str, Participant]
    sensors: Mapping[str, Sensor]
    recordings: Mapping[str, Recording]
    settings: Mapping[str, Any]
    reference_rater: str | None = None
    cards: Mapping[str, Mapping[str, Any]] = field(default_factory=dict)
    versions: Mapping[str, str] = field(default_factory=dict)
