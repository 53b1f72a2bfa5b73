"""Settings of the stage ingest."""

from __future__ import annotations

from dataclasses import dataclass

from ..settings import setting

__all__ = ["IngestParameters"]


@dataclass(frozen=True)
class IngestParameters:
    """When a recording or a channel counts as good, degraded or rejected."""

    largest_unpacked_gb: float = setting(
        8.0,
        "Raw files that are larger than this when unpacked, or than the memory the machine has available can hold,"
        " are rejected before they are read",
        source="ours: a day of three channels and their time at 1 kHz is about 3 GB of text",
        unit="GB",
        minimum=0.001,
        maximum=10000.0,
    )
    gap_steps: float = setting(
        1.5,
        "A step between time stamps longer than this many sample intervals is a gap",
        source="ours: half-way between a sample that is there and one that is lost",
        minimum=1.05,
        maximum=100.0,
    )
    rate_tolerance: float = setting(
        0.01,
        "Sampling rates of time stamps, file and sheet that differ by more than this fraction are reported",
        source="ours: a crystal clock is a hundred times better, a mistyped rate a hundred times worse",
        minimum=0.0,
        maximum=0.5,
    )
    shortest_s: float = setting(
        2.0,
        "Recordings shorter than this are rejected",
        source="ours: less than two strides",
        unit="s",
        minimum=0.1,
        maximum=3600.0,
    )
    dead_s: float = setting(
        1.0,
        "One value held for this long, with a jump before or after, is taken as unplugged or stuck and left out",
        source="ours: no movement is still for this long between jumps",
        unit="s",
        minimum=0.1,
        maximum=60.0,
    )
    degraded_missing: float = setting(
        0.02,
        "A recording is degraded if more than this fraction of its samples is missing",
        source="common practice, no source",
        minimum=0.0,
        maximum=1.0,
    )
    degraded_clipped: float = setting(
        0.001,
        "A recording is degraded if more than this fraction of a channel's samples is saturated",
        source="common practice, no source",
        minimum=0.0,
        maximum=1.0,
    )
    rejected_fraction: float = setting(
        0.5,
        "A channel is left out if more than this fraction of it is missing, saturated or unplugged",
        source="common practice, no source",
        minimum=0.0,
        maximum=1.0,
    )
