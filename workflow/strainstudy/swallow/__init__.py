"""Swallows in a throat that also talks, coughs and turns: candidates, which of them are swallows, their measures.

In: the conditioned throat stream and, where there are any, hand labels. Out: candidates with features, a score
that needs no labels, swallows with their measures. The classifier itself is generic and lives in `classify`.
"""

from .candidates import CANDIDATE_COLUMNS, detect_candidates
from .features import FEATURE_NAMES, SWALLOW_FEATURES, SwallowFeature
from .generic import accept_generic, generic_score
from .labels import CANDIDATE_CLASSES, label_candidates
from .measures import measure_swallows, summarise_swallows
from .parameters import SwallowParameters

__all__ = [
    "CANDIDATE_CLASSES",
    "CANDIDATE_COLUMNS",
    "FEATURE_NAMES",
    "SWALLOW_FEATURES",
    "SwallowFeature",
    "SwallowParameters",
    "accept_generic",
    "detect_candidates",
    "generic_score",
    "label_candidates",
    "measure_swallows",
    "summarise_swallows",
]
