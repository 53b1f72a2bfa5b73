"""``share/columns.tsv``: what of the lab's own words is in the shared folder; the table itself stays in the lab."""

from __future__ import annotations

from typing import Final

from .spec import TableSpec, count, flag, text

__all__ = ["FREE_TEXT"]

FREE_TEXT: Final = TableSpec(
    "share/columns.tsv",
    "Columns of free text",
    "One row per column of the study that holds words of the laboratory's own, and whether it leaves the laboratory.",
    (
        text("column", "Column", "Sheet and column, as the setting share.allow_columns names it."),
        flag("leaves", "Leaves", "Whether it is in the shared folder as it stands."),
        count("cells", "Cells", "Cells that have a value."),
        count("different", "Different", "Different values among them."),
        text("example", "Example", "The first of the values in their order."),
        text("instead", "Instead", "What is written where it does not leave."),
        text("caution", "Caution", "Why it may not leave whoever allows it."),
    ),
    ("column",),
)
