"""Small pieces of HTML: escaped words, tables, lists in a sentence."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from html import escape

__all__ = ["Markup", "figure", "listed", "paragraph", "safe", "several", "table"]


class Markup(str):
    """Text that is HTML already."""

    __slots__ = ()


def safe(value: object) -> str:
    """Escape what is not `Markup`."""
    return value if isinstance(value, Markup) else escape(str(value))


def listed(words: Iterable[str]) -> str:
    """Join words as in a sentence."""
    every = list(words)
    return every[0] if len(every) == 1 else f"{', '.join(every[:-1])} and {every[-1]}" if every else ""


def several(n: int, one: str, more: str | None = None) -> str:
    """Write a number with its noun."""
    return f"{n} {one if n == 1 else more or one + 's'}"


def paragraph(words: object, look: str = "") -> str:
    """Make a paragraph."""
    kind = f' class="{look}"' if look else ""
    return f"<p{kind}>{safe(words)}</p>\n"


def figure(drawn: str, words: object) -> str:
    """Put a drawing above what it shows."""
    return f"<figure>{drawn}\n<figcaption>{safe(words)}</figcaption></figure>\n"


def table(
    header: Sequence[object], rows: Iterable[Sequence[object]], numbers: Sequence[int] = (), kind: str = ""
) -> str:
    """Make a table whose first column heads the rows.

    Parameters
    ----------
    header : sequence
        One cell per column.
    rows : iterable of sequences
    numbers : sequence of int
        Columns that are set as numbers.
    kind : str
        Class of the table.

    Returns
    -------
    str
    """

    def look(k: int) -> str:
        return ' class="number"' if k in numbers else ""

    head = "".join(f'<th scope="col"{look(k)}>{safe(cell)}</th>' for k, cell in enumerate(header))
    body = "".join(
        "<tr>"
        + "".join(
            f'<th scope="row">{safe(cell)}</th>' if k == 0 else f"<td{look(k)}>{safe(cell)}</td>"
            for k, cell in enumerate(row)
        )
        + "</tr>\n"
        for row in rows
    )
    named = f' class="{kind}"' if kind else ""
    return (
        f'<div class="scroll"><table{named}>\n<thead><tr>{head}</tr></thead>\n<tbody>\n{body}</tbody>\n</table></div>\n'
    )
