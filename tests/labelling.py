"""Label and event frames in few words, for tests of the validation."""

from __future__ import annotations

import numpy as np
import pandas as pd

__all__ = ["contacts", "frame"]


def frame(*rows: tuple) -> pd.DataFrame:
    """Make a frame from (onset, duration, trial_type[, side[, value]])."""
    full = [(*row, *(None, np.nan)[len(row) - 3 :]) for row in rows]
    made = pd.DataFrame(full, columns=["onset", "duration", "trial_type", "side", "value"])
    return made.astype({"onset": "float64", "duration": "float64", "value": "float64"})


def contacts(times, side: str, trial_type: str = "initial_contact") -> pd.DataFrame:
    """Make instants of one side."""
    return frame(*[(float(time), 0.0, trial_type, side) for time in times])
