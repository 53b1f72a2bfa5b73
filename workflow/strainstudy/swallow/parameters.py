"""Settings of swallow detection and of the swallow measures."""

from __future__ import annotations

from dataclasses import dataclass

from ..settings import setting

__all__ = ["SwallowParameters"]


@dataclass(frozen=True)
class SwallowParameters:
    """Settings of the section ``swallow``."""

    typical_duration_s: float = setting(
        1.1,
        "Usual length of one swallow; decides where a run of activity is cut into events",
        source="surface EMG of 126 adults, dry swallow 1.13 (SD 0.21) s in men, 1.12 (0.17) s in women, "
        "electromyographic study on swallowing in normal adults; hyoid movement 0.8-1.4 s, "
        "Molfenter SM, Steele CM 2012, doi 10.1007/s00455-012-9397-x (from memory)",
        unit="s",
        minimum=0.5,
        maximum=2.5,
    )
    shortest_s: float = setting(
        0.4,
        "Shorter activity is not taken for a swallow without labels",
        source="shortest mean swallow apnoea 0.6 s, Martin-Harris B et al. 2005, J Speech Lang Hear Res 48 "
        "(from memory), less a third for a sensor that misses the edges",
        unit="s",
        minimum=0.1,
        maximum=1.0,
    )
    longest_s: float = setting(
        2.6,
        "Longer activity is not taken for a swallow without labels",
        source="surface EMG, 40 ml: 1.77 (SD 0.46) s in women, mean plus two SD; electromyographic study on "
        "swallowing in normal adults",
        unit="s",
        minimum=1.5,
        maximum=6.0,
    )
    edge_fraction: float = setting(
        0.2,
        "Onset and end of a swallow: where its activity passes this fraction of its largest",
        source="ours: on a smooth rise (minimum jerk, Flash T, Hogan N 1985, J Neurosci 5:1688-1703) activity is a "
        "fifth of its largest where the movement has made 5 % of its way and becomes visible",
        minimum=0.02,
        maximum=0.5,
    )
    noise_factor: float = setting(
        4.5,
        "A candidate's activity is at least this many times the resting activity around it",
        source="ours: Gaussian noise of any spectrum passes it less than once in ten minutes",
        minimum=3.0,
        maximum=30.0,
    )
    resolution_factor: float = setting(
        3.0,
        "A candidate is at least this many steps of the converter (or of the file's decimals) from peak to peak",
        source="ours: rounding makes one step of a slow drift and up to two of a beating hum, and filters make humps "
        "of steps; what is no larger cannot be told from them",
        minimum=0.0,
        maximum=100.0,
    )
    generic_score: float = setting(
        0.6,
        "Without labels, candidates of at least this score are called swallows",
        source="ours: every part fits fairly well; on simulated throats precision and recall are about equal there",
        minimum=0.05,
        maximum=0.95,
    )
    double_swallow_s: float = setting(
        2.0,
        "A swallow that starts within this time after the end of the one before is its second swallow",
        source="common practice, no source",
        unit="s",
        minimum=0.5,
        maximum=10.0,
    )
    burst_interval_s: float = setting(
        2.5,
        "Three or more swallows with onsets no farther apart than this are a burst of sips",
        source="continuous drinking takes 1.0-1.5 s a swallow (Hughes TAT, Wiles CM 1996, "
        "doi 10.1093/qjmed/89.2.109, and follow-ups; from memory), plus a breath",
        unit="s",
        minimum=1.0,
        maximum=10.0,
    )
    clearing_pause_s: float = setting(
        5.0,
        "In a timed water test, a swallow after a pause of this and three usual intervals is not part of it",
        source="ours: an extra dry swallow follows 14 % of continuous drinking tests, Vaiman M et al. 2005, "
        "doi 10.1097/01.mlg.0000150673.53107.20",
        unit="s",
        minimum=1.0,
        maximum=60.0,
    )
