"""docs/robustness.md, to which several experiments write a section each."""

from __future__ import annotations

import os
import platform
import re
from collections.abc import Sequence
from pathlib import Path

__all__ = ["machine", "table", "write_section"]

_HEAD = """\
# What can happen to a run

Each section is written by the program that it names.
"""


def machine() -> str:
    """Say what the numbers were measured on, and what else it had to do."""
    cores, load = len(os.sched_getaffinity(0)), os.getloadavg()[2]
    return f"{platform.system()}, Python {platform.python_version()}, {cores} processors, load {load:.0f} at the end."


def table(heads: Sequence[str], rows: Sequence[Sequence[str]]) -> str:
    """Make a table in Markdown."""
    lines = [heads, ["---"] * len(heads), *rows]
    return "\n".join(f"| {' | '.join(line)} |" for line in lines)


def write_section(report: Path, title: str, program: str, text: str) -> None:
    """Put a section in the place of the one of the same title, or behind the last."""
    old = report.read_text(encoding="utf-8") if report.is_file() else _HEAD
    head, *sections = re.split(r"(?m)^(?=## )", old)
    new = f"## {title}\n\nWritten by `python {program}` with this file as its argument.\n\n{text}\n"
    names = [section.splitlines()[0] for section in sections]
    if f"## {title}" in names:
        sections[names.index(f"## {title}")] = new
    else:
        sections.append(new)
    report.write_text("\n".join(part.strip("\n") + "\n" for part in [head, *sections]), encoding="utf-8")
