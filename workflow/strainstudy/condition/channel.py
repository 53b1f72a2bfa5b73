"""One channel from the unit of its file to relative resistance change.

In: samples in volts, millivolts, ohms, arbitrary units or degrees, and the sensor's row. Out: resistance, response and
strain, what is impossible in them, and what had to be assumed. Arbitrary units and degrees pass by.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
import numpy.typing as npt

from ..vocabulary import VOLT_UNITS
from .bridge import Bridge, resistance
from .response import relative_change, rest_level, strain

if TYPE_CHECKING:
    from ..records import Sensor

__all__ = ["CalibratedTrace", "bridge_of", "calibrate_trace"]

Array = npt.NDArray[np.float64]


@dataclass(frozen=True)
class CalibratedTrace:
    """One channel after the bridge.

    Parameters
    ----------
    resistance_ohm, response, strain : array, shape (n,)
        Ohm (NaN unless volts or ohms were measured); dR/R0, arbitrary units or degrees; fraction.
    rest_ohm : float
        R0 that was used; NaN where there is none.
    impossible : int
        Samples that no resistance can give, set to NaN.
    notes : tuple of str
        What had to be assumed, in words for the report.
    """

    resistance_ohm: Array
    response: Array
    strain: Array
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


def calibrate_trace(
    values: npt.ArrayLike, fs: float, *, units: str, tracked_point: str, sensor: Sensor | None
) -> CalibratedTrace:
    """Turn one channel into relative resistance change and strain.

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
    CalibratedTrace

    Raises
    ------
    ValueError
        For volts without a sensor or with an incomplete bridge.
    """
    x = np.asarray(values, dtype=np.float64)
    nothing = np.full(x.shape, np.nan)
    gauge_factor = sensor.gauge_factor if sensor is not None else None
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
        return CalibratedTrace(nothing, x, nothing, math.nan, 0, ())
    impossible = int(wrong.sum())
    if impossible:
        notes += (f"{impossible} samples that no resistance can give were left out",)
    if sensor is not None and sensor.rest_ohm is not None:
        rest = sensor.rest_ohm
    else:
        rest = rest_level(ohm, fs, one_sided=tracked_point != "throat")
        if math.isfinite(rest):
            notes += (f"rest resistance {rest:.6g} ohm read from the recording",)
    response = relative_change(ohm, rest)
    return CalibratedTrace(ohm, response, strain(response, gauge_factor), rest, impossible, notes)
