"""Settings of the validation."""

from __future__ import annotations

from dataclasses import dataclass

from ..settings import setting
from ..stats.normal import NORMAL_95

__all__ = ["ValidateParameters"]

_PRACTICE = "common practice, no source"


@dataclass(frozen=True)
class ValidateParameters:
    """What counts as agreement, and how its uncertainty is computed."""

    reference_rater: str | None = setting(
        None,
        "Rater whose labels the pipeline is scored against; null takes the one who labelled most recordings "
        "(among equals the first in alphabetical order)",
        source="ours: most labels, and the same choice every time",
    )
    contact_tolerances_s: tuple[float, ...] = setting(
        (0.05, 0.1, 0.25),
        "Largest distances in time at which a detected contact or toe-off counts as the labelled one",
        source=_PRACTICE,
        unit="s",
        minimum=0.001,
        maximum=2.0,
    )
    overlap_thresholds: tuple[float, ...] = setting(
        (0.3, 0.5, 0.7),
        "Smallest overlap over union at which a detected swallow or knee bend counts as the labelled one",
        source=_PRACTICE,
        minimum=0.01,
        maximum=1.0,
    )
    centre_tolerances_s: tuple[float, ...] = setting(
        (0.5,),
        "Largest distances of the centres at which a detected swallow or knee bend counts as the labelled one",
        source=_PRACTICE,
        unit="s",
        minimum=0.01,
        maximum=10.0,
    )
    limits_multiplier: float = setting(
        NORMAL_95,
        "Standard deviations from the bias to each limit of agreement",
        source="Bland & Altman 1999 Stat Methods Med Res 8:135-160 (the paper of 1986 rounds to 2)",
        minimum=1.0,
        maximum=4.0,
    )
    missed_contact_ratio: float = setting(
        1.5,
        "Strides and steps longer than this many medians of their side, or as much shorter, tell of a missed or "
        "an invented contact and are left out of the compared parameters, of labels and pipeline alike",
        source=_PRACTICE,
        minimum=1.1,
        maximum=3.0,
    )
    bootstrap_draws: int = setting(
        2000,
        "Resamples of participants for each interval",
        source="Efron & Tibshirani 1993 An Introduction to the Bootstrap: 1000 or more for percentile limits "
        "(from memory, 85 % sure)",
        minimum=200,
        maximum=100000,
    )
    seed: int = setting(
        1729, "Seed of the resamples", source="ours: any number, kept fixed", minimum=0, maximum=2**31 - 1
    )
