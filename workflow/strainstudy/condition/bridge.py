"""The Wheatstone bridge, both ways and exactly.

In: volts at the amplifier's output, or ohms of the sensor. Out: the other. The sensor Rx lies below r3, the divider
r1, r2 is the reference::

    V_out = gain * polarity * Vex * (Rx / (r3 + Rx) - r2 / (r1 + r2))

The usual linear reading V/Vex = x/4 falls short by x / (2 + x), 56 % at a relative change of 2.5, so only the exact
inverse is used. A bridge trimmed to zero output at rest has no known r2: its reference then equals the sensor's own
share at rest, rest_ohm / (r3 + rest_ohm). Where rest_ohm is not known either, r3 stands in for it (equal arms, as a
trimmed bridge is built), and `Bridge.notes` says so: resistances are then in error by the unknown ratio, relative
changes by a nearly constant factor, which a calibration in degrees takes up.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
import numpy.typing as npt

__all__ = ["ASSUMED_EQUAL_ARMS", "Bridge", "mirrored", "resistance", "volts"]

Array = npt.NDArray[np.float64]

ASSUMED_EQUAL_ARMS: Final = (
    "bridge trimmed and rest_ohm not given: the sensor at rest is taken to equal r3_ohm, "
    "so resistance and relative change are known up to a nearly constant factor"
)


@dataclass(frozen=True)
class Bridge:
    """A bridge with its amplifier.

    Parameters
    ----------
    excitation_v, r3_ohm : float
        Excitation in volts, below 0 for a negative supply; resistance in series with the sensor.
    reference : float
        Share of the excitation at the reference divider, r2 / (r1 + r2), 0 to 1.
    amplifier_gain : float
    polarity : {1, -1}
    notes : tuple of str
        What had to be assumed.
    """

    excitation_v: float
    r3_ohm: float
    reference: float
    amplifier_gain: float = 1.0
    polarity: int = 1
    notes: tuple[str, ...] = ()

    @classmethod
    def of(
        cls,
        *,
        excitation_v: float | None,
        r1_ohm: float | None = None,
        r2_ohm: float | None = None,
        r3_ohm: float | None,
        rest_ohm: float | None = None,
        amplifier_gain: float = 1.0,
        polarity: int = 1,
    ) -> Bridge:
        """Make a bridge from a row of the sensor sheet; see the module for what a missing r2 means.

        Raises
        ------
        ValueError
            If excitation or r3 are missing, r2 is given without r1, or a value is impossible.
        """
        if excitation_v is None or r3_ohm is None:
            raise ValueError("a bridge needs excitation_v and r3_ohm")
        if excitation_v == 0 or r3_ohm <= 0 or amplifier_gain == 0 or polarity not in (1, -1):
            raise ValueError("a bridge needs excitation_v and amplifier_gain not 0, r3_ohm above 0, polarity 1 or -1")
        notes: tuple[str, ...] = ()
        if r2_ohm is not None:
            if r1_ohm is None:
                raise ValueError("r2_ohm is given without r1_ohm; give both, or neither for a trimmed bridge")
            reference = r2_ohm / (r1_ohm + r2_ohm)
        else:
            if rest_ohm is None:
                notes = (ASSUMED_EQUAL_ARMS,)
            at_rest = r3_ohm if rest_ohm is None else rest_ohm
            reference = at_rest / (r3_ohm + at_rest)
        return cls(excitation_v, r3_ohm, reference, amplifier_gain, polarity, notes)


def volts(resistance_ohm: npt.ArrayLike, bridge: Bridge) -> Array:
    """Output of the bridge.

    Parameters
    ----------
    resistance_ohm : array
        Sensor, ohm, not negative.
    bridge : Bridge

    Returns
    -------
    array
        Volts, shape as ``resistance_ohm``.
    """
    ohm = np.asarray(resistance_ohm, dtype=np.float64)
    scale = bridge.amplifier_gain * bridge.polarity * bridge.excitation_v
    output: Array = scale * (ohm / (bridge.r3_ohm + ohm) - bridge.reference)
    return output


def resistance(output: npt.ArrayLike, bridge: Bridge, *, unit: str = "V") -> tuple[Array, npt.NDArray[np.bool_]]:
    """Resistance of the sensor from the bridge's output: the exact inverse of `volts`.

    Parameters
    ----------
    output : array, shape (n,)
        NaN = no data.
    bridge : Bridge
    unit : {"V", "mV"}

    Returns
    -------
    resistance_ohm : array, shape (n,)
        NaN where there is no data or no resistance gives that output.
    impossible : bool array, shape (n,)
        Where no resistance above 0 ohm gives that output (railed amplifier, lead off, wrong sheet).
    """
    scale = {"V": 1.0, "mV": 1e-3}[unit]
    measured = np.asarray(output, dtype=np.float64)
    share = measured * (scale / (bridge.amplifier_gain * bridge.polarity * bridge.excitation_v))
    share += bridge.reference
    impossible = (share <= 0) | (share >= 1)
    if impossible.any():
        share[impossible] = np.nan
    ohm: Array = bridge.r3_ohm * share / (1 - share)
    return ohm, impossible


def mirrored(resistance_ohm: npt.ArrayLike, bridge: Bridge) -> Array:
    """Resistance that the same output means with the other polarity.

    Parameters
    ----------
    resistance_ohm : array, shape (n,)
        As `resistance` gives it with the polarity of ``bridge``.
    bridge : Bridge

    Returns
    -------
    array, shape (n,)
        Ohm; NaN where there is no data or the other polarity is impossible. Mirroring twice changes nothing.
    """
    ohm = np.asarray(resistance_ohm, dtype=np.float64)
    share = 2 * bridge.reference - ohm / (bridge.r3_ohm + ohm)
    share = np.where((share > 0) & (share < 1), share, np.nan)
    other: Array = bridge.r3_ohm * share / (1 - share)
    return other
