"""How one sensor answers to a movement, where that was measured: how late, and on which branch of its loop.

In: nothing. Out: `Answer`, which the bench or a reference beside the sensor gives, which goes through JSON between
stages, and which is undone in angles and in the landmarks of a gait curve.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import asdict, dataclass
from typing import Any, Literal

__all__ = ["Answer"]


@dataclass(frozen=True)
class Answer:
    """Answer of one sensor.

    Parameters
    ----------
    time_constant_s, error_s : float
        Of its first-order lag, and the standard error of that.
    loop : tuple of (half width, radius)
        Play operators (`strainstudy.signal.play`) whose weighted sum is what the response lies below the middle of its
        hysteresis loop while it rises; in units of the response. Empty where none was told from zero.
    source : {"bench", "reference"}
        What measured it.
    """

    time_constant_s: float
    error_s: float
    loop: tuple[tuple[float, float], ...] = ()
    source: Literal["bench", "reference"] = "bench"

    def to_dict(self) -> dict[str, Any]:
        """Give plain values for JSON."""
        return asdict(self)

    @classmethod
    def from_dict(cls, values: Mapping[str, Any]) -> Answer:
        """Undo `to_dict`, also after a round trip through JSON."""
        return cls(**{**values, "loop": tuple((float(width), float(radius)) for width, radius in values["loop"])})
