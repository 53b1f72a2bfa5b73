"""Who did what in a study: the optional sheet ``contributors.tsv``.

In: a study folder. Out: its people with their roles, or a `Problem` for every cell that cannot be. Roles are
free words; those of the Contributor Roles Taxonomy (ANSI/NISO Z39.104-2022) are understood by machines. An ORCID iD
ends in a check digit by ISO 7064, MOD 11-2.
"""

from __future__ import annotations

import re
from pathlib import Path
from typing import Final

from ..errors import Problem
from ..io.sheets import Check, Rule, check_sheets, read_sheet
from ..records import Contributor
from .links import rows_of
from .rules import SheetKind

__all__ = ["CONTRIBUTORS", "contributors_of"]


def _is_orcid(text: str) -> bool:
    """Check form and check digit of an ORCID iD (ISO/IEC 7064:2003, MOD 11-2)."""
    if re.fullmatch(r"\d{4}-\d{4}-\d{4}-\d{3}[\dX]", text, re.ASCII) is None:
        return False
    total = 0
    for digit in text.replace("-", "")[:-1]:
        total = (total + int(digit)) * 2
    return "0123456789X"[(12 - total % 11) % 11] == text[-1]


CONTRIBUTORS: Final = SheetKind(
    "contributors.tsv",
    (
        Rule("name", required=True, filled=True),
        Rule("role", required=True, filled=True),
        Rule("orcid", (Check(_is_orcid, "not an ORCID iD", "write it as 0000-0002-1825-0097, or n/a"),)),
        Rule("affiliation"),
    ),
    extra_allowed=False,
)


def contributors_of(root: Path) -> tuple[tuple[Contributor, ...], list[Problem]]:
    """Read the sheet of contributors, one row for each person and role.

    Parameters
    ----------
    root : Path
        Study folder.

    Returns
    -------
    tuple of Contributor
        In the order in which they appear; empty where there is no sheet or it has faults.
    list of Problem
        Every fault.
    """
    kind = CONTRIBUTORS
    if not (root / kind.file).exists():
        return (), []
    sheet, problems = read_sheet(root / kind.file, kind.file, kind.required)
    if sheet is None:
        return (), problems
    problems = [*problems, *check_sheets([sheet], kind.rules, extra_allowed=kind.extra_allowed)]
    if problems:
        return (), problems
    people: dict[str, Contributor] = {}
    for row in rows_of(sheet.frame):
        name = row.text("name")
        one = people.get(name, Contributor(name, ()))
        for column, known in (("orcid", one.orcid), ("affiliation", one.affiliation)):
            if known is not None and row[column] not in (None, known):
                message = f"{name} has another one in a row above ({known})"
                remedy = "give each person one, or tell two people of the same name apart"
                problems.append(Problem(kind.file, message, remedy, row=row.number, column=column, value=row[column]))
        people[name] = Contributor(
            name,
            tuple(dict.fromkeys((*one.roles, row.text("role")))),
            one.orcid or row["orcid"],
            one.affiliation or row["affiliation"],
        )
    return (() if problems else tuple(people.values())), problems
