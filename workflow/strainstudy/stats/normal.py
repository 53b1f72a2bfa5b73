"""The normal distribution's reach, in a module of its own, so that settings that start with it load nothing else."""

from typing import Final

__all__ = ["NORMAL_95"]

NORMAL_95: Final = 1.96
"""Standard deviations from a mean to a limit of 95 %, as tables and papers print it."""
