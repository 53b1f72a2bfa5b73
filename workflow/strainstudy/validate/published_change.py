"""Minimal detectable changes that others published, beside those of this study.

In: ``tables/change.tsv``. Out: the same with the published limits of its measures and where they are from. They are of
other sensors, people and days, so that no verdict is made of them.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final

import pandas as pd

from .measurements import SIZE

__all__ = ["PUBLISHED", "Published", "beside_published"]


@dataclass(frozen=True)
class Published:
    """A change that is beyond the error of measurement, as a source has it.

    Parameters
    ----------
    measure, unit : str
        As `measurements.GAIT_MEASURES`, without side and ``_size``.
    low, high : float
        Smallest and largest that the source gives, in the unit; equal where it gives one.
    source : str
        Citation, people and how the number is known.
    """

    measure: str
    unit: str
    low: float
    high: float
    source: str


_LEWEK: Final = (
    "Lewek MD, Randall EP 2011, J Neurol Phys Ther 35:116-121 (26 people long after stroke, comfortable speed; read): "
)
_KESAR: Final = (
    "Kesar TM et al. 2011, Gait Posture 33:314-317 (19 people long after stroke, treadmill; quoted in another text): "
)
_OPTICAL: Final = (
    "a study in Gait Posture, pubmed 22041096 (29 healthy young adults, optical motion capture; read): about 5 degrees"
)
PUBLISHED: Final = tuple(
    [
        Published(
            f"{phase}_time_log_ratio",
            "percent",
            100.0 * math.log(1.0 + change),
            100.0 * math.log(1.0 + change),
            f"{_LEWEK}{change} of the ratio of {phase} times, here 100 ln(1 + {change}), from equal sides on",
        )
        for phase, change in (("swing", 0.26), ("stance", 0.09))
    ]
    + [Published("stance_fraction_mean", "1", 0.032, 0.042, f"{_KESAR}3.2 to 4.2 % of the cycle")]
    + [
        Published(name, "deg", low, high, source)
        for name in ("swing_peak_mean", "range_of_motion_mean")
        for low, high, source in (
            (5.0, 5.0, _OPTICAL),
            (3.8, 11.5, f"{_KESAR}3.8 to 11.5 degrees over hip, knee and ankle"),
        )
    ]
)
"""Rows `_mdc` of the table of published values that was looked up; important changes are no detectable ones."""


def beside_published(changes: pd.DataFrame) -> pd.DataFrame:
    """Fill the columns of published minimal detectable changes.

    Parameters
    ----------
    changes : DataFrame
        Columns of ``tables/change.tsv``.

    Returns
    -------
    DataFrame
        The same rows, with ``published_detectable_low``, ``_high`` and ``_source``; missing for a measure without any.
    """
    found = changes.copy()
    measures = [
        str(name).removesuffix(SIZE).removesuffix("_left").removesuffix("_right") for name in changes["measure"]
    ]
    own = [
        [p for p in PUBLISHED if p.measure == name and p.unit == unit]
        for name, unit in zip(measures, changes["unit"], strict=True)
    ]
    low = [min((p.low for p in several), default=math.nan) for several in own]
    high = [max((p.high for p in several), default=math.nan) for several in own]
    source = ["; ".join(p.source for p in several) or None for several in own]
    found["published_detectable_low"] = pd.Series(low, index=changes.index, dtype="float64")
    found["published_detectable_high"] = pd.Series(high, index=changes.index, dtype="float64")
    found["published_detectable_source"] = pd.Series(source, index=changes.index, dtype=object)
    return found.astype(changes.dtypes.to_dict())
