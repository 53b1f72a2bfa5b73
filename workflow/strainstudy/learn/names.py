"""Names of the files that training leaves in ``model/``; a study may have either model, both or none."""

from __future__ import annotations

from typing import Final

__all__ = ["CARD_NAME", "MODEL_FILES", "MODEL_NAME", "NO_MODEL", "SWALLOW_CARD", "SWALLOW_CARD_WORDS", "SWALLOW_MODEL"]

CARD_NAME: Final = "card.json"
MODEL_NAME: Final = "model.skops"
SWALLOW_MODEL: Final = "swallow.skops"
SWALLOW_CARD: Final = "swallow_card.json"
SWALLOW_CARD_WORDS: Final = "swallow_card.md"
MODEL_FILES: Final = (MODEL_NAME, SWALLOW_MODEL, SWALLOW_CARD, SWALLOW_CARD_WORDS)
"""Those that are there only where there was enough to learn from."""
NO_MODEL = "no model"
"""What stands as ``card`` in the card of a study that trained none."""
