"""Texts as cells of a result table, and back.

In: any text. Out: a cell that every reader of tab-separated text takes apart in the same way, and that no spreadsheet
runs. Quotation marks are doubled inside a quoted cell, as RFC 4180 and BIDS have it. A text whose first character would
make a spreadsheet run it as a formula gets an apostrophe before it, which `bare` takes away again.
"""

from __future__ import annotations

import re

__all__ = ["bare", "quoted", "written"]

# The first characters that OWASP names for "CSV injection", the full-width forms among them; a text that begins with
# apostrophes and one of these gets another, so that taking one away gives it back.
_RUNS = "=+\\-@\t\r＝＋－＠"
_TO_GUARD = re.compile(f"'*[{_RUNS}]")
_GUARDED = re.compile(f"'+[{_RUNS}]")
_CONTROL = re.compile("[\x00-\x1f\x7f-\x9f]")
_SURROGATE = re.compile("[\ud800-\udfff]")


def written(text: str) -> str:
    """Give a text as a cell holds it: no control characters, and nothing that a spreadsheet would run.

    Control characters, tabs and line ends among them, become spaces; what is no character at all becomes U+FFFD.
    """
    clean = _SURROGATE.sub("\ufffd", _CONTROL.sub(" ", text))
    return f"'{clean}" if _TO_GUARD.match(clean) else clean


def bare(cell: str) -> str:
    """Give the text that `written` made a cell of."""
    return cell[1:] if _GUARDED.match(cell) else cell


def quoted(cell: str) -> str:
    """Quote a cell that has quotation marks in it (RFC 4180, section 2, rules 5 to 7); others stay as they are."""
    return '"' + cell.replace('"', '""') + '"' if '"' in cell else cell
