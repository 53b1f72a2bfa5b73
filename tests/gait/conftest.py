"""Walks made by hand: known strides and curves, no detector involved."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

import numpy as np
import pandas as pd
import pytest

# Mean knee flexion over the stride, 0, 2, ... 100 %:
# Schwartz MH, Rozumalski A, Trost JP 2008, J Biomech 41(8):1639-1650.
SCHWARTZ_DEG = np.array([
    5.5, 7.9, 11.0, 14.4, 17.2, 18.9, 19.7, 19.6, 18.9, 18.0, 16.9, 15.7, 14.5, 13.2, 12.0, 10.8, 9.8, 8.8,
    7.9, 7.2, 6.8, 6.7, 7.1, 8.0, 9.5, 11.6, 14.4, 18.1, 22.6, 28.0, 34.1, 40.6, 47.0, 52.5, 56.8, 59.4, 60.5,
    60.0, 58.2, 55.0, 50.8, 45.5, 39.5, 32.9, 26.0, 19.0, 12.6, 7.5, 4.5, 3.8, 5.2,
])  # fmt: skip


@dataclass(frozen=True)
class Sign:
    """Direction of one sensor."""

    sign: int


@dataclass(frozen=True)
class HandMadeWalk:
    """What `gait_features` needs of a walk."""

    strides: pd.DataFrame
    polarity: dict[str, Sign]


def hand_made(
    *,
    fs: float = 100.0,
    strides: int = 14,
    stride_time: float = 1.1,
    phase_deg: float = 180.0,
    stance: tuple[float, float] = (0.62, 0.62),
    scale: tuple[float, float] = (1.0, 1.0),
    jitter: float = 0.0,
    seed: int = 0,
) -> tuple[HandMadeWalk, dict[str, np.ndarray]]:
    """Walk of both knees: the right contact comes ``phase_deg`` of the left stride after the left one."""
    rng = np.random.default_rng(seed)
    times = stride_time * (1 + jitter * rng.standard_normal(strides + 2))
    left = 1.0 + np.concatenate([[0.0], np.cumsum(times)])
    right = left[:-1] + phase_deg / 360.0 * times
    contacts = {"left": left[:-1], "right": right}
    grid = np.arange(0.0, left[-1] + 1.0, 1.0 / fs)
    curves, rows = {}, []
    for k, side in enumerate(("left", "right")):
        at = contacts[side]
        cycle = np.interp(grid, at, np.arange(len(at)), left=0.0, right=len(at) - 1.0)
        bend = np.interp(cycle % 1.0, np.linspace(0, 1, 51), SCHWARTZ_DEG)
        curves[side] = scale[k] * bend * (1 + 0.02 * jitter * rng.standard_normal(len(grid)))
        other = contacts["right" if side == "left" else "left"]
        for a, b in pairwise(at):
            inside = other[(other > a) & (other < b)]
            rows.append(
                {
                    "side": side,
                    "onset": a,
                    "stride_time": b - a,
                    "step_time": b - inside[0] if len(inside) else np.nan,
                    "phase": 360 * (inside[0] - a) / (b - a) if len(inside) else np.nan,
                    "stance_fraction": stance[k],
                    "steady": True,
                }
            )
    walk = HandMadeWalk(pd.DataFrame(rows), {"left": Sign(1), "right": Sign(1)})
    return walk, curves


@pytest.fixture
def make_walk():
    return hand_made


@pytest.fixture
def schwartz_deg():
    return SCHWARTZ_DEG
