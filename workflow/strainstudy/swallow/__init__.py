"""Swallows in a throat that also talks, coughs and turns: candidates, which of them are swallows, their measures.

In: the conditioned throat stream and, where there are any, hand labels. Out: candidates with features, a score
that needs no labels, swallows with their measures. The classifier itself is generic and lives in `classify`.
"""

from .activity import observed_seconds
from .candidates import CANDIDATE_COLUMNS, detect_candidates
from .edges import EdgeModel, edge_differences, fit_edges, move_edges
from .features import FEATURE_NAMES, SWALLOW_FEATURES, SwallowFeature
from .generic import accept_generic, generic_score
from .health import AT_LIMIT_FRACTION, ThroatHealth, throat_health
from .labels import CANDIDATE_CLASSES, label_candidates
from .measures import measure_swallows, summarise_swallows
from .parameters import SwallowParameters

__all__ = [
    "AT_LIMIT_FRACTION",
    "CANDIDATE_CLASSES",
    "CANDIDATE_COLUMNS",
    "FEATURE_NAMES",
    "SWALLOW_FEATURES",
    "EdgeModel",
    "SwallowFeature",
    "SwallowParameters",
    "ThroatHealth",
    "accept_generic",
    "detect_candidates",
    "edge_differences",
    "fit_edges",
    "generic_score",
    "label_candidates",
    "measure_swallows",
    "move_edges",
    "observed_seconds",
    "summarise_swallows",
    "throat_health",
]
