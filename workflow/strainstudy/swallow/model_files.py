"""Names of the files of a model of throat movements."""

from __future__ import annotations

from typing import Final

from ..learn.model_files import ModelFiles

__all__ = ["SWALLOW_FILES"]

SWALLOW_FILES: Final = ModelFiles("swallow.skops", "swallow_card.json", "swallow_card.md")
