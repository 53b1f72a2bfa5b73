"""Names of the files that training leaves in ``model/``; a study may have models of all tasks, of some, or none."""

from __future__ import annotations

from typing import Final, NamedTuple

__all__ = ["NO_MODEL", "ModelFiles"]

NO_MODEL: Final = "no model"
"""What stands as ``card`` in the card of a task that trained none, where it has a card even so."""


class ModelFiles(NamedTuple):
    """Files of one task: its model, its card for machines and for people; whether it has cards even without a model."""

    model: str
    card: str
    words: str
    always_carded: bool = False

    @property
    def of_a_model(self) -> tuple[str, ...]:
        """Those that are there only where there was enough to learn from."""
        return (self.model,) if self.always_carded else (self.model, self.card, self.words)
