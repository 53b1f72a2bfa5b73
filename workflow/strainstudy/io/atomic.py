"""Files that appear whole or not at all: written beside their place, then renamed over it."""

from __future__ import annotations

import os
import re
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

__all__ = ["PART", "replacing", "write_bytes", "write_text"]

PART = re.compile(r"\.(?P<name>.+)\.(?P<process>[0-9]{1,9})\.part", re.DOTALL)
"""Name of an unfinished file: that of the file it is to become, and the number of the process that writes it."""


@contextmanager
def replacing(path: Path) -> Iterator[Path]:
    """Give a temporary path beside ``path``; on a clean exit it takes ``path``'s place, else it is removed."""
    path.parent.mkdir(parents=True, exist_ok=True)
    temporary = path.with_name(f".{path.name}.{os.getpid()}.part")
    try:
        yield temporary
        temporary.replace(path)
    finally:
        temporary.unlink(missing_ok=True)


def write_bytes(path: Path, content: bytes) -> None:
    """Write bytes so that a reader sees the old file or the new one, never a part."""
    with replacing(path) as temporary:
        temporary.write_bytes(content)


def write_text(path: Path, content: str) -> None:
    """Write UTF-8 text with the line ends it has, whole or not at all."""
    write_bytes(path, content.encode("utf-8"))
