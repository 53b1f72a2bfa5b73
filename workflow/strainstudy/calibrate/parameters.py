"""Settings of the calibrate stage."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final

from ..settings import setting

__all__ = ["CalibrateParameters"]

_LAG_ERROR_SHARE: Final = 0.7
"""Standard error of the lag as share of the lag: that of a lag anywhere from none to 2.4 times as long (ours)."""


@dataclass(frozen=True)
class CalibrateParameters:
    """How the angle map is made from holds at known angles."""

    prediction_level: float = setting(
        0.90,
        "Probability that the prediction interval of an angle is to cover",
        source="common practice, no source",
        minimum=0.5,
        maximum=0.999,
    )
    hold_shortest_s: float = setting(
        0.5,
        "Shortest hold that is read",
        source="common practice, no source",
        unit="s",
        minimum=0.1,
        maximum=60,
    )
    hold_level_s: float = setting(
        1.0,
        "Part of a hold, from its start, whose level is read; later the sensor has crept",
        source="ours: walking passes through an angle in tenths of a second, so the level on arrival is nearest to it",
        unit="s",
        minimum=0.1,
        maximum=60,
    )
    hold_error_deg: float = setting(
        2.0,
        "Standard deviation of the true angle of a hold about its nominal one",
        source="ours: reading of a hand-held goniometer, after limits of agreement of about 5 degrees (Eliasziw 1994)",
        unit="deg",
        minimum=0,
        maximum=20,
    )
    straight_leg_sd_deg: float = setting(
        3.0,
        "Standard deviation of the angle at which a straight leg stands in a recording, about 0",
        source="ours: knees land at about 5 degrees in walking (Perry & Burnfield 2010, from memory), stand at less",
        unit="deg",
        minimum=0.1,
        maximum=20,
    )
    session_drift_factor: float = setting(
        2.0,
        "Drift of the zero over a session as multiple of its spread within the bend recordings",
        source="ours: random walk over a session four times as long as a bend recording",
        minimum=1,
        maximum=100,
    )
    response_time_s: float = setting(
        0.05,
        "Time of a strain sensor from 10 to 90 % of a step, whose first-order lag is undone in angles and contacts "
        "unless this sensor's own was measured on a bench or against a reference",
        source="Amjadi et al. 2016, Adv Funct Mater 26:1678 (from memory): 50 to 300 ms, lower end",
        unit="s",
        minimum=0,
        maximum=1,
    )
    assumed_hysteresis_percent: float = setting(
        8.0,
        "Hysteresis, percent of span, allowed for in the interval where holds cannot show any",
        source="Amjadi et al. 2016, as above (from memory): 5 to 30 %, lower end",
        unit="%",
        minimum=0,
        maximum=50,
    )

    flexion_stretches: bool = setting(
        True,
        "Flexion stretches the sensors of knees, so that one in volts whose resistance falls with it is wired in "
        "reverse; false where sensors sit behind the knee",
        source="ours: sensors sit over the patella, where skin lengthens with flexion (Wessendorf & Newman 2012)",
    )

    @property
    def lag_s(self) -> float:
        """First-order time constant of `response_time_s`: from 10 to 90 % of a step takes ln 9 of them."""
        return self.response_time_s / math.log(9)

    @property
    def lag_error_s(self) -> float:
        """Standard error of `lag_s` of a sensor whose own was not measured."""
        return _LAG_ERROR_SHARE * self.lag_s
