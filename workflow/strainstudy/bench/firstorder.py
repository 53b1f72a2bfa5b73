"""First-order answer to a sampled input, and its inverse."""

from __future__ import annotations

import numpy as np
from scipy.signal import lfilter

from ..io.store import FloatArray

__all__ = ["first_order", "undo_first_order"]


def first_order(signal: FloatArray, fs: float, tau: float) -> FloatArray:
    """Pass a signal through a first-order lag, exactly for straight lines between samples.

    Parameters
    ----------
    signal : array, shape (n,) or (n, k)
        Finite; the lag has settled at the first sample.
    fs : float
        Hz.
    tau : float
        Time constant in seconds, above 0.

    Returns
    -------
    array, shape as ``signal``
        y' = (x - y) / tau integrated over each sampling interval.
    """
    decay = float(np.exp(-1.0 / (fs * tau)))
    part = tau * fs * (1.0 - decay)
    b, a = [1.0 - part, part - decay], [1.0, -decay]
    return np.asarray(lfilter(b, a, signal, axis=0, zi=(b[1] + decay) * signal[:1])[0])


def undo_first_order(signal: FloatArray, fs: float, tau: float) -> FloatArray:
    """Give what a first-order lag answered to: y + tau dy/dt, by central differences.

    The differences amplify noise about ``tau * fs`` times; a fit to many samples takes that out again, since
    differences of neighbours add up to those of the ends.
    """
    return np.asarray(signal + tau * fs * np.gradient(signal)) if tau > 0.0 and signal.size > 1 else signal
