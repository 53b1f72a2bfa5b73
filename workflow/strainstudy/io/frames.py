"""Frames and small documents between stages: Parquet and JSON that are the same bytes for the same content.

A function that makes a frame imports pandas itself: a job that only writes documents starts in half the time.
"""

from __future__ import annotations

import json
import math
from collections.abc import Iterable, Mapping
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from .atomic import replacing, write_text

if TYPE_CHECKING:
    import pandas as pd

__all__ = ["read_frame", "read_frames", "read_json", "read_rows", "write_frame", "write_json", "write_rows"]


def write_frame(path: Path, frame: pd.DataFrame) -> None:
    """Write a frame as Parquet, whole or not at all."""
    with replacing(path) as temporary:
        frame.reset_index(drop=True).to_parquet(temporary, index=False, compression="zstd")


def read_frame(path: Path) -> pd.DataFrame:
    """Read what `write_frame` wrote."""
    import pandas as pd

    return pd.read_parquet(path)


def read_frames(paths: Iterable[Path]) -> pd.DataFrame:
    """Read frames of the same columns one below the other; frames without rows add none."""
    import pandas as pd

    frames = [read_frame(path) for path in paths]
    filled = [frame for frame in frames if len(frame)]
    return pd.concat(filled or frames[:1], ignore_index=True)


def write_json(path: Path, content: Any) -> None:
    """Write a JSON document; numbers that are not finite are refused with `ValueError`."""
    write_text(path, json.dumps(content, indent=1, ensure_ascii=False, allow_nan=False) + "\n")


def read_json(path: Path) -> Any:
    """Read a JSON document."""
    return json.loads(path.read_text(encoding="utf-8"))


def write_rows(path: Path, rows: Iterable[Mapping[Any, Any]]) -> None:
    """Write rows of plain or numpy values as JSON; numbers that are not finite become null."""
    write_json(path, [{name: _plain(value) for name, value in row.items()} for row in rows])


def _plain(value: Any) -> Any:
    if isinstance(value, np.generic):
        value = value.item()
    return None if isinstance(value, float) and not math.isfinite(value) else value


def read_rows(paths: Iterable[Path]) -> pd.DataFrame:
    """Read what `write_rows` wrote, of several files one below the other."""
    import pandas as pd

    return pd.DataFrame([row for path in paths for row in read_json(path)])
