"""What a user may set about walking, each default with its source."""

from __future__ import annotations

from dataclasses import dataclass

from ..settings import setting

__all__ = ["GaitParameters"]


@dataclass(frozen=True)
class GaitParameters:
    """Settings of gait detection and gait measures."""

    stride_time_min_s: float = setting(
        0.7,
        "Shortest stride looked for",
        source="ours: 1.2 strides a second is fast walking (stride time 0.83 s), with margin",
        unit="s",
        minimum=0.4,
        maximum=2.0,
    )
    stride_time_max_s: float = setting(
        3.0,
        "Longest stride looked for",
        source="ours: 0.4 strides a second is slow walking after stroke (stride time 2.5 s), with margin",
        unit="s",
        minimum=1.0,
        maximum=6.0,
    )
    rest_min_s: float = setting(
        0.6,
        "Shortest pause that ends a walk, beyond what the walk usually leaves between a contact and the next toe-off",
        source="ours: about half a stride at a comfortable pace, so that a rest of a second is found",
        unit="s",
        minimum=0.3,
        maximum=10.0,
    )
    contact_offset_percent: float = setting(
        2.0,
        "Initial contact follows the end of the swing's extension in the knee curve by this part of the stride",
        source="Schwartz et al. 2008, doi 10.1016/j.jbiomech.2008.03.015: the mean knee curve is straightest at 98 % "
        "of the cycle; against 50 N force-plate contacts of 4 healthy people (Pearl et al. 2022, doi "
        "10.21203/rs.3.rs-1902381/v1) the median error that is left is below 20 ms",
        unit="%",
        minimum=-10.0,
        maximum=10.0,
    )
    toe_off_offset_percent: float = setting(
        1.0,
        "Toe-off follows the fastest flexion in the knee curve by this part of the stride",
        source="the mean knee curve of Schwartz et al. 2008 flexes fastest at 61 % of the cycle, toe-off is at "
        "about 62 % (Perry & Burnfield 2010, from memory); against 50 N force-plate toe-offs of 4 healthy people "
        "(Pearl et al. 2022, doi 10.21203/rs.3.rs-1902381/v1) the mean error that is left is 1 ms, 14 ms late in "
        "normal and 15 ms early in stiff-kneed walking; chosen on any three of them it is 1.1 to 1.3",
        unit="%",
        minimum=-10.0,
        maximum=10.0,
    )
    settling_strides: int = setting(
        2,
        "Strides of each side left out of steady-state figures at the start and at the end of a walk",
        source="ours: walking reaches its pace within about three steps",
        minimum=0,
        maximum=10,
    )
    strides_min: int = setting(
        20,
        "Strides below which a summary carries a warning",
        source="PMC6348278: stride-time variability is stable after at most 20 strides",
        minimum=2,
        maximum=200,
    )
    bootstrap_resamples: int = setting(
        1000,
        "Resamples of the strides for the intervals of gait measures",
        source="Efron & Tibshirani 1993, An Introduction to the Bootstrap, ch. 13 (from memory)",
        minimum=200,
        maximum=20000,
    )
    stride_persistence: float = setting(
        0.7,
        "How long strides resemble the ones before (Hurst exponent; 0.5: not at all): intervals grow by the number of "
        "strides to the power of this less 0.5",
        source="0.68 (SD 0.14) in elderly, 0.87 (SD 0.15) in young people (Hausdorff et al. 1997, J Appl Physiol "
        "82:262-269, from memory); with 0.7 the intervals hold what they say (docs/coverage.md)",
        minimum=0.5,
        maximum=0.95,
    )
    seed: int = setting(
        20,
        "Seed of the bootstrap; the same seed gives the same intervals",
        source="ours: any whole number will do",
        minimum=0,
    )
