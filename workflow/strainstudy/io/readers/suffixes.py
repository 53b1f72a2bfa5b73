"""Which file names can be read, and by which module."""

from __future__ import annotations

from pathlib import Path
from typing import Final

__all__ = ["FORMATS", "FORMATS_WITH_RATE", "file_format"]

FORMATS: Final = {
    ".csv": "text",
    ".tsv": "text",
    ".txt": "text",
    ".csv.gz": "text",
    ".tsv.gz": "text",
    ".txt.gz": "text",
    ".parquet": "parquet",
    ".edf": "edf",
    ".bdf": "edf",
    ".tdms": "tdms",
}
_OF_BIDS: Final = {"_motion.tsv": "motion"}
"""Read where they are met; nobody need export a recording so."""
FORMATS_WITH_RATE: Final = ("edf", "tdms")


def file_format(path: Path) -> str | None:
    """Name the format of a file by its suffix; ``None`` if there is no reader for it."""
    name = path.name.lower()
    known = FORMATS | _OF_BIDS
    for suffix in sorted(known, key=len, reverse=True):
        if name.endswith(suffix):
            return known[suffix]
    return None
