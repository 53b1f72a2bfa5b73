"""Settings of the bench characterisation."""

from __future__ import annotations

from dataclasses import dataclass

from ..settings import setting

__all__ = ["BenchParameters"]


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
