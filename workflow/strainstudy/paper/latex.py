r"""Tables as LaTeX in the style of booktabs.

In: a frame of texts and its headers. Out: a ``table`` environment to be put into a manuscript that says
``\usepackage{array,booktabs}``. A missing cell is a dash; every letter that LaTeX would take for a command is escaped.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from typing import Final

import pandas as pd

from ..vocabulary import MISSING

__all__ = ["DASH", "escaped", "latex_table"]

DASH: Final = "--"
_LETTERS: Final = {
    "\\": r"\textbackslash{}", "{": r"\{", "}": r"\}", "&": r"\&", "%": r"\%", "$": r"\$", "#": r"\#", "_": r"\_",
    "~": r"\textasciitilde{}", "^": r"\textasciicircum{}", "<": r"\textless{}", ">": r"\textgreater{}",
    "|": r"\textbar{}", '"': "''", "\u2212": r"$-$", "\u00b1": r"$\pm$",
    "\u00d7": r"$\times$", "\u00b0": r"$^{\circ}$", "\u2265": r"$\geq$", "\u2264": r"$\leq$",
    "\u03ba": r"$\kappa$", "\u2013": "--", "\u2026": r"\ldots{}", "\u03a9": r"$\Omega$", "\u00b7": r"$\cdot$",
    "\u00b2": r"$^{2}$", "\u0394": r"$\Delta$", "\u221a": r"$\surd$",
}  # fmt: skip
_SIDE: Final = {"l": r"\raggedright", "r": r"\raggedleft"}
_WIDE: Final = 6
"""Columns beyond which a table spans the page and is set smaller (ours)."""
_LETTERS_OF_A_PAGE: Final = 125
"""Letters of small print that the page is wide: 174 mm at 1.4 mm, half of 8 pt (common practice, no source)."""
_GAP_LETTERS: Final = 1.5
"""Letters that the gap between two columns takes: twice 3 pt."""
_NUMBER: Final = re.compile(r"[\u2212-]?\d+(\.\d+)?")


def escaped(text: str) -> str:
    """Write a text so that LaTeX sets its letters and runs none of them."""
    return "".join(_LETTERS.get(letter, letter) for letter in text)


def _cell(value: object) -> str:
    text = "" if value is None or (isinstance(value, float) and pd.isna(value)) else str(value)
    return DASH if text in ("", MISSING) else escaped(text)


def _look(values: pd.Series) -> str:
    texts = [str(v) for v in values if not pd.isna(v) and str(v) not in ("", MISSING)]
    return "r" if texts and all(_NUMBER.fullmatch(text) for text in texts) else "l"


def _widths(frame: pd.DataFrame, headers: Sequence[str]) -> list[float]:
    """Share the page among columns, in letters: to each its longest word, what is left to those whose cells are longer.

    Empty where every row fits on one line.
    """
    cells = [[head, *map(str, frame[name])] for name, head in zip(frame, headers, strict=True)]
    whole = [max(map(len, column)) for column in cells]
    room = _LETTERS_OF_A_PAGE - _GAP_LETTERS * len(cells)
    if sum(whole) <= room:
        return []
    least = [max(len(word) for text in column for word in (text.split() or [""])) for column in cells]
    spare = max(room - sum(least), 0.0) / max(sum(whole) - sum(least), 1)
    wanted = [low + spare * (high - low) for low, high in zip(least, whole, strict=True)]
    return [letters * min(room / sum(wanted), 1.0) for letters in wanted]


def latex_table(frame: pd.DataFrame, headers: Sequence[str], caption: str, label: str) -> str:
    """Write a table.

    Parameters
    ----------
    frame : DataFrame
        Texts, or what is to be written as ``str`` has it; missing values and ``n/a`` become `DASH`.
    headers : sequence of str
        One for each column.
    caption, label : str
        Words, and the name to refer to the table by.

    Returns
    -------
    str
        Columns of numbers are set flush right, others flush left. Where a row is longer than the page is wide, headers
        and cells break within their columns.
    """
    looks = [_look(frame[name]) for name in frame]
    widths = _widths(frame, headers)
    wide = len(looks) > _WIDE or bool(widths)
    if widths:
        looks = [
            rf">{{{_SIDE[look]}\arraybackslash}}p{{{width / _LETTERS_OF_A_PAGE:.3f}\textwidth}}"
            for look, width in zip(looks, widths, strict=True)
        ]
    kind = "table*" if wide else "table"
    lines = [
        rf"\begin{{{kind}}}",
        *([r"\footnotesize\setlength{\tabcolsep}{3pt}"] if wide else []),
        rf"\caption{{{escaped(caption)}}}",
        rf"\label{{{label}}}",
        rf"\begin{{tabular}}{{{''.join(looks)}}}",
        r"\toprule",
        " & ".join(map(escaped, headers)) + r" \\",
        r"\midrule",
        *(" & ".join(map(_cell, row)) + r" \\" for row in frame.itertuples(index=False, name=None)),
        r"\bottomrule",
        r"\end{tabular}",
        rf"\end{{{kind}}}",
    ]
    return "\n".join(lines) + "\n"
