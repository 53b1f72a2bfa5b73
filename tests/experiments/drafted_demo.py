"""How much of the demo's sheets a draft from its raw files alone gets right.

Every cell of the four sheets of demo_raw is held against the draft of a copy of its raw files: right; wrong; asked (n/a
in the draft, where the sheet has a value); more (a value, where the sheet has n/a), which is looked at by hand. Other
study folders may be named instead.
"""

from __future__ import annotations

import contextlib
import shutil
import sys
import tempfile
from collections import Counter
from pathlib import Path

from strainstudy.draft.__main__ import write_draft

MISSING = "n/a"
KEYS = {
    "participants.tsv": ("participant_id",),
    "sensors.tsv": ("sensor_id",),
    "recordings.tsv": ("file",),
    "channels.tsv": ("recording_id", "name"),
}


def rows_of(text: str, key: tuple[str, ...]) -> dict[tuple[str, ...], dict[str, str]]:
    """Read a sheet by its key."""
    header, *rows = [line.split("\t") for line in text.splitlines()]
    cells = [dict(zip(header, row, strict=True)) for row in rows]
    return {tuple(row[name] for name in key): row for row in cells}


def judged(drafted: str, true: str) -> str:
    """Put one cell into words; numbers are compared as such."""
    with contextlib.suppress(ValueError):
        if float(drafted) == float(true):
            return "right"
    if drafted == true:
        return "right"
    if drafted == MISSING:
        return "asked"
    return "more" if true == MISSING else "wrong"


def compare(study: Path, drafts: Path) -> tuple[dict[str, Counter[str]], list[str]]:
    """Count the cells of each sheet, those of a missing row as asked; list what is wrong or more."""
    counts, told = {}, []
    for sheet, key in KEYS.items():
        true = rows_of((study / sheet).read_text(encoding="utf-8"), key)
        found = rows_of((drafts / sheet).read_text(encoding="utf-8"), key)
        count = counts[sheet] = Counter()
        for name, row in true.items():
            # a row for every recording serves each of them
            drafted = found.get(name) or found.get(("*", *name[1:])) or {}
            for column, value in row.items():
                cell = value if column == "recording_id" and drafted else drafted.get(column, MISSING)
                kind = judged(cell, value)
                count[kind] += 1
                if kind in ("wrong", "more"):
                    told.append(f"{kind}: {sheet} {' '.join(name)} {column}: {cell!r}, sheet {value!r}")
        for name in sorted(n for n in set(found) - set(true) if n[0] != "*"):
            count["rows of nobody"] += 1
            told.append(f"row of nobody: {sheet} {' '.join(name)}")
    return counts, told


def main() -> None:
    """Judge the demo, or the study folders that are named."""
    studies = [Path(name) for name in sys.argv[1:]] or [Path(__file__).resolve().parents[2] / "demo_raw"]
    for study in studies:
        judge(study)


def judge(study: Path) -> None:
    """Draft a copy of a study's raw files, compare and print."""
    with tempfile.TemporaryDirectory() as place:
        bare = Path(place) / "bare"
        shutil.copytree(study / "raw", bare / "raw")
        write_draft(bare)
        counts, told = compare(study, bare)
    for sheet, count in counts.items():
        sys.stdout.write(f"{sheet}: {dict(count)}\n")
    sys.stdout.write(f"{study.name}: {dict(sum(counts.values(), Counter()))}\n")
    sys.stdout.write("\n".join(told) + "\n")


if __name__ == "__main__":
    main()
