"""Every file of the kit for a paper, below ``paper/`` in the results folder."""

from __future__ import annotations

from typing import Final

__all__ = [
    "CAPTIONS", "CHECKLIST_FILE", "FIGURE_NAMES", "FOLDER", "FORMS", "METHODS_FILE", "REFERENCES", "TABLE_NAMES",
    "WIDTHS_MM", "figure_file", "paper_files", "table_file",
]  # fmt: skip

FOLDER: Final = "paper"
CAPTIONS: Final = f"{FOLDER}/captions.md"
METHODS_FILE: Final = f"{FOLDER}/methods.md"
REFERENCES: Final = f"{FOLDER}/references.bib"
CHECKLIST_FILE: Final = f"{FOLDER}/checklist.tsv"
_SIDECAR: Final = f"{FOLDER}/checklist.json"
WIDTHS_MM: Final = (85, 174)
"""One column and the whole page of most journals, in mm (common practice, no source)."""
FORMS: Final = ("pdf", "svg")
FIGURE_NAMES: Final = (
    "knee_curves",
    "limits_of_agreement",
    "event_agreement",
    "angle_reference",
    "sides",
    "groups",
    "swallows",
    "reliability",
    "classifier",
    "sensor_loops",
)
TABLE_NAMES: Final = (
    "participants",
    "flow",
    "sensors",
    "outcomes",
    "sides",
    "event_agreement",
    "parameter_agreement",
    "raters",
    "angles",
    "reliability",
    "classifier",
)


def figure_file(name: str, width_mm: int, form: str) -> str:
    """Name the file of a figure, relative to the results folder."""
    return f"{FOLDER}/figures/{name}_{width_mm}mm.{form}"


def table_file(name: str, form: str = "tsv") -> str:
    """Name the file of a table, relative to the results folder."""
    return f"{FOLDER}/tables/{name}.{form}"


def paper_files() -> list[str]:
    """List every file that the kit may have, relative to the results folder; a study need not give all."""
    figures = [figure_file(n, width, form) for n in FIGURE_NAMES for width in WIDTHS_MM for form in FORMS]
    tables = [table_file(n, form) for n in TABLE_NAMES for form in ("tsv", "json", "tex")]
    return sorted([*figures, *tables, CAPTIONS, METHODS_FILE, REFERENCES, CHECKLIST_FILE, _SIDECAR])
