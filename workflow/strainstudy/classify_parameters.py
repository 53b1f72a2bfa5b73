"""The section ``classify`` of the config: what the learner asks, then what gait and what throat movements ask of it."""

from __future__ import annotations

from dataclasses import dataclass

from .gait.state_parameters import StateParameters
from .swallow.movement_parameters import MovementParameters

__all__ = ["ClassifyParameters"]


@dataclass(frozen=True)
class ClassifyParameters(MovementParameters, StateParameters):
    """Settings of learning and deciding."""
