"""Feature rows from segments, each feature with its unit, formula, source, range and group."""

from .gait import GAIT_FEATURES, gait_features
from .parameters import FeatureParameters
from .spec import GROUPS, FeatureSpec, feature_table

__all__ = ["GAIT_FEATURES", "GROUPS", "FeatureParameters", "FeatureSpec", "feature_table", "gait_features"]
