"""Settings of the bend detector; none is in degrees or volts."""

from __future__ import annotations

from dataclasses import dataclass

from ..settings import setting

__all__ = ["BendParameters"]


@dataclass(frozen=True)
class BendParameters:
    """What makes a bend."""

    least_height_share: float = setting(
        0.25,
        "Least height of a bend as share of the recording's highest flexion of that knee",
        source="ours: a 30-degree hold beside a 90-degree one counts, a slightly bent stance does not",
        minimum=0.05,
        maximum=0.9,
    )
    least_rest_spreads: float = setting(
        6.0,
        "Least height of the highest flexion of a knee that bends, in standard deviations of what it does at rest",
        source="ours: normal noise of any colour reaches 2.5 to 4.5 within a minute; the bends of 69 recorded knees "
        "reach 9 to 50, without a pause 6",
        minimum=0.0,
        maximum=50,
    )
    least_angle_deg: float = setting(
        10.0,
        "Least angle of a bend, where there is an angle, above the straightest that this knee gets",
        source="ours: sway, weight shifts and the error of a goniometer stay within 5 degrees either way",
        unit="deg",
        minimum=0.0,
        maximum=60,
    )
    least_width_s: float = setting(
        0.45,
        "Least time a bend spends above half its height; a swing phase spends 0.2 to 0.6 s there",
        source="ours: half-height width of the swing wave is a quarter of the cycle (Schwartz et al. 2008), "
        "0.6 s at the slowest stride of 2.5 s",
        unit="s",
        minimum=0.3,
        maximum=10,
    )
    hold_shortest_s: float = setting(
        1.0,
        "Shortest standstill on the way that counts as a hold of its own (stairs of holds)",
        source="common practice, no source",
        unit="s",
        minimum=0.3,
        maximum=60,
    )
    held_at_least_s: float = setting(
        2.0,
        "Standstill from which a bend counts as a hold, whose onset and duration are those of the standstill",
        source="ours: a squat turns round within a second or so",
        unit="s",
        minimum=0.3,
        maximum=60,
    )
    series_gap_s: float = setting(
        5.0,
        "Longest pause between bends that are counted as repeats of one series",
        source="common practice, no source",
        unit="s",
        minimum=0,
        maximum=120,
    )
