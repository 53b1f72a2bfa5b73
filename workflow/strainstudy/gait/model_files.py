"""Names of the files of a model of gait."""

from __future__ import annotations

from typing import Final

from ..learn.model_files import ModelFiles

__all__ = ["GAIT_FILES"]

GAIT_FILES: Final = ModelFiles("model.skops", "card.json", "card.md", always_carded=True)
