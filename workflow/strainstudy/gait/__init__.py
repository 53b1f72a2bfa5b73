"""Walking from knee curves: bouts, contacts, strides and what they say about rhythm and symmetry.

In: the conditioned curve of one or both knees, in any unit. Out: `Walk` (states, events, strides, polarity)
and the gait measures of a set of strides. Knows nothing of knee bends, swallows or files.
"""

from .curves import stride_curves
from .measures import summarise_walk
from .parameters import GaitParameters
from .walk import Walk, detect_walk

__all__ = ["GaitParameters", "Walk", "detect_walk", "stride_curves", "summarise_walk"]
