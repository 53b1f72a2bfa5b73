"""Swallows in a throat that also talks, coughs and turns: candidates, which of them are swallows, their measures.

In: the conditioned throat stream and, where there are any, hand labels. Out: candidates with features, a score
that needs no labels, swallows with their measures. What learns from them is generic and lives in `learn`.
"""

from importlib import import_module
from typing import TYPE_CHECKING, Any, Final

from .parameters import SwallowParameters

if TYPE_CHECKING:
    from .activity import observed_seconds
    from .candidate_labels import CANDIDATE_CLASSES, label_candidates
    from .candidates import CANDIDATE_COLUMNS, detect_candidates, detect_together
    from .edges import EdgeModel, edge_differences, fit_edges, move_edges
    from .features import FEATURE_NAMES, SWALLOW_FEATURES, SwallowFeature
    from .generic import accept_generic, generic_score
    from .measures import measure_swallows, summarise_swallows
    from .throat_health import AT_LIMIT_FRACTION, ThroatHealth, throat_health

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
    "detect_together",
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

_HOME: Final = {
    "AT_LIMIT_FRACTION": "throat_health",
    "CANDIDATE_CLASSES": "candidate_labels",
    "CANDIDATE_COLUMNS": "candidates",
    "EdgeModel": "edges",
    "FEATURE_NAMES": "features",
    "SWALLOW_FEATURES": "features",
    "SwallowFeature": "features",
    "ThroatHealth": "throat_health",
    "accept_generic": "generic",
    "detect_candidates": "candidates",
    "detect_together": "candidates",
    "edge_differences": "edges",
    "fit_edges": "edges",
    "generic_score": "generic",
    "label_candidates": "candidate_labels",
    "measure_swallows": "measures",
    "move_edges": "edges",
    "observed_seconds": "activity",
    "summarise_swallows": "measures",
    "throat_health": "throat_health",
}
"""Where each name lives: loaded on first use, so that reading the settings starts no numerical library."""


def __getattr__(name: str) -> Any:
    if name not in _HOME:
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    return getattr(import_module(f".{_HOME[name]}", __name__), name)
