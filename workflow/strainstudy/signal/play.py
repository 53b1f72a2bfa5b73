"""The play operator: on which branch of a loop a signal is.

In: a signal. Out: where it stands between the two branches of a rate-independent hysteresis loop, from -1 (coming down)
to 1 (going up). The operator is the building block of the Prandtl-Ishlinskii model (Brokate M, Sprekels J 1996,
*Hysteresis and Phase Transitions*, ch. 2).
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

__all__ = ["branch"]

Array = npt.NDArray[np.float64]


def branch(values: npt.ArrayLike, radius: float) -> Array:
    """Branch coordinate of a signal.

    Parameters
    ----------
    values : array, shape (n,)
        Finite.
    radius : float
        Half the travel after a turning point that takes the signal from one branch to the other; above 0.

    Returns
    -------
    array, shape (n,)
        1 on the rising branch, -1 on the falling one, between them after a turning point. Before the first
        sample the signal is taken to have come down.
    """
    x = np.asarray(values, dtype=np.float64)
    if not len(x):
        return x
    slope = np.sign(np.diff(x))
    moving = np.flatnonzero(slope)
    turns = moving[1:][slope[moving[1:]] != slope[moving[:-1]]]
    bounds = np.concatenate([[0], turns, [len(x) - 1]])
    ends = x[bounds[1:]]
    state = float(x[0]) + radius
    passed = [state]
    # A plain loop over turning points: each state depends on the one before.
    for least, most in zip((ends - radius).tolist(), (ends + radius).tolist(), strict=True):
        if state < least:
            state = least
        elif state > most:
            state = most
        passed.append(state)
    states = np.array(passed)
    # Between two turning points the signal is monotone, so the operator is a clip of its state at the last one.
    lengths = np.diff(bounds)
    held = np.concatenate([[states[0]], np.repeat(states[:-1], lengths)])
    coordinate: Array = (x - np.clip(held, x - radius, x + radius)) / radius
    return coordinate
