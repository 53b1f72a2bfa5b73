"""The sections of the config: one for each stage or subject, each a frozen dataclass of settings."""

from __future__ import annotations

from typing import Any, Final

__all__ = ["SECTIONS"]

SECTIONS: Final[dict[str, type[Any]]] = {}
