"""What the columns of ``signals/*.parquet`` mean: unit, title and description for the metadata of each field."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Final

from ..cautions import KNOWN_COVERAGE

__all__ = ["SIGNAL_WORDS"]

_LIMIT = f"limit of the angle's prediction interval (setting calibrate.prediction_level; {KNOWN_COVERAGE})"

SIGNAL_WORDS: Final[Mapping[str, Mapping[str, str]]] = {
    "recording_id": {"title": "Recording", "description": "Id of the recording."},
    "time": {"unit": "s", "title": "Time", "description": "Time from the first stored sample."},
    "tracked_point": {"title": "Tracked point", "description": "Where the sensor sits."},
    "response": {
        "unit": "1, a.u. or deg",
        "title": "Response",
        "description": "Relative change of resistance, filtered, without drift (1); a.u. where the channel is "
        "uncalibrated; degrees where it is an angle already.",
    },
    "drift": {
        "unit": "1, a.u. or deg",
        "title": "Drift",
        "description": "Slow movement of the resting level, as the response.",
    },
    "strain": {
        "unit": "1",
        "title": "Strain",
        "description": "Response over the sensor's gauge factor; missing where that is not known.",
    },
    "angle": {
        "unit": "deg",
        "title": "Angle",
        "description": "Knee angle, 0 straight, larger bent; missing where nothing calibrates it.",
    },
    "angle_low": {"unit": "deg", "title": "Angle, lower limit", "description": f"Lower {_LIMIT}."},
    "angle_high": {"unit": "deg", "title": "Angle, upper limit", "description": f"Upper {_LIMIT}."},
    "reference_angle": {
        "unit": "deg",
        "title": "Reference angle",
        "description": "Angle of the reference beside the sensor, where there is one.",
    },
}
