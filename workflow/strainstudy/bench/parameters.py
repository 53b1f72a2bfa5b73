"""Settings of the bench characterisation and of the health of sensors."""

from __future__ import annotations

from dataclasses import dataclass

from ..settings import setting

__all__ = ["BenchParameters", "HealthParameters"]


@dataclass(frozen=True)
class BenchParameters:
    """What counts as a cycle, a hold, a straight curve."""

    conditioning_cycles: int = setting(
        1,
        "First cycles of each run of cycles that are left out of the figures (the sensor settles in them)",
        source="common practice, no source",
        minimum=0,
        maximum=1000,
    )
    strain_intervals: int = setting(
        4,
        "Equal parts of the strain range with a gauge factor of their own",
        source="Mater. Adv. 2020, doi 10.1039/D0MA00032A: a gauge factor need not be one constant; number ours",
        minimum=1,
        maximum=50,
    )
    single_gauge_factor_limit_percent: float = setting(
        5.0,
        "Terminal-based non-linearity up to which one gauge factor stands for the whole curve",
        source="common practice, no source",
        unit="% of full scale",
        minimum=0.1,
        maximum=50,
    )
    shortest_hold_s: float = setting(
        1.0,
        "Shortest standstill of the reference that counts as a hold",
        source="common practice, no source",
        unit="s",
        minimum=0.05,
        maximum=3600,
    )
    turning_fraction: float = setting(
        0.1,
        "Share of the reference's range that it must move back before a turn counts",
        source="common practice, no source",
        minimum=0.005,
        maximum=0.5,
    )
    full_amplitude_fraction: float = setting(
        0.9,
        "Cycles of at least this share of the largest amplitude give the full-scale figures",
        source="common practice, no source",
        minimum=0.1,
        maximum=1,
    )


@dataclass(frozen=True)
class HealthParameters:
    """When a sensor counts as changed."""

    control_limit_sd: float = setting(
        3.0,
        "Standard deviations from the centre line to a control limit",
        source="ISO 7870-2, Shewhart control charts",
        minimum=1,
        maximum=10,
    )
    fewest_ranges: int = setting(
        5,
        "Pairs of successive uses, over all sensors, below which no limits are drawn",
        source="common practice, no source",
        minimum=2,
        maximum=1000,
    )
    smallest_change_percent: float = setting(
        5.0,
        "Change from the centre that is never flagged, however steady the sensors are",
        source="common practice, no source",
        unit="%",
        minimum=0,
        maximum=100,
    )
