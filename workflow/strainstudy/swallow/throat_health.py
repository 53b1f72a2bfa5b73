"""Judge whether the throat sensor still sits and still answers.

In: candidates of one recording and what was observed. Out: findings in words a person can act on.

A clipped swallow has a flat top, an unplugged sensor gives nothing, a loosened one gives ever smaller swallows
while everything else goes on. The trend of size is tested with Kendall's rank correlation (Kendall MG 1938,
Biometrika 30:81-93), its slope is Theil's and Sen's (Sen PK 1968, J Am Stat Assoc 63:1379-1389).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
import pandas as pd

__all__ = ["AT_LIMIT_FRACTION", "ThroatHealth", "throat_health"]

# A twentieth of a second of a one-second swallow: the crest, where amplitude is read, is cut off.
AT_LIMIT_FRACTION: Final = 0.05
_FEWEST: Final = 8
"""Swallows from which a trend of their size is tested (ours)."""
_LARGEST_P: Final = 0.01
"""Below it a trend is taken for real (ours: stricter than 0.05, as every recording is tested)."""
_LOOSE_FACTOR: Final = 0.5
"""Size at the end over that at the start, below which a sensor is said to come loose (ours)."""
_MANY_AT_LIMIT: Final = 0.1
"""Share of the swallows at the limit of the recording, above which it is said (ours)."""
_LITTLE_OBSERVED: Final = 0.5
"""Share of the recording that was observed, below which it is said (ours)."""


@dataclass(frozen=True)
class ThroatHealth:
    """What speaks against the sensor's seat.

    Parameters
    ----------
    at_limit_count : int
        Swallows that stand on the largest or smallest value of the recording.
    findings : tuple of str
        In words; empty where nothing was found.
    """

    at_limit_count: int
    findings: tuple[str, ...]

    @property
    def note(self) -> str | None:
        """Findings in one line; None where there are none."""
        return "; ".join(self.findings) or None


def throat_health(swallows: pd.DataFrame, observed_s: float, duration_s: float) -> ThroatHealth:
    """Judge the sensor by the swallows it gave.

    Parameters
    ----------
    swallows : DataFrame
        ``onset`` and, where they are known, ``amplitude`` and ``at_limit_fraction``.
    observed_s : float
        Seconds with a live signal, from `observed_seconds`.
    duration_s : float
        Length of the recording, s.

    Returns
    -------
    ThroatHealth
    """
    findings = []
    if duration_s > 0 and observed_s < _LITTLE_OBSERVED * duration_s:
        findings.append(
            f"live signal for {observed_s:.0f} of {duration_s:.0f} s only: unplugged or at the limit of the amplifier"
        )
    at_limit = 0
    if "at_limit_fraction" in swallows:
        at_limit = int(np.count_nonzero(swallows["at_limit_fraction"].to_numpy(dtype=float) >= AT_LIMIT_FRACTION))
    if at_limit > _MANY_AT_LIMIT * len(swallows):
        findings.append(
            f"{at_limit} of {len(swallows)} swallows reach the limit of the recording: amplitude and area are "
            "lower bounds, lower the gain"
        )
    if len(swallows) >= _FEWEST and "amplitude" in swallows:
        # takes longer to load than all else here, and is not needed where nobody swallowed eight times
        from scipy.stats import kendalltau, theilslopes

        onset = swallows["onset"].to_numpy(dtype=float)
        size = np.log(np.maximum(swallows["amplitude"].to_numpy(dtype=float), np.finfo(float).tiny))
        slope = theilslopes(size, onset).slope
        change = float(np.exp(slope * (onset[-1] - onset[0])))
        falling = change < _LOOSE_FACTOR and kendalltau(onset, size).pvalue < _LARGEST_P
        if falling:
            findings.append(
                f"swallows shrink to {100 * change:.0f} % over the recording: the sensor may have come loose"
            )
    return ThroatHealth(at_limit, tuple(findings))
