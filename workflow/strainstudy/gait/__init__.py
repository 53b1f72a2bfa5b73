"""Walking from knee curves: bouts, contacts, strides and what they say about rhythm and symmetry.

In: the conditioned curve of one or both knees, in any unit. Out: `Walk` (states, events, strides, polarity)
and the gait measures of a set of strides. Knows nothing of knee bends, swallows or files.
"""

from importlib import import_module
from typing import TYPE_CHECKING, Any, Final

from .parameters import GaitParameters

if TYPE_CHECKING:
    from .curves import stride_curves
    from .measures import summarise_walk
    from .walk import Walk, detect_walk

__all__ = ["GaitParameters", "Walk", "detect_walk", "stride_curves", "summarise_walk"]

_HOME: Final = {
    "Walk": "walk",
    "detect_walk": "walk",
    "stride_curves": "curves",
    "summarise_walk": "measures",
}
"""Where each name lives: loaded on first use, so that reading the settings starts no numerical library."""


def __getattr__(name: str) -> Any:
    if name not in _HOME:
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    return getattr(import_module(f".{_HOME[name]}", __name__), name)
