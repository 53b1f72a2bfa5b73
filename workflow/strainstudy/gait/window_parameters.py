"""What a user may set about feature rows, each default with its source."""

from __future__ import annotations

from dataclasses import dataclass

from ..settings import setting

__all__ = ["FeatureParameters"]


@dataclass(frozen=True)
class FeatureParameters:
    """Settings of the rolling windows that gait features are taken from."""

    window_strides: int = setting(
        6,
        "Strides of each knee in one window of gait features",
        source="ours: about 7 s at a comfortable pace, short enough to follow a change within a walk, and the "
        "median of 6 strides is not moved by one odd stride",
        minimum=3,
        maximum=60,
    )
    strides_min: int = setting(
        3,
        "Strides of a knee below which a shorter stretch of walking gives no window",
        source="ours: the least number that has a median",
        minimum=2,
        maximum=20,
    )
