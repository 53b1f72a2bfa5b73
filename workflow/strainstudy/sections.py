"""The sections of the config: one for each stage or subject, each a frozen dataclass of settings."""

from __future__ import annotations

from typing import Any, Final

from .bench.parameters import BenchParameters, HealthParameters
from .bends.parameters import BendParameters
from .calibrate.parameters import CalibrateParameters
from .classify_parameters import ClassifyParameters
from .condition.parameters import ConditionParameters
from .gait.parameters import GaitParameters
from .gait.verdict_parameters import VerdictParameters
from .gait.window_parameters import FeatureParameters
from .ingest.parameters import IngestParameters
from .share.parameters import ShareParameters
from .swallow.parameters import SwallowParameters
from .validate.parameters import ValidateParameters

__all__ = ["SECTIONS"]

SECTIONS: Final[dict[str, type[Any]]] = {
    "ingest": IngestParameters,
    "calibrate": CalibrateParameters,
    "condition": ConditionParameters,
    "gait": GaitParameters,
    "bends": BendParameters,
    "swallow": SwallowParameters,
    "bench": BenchParameters,
    "health": HealthParameters,
    "features": FeatureParameters,
    "classify": ClassifyParameters,
    "verdict": VerdictParameters,
    "validate": ValidateParameters,
    "share": ShareParameters,
}
