"""Settings of the verdict on sensor or gait."""

from __future__ import annotations

from dataclasses import dataclass

from ..settings import setting

__all__ = ["VerdictParameters"]


@dataclass(frozen=True)
class VerdictParameters:
    """Limits beyond which a difference between the sides counts as an asymmetry."""

    amplitude_limit_percent: float = setting(
        16.0,
        "Symmetry index of amplitude that healthy people may have",
        source="Dynamic Medicine 2008, 7:17: healthy limits of a gait curve's asymmetry 12-16 %, upper end",
        unit="%",
        minimum=1,
        maximum=100,
    )
    step_time_limit_percent: float = setting(
        8.0,
        "Symmetry index of step time that healthy people may have",
        source="Patterson et al. 2010, doi 10.1016/j.gaitpost.2009.10.014 (from memory): ratios up to 1.06-1.08",
        unit="%",
        minimum=1,
        maximum=100,
    )
    phase_limit_deg: float = setting(
        9.0,
        "Deviation of the left-right phase from 180 degrees that healthy people may have",
        source="ours: 5 % of half a cycle, about the healthy coordination index at 75 years and older (5.7 %)",
        unit="deg",
        minimum=1,
        maximum=90,
    )
    step_time_error_percent: float = setting(
        6.6,
        "Standard deviation of the symmetry index of step time as read from knees, for a walk whose row of "
        "tables/gait.tsv has no error of its own",
        source="measured against 50 N force-plate contacts on the open walks of Pearl et al. 2022, "
        "doi 10.21203/rs.3.rs-1902381/v1, 4 people",
        unit="%",
        minimum=0,
        maximum=100,
    )
    phase_error_deg: float = setting(
        6.0,
        "Standard deviation of the left-right phase as read from knees, for a walk whose row of tables/gait.tsv has "
        "no error of its own",
        source="ours: step_time_error_percent as a part of half a cycle",
        unit="deg",
        minimum=0,
        maximum=90,
    )
    peak_timing_limit_percent: float = setting(
        5.0,
        "Difference between the sides in where the swing peak falls in the stride",
        source="common practice, no source",
        unit="% of stride",
        minimum=0.5,
        maximum=50,
    )
    shape_limit: float = setting(
        0.10,
        "Unlikeness of the two knees' stride waves (1 - correlation)",
        source="common practice, no source",
        minimum=0.001,
        maximum=1,
    )
    minimum_strides: int = setting(
        8,
        "Strides of each knee below which no verdict is given",
        source="common practice, no source",
        minimum=2,
        maximum=1000,
    )
