"""Feature rows from segments, each feature with its unit, formula, source, range and group."""

from importlib import import_module
from typing import TYPE_CHECKING, Any, Final

from .parameters import FeatureParameters

if TYPE_CHECKING:
    from .gait import GAIT_FEATURES, gait_features
    from .spec import GROUPS, FeatureSpec, feature_table

__all__ = ["GAIT_FEATURES", "GROUPS", "FeatureParameters", "FeatureSpec", "feature_table", "gait_features"]

_HOME: Final = {
    "FeatureSpec": "spec",
    "GAIT_FEATURES": "gait",
    "GROUPS": "spec",
    "feature_table": "spec",
    "gait_features": "gait",
}
"""Where each name lives: loaded on first use, so that reading the settings starts no numerical library."""


def __getattr__(name: str) -> Any:
    if name not in _HOME:
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    return getattr(import_module(f".{_HOME[name]}", __name__), name)
