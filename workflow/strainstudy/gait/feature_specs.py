"""What a feature is: its name, group, unit, formula, source, range, and what mirroring does to it.

The groups are kept apart so that an ablation can tell them apart: `timing` needs contacts only, `shape` is
taken from curves scaled to their own range and so immune to a sensor's gain and offset, `amplitude` needs a
calibrated angle.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import asdict, dataclass, fields
from typing import Literal

import pandas as pd

__all__ = ["GROUPS", "FeatureSpec", "feature_table"]

Group = Literal["timing", "shape", "amplitude", "context", "swallow"]
Mirror = Literal["even", "odd"]
Knees = Literal["one", "both", "alone"]

GROUPS: tuple[Group, ...] = ("timing", "shape", "amplitude")
"""Groups that the gait classifier learns from; `context` describes a window and is never learnt from."""


@dataclass(frozen=True)
class FeatureSpec:
    """One feature.

    Parameters
    ----------
    name : str
        Column name.
    group : {'timing', 'shape', 'amplitude', 'context', 'swallow'}
        Group for ablation; `context` features are never learnt from.
    unit : str
        Unit as printed; ``1`` for a plain ratio.
    formula : str
        How it is worked out, in words.
    source : str
        Paper the formula follows, or ``ours: why``.
    low, high : float
        Range that values can take on people; a value outside is a fault of detection, not a finding.
    mirror : {'even', 'odd'}
        ``odd`` features change sign when left and right are swapped (right minus left), ``even`` do not change.
    knees : {'one', 'both', 'alone'}
        ``both`` needs both knees. ``alone`` is learnt from only where one knee was recorded: with both knees a
        person's other side says better what is usual for them than other people do.
    """

    name: str
    group: Group
    unit: str
    formula: str
    source: str
    low: float
    high: float
    mirror: Mirror = "even"
    knees: Knees = "one"


def feature_table(specs: Iterable[FeatureSpec]) -> pd.DataFrame:
    """List features as rows of the feature dictionary, in the order given.

    Parameters
    ----------
    specs : iterable of FeatureSpec
        The features.

    Returns
    -------
    DataFrame
        Columns ``name, group, unit, formula, source, low, high, mirror, knees``.
    """
    return pd.DataFrame([asdict(s) for s in specs], columns=[f.name for f in fields(FeatureSpec)])
