"""Settings of the condition stage."""

from __future__ import annotations

from dataclasses import dataclass

from ..settings import setting

__all__ = ["ConditionParameters"]


@dataclass(frozen=True)
class ConditionParameters:
    """How traces are cleaned."""

    spike_threshold: float = setting(
        3.0,
        "Scaled median absolute deviations from the median of its window that make a sample a spike",
        source="Hampel 1974; Davies & Gather 1993 (Hampel identifier)",
        minimum=2,
        maximum=20,
    )
    spike_longest_s: float = setting(
        0.02,
        "Longest spike; anything wider is taken for movement (at least one sample)",
        source="ours: one or two samples at 100 Hz, far shorter than a step or a swallow",
        unit="s",
        minimum=0,
        maximum=0.1,
    )
    gap_bridge_s: float = setting(
        0.1,
        "Longest gap that is bridged; longer ones stay gaps",
        source="common practice, no source (ten samples at 100 Hz)",
        unit="s",
        minimum=0,
        maximum=1,
    )
    mains_hz: tuple[float, ...] = setting(
        (50.0, 60.0),
        "Mains frequencies whose lines and multiples are looked for",
        source="IEC 60196: standard frequencies 50 and 60 Hz (from memory)",
        unit="Hz",
        minimum=10,
        maximum=400,
    )
    hum_prominence: float = setting(
        20.0,
        "Power of a mains line over the median around it from which it is notched",
        source="ours: averaged noise spectra stay below 5",
        minimum=2,
        maximum=10000,
    )
    cutoff: str = setting(
        "fixed",
        "Low-pass cutoff: fixed (the values below) or residual (residual analysis of each trace)",
        source="Winter, Biomechanics and Motor Control of Human Movement, 4th ed. (from memory)",
        choices=("fixed", "residual"),
    )
    knee_lowpass_hz: float = setting(
        6.0,
        "Low-pass cutoff for knee traces",
        source="Winter, as above (from memory): 6 Hz, 4 to 8 Hz in use",
        unit="Hz",
        minimum=2,
        maximum=50,
    )
    throat_lowpass_hz: float = setting(
        25.0,
        "Low-pass cutoff for throat traces, whose bursts are short",
        source="ours: keeps bursts of 20 ms rise, and stays below 50 Hz hum",
        unit="Hz",
        minimum=2,
        maximum=200,
    )
    bench_lowpass_hz: float = setting(
        20.0,
        "Low-pass cutoff for bench traces",
        source="ours: 0.35 / 20 Hz = 18 ms rise, a third of the fastest response times of such sensors (50 ms)",
        unit="Hz",
        minimum=2,
        maximum=400,
    )
    drift_shortest_period_s: float = setting(
        120.0,
        "Oscillations of the resting level slower than this are drift, faster ones posture; a trend is drift",
        source="ours: people shift their stance within seconds to a minute, sensors warm and tire over minutes",
        unit="s",
        minimum=10,
        maximum=3600,
    )
