"""The pieces a page is made of, and how numbers are written on it.

A section holds blocks in reading order: paragraphs, notes, tables, pictures. The template knows these and nothing else.
"""

from __future__ import annotations

import base64
import math
import re
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np
import pandas as pd

from .guides import Guide, guide_of

__all__ = [
    "Block",
    "Cards",
    "Column",
    "Item",
    "Items",
    "Link",
    "Maker",
    "Note",
    "Picture",
    "Section",
    "Table",
    "Text",
    "interval_of",
    "interval_text",
    "number_text",
    "pictures_of",
    "table_of",
]


_NOTHING = 1e-12
"""Below this a number is what rounding left of nothing (ours)."""
_SHORT = 22
"""Letters up to which a cell is set in one line (ours)."""
_MOST_ROWS = 12
"""Rows that a table shows on the screen before the reader asks for all; print has all (ours)."""
_ESTIMATE = re.compile(r"(?:n/a|[^ ()]+ \(no interval\)|[^ ()]+ \([^ ]+ to [^ ]+\))")


class Link(str):
    """A cell that leads to another page: its words, and ``href`` relative to this one."""

    href: str

    def __new__(cls, words: str, href: str) -> Link:
        """Make a text that knows where it leads."""
        made = super().__new__(cls, words)
        made.href = href
        return made


@dataclass(frozen=True)
class Text:
    """A paragraph, with a link behind its words where there is one."""

    words: str
    link: Link | None = None
    kind: str = "text"


@dataclass(frozen=True)
class Note:
    """A remark set apart: ``level`` is caution, fault or info."""

    words: str
    level: str = "info"
    kind: str = "note"


@dataclass(frozen=True)
class Picture:
    """A figure.

    Parameters
    ----------
    name : str
        Its file name without suffix, and its anchor.
    title, caption, alternative : str
        Title; what it shows with n, units and method; the same in short for those who cannot see it.
    png : bytes, optional
        Image; or
    svg : str, optional
        markup to be put into the page as it is.
    first : str, optional
        Who or what in it asks to be looked at first, by name.
    """

    name: str
    title: str
    caption: str
    alternative: str
    png: bytes | None = None
    svg: str | None = None
    first: str = ""
    kind: str = "picture"

    @property
    def guide(self) -> Guide:
        """How to read a figure of its kind."""
        return guide_of(self.name)

    @property
    def source(self) -> str:
        """The image as a data URI."""
        return "data:image/png;base64," + base64.b64encode(self.png or b"").decode("ascii")


@dataclass(frozen=True)
class Table:
    """A table: header cells, rows of texts, the look of each column (number, interval, short, text).

    One that is ``folded`` shows its caption only until it is opened; print has all of it.
    """

    caption: str
    header: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]
    looks: tuple[str, ...]
    folded: bool = False
    kind: str = "table"

    @property
    def many(self) -> bool:
        """Whether the screen shows the first rows only, and offers to filter."""
        return len(self.rows) > _MOST_ROWS


@dataclass(frozen=True)
class Item:
    """A line of a list: what, the words to it, and a link."""

    what: str
    words: str
    link: Link | None = None


@dataclass(frozen=True)
class Items:
    """A list; ``ordered`` where the first is the most important."""

    items: tuple[Item, ...]
    ordered: bool = False
    kind: str = "items"


@dataclass(frozen=True)
class Cards:
    """Short sections side by side."""

    cards: tuple[Section, ...]
    kind: str = "cards"


Block = Text | Note | Picture | Table | Items | Cards


@dataclass(frozen=True)
class Section:
    """A part of the page with its anchor; ``parts`` are shown under headings one level lower."""

    anchor: str
    title: str
    blocks: tuple[Block, ...] = ()
    parts: tuple[Section, ...] = field(default=())


