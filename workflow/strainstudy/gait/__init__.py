"""Walking from knee curves: bouts, contacts, strides and what they say about rhythm and symmetry.

In: the conditioned curve of one or both knees, in any unit. Out: `walk.Walk` (states, events, strides, polarity)
and the gait measures of a set of strides. Knows nothing of knee bends, swallows or files.
"""
