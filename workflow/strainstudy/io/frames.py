"""Frames and small documents between stages: Parquet and JSON that are the same bytes for the same content."""

from __future__ import annotations

import json
from collections.abc import Iterable
from pathlib import Path
from typing import Any

import pandas as pd

from .atomic import replacing, write_text

__all__ = ["read_frame", "read_frames", "read_json", "write_frame", "write_json"]


def write_frame(path: Path, frame: pd.DataFrame) -> None:
    """Write a frame as Parquet, whole or not at all."""
    with replacing(path) as temporary:
        frame.reset_index(drop=True).to_parquet(temporary, index=False, compression="zstd")


def read_frame(path: Path) -> pd.DataFrame:
    """Read what `write_frame` wrote."""
    return pd.read_parquet(path)


def read_frames(paths: Iterable[Path]) -> pd.DataFrame:
    """Read frames of the same columns one below the other; frames without rows add none."""
    frames = [read_frame(path) for path in paths]
    filled = [frame for frame in frames if len(frame)]
    return pd.concat(filled or frames[:1], ignore_index=True)


def write_json(path: Path, content: Any) -> None:
    """Write a JSON document; numbers that are not finite are refused with `ValueError`."""
    write_text(path, json.dumps(content, indent=1, ensure_ascii=False, allow_nan=False) + "\n")


def read_json(path: Path) -> Any:
    """Read a JSON document."""
    return json.loads(path.read_text(encoding="utf-8"))