def number_text(value: Any, digits: int = 3) -> str:
    """Write a number with so many significant digits; ``n/a`` if it is missing."""
    if value is None or value is pd.NA:
        return "n/a"
    if isinstance(value, int | np.integer):
        return f"{value}"
    number = float(value)
    if math.isnan(number):
        return "n/a"
    if math.isinf(number):
        return "unbounded"
    if abs(number) < _NOTHING:
        return "0"
    magnitude = math.floor(math.log10(abs(number)))
    if -4 <= magnitude < 6:
        decimals = max(digits - 1 - magnitude, 0)
        text = f"{number:.{decimals}f}"
        return text.replace("-", "\u2212") if float(text) != 0.0 else "0"
    return f"{number:.{digits - 1}e}".replace("-", "\u2212")


_NOTHING_BESIDE = 1e-5
"""Share of a value below which a limit is written as 0 (ours)."""


def interval_text(row: Mapping[str, Any], name: str, digits: int = 3) -> str:
    """Write ``value (low to high)`` from the columns ``name``, ``name_low``, ``name_high`` of a row."""
    value = number_text(row.get(name), digits)
    low, high = number_text(row.get(f"{name}_low"), digits), number_text(row.get(f"{name}_high"), digits)
    if value == "n/a":
        return value
    if "n/a" in (low, high):
        return f"{value} (no interval)"
    ends = [_beside(text, value) for text in (low, high)]
    longest = max((value, *ends), key=len)
    # 0.998 and 1 are both 1 with two digits, and are written alike
    same = [longest if _as_number(text) == _as_number(longest) else text for text in (value, *ends)]
    return f"{same[0]} ({same[1]} to {same[2]})"


def _as_number(text: str) -> float:
    return float(text.replace("\u2212", "-")) if text != "unbounded" else math.inf


def _beside(limit: str, value: str) -> str:
    """Write a limit that is nothing beside its value as 0."""
    return "0" if abs(_as_number(limit)) < _NOTHING_BESIDE * abs(_as_number(value)) else limit


def _cell(value: Any) -> str:
    if value is None or value is pd.NA or (isinstance(value, float) and math.isnan(value)):
        return "n/a"
    if isinstance(value, bool):
        return "yes" if value else "no"
    return str(value)


Maker = Callable[[Mapping[str, Any]], str]
Column = tuple[str, str | Maker, bool]
"""Header, column name or function of a row, whether it holds numbers."""


def interval_of(name: str, digits: int = 3) -> Maker:
    """Give a function that writes a row's ``name`` with its interval."""
    return lambda row: interval_text(row, name, digits)


def pictures_of(pictures: Mapping[str, Picture], *names: str) -> list[Picture]:
    """Give the pictures of these names that there are."""
    return [pictures[name] for name in names if name in pictures]


def _look(cells: Sequence[str], *, numeric: bool) -> str:
    if numeric:
        return "number"
    if any("(" in cell for cell in cells) and all(_ESTIMATE.fullmatch(cell) for cell in cells):
        return "interval"
    return "short" if max(map(len, cells)) <= _SHORT else "text"


def table_of(frame: pd.DataFrame, caption: str, columns: Sequence[Column], *, folded: bool = False) -> Table | Note:
    """Make a table from a frame; rows that read alike are one row.

    Parameters
    ----------
    frame : DataFrame
    caption : str
        Says what the rows are.
    columns : sequence of (header, column name or function of a row, whether it holds numbers)
    folded : bool, optional
        Whether it shows its caption only until it is opened.

    Returns
    -------
    Table, or a Note that says there is nothing to show.
    """
    if frame.empty:
        return Note(f"Nothing to show: {caption[:1].lower()}{caption[1:]}")
    rows = tuple(
        dict.fromkeys(
            tuple(
                source(row) if callable(source) else number_text(row[source]) if numeric else _cell(row[source])
                for _, source, numeric in columns
            )
            for row in ({str(k): v for k, v in record.items()} for record in frame.to_dict("records"))
        )
    )
    looks = tuple(_look([row[k] for row in rows], numeric=column[2]) for k, column in enumerate(columns))
    return Table(caption, tuple(c[0] for c in columns), rows, looks, folded)
