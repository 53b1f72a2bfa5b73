"""Is a bridge wired in reverse? Flexion stretches a knee's sensor, so its resistance must rise with the angle.

In: knees of a session with labelled holds, or with a reference angle that calibrates; the bridge that the sheets state.
Out: which of them run the wrong way, and these turned round: the resistance that the same volts mean with the other
polarity, at rest and drift read anew. The exact inverse of the bridge is used, so nothing is lost by it but what its
filters made of the wrong scale, which is below the sensor's noise. Bends without labels tell nothing for sure: who sits
and stretches the leg rests bent.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Final, TypeVar

import numpy as np
import numpy.typing as npt
import pandas as pd

from ..condition.bridge import Bridge, mirrored
from ..condition.response import relative_change, rest_level
from ..signal.drift import resting_drift
from .maps import BendTrace, KneeTrace, MapKey, own_holds
from .references import ReferenceTrace, used_samples

__all__ = ["Wiring", "turned", "wiring_of"]

Array = npt.NDArray[np.float64]
Knee = TypeVar("Knee", bound=KneeTrace)

CLEAR: Final = 0.5
"""Correlation of response and angle from which a direction counts: labelled holds of simulated and recorded knees have
0.8 and more, a channel that hears nothing has about 0 (ours)."""


@dataclass(frozen=True)
class Wiring:
    """Correlations of response and angle, the first by recording, of one knee and sensor in one session."""

    by_recording: Mapping[str, float]

    def reversed_in(self, recording_id: str) -> float | None:
        """Give the correlation that says that a recording's response falls with flexion; None where it does not.

        A recording without an angle of its own follows the others of its session where they agree.
        """
        clear = {name: r for name, r in self.by_recording.items() if abs(r) >= CLEAR}
        own = clear.get(recording_id)
        if own is not None:
            return own if own < 0 else None
        return max(clear.values()) if clear and max(clear.values()) < 0 else None


def _correlation(response: Array, angle: Array) -> float:
    both = np.isfinite(response) & np.isfinite(angle)
    x, y = response[both], angle[both]
    if x.size < 3 or np.ptp(x) == 0 or np.ptp(y) == 0:
        return 0.0
    return float(np.corrcoef(x, y)[0, 1])


def _angle_of_holds(n: int, fs: float, holds: pd.DataFrame) -> Array:
    """Give the labelled angle, straight outside of the holds."""
    angle = np.zeros(n)
    columns = (holds[name].to_numpy(dtype=np.float64) for name in ("onset", "duration", "value"))
    for onset, duration, value in zip(*columns, strict=True):
        angle[max(0, round(onset * fs)) : max(0, round((onset + duration) * fs))] = value
    return angle


def wiring_of(bends: Iterable[BendTrace], references: Iterable[ReferenceTrace]) -> dict[MapKey, Wiring]:
    """Correlate responses with the angles that holds and references tell.

    Parameters
    ----------
    bends : iterable of BendTrace
    references : iterable of ReferenceTrace
        Where a recording has both, its reference counts.

    Returns
    -------
    dict of MapKey to Wiring
        Of the knees with an angle.
    """
    found: dict[MapKey, dict[str, float]] = {}
    for bend in bends:
        holds = own_holds(bend)
        if len(holds):
            angle = _angle_of_holds(len(bend.response), bend.sampling_frequency, holds)
            found.setdefault(bend.key, {})[bend.recording_id] = _correlation(bend.response + bend.drift, angle)
    for trace in references:
        angle = np.where(used_samples(trace), trace.reference, np.nan)
        found.setdefault(trace.key, {})[trace.recording_id] = _correlation(trace.response + trace.drift, angle)
    return {key: Wiring(by_recording) for key, by_recording in found.items()}


def turned(knee: Knee, bridge: Bridge, stated_rest_ohm: float | None, shortest_period_s: float) -> Knee:
    """Give a knee as the same volts mean it with the other polarity.

    Parameters
    ----------
    knee : KneeTrace
        In relative change of resistance.
    bridge : Bridge
        As the sheets state it, with the wrong polarity.
    stated_rest_ohm : float or None
        Rest resistance of the sheet; where there is none it is read from the recording anew.
    shortest_period_s : float
        As ``condition.drift_shortest_period_s``.

    Returns
    -------
    As ``knee``
    """
    ohm = mirrored(knee.rest_ohm * (1 + knee.response + knee.drift), bridge)
    rest = stated_rest_ohm
    if rest is None:
        rest = rest_level(ohm, knee.sampling_frequency, one_sided=True)
    whole = relative_change(ohm, rest)
    curve = resting_drift(whole, knee.sampling_frequency, shortest_period_s=shortest_period_s, end=1).curve
    drift = np.where(np.isnan(whole), np.nan, curve)
    values = {**vars(knee), "response": whole - curve, "drift": drift, "end": 1, "rest_ohm": rest}
    return type(knee)(**values)
