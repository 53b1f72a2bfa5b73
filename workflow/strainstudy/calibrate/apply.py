"""Angles of one knee by the map of its session, and how its sensor answers where that was measured.

In: a knee as conditioned with its map or refusal; what the bench measured. Out: angle and limits with what there is to
say of them; the answers that are known better than the settings know them.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Final

import numpy as np
import numpy.typing as npt

from .anglemap import POSSIBLE_DEG, Refusal
from .answer import Answer
from .maps import KneeTrace, MapEntry, MapKey
from .parameters import CalibrateParameters
from .referencemap import ReferenceMap

__all__ = ["angles_of_knee", "known_answers", "possible_angles"]

Array = npt.NDArray[np.float64]

_WORTH_SAYING: Final = 0.001
"""Share of an angle from which it is said that it was extrapolated (ours)."""


def _left_out(impossible: npt.NDArray[np.bool_]) -> list[str]:
    """Count what no knee reads, in words; nothing where there is none."""
    if not impossible.any():
        return []
    low, high = POSSIBLE_DEG
    count, share = int(impossible.sum()), float(impossible.mean())
    return [
        f"{share:.2%} of the angle ({count} samples) was left out: no knee reads below {low:g} or above {high:g}"
        " degrees"
    ]


def possible_angles(degrees: npt.ArrayLike) -> tuple[Array, str]:
    """Leave out of a knee's angle that was recorded in degrees what no knee reads, and say how much that is.

    Parameters
    ----------
    degrees : array, shape (n,)
        NaN = no data.

    Returns
    -------
    angle : array, shape (n,)
    said : str
        May be empty.
    """
    angle = np.asarray(degrees, dtype=np.float64)
    impossible = (angle < POSSIBLE_DEG[0]) | (angle > POSSIBLE_DEG[1])
    return np.where(impossible, np.nan, angle), "; ".join(_left_out(impossible))


def angles_of_knee(knee: KneeTrace, entry: MapEntry) -> tuple[dict[str, Array], str]:
    """Turn the response of a knee into degrees.

    Parameters
    ----------
    knee : KneeTrace
        Whose excursions go to the side that the map has.
    entry : MapEntry

    Returns
    -------
    dict of str to array, shape (n,)
        ``angle``, ``angle_low``, ``angle_high`` in degrees; NaN where there is none.
    str
        What there is to say, in words for the report; may be empty.
    """
    if isinstance(entry, Refusal):
        nothing = np.full(len(knee.response), np.nan)
        return dict.fromkeys(("angle", "angle_low", "angle_high"), nothing), f"no angle: {entry.reason}"
    said, fs, recording = [], knee.sampling_frequency, knee.recording_id
    if isinstance(entry, ReferenceMap):
        found = entry.apply(knee.response, fs, drift=knee.drift, rest_ohm=knee.rest_ohm, recording_id=recording)
        model = entry.model_for(recording)
        first, last = model.angle_from, model.angle_to
        fitted = [f"{a:.4g} to {b:.4g} s" for a, b in entry.spans_in(recording)]
        if fitted:
            said.append(f"{', '.join(fitted)} of the reference calibrated the angle, which is not validated there")
    else:
        found = entry.apply(knee.response, fs, drift=knee.drift, rest_ohm=knee.rest_ohm)
        first, last = entry.range_deg
    there = np.isfinite(found.angle)
    share = float(found.extrapolated[there].mean()) if there.any() else 0.0
    if share >= _WORTH_SAYING:
        said.append(
            f"{share:.1%} of the angle lies beyond the calibrated {first:.4g} to {last:.4g} degrees: extrapolated"
        )
    said += _left_out(found.impossible)
    return {"angle": found.angle, "angle_low": found.low, "angle_high": found.high}, "; ".join(said)


def known_answers(
    keys: Mapping[str, MapKey],
    bench: Mapping[str, Answer],
    maps: Mapping[MapKey, MapEntry],
    parameters: CalibrateParameters,
) -> dict[str, Answer]:
    """How the sensors on the knees of one recording answer, where that is known better than the settings know it.

    An offset of the reference's clock is in what a reference tells, and cancels between the knees if it told both: so
    a reference counts for all knees of the recording or for none, and where the bench knows all it counts alone.

    Parameters
    ----------
    keys : mapping of tracked point to MapKey
        Knees with a sensor.
    bench : mapping of sensor_id to Answer
        What the bench measured.
    maps : mapping of MapKey to MapEntry
    parameters : CalibrateParameters

    Returns
    -------
    dict of tracked point to Answer
    """
    by_bench = {point: bench[key.sensor_id] for point, key in keys.items() if key.sensor_id in bench}
    by_reference = {}
    for point, key in keys.items():
        entry = maps.get(key)
        if isinstance(entry, ReferenceMap) and entry.lag_s >= 0:
            by_reference[point] = Answer(entry.lag_s, entry.lag_error_s, source="reference")
    sure, told = (
        {point: answer for point, answer in known.items() if answer.error_s < parameters.lag_error_s}
        for known in (by_bench, by_reference)
    )
    return told if len(sure) < len(keys) == len(told) else sure
