"""Noise floor, signal-to-noise ratio and detection limit.

In: response during rests. Out: standard deviation of a reading of the unstretched sensor, with a chi-squared interval
whose degrees of freedom allow for autocorrelation. Detection limit: 3 s of the blank over the slope (IUPAC, k = 3;
Long & Winefordner 1983, Anal Chem 55:712A, from memory).
"""

from __future__ import annotations

import numpy as np

from ..io.store import FloatArray
from .intervals import Estimate, spread

__all__ = ["DETECTION_FACTOR", "noise_floor"]

DETECTION_FACTOR = 3.0
"""Standard deviations of the blank (IUPAC, k = 3: see above)."""
_PIECE_S = 2.0
"""Seconds out of which a parabola is taken, so that creep and drift are no noise (ours)."""
_LAGS = 50
"""Lags of the autocorrelation that the degrees of freedom allow for (ours)."""


def noise_floor(rests: list[tuple[FloatArray, float]], level: float = 0.95) -> Estimate:
    """Estimate the standard deviation of the response at rest.

    Parameters
    ----------
    rests : list of (response, fs)
        Spans without movement, in which the sensor has settled.
    level : float
        Confidence level.

    Returns
    -------
    Estimate
        Each rest is cut into pieces of about two seconds and a parabola taken out of each, so that creep and drift do
        not count. Degrees of freedom: samples, less 3 a piece, over 1 + 2 sum of squared autocorrelations
        (Bartlett 1946).
    """
    total, samples, dof = 0.0, 0, 0.0
    for values, fs in rests:
        finite = values[np.isfinite(values)]
        count = max(1, round(finite.size / fs / _PIECE_S))
        for piece in np.array_split(finite, count):
            if piece.size < 8:
                continue
            basis = np.polynomial.legendre.legvander(np.linspace(-1.0, 1.0, piece.size), 2)
            residual = piece - basis @ np.linalg.lstsq(basis, piece, rcond=None)[0]
            power = float(residual @ residual)
            lags = min(_LAGS, piece.size // 4)
            rho2 = 0.0
            if power > 0.0:
                rho = np.array([residual[k:] @ residual[:-k] / power for k in range(1, lags + 1)])
                # What white noise alone would give is taken off.
                rho2 = max(float(np.sum(rho**2)) - lags / piece.size, 0.0)
            total += power
            samples += piece.size - 3
            dof += (piece.size - 3) / (1.0 + 2.0 * rho2)
    if samples == 0:
        return Estimate()
    return spread(total / samples, dof, level)
