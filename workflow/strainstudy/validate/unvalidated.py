"""Measures that the labels of a study are too coarse to validate, in one sentence for every page that shows them.

In: ``validation/parameters.tsv``. Out: a sentence, as what cannot be validated in one place stands without a word
nowhere else.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Final

import pandas as pd

__all__ = ["CANNOT", "GOOD_ICC", "unvalidated_words"]

CANNOT: Final = "cannot be validated with these labels"
GOOD_ICC: Final = 0.75
"""ICC from which agreement is good (Koo & Li 2016, J Chiropr Med 15:155-163)."""
_WITH_IT: Final = {"stride_time_cv": "the standard deviation of stride times"}
"""What is made of the same strides, and so of the same timing."""


def unvalidated_words(parameters: pd.DataFrame, named: Callable[[str], str]) -> str:
    """Say of which measures labels cannot show whether they are right, and why.

    Parameters
    ----------
    parameters : DataFrame
        Columns ``measure``, ``unit``, ``validity``, ``from_rater_timing`` of ``validation/parameters.tsv``; no
        ``validity`` where labels are fine enough.
    named : callable
        Gives a measure's words, as they stand where the sentence is read.

    Returns
    -------
    str
        Sentences; empty where there is no such measure.
    """
    said = []
    for (measure, validity), rows in parameters.dropna(subset=["validity"]).groupby(["measure", "validity"], sort=True):
        alone = [f"{value:.2g}" for value in (rows["from_rater_timing"].min(), rows["from_rater_timing"].max())]
        unit = str(rows["unit"].iloc[0]).replace("percent", "%")
        words = named(str(measure))
        also = f"; nor can {_WITH_IT[str(measure)]}" if measure in _WITH_IT else ""
        said.append(
            f"{words[:1].upper()}{words[1:]} {validity}, as two raters' timing alone makes "
            f"{' to '.join(dict.fromkeys(alone))} {unit} of it{also}: no place of it beside published values, no "
            "change and no difference of it is shown to be right."
        )
    return " ".join(said)
