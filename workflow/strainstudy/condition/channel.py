"""One channel from the unit of its file to relative resistance change.

In: samples in volts, millivolts, ohms, arbitrary units or degrees, and the sensor's row. Out: the response, what is
impossible in it, and what had to be assumed. Arbitrary units and degrees pass by.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
import numpy.typing as npt

from ..vocabulary import VOLT_UNITS
from .bridge import Bridge, resistance
from .response import relative_change, rest_level

if TYPE_CHECKING:
    from ..records import Sensor

__all__ = ["ChannelResponse", "bridge_of", "channel_response"]

Array = npt.NDArray[np.float64]


@dataclass(frozen=True)
class ChannelResponse:
    """One channel after the bridge.

    Parameters
    ----------
    response : array, shape (n,)
        dR/R0 to the 32 bits of the signals' files (no converter fills more), arbitrary units or degrees.
    rest_ohm : float
        R0 that was used; NaN where there is none.
    impossible : int
        Samples that no resistance can give, set to NaN.
    notes : tuple of str
        What had to be assumed, in words for the report.
    """

    response: Array
    rest_ohm: float
    impossible: int
    notes: tuple[str, ...]


def bridge_of(sensor: Sensor) -> Bridge:
    """Bridge of a row of the sensor sheet; `ValueError` if the row has none."""
    return Bridge.of(
        excitation_v=sensor.excitation_v,
        r1_ohm=sensor.r1_ohm,
        r2_ohm=sensor.r2_ohm,
        r3_ohm=sensor.r3_ohm,
        rest_ohm=sensor.rest_ohm,
        amplifier_gain=sensor.amplifier_gain,
        polarity=sensor.polarity,
    )


def channel_response(
    values: npt.ArrayLike, fs: float, *, units: str, tracked_point: str, sensor: Sensor | None
) -> ChannelResponse:
    """Turn one channel into relative resistance change.

    Parameters
    ----------
    values : array, shape (n,)
        In ``units``; NaN = no data.
    fs : float
        Hz.
    units : str
        ``V``, ``mV``, ``ohm``, ``a.u.``, ``deg``, or a bench reference's ``percent`` or ``mm``.
    tracked_point : str
        Where it was measured; a throat has bursts both ways, everything else excursions to one side.
    sensor : Sensor or None
        Needed for volts.

    Returns
    -------
    ChannelResponse

    Raises
    ------
    ValueError
        For volts without a sensor or with an incomplete bridge.
    """
    x = np.asarray(values, dtype=np.float64)
    notes: tuple[str, ...] = ()
    if units in VOLT_UNITS:
        if sensor is None:
            raise ValueError("a channel in volts needs a sensor_id with its bridge in sensors.tsv")
        bridge = bridge_of(sensor)
        ohm, wrong = resistance(x, bridge, unit=units)
        notes = bridge.notes
    elif units == "ohm":
        wrong = x <= 0
        ohm = np.where(wrong, np.nan, x)
    else:
        return ChannelResponse(x, math.nan, 0, ())
    impossible = int(wrong.sum())
    if impossible:
        notes += (f"{impossible} samples that no resistance can give were left out",)
    if sensor is not None and sensor.rest_ohm is not None:
        rest = sensor.rest_ohm
    else:
        rest = rest_level(ohm, fs, one_sided=tracked_point != "throat")
        if math.isfinite(rest):
            notes += (f"rest resistance {rest:.6g} ohm read from the recording",)
    response = relative_change(ohm, rest).astype(np.float32).astype(np.float64)
    return ChannelResponse(response, rest, impossible, notes)
